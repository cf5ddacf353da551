//! The rules as shipped: that every file of `scripts/materials/` may be put in force, and that each answers the bench
//! the way its chemistry does. A luthier edits those files; this room says what must stay true whatever the numbers.

mod behaviour;

use std::{
    collections::BTreeMap,
    fs,
    path::PathBuf,
    sync::{Arc, LazyLock},
};

use clock::Air;
use facts::{Bound, JointState, Level, Meets, Porosity, TargetAge};
use proptest::prelude::*;
use rules::{MaterialKind, Rule, Rulebook};

/// What ships, by file name.
const SHIPPED: [&str; 21] = [
    "acid-cured-lacquer",
    "aliphatic-resin",
    "drying-oil",
    "fast-epoxy",
    "fish-glue",
    "foam-tape",
    "gap-cyanoacrylate",
    "hot-hide-glue",
    "liquid-hide-glue",
    "moisture-polyurethane",
    "nitrocellulose-lacquer",
    "oil-varnish",
    "polyester-fill",
    "pore-filler",
    "shellac",
    "slow-epoxy",
    "thin-cyanoacrylate",
    "two-part-polyurethane",
    "uv-cured-fill",
    "vinyl-sealer",
    "water-borne-lacquer",
];

/// Works and standards whose name counts as a source.
const PUBLISHED: [&str; 12] = [
    "Wood Handbook",
    "ASHRAE",
    "ASTM ",
    "ISO ",
    "GHS ",
    "CFR ",
    "Barral",
    "Dadmun",
    "Crank",
    "NFPA",
    "Poling",
    "Jacobs",
];

const BENCH: Air = Air { temp_c: 20.0, rh_pct: 50.0 };
const GOOD_FIT: JointState = JointState { gap_um: 100.0, film_um: 0.0, porosity: Porosity::Normal };

/// Every shipped rule, checked once for all tests.
static RULES: LazyLock<BTreeMap<String, Arc<Rule>>> = LazyLock::new(|| {
    let book = Rulebook::new();
    let folder = scripts().join("materials");
    let files = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    files
        .map(|file| {
            let file = file.expect("the folder lists").file_name().into_string().expect("names are UTF-8");
            let text = fs::read_to_string(folder.join(&file)).unwrap_or_else(|e| panic!("{file}: {e}"));
            let rule = book.check(&file, &text).unwrap_or_else(|fault| panic!("{fault}\n  mend: {}", fault.mend));
            (file.trim_end_matches(".rhai").into(), rule)
        })
        .collect()
});

fn scripts() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../scripts")
}

fn rate(material: &str, temp_c: f64, rh_pct: f64) -> f64 {
    let law = RULES[material].law("").unwrap_or_else(|fault| panic!("{fault}"));
    law(Air { temp_c, rh_pct })
}

fn milestones(material: &str, joint: &JointState) -> Vec<TargetAge> {
    RULES[material].application(BENCH, joint).unwrap_or_else(|fault| panic!("{fault}")).milestones
}

fn milestone(material: &str, joint: &JointState, stage: &str) -> TargetAge {
    let found = milestones(material, joint).into_iter().find(|m| m.stage == stage);
    found.unwrap_or_else(|| panic!("{material} has no {stage}"))
}

fn strength(material: &str, age_h: f64) -> f64 {
    let share = RULES[material].strength(age_h, &GOOD_FIT).unwrap_or_else(|fault| panic!("{fault}"));
    share.unwrap_or_else(|| panic!("{material} has no strength"))
}

fn of_kind(kind: MaterialKind) -> impl Iterator<Item = &'static str> {
    SHIPPED.into_iter().filter(move |material| RULES[*material].sheet.kind == kind)
}

#[test]
fn every_shipped_rule_may_be_put_in_force_and_the_set_is_exactly_this() {
    assert_eq!(RULES.keys().map(String::as_str).collect::<Vec<_>>(), SHIPPED);
}

