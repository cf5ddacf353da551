//! That each shipped rule answers the bench the way its chemistry does, whatever its numbers.

use super::*;

/// The hours between which the bench expects a stage, and where that comes from.
#[test]
fn anchors_of_common_practice_hold_at_20_c_and_50_pct() {
    let anchors = [
        ("aliphatic-resin", "clamp_off", 0.5, 1.0, "common practice, no source: 30 to 60 min"),
        ("aliphatic-resin", "full_strength", 24.0, 24.0, "common practice, no source: a day"),
        ("hot-hide-glue", "assembly_closes", 0.005, 0.034, "common practice, no source: tens of seconds to 2 min"),
        ("hot-hide-glue", "clamp_off", 12.0, 24.0, "common practice, no source"),
        ("liquid-hide-glue", "clamp_off", 12.0, 24.0, "common practice, no source"),
        ("fish-glue", "clamp_off", 12.0, 24.0, "common practice, no source"),
        ("thin-cyanoacrylate", "clamp_off", 0.0, 0.017, "common practice, no source: up to a minute"),
        ("gap-cyanoacrylate", "clamp_off", 0.008, 0.05, "common practice, no source: 30 s to 3 min"),
        ("slow-epoxy", "clamp_off", 8.0, 24.0, "common practice, no source"),
        ("slow-epoxy", "full_strength", 168.0, 168.0, "common practice, no source: 7 d"),
        ("fast-epoxy", "clamp_off", 0.25, 1.0, "common practice, no source: minutes to handle"),
        ("fast-epoxy", "full_strength", 24.0, 24.0, "common practice, no source: a day"),
        ("moisture-polyurethane", "clamp_off", 1.0, 4.0, "common practice, no source"),
        ("foam-tape", "full_strength", 72.0, 72.0, "common practice, no source"),
        ("nitrocellulose-lacquer", "recoat_opens", 1.0, 2.0, "common practice, no source"),
        ("nitrocellulose-lacquer", "rub_out", 336.0, 672.0, "common practice, no source: two to four weeks"),
        ("shellac", "recoat_opens", 1.0, 2.0, "common practice, no source"),
        ("oil-varnish", "recoat_opens", 12.0, 24.0, "common practice, no source: overnight"),
    ];
    for (material, stage, from_h, to_h, source) in anchors {
        let hours = milestone(material, &GOOD_FIT, stage).likely_h / rate(material, 20.0, 50.0);
        assert!((from_h..=to_h).contains(&hours), "{material} {stage}: {hours} h, not {from_h} to {to_h} ({source})");
    }
}

#[test]
fn foam_tape_holds_half_at_20_min_nine_tenths_at_24_h_and_nearly_all_at_72_h() {
    // All three: common practice, no source.
    assert!((strength("foam-tape", 20.0 / 60.0) - 0.5).abs() < 1e-9);
    assert!((strength("foam-tape", 24.0) - 0.9).abs() < 1e-9);
    assert!(strength("foam-tape", 72.0) >= 0.98);
}

#[test]
fn pva_sets_more_slowly_in_damp_air_but_even_saturated_air_does_not_stop_it() {
    assert!(rate("aliphatic-resin", 20.0, 80.0) < 0.8 * rate("aliphatic-resin", 20.0, 50.0));
    assert!(rate("aliphatic-resin", 20.0, 100.0) > 0.0, "the wood still takes its water");
}

#[test]
fn time_below_the_film_forming_temperature_counts_for_nothing_and_is_reported() {
    for material in ["aliphatic-resin", "water-borne-lacquer"] {
        for rh_pct in [10.0, 50.0, 90.0] {
            assert_eq!(rate(material, 5.0, rh_pct), 0.0, "{material} at {rh_pct} %");
            assert!(rate(material, 10.0, rh_pct) > 0.0, "{material} at {rh_pct} %");
        }
        let limits = &RULES[material].limits;
        assert!(limits.iter().any(|l| l.name == "film-forming temperature" && l.bound == Bound::BelowTempC(10.0)));
        let cold = RULES[material].application(Air { temp_c: 8.0, rh_pct: 50.0 }, &GOOD_FIT);
        assert!(cold.is_ok_and(|a| a.findings.iter().any(|f| f.level == Level::Defect)), "{material}");
    }
}

