//! The surface that glue or finish goes on, which may be colder than the room: an instrument just in from a car.
//!
//! The layer of air that touches a surface has the surface's temperature and the room's vapour. So a rule is asked about
//! *that* air: its own checks of blush, film-forming temperature and cold then see the surface without knowing of it.

use facts::{Bound, CureKind, Finding, Level, Limit};
use physics::surface::MIN_DEW_POINT_SPREAD_K;

use crate::Air;

/// A surface in the air of a room, at the moment something goes on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    room: Air,
    temp_c: f64,
    /// Whether somebody measured it. If not, it is taken to be as warm as the room, and what is found says so.
    measured: bool,
}

impl Surface {
    /// A surface of a measured temperature, °C; of the room's if nobody measured it.
    pub fn new(room: Air, measured_c: Option<f64>) -> Self {
        Self { room, temp_c: measured_c.unwrap_or(room.temp_c), measured: measured_c.is_some() }
    }

    /// The air that touches it: as warm as the surface, with the vapour of the room; saturated where dew forms.
    pub fn air(&self) -> Air {
        if !self.measured {
            return self.room;
        }
        let saturation_pa = |temp_c| physics::air::saturation_pressure_pa(temp_c).unwrap_or(f64::INFINITY);
        let rh_pct = self.room.rh_pct * saturation_pa(self.room.temp_c) / saturation_pa(self.temp_c);
        Air { temp_c: self.temp_c, rh_pct }.held_physical()
    }

    /// How much warmer it is than the dew point of the room's air, K; negative where it is wet.
    pub fn spread_k(&self) -> f64 {
        // A workshop's air is inside the range of the formula; without a dew point nothing is wet.
        physics::surface::dew_point_spread_k(self.room.temp_c, self.room.rh_pct, self.temp_c).unwrap_or(f64::INFINITY)
    }

    /// What is to be said at application: dew, the 3 K of ISO 8502-4 (guidance, as coating practice cites it), frost, and
    /// for a coat that nobody measured the surface.
    pub fn findings(&self, kind: CureKind) -> Vec<Finding> {
        let spread_k = self.spread_k();
        let taken = match self.measured {
            true => format!("The surface is at {:.1} °C", self.temp_c),
            false => format!("No surface temperature was given; the air's {:.1} °C was taken", self.temp_c),
        };
        let warm = "bring the instrument into the room, let it warm through in its case, and measure it again";
        let found =
            |level, what: &str, mend: &str| Finding { level, what: format!("{taken}{what}"), mend: mend.into() };
        let mut findings = Vec::new();
        if self.temp_c <= 0.0 {
            findings.push(found(Level::Defect, ": water in the glue or on the wood freezes.", warm));
        }
        if spread_k <= 0.0 {
            let wet = format!(", {:.1} K below the dew point of this air: it is wet.", -spread_k);
            findings.push(found(Level::Defect, &wet, warm));
        } else if spread_k < MIN_DEW_POINT_SPREAD_K {
            let near = format!(", {spread_k:.1} K above the dew point; 3 K are usual (ISO 8502-4, guidance).");
            findings.push(found(Level::Caution, &near, "warm the surface or dry the air first"));
        } else if !self.measured && kind == CureKind::Coat {
            let well = format!(", {spread_k:.1} K above the dew point.");
            let mend = "an instrument just in from the cold is colder than the room: measure its surface and say how warm it is";
            findings.push(found(Level::Note, &well, mend));
        }
        findings
    }
}

/// Whether an air breaks a limit.
pub(crate) fn is_broken(limit: &Limit, air: Air) -> bool {
    match limit.bound {
        Bound::BelowTempC(least) => air.temp_c < least,
        Bound::AboveTempC(most) => air.temp_c > most,
        Bound::BelowRhPct(least) => air.rh_pct < least,
        Bound::AboveRhPct(most) => air.rh_pct > most,
        Bound::BelowSpreadK(least) => within_of_dew(air, least),
    }
}

/// Whether air cooled by so many kelvins is past saturation. Asked of every reading of a young film, so it compares
/// pressures rather than solve for the dew point.
fn within_of_dew(air: Air, spread_k: f64) -> bool {
    let pressures = physics::air::vapour_pressure_pa(air.temp_c, air.rh_pct)
        .and_then(|vapour_pa| Ok((vapour_pa, physics::air::saturation_pressure_pa(air.temp_c - spread_k)?)));
    pressures.is_ok_and(|(vapour_pa, saturation_pa)| vapour_pa > saturation_pa)
}
