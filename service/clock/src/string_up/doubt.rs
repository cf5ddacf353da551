//! Strings that are likely to break on the way to pitch. What a plain string stands at is T/A = 4 L² f² ρ: note, length and
//! material alone make it, and no other gauge helps.

use std::f64::consts::PI;

use facts::{StringFitted, StringsFitted};
use physics::strings::stress_mpa;

use super::Pulls;

/// What a string is made of, where it is worth a doubt, and where it breaks, MPa.
struct Breaks {
    of: &'static str,
    doubted_mpa: f64,
    breaks_mpa: f64,
}

/// Music wire of 0.3 mm, near 2500 MPa (ASTM A228, from memory); thinner wire bears more, and the usual octave G of twelve
/// strings, 2024 MPa, holds: common practice, no source.
const STEEL: Breaks = Breaks { of: "plain steel", doubted_mpa: 2100.0, breaks_mpa: 2500.0 };
/// Gut breaks at 300 to 400 MPa, nylon monofilament at about as much: from memory.
const GUT_OR_NYLON: Breaks = Breaks { of: "gut or nylon", doubted_mpa: 300.0, breaks_mpa: 400.0 };
/// Between what gut, nylon and their like weigh (900 to 1800) and metal, kg/m³.
const METAL_KG_M3: f64 = 3000.0;

/// What is to be doubted of a plain string, or of a core, of this density under this stress; none where it is usual.
pub fn doubt_of(kg_m3: f64, stress_mpa: f64) -> Option<String> {
    let Breaks { of, doubted_mpa, breaks_mpa } = if kg_m3 > METAL_KG_M3 { STEEL } else { GUT_OR_NYLON };
    if stress_mpa <= doubted_mpa {
        return None;
    }
    let will = if stress_mpa >= breaks_mpa { "it is likely to break" } else { "it may break" };
    Some(format!(
        "{stress_mpa:.0} MPa at pitch, and {of} breaks near {breaks_mpa:.0} (from memory): {will}. A lower note or a shorter \
         scale helps; another gauge does not"
    ))
}

/// What is to be doubted of a string under its pull, N. The core of a wound one is not known.
pub fn doubt(string: &StringFitted, tension_n: f64) -> Option<String> {
    let area_m2 = PI * (string.gauge_mm / 1000.0).powi(2) / 4.0;
    let stress_mpa = stress_mpa(tension_n, string.gauge_mm).ok().filter(|_| !string.wound)?;
    doubt_of(string.unit_kg_m / area_m2, stress_mpa)
}

/// The doubts of a set, each with the string it is about.
pub fn doubts(fitted: &StringsFitted) -> Vec<String> {
    let each = fitted.strings.iter().zip(Pulls::of(fitted).each_n);
    let of = |(string, n): (&StringFitted, f64)| {
        Some(format!("The {:.2} mm string at {}: {}.", string.gauge_mm, string.note, doubt(string, n)?))
    };
    each.filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::usual_strings;
    use facts::{Family, Id};

    /// By hand: 4 · 0.648² · 493.88² · 7850 = 3216 MPa for B4 on a guitar, whatever its gauge; 4 · 0.65² · 587.33² · 1300 =
    /// 758 MPa for a D5 of gut there.
    #[test]
    fn strings_that_would_break_are_doubted_and_the_usual_ones_are_not() {
        assert!(doubt_of(7850.0, 3216.0).is_some_and(|says| says.contains("likely to break")));
        assert!(doubt_of(7850.0, 2200.0).is_some_and(|says| says.contains("may break")));
        assert!(doubt_of(1300.0, 758.0).is_some_and(|says| says.contains("gut or nylon")));
        for family in crate::string_up::family::FAMILIES {
            let (scale_mm, strings) = usual_strings(family, None);
            let instrument = Id::new("any").expect("letters make an id");
            let mut fitted =
                StringsFitted { instrument, family, scale_mm, a4_hz: 440.0, strings, half_tension_h: None };
            assert_eq!(doubts(&fitted), [""; 0], "{family:?}");
            if family == Family::SteelStringGuitar {
                fitted.strings[0].note = facts::Note::new("B4").expect("a note");
                assert_eq!(doubts(&fitted).len(), 1);
            }
        }
    }
}
