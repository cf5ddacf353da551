//! What a family of instruments usually has: its strings, its scale, and the measures of its joints. Everything here is
//! common practice, no source, and everything can be said otherwise.

use facts::{Family, LoadPath, Note, SpeciesGroup, StringFitted};
use physics::strings::{STEEL_KG_M3, equal_temperament_hz, plain_kg_m, tension_n};

use Weight::{Nylon, Pulls, Steel};

/// Density of nylon monofilament, kg/m³: 1010 to 1140 by grade. Common practice, no source.
pub const NYLON_KG_M3: f64 = 1050.0;
/// All families, as they are listed.
pub const FAMILIES: [Family; 11] = [
    Family::SteelStringGuitar,
    Family::ClassicalGuitar,
    Family::TwelveStringGuitar,
    Family::Mandolin,
    Family::Ukulele,
    Family::Banjo,
    Family::Violin,
    Family::Viola,
    Family::Cello,
    Family::DoubleBass,
    Family::BassGuitar,
];
/// What A4 is tuned to where nobody says otherwise, Hz: ISO 16.
pub const A4_HZ: f64 = 440.0;

/// What a string weighs.
#[derive(Clone, Copy)]
enum Weight {
    /// Plain steel.
    Steel,
    /// Plain nylon.
    Nylon,
    /// Wound, so heavy that it pulls the usual so many newtons at the family's own scale and pitch: windings differ.
    Pulls(f64),
}