#[test]
fn animal_glues_dry_more_slowly_in_damp_air() {
    for material in ["hot-hide-glue", "liquid-hide-glue", "fish-glue"] {
        assert!(rate(material, 20.0, 80.0) < 0.8 * rate(material, 20.0, 50.0), "{material}");
    }
}

#[test]
fn hot_hide_glue_warns_in_a_cool_room_that_it_gels_before_the_time_shown() {
    let findings = |temp_c| {
        let said = RULES["hot-hide-glue"].application(Air { temp_c, rh_pct: 50.0 }, &GOOD_FIT);
        said.unwrap_or_else(|fault| panic!("{fault}")).findings
    };
    assert!(findings(17.0).iter().any(|f| f.what.contains("gels sooner")));
    assert_eq!(findings(23.0), []);
}

#[test]
fn cyanoacrylate_sets_faster_in_damper_air_and_is_watched_on_both_sides() {
    for material in ["thin-cyanoacrylate", "gap-cyanoacrylate"] {
        assert!(rate(material, 20.0, 60.0) > 2.0 * rate(material, 20.0, 30.0), "{material}");
        let bounds: Vec<_> = RULES[material].limits.iter().map(|limit| limit.bound).collect();
        assert_eq!(bounds, [Bound::BelowRhPct(35.0), Bound::AboveRhPct(80.0)], "{material}");
    }
}

#[test]
fn a_gap_too_wide_for_thin_cyanoacrylate_is_a_defect_that_the_gap_filling_class_takes() {
    let wide = JointState { gap_um: 250.0, ..GOOD_FIT };
    let worst = |material: &str| {
        let said = RULES[material].application(BENCH, &wide).unwrap_or_else(|fault| panic!("{fault}"));
        said.findings.iter().map(|f| f.level).max()
    };
    assert_eq!(worst("thin-cyanoacrylate"), Some(Level::Defect));
    assert_eq!(worst("gap-cyanoacrylate"), None);
}

#[test]
fn epoxy_tape_and_solvent_films_do_not_answer_to_humidity() {
    for material in ["slow-epoxy", "fast-epoxy", "foam-tape", "nitrocellulose-lacquer", "shellac"] {
        assert_eq!(rate(material, 20.0, 20.0), rate(material, 20.0, 90.0), "{material}");
    }
}

/// Barral et al. 1995: 44 to 57 kJ/mol, which is a factor of 1.81 to 2.16 from 20 to 30 °C.
#[test]
fn epoxy_quickens_with_warmth_as_the_published_activation_energies_say() {
    for material in ["slow-epoxy", "fast-epoxy"] {
        let faster = rate(material, 30.0, 50.0) / rate(material, 20.0, 50.0);
        assert!((1.81..=2.16).contains(&faster), "{material}: {faster}");
    }
}

#[test]
fn polyurethane_starves_in_dry_air_and_takes_no_more_water_than_it_can_use() {
    assert!(rate("moisture-polyurethane", 20.0, 25.0) < 0.7);
    assert_eq!(rate("moisture-polyurethane", 20.0, 80.0), rate("moisture-polyurethane", 20.0, 95.0));
}

#[test]
fn lacquer_and_shellac_watch_for_blush_only_while_wet() {
    for material in ["nitrocellulose-lacquer", "shellac"] {
        let limits = &RULES[material].limits;
        let blush = limits.iter().find(|limit| limit.name == "blush").unwrap_or_else(|| panic!("{material}"));
        assert!(matches!(blush.bound, Bound::AboveRhPct(above) if (65.0..=70.0).contains(&above)), "{blush:?}");
        assert!(blush.until_h < milestone(material, &GOOD_FIT, "recoat_opens").likely_h, "{blush:?}");
    }
}

#[test]
fn oily_rags_are_spoken_of_at_every_coat_of_varnish() {
    let said = RULES["oil-varnish"].application(BENCH, &GOOD_FIT).unwrap_or_else(|fault| panic!("{fault}"));
    assert!(said.findings.iter().any(|f| f.what.contains("Rags")));
}

#[test]
fn a_film_nobody_measured_is_the_reference_film() {
    for (material, film_um) in
        [("nitrocellulose-lacquer", 100.0), ("water-borne-lacquer", 100.0), ("shellac", 50.0), ("oil-varnish", 75.0)]
    {
        assert_eq!(
            milestones(material, &GOOD_FIT),
            milestones(material, &JointState { film_um, ..GOOD_FIT }),
            "{material}"
        );
    }
}