#[test]
fn every_rule_warns_and_leaves_the_last_word_to_the_safety_data_sheet_and_local_codes() {
    for (material, rule) in RULES.iter() {
        let cautions = rule.sheet.cautions.join(" ");
        assert!(rule.sheet.cautions.len() >= 2, "{material}: {cautions}");
        assert!(cautions.contains("safety data sheet"), "{material}: {cautions}");
        assert!(cautions.contains("local codes"), "{material}: {cautions}");
    }
}

/// What can hurt whoever lays a finish is said with it: vapour and fire, the air of the room, what to breathe through, and
/// what is particular to its chemistry.
#[test]
fn every_finish_says_what_it_may_do_to_whoever_lays_it() {
    for material in of_kind(MaterialKind::Finish) {
        let cautions = RULES[material].sheet.cautions.join(" ").to_lowercase();
        assert!(cautions.contains("ventilat") || cautions.contains("draw"), "{material} says nothing of ventilation");
        assert!(cautions.contains("respirator") || cautions.contains("mask"), "{material} says nothing of breathing");
        if material != "water-borne-lacquer" {
            assert!(cautions.contains("flammable"), "{material} says nothing of fire");
        }
    }
    let says = |material: &str, words: &[&str]| {
        let cautions = RULES[material].sheet.cautions.join(" ").to_lowercase();
        words.iter().for_each(|word| assert!(cautions.contains(word), "{material} says nothing of {word}"));
    };
    for oily in ["oil-varnish", "drying-oil", "pore-filler"] {
        says(oily, &["rags", "spread them flat outdoors", "under water in a closed metal can"]);
    }
    says("two-part-polyurethane", &["isocyanates", "h334", "licensed practice"]);
    says("polyester-fill", &["peroxide", "goggles"]);
    says("acid-cured-lacquer", &["formaldehyde"]);
    says("uv-cured-fill", &["eyes", "h317"]);
}

/// What is mixed has a ratio and a working life, and every finish says what its film holds.
#[test]
fn every_finish_says_what_its_film_is_and_what_is_mixed_how() {
    for material in of_kind(MaterialKind::Finish) {
        assert!(RULES[material].sheet.film.is_some(), "{material}");
        let first = &milestones(material, &GOOD_FIT)[0];
        assert_eq!(first.stage, "set_to_touch", "{material}");
    }
    let mixed: Vec<&str> = SHIPPED.into_iter().filter(|material| RULES[*material].sheet.mix.is_some()).collect();
    assert_eq!(mixed, ["acid-cured-lacquer", "fast-epoxy", "polyester-fill", "slow-epoxy", "two-part-polyurethane"]);
}

#[test]
fn every_source_is_a_published_work_or_says_that_it_is_none() {
    for (material, rule) in RULES.iter() {
        assert!(!rule.sheet.sources.is_empty(), "{material}");
        for source in &rule.sheet.sources {
            let marked = source.contains("common practice, no source") || source.contains("from memory");
            assert!(marked || PUBLISHED.iter().any(|work| source.contains(work)), "{material}: {source}");
        }
    }
}

#[test]
fn adhesives_say_when_clamps_come_off_and_bear_load_and_finishes_when_the_next_coat_may_go_on() {
    for material in of_kind(MaterialKind::Adhesive) {
        milestone(material, &GOOD_FIT, "clamp_off");
        milestone(material, &GOOD_FIT, "full_strength");
        strength(material, 1.0);
    }
    for material in of_kind(MaterialKind::Finish) {
        milestone(material, &GOOD_FIT, "recoat_opens");
        // What lies beneath is never rubbed out.
        if !["pore-filler", "vinyl-sealer"].contains(&material) {
            milestone(material, &GOOD_FIT, "rub_out");
        }
        assert_eq!(RULES[material].strength(1.0, &GOOD_FIT), Ok(None), "{material}");
    }
}

#[test]
fn every_stage_says_what_to_do_next() {
    for material in SHIPPED {
        for m in milestones(material, &GOOD_FIT) {
            assert!(m.next.len() > 10, "{material}: {m:?}");
        }
    }
}