/// A string of a set: note, gauge in thousandths of an inch, weight.
type Row = (&'static str, f64, Weight);

fn scale_and_rows(family: Family) -> (f64, &'static [Row]) {
    match family {
        Family::SteelStringGuitar => (
            647.7,
            &[
                ("E4", 12.0, Steel),
                ("B3", 16.0, Steel),
                ("G3", 24.0, Pulls(134.0)),
                ("D3", 32.0, Pulls(136.0)),
                ("A2", 42.0, Pulls(130.0)),
                ("E2", 53.0, Pulls(115.0)),
            ],
        ),
        Family::ClassicalGuitar => (
            650.0,
            &[
                ("E4", 28.0, Nylon),
                ("B3", 32.0, Nylon),
                ("G3", 40.0, Nylon),
                ("D3", 29.0, Pulls(70.0)),
                ("A2", 35.0, Pulls(71.0)),
                ("E2", 43.0, Pulls(66.0)),
            ],
        ),
        Family::TwelveStringGuitar => (
            647.7,
            &[
                ("E4", 10.0, Steel),
                ("E4", 10.0, Steel),
                ("B3", 14.0, Steel),
                ("B3", 14.0, Steel),
                ("G4", 8.0, Steel),
                ("G3", 23.0, Pulls(110.0)),
                ("D4", 12.0, Steel),
                ("D3", 30.0, Pulls(120.0)),
                ("A3", 18.0, Pulls(75.0)),
                ("A2", 39.0, Pulls(110.0)),
                ("E3", 27.0, Pulls(85.0)),
                ("E2", 47.0, Pulls(92.0)),
            ],
        ),
        Family::Mandolin => (
            350.0,
            &[
                ("E5", 11.0, Steel),
                ("E5", 11.0, Steel),
                ("A4", 15.0, Steel),
                ("A4", 15.0, Steel),
                ("D4", 26.0, Pulls(105.0)),
                ("D4", 26.0, Pulls(105.0)),
                ("G3", 40.0, Pulls(100.0)),
                ("G3", 40.0, Pulls(100.0)),
            ],
        ),
        Family::Ukulele => {
            (430.0, &[("A4", 24.0, Nylon), ("E4", 32.0, Nylon), ("C4", 36.0, Pulls(45.0)), ("G4", 28.0, Nylon)])
        }
        Family::Banjo => (
            667.0,
            &[
                ("D4", 10.0, Steel),
                ("B3", 11.0, Steel),
                ("G3", 13.0, Steel),
                ("D3", 20.0, Pulls(55.0)),
                ("G4", 10.0, Steel),
            ],
        ),
        Family::Violin => (
            328.0,
            &[("E5", 10.0, Steel), ("A4", 27.0, Pulls(57.0)), ("D4", 34.0, Pulls(45.0)), ("G3", 32.0, Pulls(45.0))],
        ),
        Family::Viola => (
            375.0,
            &[
                ("A4", 17.0, Pulls(84.0)),
                ("D4", 34.0, Pulls(58.0)),
                ("G3", 34.0, Pulls(55.0)),
                ("C3", 44.0, Pulls(53.0)),
            ],
        ),
        Family::Cello => (
            690.0,
            &[
                ("A3", 28.0, Pulls(176.0)),
                ("D3", 38.0, Pulls(137.0)),
                ("G2", 47.0, Pulls(135.0)),
                ("C2", 68.0, Pulls(132.0)),
            ],
        ),
        Family::DoubleBass => (
            1060.0,
            &[
                ("G2", 54.0, Pulls(290.0)),
                ("D2", 70.0, Pulls(290.0)),
                ("A1", 90.0, Pulls(290.0)),
                ("E1", 112.0, Pulls(300.0)),
            ],
        ),
        Family::BassGuitar => (
            864.0,
            &[
                ("G2", 45.0, Pulls(190.0)),
                ("D2", 65.0, Pulls(200.0)),
                ("A1", 85.0, Pulls(190.0)),
                ("E1", 105.0, Pulls(170.0)),
            ],
        ),
    }
}

/// A banjo's fifth string begins at the fifth fret.
fn sounding_mm(family: Family, scale_mm: f64, place: usize) -> f64 {
    if family == Family::Banjo && place == 4 { scale_mm * (-5.0_f64 / 12.0).exp2() } else { scale_mm }
}

/// The usual strings of a family on a scale length, none for its own; weights are those of its own scale.
pub fn usual_strings(family: Family, scale_mm: Option<f64>) -> (f64, Vec<StringFitted>) {
    let (own_mm, rows) = scale_and_rows(family);
    let scale_mm = scale_mm.unwrap_or(own_mm);
    let string = |(place, (name, thousandths, weight)): (usize, &Row)| {
        let note = Note::new(name).expect("the notes of the table are written by hand");
        let gauge_mm = thousandths * 254.0 / 10_000.0;
        let plain = |kg_m3| plain_kg_m(gauge_mm, kg_m3).expect("the gauges of the table are those of strings");
        let unit_kg_m = match weight {
            Steel => plain(STEEL_KG_M3),
            Nylon => plain(NYLON_KG_M3),
            Pulls(n) => {
                let hz = equal_temperament_hz(A4_HZ, note.semitones_from_a4()).expect("a note of an instrument");
                let own = tension_n(sounding_mm(family, own_mm, place), hz, 0.001).expect("a scale of an instrument");
                // Tension goes with weight: rounded, so that what is stored is what a person would write.
                (n / own * 0.001 * 1e7).round() / 1e7
            }
        };
        let length_mm = sounding_mm(family, scale_mm, place);
        StringFitted { note, gauge_mm, wound: matches!(weight, Pulls(_)), unit_kg_m, length_mm }
    };
    (scale_mm, rows.iter().enumerate().map(string).collect())
}

/// Measures of the joints of a family, mm.
struct Body {
    /// Foot of a glued bridge: across, along, height of the strings. None where the strings hold the bridge.
    bridge: Option<(f64, f64, f64)>,
    /// Neck joint: width, depth, arm.
    neck: (f64, f64, f64),
    /// Section behind the nut: width, thickness, arm.
    head: (f64, f64, f64),
    /// Depth of neck and board together, thickness of the board.
    board: (f64, f64),
    /// Depth of the body, height of the strings above the top.
    body: (f64, f64),
    /// Thickness of top and back.
    plates: (f64, f64),
    /// What necks are made of.
    neck_wood: SpeciesGroup,
}

fn body(family: Family) -> Body {
    use SpeciesGroup::{Mahogany, Maple};
    let of = |bridge, neck, head, board, body, plates, neck_wood| Body {
        bridge,
        neck,
        head,
        board,
        body,
        plates,
        neck_wood,
    };
    let glued = |across, along, height| Some((across, along, height));
    match family {
        Family::SteelStringGuitar => {
            let (bridge, head) = (glued(155.0, 30.0, 12.0), (45.0, 15.0, 11.0));
            of(bridge, (55.0, 90.0, 50.0), head, (22.0, 6.0), (100.0, 14.0), (2.8, 2.6), Mahogany)
        }
        Family::ClassicalGuitar => {
            let (bridge, head) = (glued(190.0, 28.0, 10.0), (52.0, 18.0, 12.0));
            of(bridge, (60.0, 85.0, 45.0), head, (23.0, 6.5), (98.0, 12.0), (2.5, 2.4), Mahogany)
        }
        Family::TwelveStringGuitar => {
            let (bridge, head) = (glued(160.0, 34.0, 12.0), (50.0, 17.0, 11.0));
            of(bridge, (60.0, 100.0, 48.0), head, (23.0, 6.0), (105.0, 14.0), (3.0, 2.8), Mahogany)
        }
        Family::Mandolin => {
            of(None, (45.0, 60.0, 28.0), (32.0, 15.0, 9.0), (21.0, 5.0), (45.0, 18.0), (4.0, 3.5), Maple)
        }
        Family::Ukulele => {
            let (bridge, head) = (glued(85.0, 25.0, 9.0), (40.0, 13.0, 9.0));
            of(bridge, (45.0, 55.0, 32.0), head, (19.0, 4.5), (70.0, 10.0), (1.9, 1.9), Mahogany)
        }
        Family::Banjo => of(None, (45.0, 60.0, 40.0), (45.0, 15.0, 10.0), (22.0, 6.0), (70.0, 16.0), (3.0, 3.0), Maple),
        Family::Violin => of(None, (30.0, 45.0, 25.0), (24.0, 12.0, 9.0), (19.0, 5.0), (32.0, 33.0), (2.8, 3.5), Maple),
        Family::Viola => of(None, (33.0, 50.0, 28.0), (26.0, 13.0, 10.0), (20.0, 5.5), (38.0, 36.0), (3.0, 4.0), Maple),
        Family::Cello => {
            of(None, (50.0, 85.0, 45.0), (40.0, 22.0, 14.0), (32.0, 10.0), (118.0, 90.0), (4.5, 5.0), Maple)
        }
        Family::DoubleBass => {
            of(None, (65.0, 110.0, 60.0), (55.0, 35.0, 20.0), (45.0, 15.0), (200.0, 150.0), (6.0, 7.0), Maple)
        }
        Family::BassGuitar => {
            of(None, (63.0, 75.0, 25.0), (45.0, 15.0, 10.0), (22.0, 6.0), (42.0, 12.0), (20.0, 20.0), Maple)
        }
    }
}

/// Why nothing is usual in a family for a load path: it has no such thing. None where it has.
pub fn lacks(family: Family, path: &str) -> Option<&'static str> {
    Some(match (family, path) {
        (Family::Banjo, "top_crack") => "its top is a skin",
        (Family::Banjo, "back_seam") => "a rim and not a glued back carries its pull",
        (Family::BassGuitar, "top_crack" | "back_seam") => "its body is solid",
        (Family::BassGuitar, "bridge_foot" | "brace_end" | "saddle_slot") => "its bridge is screwed to a solid body",
        (_, "bridge_foot" | "brace_end" | "saddle_slot") if body(family).bridge.is_none() => {
            "the strings hold its bridge, which presses on the top and does not tip it"
        }
        _ => return None,
    })
}

