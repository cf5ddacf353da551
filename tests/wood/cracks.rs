//! A crack closes as its plate comes back, and is glued when the plate is back and still.

use bench::root;
use clock::{STILL_PCT_A_DAY, movement};
use facts::{Cut, SpeciesGroup};

use super::shop::{Shop, TARGET, hour, ms, top};

const GROUPS: [SpeciesGroup; 9] = [
    SpeciesGroup::Spruce,
    SpeciesGroup::Cedar,
    SpeciesGroup::Maple,
    SpeciesGroup::Mahogany,
    SpeciesGroup::Rosewood,
    SpeciesGroup::Walnut,
    SpeciesGroup::Cherry,
    SpeciesGroup::Birch,
    SpeciesGroup::Ash,
];

/// Wood Handbook, FPL-GTR-190 (2010), table 13-5, every digit; the rosewoods are not in it.
#[test]
fn every_group_moves_as_the_wood_handbook_prints_for_the_species_that_stands_for_it() {
    let table = std::fs::read_to_string(root().join("tests/reference/dimensional.csv")).expect("the table is there");
    for group in GROUPS {
        let ours = movement(group);
        assert!(ours.source.contains("Wood Handbook"), "{group:?}: {}", ours.source);
        let row = table.lines().map(|line| line.split(',').collect::<Vec<_>>()).find(|row| row[0] == ours.species);
        let Some(row) = row else {
            assert!(group == SpeciesGroup::Rosewood && ours.source.contains("from memory"), "{group:?} is in no table");
            // Table 4-4, from memory: 2.7 and 5.8 %, by the rule that table 13-5 follows.
            for (printed, shrinkage_pct) in [(ours.radial, 2.7), (ours.tangential, 5.8)] {
                let recast = physics::wood::change_coefficient(shrinkage_pct, 30.0).expect("a shrinkage");
                assert!((printed / recast - 1.0).abs() < 0.001, "{printed} and {recast}");
            }
            continue;
        };
        let number = |column: usize| row[column].parse::<f64>().expect("a number");
        assert_eq!((ours.radial, ours.tangential), (number(2), number(3)), "{group:?}");
        assert_eq!(ours.fibre_saturation_pct, number(7), "{group:?}");
        assert_eq!(ours.source.contains("copy"), row[1].contains("copy"), "{group:?}");
    }
}

fn dry_guitar(zone: &str, moisture_pct: f64) -> Shop {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", zone);
    shop.plate(0.0, top("top", "guitar", Some(moisture_pct)));
    shop
}

/// Wood Handbook, FPL-GTR-190 (2010), eq. 13-3 (its printed form from memory) with the spruce coefficients of table 13-5:
/// 400 mm, quarter-sawn, from 5 % to the 8.75 % of 22 °C and 47 %: 400 × 0.00148 × 3.75/(1 − 0.00148 × 5) = 2.24 mm.
#[test]
fn a_crack_closes_by_the_swelling_of_the_whole_width() {
    let shop = dry_guitar("bench", 5.0);
    let wood = shop.wood(0.0);
    let run = wood.run(0);
    let end = run.closing_in_the_end();
    let by_hand_mm = 400.0 * 0.00148 * (end.moisture_pct - 5.0) / (1.0 - 0.00148 * 5.0);
    assert!((end.moisture_pct - 8.75).abs() < 0.02, "{end:?}");
    assert!((end.closes_mm[1] - by_hand_mm).abs() < 1e-9 && (by_hand_mm - 2.24).abs() < 0.02, "{end:?}");
    let back = run.closing_when_back(TARGET).expect("47 % brings it back");
    assert_eq!(Some(back.at_ms), run.back(TARGET).safe);
    // By then the slow run is at the edge of the band, the quick one near balance.
    let [least_mm, likely_mm, most_mm] = back.closes_mm;
    assert!(least_mm < likely_mm && likely_mm <= most_mm && most_mm <= end.closes_mm[2] + 0.01, "{back:?}");
    let (low_pct, _) = TARGET.moisture_pct();
    assert!(least_mm >= 400.0 * 0.00148 * (low_pct - 5.0), "{back:?}");
}

#[test]
fn a_flat_sawn_plate_closes_further_and_a_drying_one_opens() {
    let closes_mm = |zone: &str, cut: Cut| {
        let mut shop = Shop::open();
        shop.put(0.0, "guitar", zone);
        shop.plate(0.0, facts::PlateAdded { cut, ..top("top", "guitar", Some(7.0)) });
        shop.wood(0.0).run(0).closing_in_the_end().closes_mm[1]
    };
    assert!((closes_mm("bench", Cut::Flat) / closes_mm("bench", Cut::Quarter) - 263.0 / 148.0).abs() < 0.02);
    assert!(closes_mm("house", Cut::Quarter) < -0.5);
}

#[test]
fn a_crack_is_glued_when_the_plate_is_back_and_still_and_not_before() {
    let shop = dry_guitar("bench", 5.0);
    let wood = shop.wood(0.0);
    let run = wood.run(0);
    let (back, glue) = (run.back(TARGET), run.gluing(TARGET));
    for (back_ms, opens_ms) in
        [(back.earliest, glue.opens.earliest), (back.likely, glue.opens.likely), (back.safe, glue.opens.safe)]
    {
        assert!(opens_ms >= back_ms && opens_ms.is_some(), "{back:?} {glue:?}");
    }
    assert!(!run.may_be_glued_now(TARGET));
    // Back, but still taking up more than the rule allows: the likely run waits for it.
    assert!(glue.opens.likely > back.likely, "{back:?} {glue:?}");
    assert_eq!(glue.closes_ms, None, "steady air keeps it good");
    // And once it is open by the slowest run, it is open when that hour has come.
    let then = shop.wood(hour(glue.opens.safe.expect("it opens")) + 24.0);
    assert!(then.run(0).may_be_glued_now(TARGET));
}

#[test]
fn a_plate_at_rest_in_the_band_may_be_glued_now_and_one_at_rest_outside_never() {
    let rest_pct = TARGET.moisture_at_pct(47.0);
    assert!(dry_guitar("bench", rest_pct).wood(0.0).run(0).may_be_glued_now(TARGET));
    let house = dry_guitar("house", TARGET.moisture_at_pct(25.0));
    let wood = house.wood(0.0);
    let (back, glue) = (wood.run(0).back(TARGET), wood.run(0).gluing(TARGET));
    assert_eq!((back.earliest, back.safe, glue.opens.earliest), (None, None, None));
    assert_eq!(wood.run(0).closing_when_back(TARGET), None);
    // A box in the middle of the band would bring it back all the same.
    let hours = wood.run(0).back_in_target_air(TARGET);
    assert!(hours.earliest > Some(1.0) && hours.earliest < hours.likely && hours.likely < hours.safe, "{hours:?}");
    assert!(hours.safe < Some(24.0 * 30.0), "{hours:?}");
}

/// In the band and moving: damp air takes it through the band, and the window is shut all the while.
#[test]
fn a_plate_on_its_way_through_the_band_is_not_glued() {
    let shop = dry_guitar("cellar", 8.5);
    let wood = shop.wood(0.0);
    let run = wood.run(0);
    assert!(run.in_band(TARGET));
    assert_eq!(run.gluing(TARGET).opens.earliest, None, "it moves more than {STILL_PCT_A_DAY} % a day and leaves");
    assert_eq!(wood.now_ms, ms(0.0));
}