/// Finishes that the next coat dissolves again or keys into whenever it comes.
const DISSOLVES: [&str; 4] = ["nitrocellulose-lacquer", "pore-filler", "shellac", "vinyl-sealer"];

#[test]
fn only_films_that_do_not_dissolve_again_have_a_recoat_window_that_closes() {
    for material in of_kind(MaterialKind::Finish) {
        let closes = milestones(material, &GOOD_FIT).iter().any(|m| m.meets == Meets::Closes);
        assert_eq!(closes, !DISSOLVES.contains(&material), "{material}");
    }
}

/// Rates are sampled every 0.5 °C and 2.5 % RH: a limit between two steps would not be where the rate turns.
#[test]
fn limits_lie_on_the_steps_of_the_rate_table() {
    for (material, rule) in RULES.iter() {
        for limit in &rule.limits {
            let steps = match limit.bound {
                Bound::BelowTempC(at) | Bound::AboveTempC(at) => at / 0.5,
                Bound::BelowRhPct(at) | Bound::AboveRhPct(at) => at / 2.5,
                // No rate turns at a dew point spread.
                Bound::BelowSpreadK(_) => 0.0,
            };
            assert_eq!(steps.fract(), 0.0, "{material}: {limit:?}");
            assert!(limit.until_h > 0.0 && !limit.says.is_empty(), "{material}: {limit:?}");
        }
    }
}

/// The surface may be colder than the room, and only `checks` sees it: what the clock would call broken in the room's
/// air, a rule must name at application. The dew point is the host's to check.
#[test]
fn what_a_limit_watches_is_also_said_at_application() {
    for (material, rule) in RULES.iter() {
        for limit in &rule.limits {
            let air = match limit.bound {
                Bound::BelowTempC(at) => Air { temp_c: at - 1.0, ..BENCH },
                Bound::AboveTempC(at) => Air { temp_c: at + 1.0, ..BENCH },
                Bound::BelowRhPct(at) => Air { rh_pct: at - 1.0, ..BENCH },
                Bound::AboveRhPct(at) => Air { rh_pct: at + 1.0, ..BENCH },
                Bound::BelowSpreadK(_) => continue,
            };
            let said =
                |air| RULES[material].application(air, &GOOD_FIT).unwrap_or_else(|fault| panic!("{fault}")).findings;
            assert!(said(air).len() > said(BENCH).len(), "{material}: {limit:?}");
        }
    }
}

/// ISO 8502-4 (guidance) as coating practice cites it: 3 K, the number from memory.
#[test]
fn every_finish_watches_the_dew_point_while_it_is_wet() {
    for material in of_kind(MaterialKind::Finish) {
        let limits = &RULES[material].limits;
        let dew =
            limits.iter().find(|limit| limit.bound == Bound::BelowSpreadK(3.0)).unwrap_or_else(|| panic!("{material}"));
        assert!(dew.until_h <= milestone(material, &GOOD_FIT, "dry_to_touch").likely_h, "{dew:?}");
    }
}

#[test]
fn the_script_reference_is_the_one_the_program_makes() {
    let page = fs::read_to_string(scripts().join("README.md")).unwrap();
    assert_eq!(page, rules::contract_markdown(), "cargo run -p rules --example contract > scripts/README.md");
}

fn material() -> impl Strategy<Value = &'static str> {
    prop::sample::select(SHIPPED.as_slice())
}

fn joint() -> impl Strategy<Value = JointState> {
    let porosity = prop::sample::select(vec![Porosity::Sealed, Porosity::Dense, Porosity::Normal, Porosity::Open]);
    let film_um = prop_oneof![Just(0.0), 0.0..2000.0_f64];
    (0.0..5000.0_f64, film_um, porosity).prop_map(|(gap_um, film_um, porosity)| JointState {
        gap_um,
        film_um,
        porosity,
    })
}