/// The usual measures of a load path by the word it is stored under, and the weaker of its woods; none for a word that is
/// no path, and where the family [`lacks`] such a thing.
pub fn usual_load(family: Family, path: &str) -> Option<(LoadPath, SpeciesGroup)> {
    use SpeciesGroup::{Maple, Rosewood, Spruce};
    if lacks(family, path).is_some() {
        return None;
    }
    let Body { bridge, neck, head, board, body, plates, neck_wood } = body(family);
    let (width_mm, depth_mm, arm_mm) = neck;
    Some(match path {
        "bridge_foot" => {
            let (across_mm, along_mm, height_mm) = bridge?;
            (LoadPath::BridgeFoot { across_mm, along_mm, height_mm }, Spruce)
        }
        "neck_joint" => (LoadPath::NeckJoint { width_mm, depth_mm, arm_mm }, neck_wood),
        "headstock" => {
            let (width_mm, thickness_mm, arm_mm) = head;
            (LoadPath::Headstock { width_mm, thickness_mm, arm_mm, slope_deg: 14.0 }, neck_wood)
        }
        "fingerboard" => {
            let (neck_depth_mm, board_mm) = board;
            let (width_mm, arm_mm) = (head.0, neck_depth_mm / 2.0 + 4.0);
            (LoadPath::Fingerboard { width_mm, neck_depth_mm, board_mm, anchor_mm: 50.0, arm_mm }, neck_wood)
        }
        "brace_end" => {
            let height_mm = body.1;
            (LoadPath::BraceEnd { width_mm: 8.0, length_mm: 40.0, reach_mm: 150.0, height_mm, share: 0.25 }, Spruce)
        }
        "top_crack" => {
            // Where the strings hold the bridge nothing is drawn behind it.
            let (thickness_mm, behind) = (plates.0, bridge.is_some());
            (LoadPath::TopCrack { length_mm: 200.0, thickness_mm, angle_deg: 0.0, share: 0.25, behind }, Spruce)
        }
        "back_seam" => {
            let (body_depth_mm, height_mm) = body;
            (LoadPath::BackSeam { length_mm: 200.0, thickness_mm: plates.1, body_depth_mm, height_mm }, neck_wood)
        }
        "nut_slot" => (LoadPath::NutSlot { depth_mm: 3.0, length_mm: 6.0, break_deg: 14.0 }, Maple),
        "saddle_slot" => {
            let length_mm = bridge?.0 / 2.0;
            (LoadPath::SaddleSlot { length_mm, depth_mm: 10.0, exposed_mm: 8.0, break_deg: 20.0 }, Rosewood)
        }
        "unloaded" => (LoadPath::Unloaded {}, Spruce),
        _ => return None,
    })
}

