//! What a string is made of, as it is sent, and what it weighs by that.

use clock::NYLON_KG_M3;
use facts::{Family, Note};
use physics::strings::{STEEL_KG_M3, plain_kg_m, wound_kg_m};

use super::strings::out_of_range;
use crate::problem::{Kind, Problem};

/// Density of bronze and nickel windings, kg/m³. Handbook figure for bronze and nickel, from memory.
const WRAP_KG_M3: f64 = 8800.0;
/// Thicker than this a steel string is usually wound, mm: plain ones end at 26 thousandths. Common practice, no source.
const THICKEST_PLAIN_MM: f64 = 0.7;

/// Density of a plain string of a family where nobody says, kg/m³.
pub(super) fn plain_kg_m3(family: Family) -> f64 {
    let nylon = matches!(family, Family::ClassicalGuitar | Family::Ukulele);
    if nylon { NYLON_KG_M3 } else { STEEL_KG_M3 }
}

/// What is said of how a string is made. What it weighs is given, or follows from core and winding, or from gauge and density.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Made {
    pub(super) gauge_mm: Option<f64>,
    pub(super) wound: Option<bool>,
    pub(super) unit_kg_m: Option<f64>,
    pub(super) core_mm: Option<f64>,
    pub(super) wrap_mm: Option<f64>,
    pub(super) core_kg_m3: Option<f64>,
    pub(super) wrap_kg_m3: Option<f64>,
    pub(super) density_kg_m3: Option<f64>,
}

/// A string as it is, weighed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weighed {
    /// None where only its weight was given.
    pub(super) gauge_mm: Option<f64>,
    pub(super) wound: bool,
    pub(super) unit_kg_m: f64,
    /// Diameter of what carries the pull, mm, and its density, kg/m³; none where they are not known.
    pub(super) carries: Option<(f64, f64)>,
}

impl Made {
    /// Weighs it; a plain string of a density nobody says is of `usual_kg_m3`.
    ///
    /// # Errors
    /// Too little is said, or what is said does not fit together.
    pub(super) fn weigh(&self, note: Note, usual_kg_m3: f64) -> Result<Weighed, Problem> {
        let invalid = |detail: String, mend: &str, field: &str| Problem::new(Kind::Invalid, detail, mend).about(field);
        let built = self.core_mm.zip(self.wrap_mm);
        let outside = built.map(|(core_mm, wrap_mm)| core_mm + 2.0 * wrap_mm);
        if let Some((outside_mm, gauge_mm)) = outside.zip(self.gauge_mm)
            && (outside_mm / gauge_mm - 1.0).abs() > 0.1
        {
            let detail = format!("core and winding make {outside_mm:.3} mm, the gauge is {gauge_mm:.3} mm");
            return Err(invalid(detail, "correct one of them; gauge = core + 2 wraps", "core_mm"));
        }
        let gauge_mm = self.gauge_mm.or(outside);
        let plain_kg_m3 = self.density_kg_m3.unwrap_or(usual_kg_m3);
        let core_kg_m3 = self.core_kg_m3.unwrap_or(STEEL_KG_M3);
        let wound = self.wound.unwrap_or(built.is_some()) || built.is_some();
        let unit_kg_m = match (self.unit_kg_m, built, gauge_mm) {
            (Some(unit_kg_m), ..) => unit_kg_m,
            (None, Some((core_mm, wrap_mm)), _) => {
                wound_kg_m(core_mm, wrap_mm, core_kg_m3, self.wrap_kg_m3.unwrap_or(WRAP_KG_M3)).map_err(out_of_range)?
            }
            (None, None, _) if wound => {
                let detail = format!("what the wound string {note} weighs cannot be told from its gauge");
                let mend = "send unit_kg_m from its maker's table or a scale, or core_mm and wrap_mm";
                return Err(invalid(detail, mend, "unit_kg_m"));
            }
            (None, None, None) => {
                let mend =
                    "send gauge_mm, gauge_in or gauge_thou; or core_mm and wrap_mm; or unit_kg_m for a pull alone";
                return Err(invalid(format!("the string {note} has no gauge"), mend, "gauge_mm"));
            }
            (None, None, Some(gauge_mm)) => {
                let said = self.wound.is_some() || self.density_kg_m3.is_some() || usual_kg_m3 < STEEL_KG_M3;
                if gauge_mm > THICKEST_PLAIN_MM && !said {
                    let detail = format!("{note} of {gauge_mm:.2} mm: a steel string so thick is usually wound");
                    let mend = "if it is, send unit_kg_m, or core_mm and wrap_mm; if it is plain, send wound: false";
                    return Err(invalid(detail, mend, "wound"));
                }
                plain_kg_m(gauge_mm, plain_kg_m3).map_err(out_of_range)?
            }
        };
        let plain = gauge_mm.filter(|_| !wound && self.unit_kg_m.is_none()).map(|mm| (mm, plain_kg_m3));
        let carries = self.core_mm.map(|core_mm| (core_mm, core_kg_m3)).or(plain);
        Ok(Weighed { gauge_mm, wound, unit_kg_m, carries })
    }
}