/// Swept and not drawn: a film at which two stages cross is a narrow thing, and chance passes it by.
#[test]
fn stages_come_in_their_order_for_every_joint_and_film() {
    let films = std::iter::once(0.0).chain((0..=160).map(|step| 10.0_f64.powf(f64::from(step) / 40.0)));
    let joints: Vec<JointState> = films
        .flat_map(|film_um| [0.0, 150.0, 5000.0].map(|gap_um| (film_um, gap_um)))
        .flat_map(|(film_um, gap_um)| {
            [Porosity::Sealed, Porosity::Dense, Porosity::Normal, Porosity::Open].map(|porosity| JointState {
                gap_um,
                film_um,
                porosity,
            })
        })
        .collect();
    for material in SHIPPED.iter() {
        for joint in &joints {
            for pair in milestones(material, joint).windows(2) {
                assert!(pair[0].likely_h < pair[1].likely_h, "{material}, {joint:?}: {pair:?}");
            }
        }
    }
}

proptest! {
    #[test]
    fn a_warmer_hour_never_slows_a_cure_between_10_and_35_c(
        material in material(), temp_c in 10.0..35.0_f64, warmer_k in 0.0..25.0_f64, rh_pct in 1.0..100.0_f64,
    ) {
        let warm_c = (temp_c + warmer_k).min(35.0);
        let (cool, warm) = (rate(material, temp_c, rh_pct), rate(material, warm_c, rh_pct));
        prop_assert!(warm >= cool * (1.0 - 1e-12), "{material}: {cool} at {temp_c} °C, {warm} at {warm_c} °C");
    }

    #[test]
    fn every_air_of_a_workshop_has_a_rate(
        material in material(), temp_c in -20.0..60.0_f64, rh_pct in 1.0..100.0_f64,
    ) {
        let rate = rate(material, temp_c, rh_pct);
        prop_assert!(rate.is_finite() && rate >= 0.0, "{material}: {rate}");
    }

    #[test]
    fn a_thicker_film_never_dries_earlier(
        material in material(), joint in joint(), film_um in 1.0..2000.0_f64, more_um in 0.0..1000.0_f64,
    ) {
        let thin = milestones(material, &JointState { film_um, ..joint });
        let thick = milestones(material, &JointState { film_um: film_um + more_um, ..joint });
        for (thin, thick) in thin.iter().zip(&thick) {
            prop_assert!(thick.likely_h >= thin.likely_h, "{material}: {thin:?} and {thick:?}");
        }
    }

    #[test]
    fn sealed_faces_never_set_pva_faster_than_open_ones(gap_um in 0.0..5000.0_f64) {
        let of = |porosity| milestones("aliphatic-resin", &JointState { gap_um, porosity, ..GOOD_FIT });
        for (sealed, open) in of(Porosity::Sealed).iter().zip(&of(Porosity::Open)) {
            prop_assert!(sealed.likely_h >= open.likely_h, "{sealed:?} and {open:?}");
        }
    }

    #[test]
    fn a_wider_gap_never_sets_sooner(material in material(), joint in joint(), wider_um in 0.0..2000.0_f64) {
        let close = milestones(material, &joint);
        let wide = milestones(material, &JointState { gap_um: joint.gap_um + wider_um, ..joint });
        for (close, wide) in close.iter().zip(&wide) {
            prop_assert!(wide.likely_h >= close.likely_h, "{material}: {close:?} and {wide:?}");
        }
    }

    #[test]
    fn strength_never_falls_and_is_all_there_at_full_strength(
        material in material(), joint in joint(), age_h in 0.0..2000.0_f64, later_h in 0.0..2000.0_f64,
    ) {
        let strength = |age_h| RULES[material].strength(age_h, &joint).unwrap_or_else(|fault| panic!("{fault}"));
        let (Some(now), Some(later)) = (strength(age_h), strength(age_h + later_h)) else { return Ok(()) };
        prop_assert!(later >= now, "{material}: {now} at {age_h} h, {later} {later_h} h later");
        let full = milestone(material, &joint, "full_strength");
        prop_assert_eq!(strength(full.likely_h * 1.000_001), Some(1.0));
        prop_assert!(strength(0.0) <= Some(0.1), "{} begins with a hold", material);
    }
}