/// The words of all load paths.
pub const PATHS: [&str; 10] = [
    "bridge_foot",
    "neck_joint",
    "headstock",
    "fingerboard",
    "brace_end",
    "top_crack",
    "back_seam",
    "nut_slot",
    "saddle_slot",
    "unloaded",
];

/// The family a shop's words for an instrument stand for: its stored word with or without its underscores.
pub fn family_of(words: &str) -> Option<Family> {
    let plain: String = words.to_lowercase().chars().filter(|c| c.is_ascii_alphabetic()).collect();
    Some(match plain.as_str() {
        "steelstringguitar" => Family::SteelStringGuitar,
        "classicalguitar" => Family::ClassicalGuitar,
        "twelvestringguitar" => Family::TwelveStringGuitar,
        "mandolin" => Family::Mandolin,
        "ukulele" => Family::Ukulele,
        "banjo" => Family::Banjo,
        "violin" => Family::Violin,
        "viola" => Family::Viola,
        "cello" => Family::Cello,
        "doublebass" => Family::DoubleBass,
        "bassguitar" => Family::BassGuitar,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use facts::{Id, StringsFitted};

    use super::*;
    use crate::{Pulls, stress, wood_bound};

    /// An instrument of usual measures bears its usual strings: its sound joints are asked for less than all they have, by
    /// the shop's usual margin of 4.
    #[test]
    fn no_family_is_too_weak_by_its_own_measures() {
        for family in FAMILIES {
            let (scale_mm, strings) = usual_strings(family, None);
            let instrument = Id::new("any").expect("letters make an id");
            let fitted = StringsFitted { instrument, family, scale_mm, a4_hz: A4_HZ, strings, half_tension_h: None };
            let pulls = Pulls::of(&fitted);
            for path in PATHS {
                let Some((load, wood)) = usual_load(family, path) else {
                    assert!(lacks(family, path).is_some(), "{family:?} {path}: nothing, and no reason");
                    continue;
                };
                let Some(stress) = stress(&load, &pulls).expect("usual measures are a joint's") else { continue };
                let bound = wood_bound(wood);
                let asked = 4.0 * stress.share(bound.shear_mpa, bound.peel_mpa).expect("a wood has a strength");
                assert!(asked <= 1.0, "{family:?} {path}: {:.0} %", asked * 100.0);
            }
        }
    }
}
