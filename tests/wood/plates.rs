//! Plates run through the air of the zones their instrument has been in.

use std::sync::atomic::Ordering;

use bench::stock::id;
use clock::{Climate, Start};
use facts::{Cut, FacesOpen, Fact, InstrumentMoved, PlateAdded, SpeciesGroup};
use physics::{
    plate::{EXCHANGE_BAND, Faces, Sheet, wood_exchange},
    wood,
};

use super::shop::{Shop, TARGET, hour, ms, top};

/// Air of 22 °C and 47 %, by the Wood Handbook's eq. 4-5: between 8.437 at 45 % and 9.218 at 50 % (computed apart from us).
fn bench_emc_pct() -> f64 {
    wood::emc_pct(22.0, 47.0).expect("bench air")
}

#[test]
fn a_dry_top_comes_back_as_the_solver_says_for_steady_air() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "bench");
    shop.plate(0.0, top("top", "guitar", Some(5.0)));
    let (low_pct, _) = TARGET.moisture_pct();
    let run_of = shop.wood(0.0);
    let back = run_of.run(0).back(TARGET);
    for (at_ms, pace) in [(back.earliest, EXCHANGE_BAND), (back.likely, 1.0), (back.safe, 1.0 / EXCHANGE_BAND)] {
        // By hand: hour by hour in the same air, until it is in the band.
        let mut sheet = Sheet::new(2.8e-3, Faces::One, 5.0).expect("a top");
        let mut hours = 0.0;
        while sheet.mean_pct() < low_pct {
            let exchange = wood_exchange(sheet.mean_pct()).expect("wood").times(pace);
            sheet.advance(3600.0, bench_emc_pct(), exchange).expect("a step");
            hours += 1.0;
        }
        assert_eq!(at_ms.map(hour), Some(hours), "at pace {pace}");
    }
    // A factor of 2.5 in pace is a factor of 2.5 in time, to the hour.
    let hours = |at_ms: Option<i64>| at_ms.map_or(f64::NAN, hour);
    assert!((hours(back.safe) / hours(back.likely) - EXCHANGE_BAND).abs() < 0.1, "{back:?}");
}

#[test]
fn nobody_knows_the_wood_of_an_instrument_that_was_never_put_anywhere() {
    let mut shop = Shop::open();
    shop.plate(0.0, top("top", "guitar", Some(5.0)));
    assert!(shop.bench.wood(&id("guitar"), ms(1.0)).is_none());
    assert!(shop.bench.wood(&id("lute"), ms(1.0)).is_none());
}

#[test]
fn a_plate_nobody_measured_is_in_balance_with_its_first_air_and_forgets_it() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "house");
    shop.plate(0.0, top("top", "guitar", None));
    let wood = shop.wood(1.0);
    assert_eq!(wood.run(0).start, Start::Assumed);
    assert!((wood.run(0).moisture_pct()[1] - wood::emc_pct(22.0, 25.0).expect("house air")).abs() < 1e-9);
    let later = shop.wood(24.0 * 60.0);
    assert_eq!(later.run(0).start, Start::Forgotten);
}

#[test]
fn where_a_plate_began_no_longer_matters_once_it_is_forgotten() {
    let after = |began_pct: f64, hours: f64| {
        let mut shop = Shop::open();
        shop.put(0.0, "guitar", "bench");
        shop.plate(0.0, top("top", "guitar", Some(began_pct)));
        (shop.wood(hours).run(0).start, shop.moisture_pct(hours))
    };
    let days = |days: f64| 24.0 * days;
    assert_eq!(after(4.0, days(5.0)).0, Start::Measured);
    let ((_, dry_pct), (_, damp_pct)) = (after(4.0, days(20.0)), after(16.0, days(20.0)));
    assert!((dry_pct - damp_pct).abs() < 0.01, "{dry_pct} and {damp_pct}");
    let ((start, dry_pct), (_, damp_pct)) = (after(4.0, days(30.0)), after(16.0, days(30.0)));
    assert_eq!((start, dry_pct), (Start::Forgotten, damp_pct));
}

#[test]
fn a_plate_follows_its_instrument_through_its_zones() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "house");
    shop.plate(0.0, top("top", "guitar", None));
    let dry_pct = shop.moisture_pct(48.0);
    shop.put(48.0, "guitar", "cellar");
    let damper_pct = shop.moisture_pct(72.0);
    shop.put(72.0, "guitar", "bench");
    assert!(dry_pct < damper_pct && damper_pct < wood::emc_pct(22.0, 75.0).expect("cellar air"), "{damper_pct} %");
    assert!((shop.moisture_pct(24.0 * 60.0) - bench_emc_pct()).abs() < 0.01);
    let wood = shop.wood(80.0);
    assert_eq!((wood.zone.as_str(), hour(wood.since_ms)), ("bench", 72.0));
}

#[test]
fn carrying_an_instrument_between_zones_of_the_same_air_changes_nothing() {
    let moisture_pct = |moves: &[(f64, &str)]| {
        let mut shop = Shop::open();
        for (hour, zone) in moves {
            shop.put(*hour, "guitar", zone);
        }
        shop.plate(1.0, top("top", "guitar", Some(5.0)));
        shop.moisture_pct(31.0)
    };
    let stayed_pct = moisture_pct(&[(0.0, "bench")]);
    let carried_pct = moisture_pct(&[(0.0, "bench"), (0.5, "box"), (0.9, "bench")]);
    assert!((stayed_pct - carried_pct).abs() < 1e-12, "{stayed_pct} and {carried_pct}");
}

#[test]
fn a_plate_answers_to_what_the_sensor_read_not_to_the_set_point() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "bench");
    shop.plate(0.0, top("top", "guitar", Some(8.7)));
    for quarter in 0..=192 {
        shop.read("bench", f64::from(quarter) / 4.0, 22.0, 25.0);
    }
    let wood = shop.wood(48.0);
    assert!(wood.run(0).moisture_pct()[1] < 7.5, "{:?}", wood.run(0).moisture_pct());
    assert_eq!(wood.climate, Climate::Recorded);
    let house_pct = wood::emc_pct(22.0, 25.0).expect("house air");
    assert!((wood.emc_now_pct - house_pct).abs() < 1e-9 && (wood.emc_week_pct - house_pct).abs() < 1e-9);
    // Its face is ahead of its core, and a plate nobody reads air for says so.
    let profile: Vec<_> = wood.run(0).profile().collect();
    assert!(profile.first().map(|cell| cell.1) < profile.last().map(|cell| cell.1), "{profile:?}");
    assert!((profile.last().expect("cells").0 - 2.8).abs() < 0.2, "{profile:?}");
    assert_eq!(shop.wood(60.0).climate, Climate::Gap(ms(48.0)));
}

#[test]
fn the_week_is_a_mean_of_what_the_air_drew_wood_to() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "bench");
    // Six hours damp, eighteen dry, for eight days.
    for h in 0..=192 {
        shop.read("bench", f64::from(h), 20.0, if h % 24 < 6 { 60.0 } else { 40.0 });
    }
    // Wood Handbook eq. 4-5 at 20 °C, computed apart from us: 7.722 at 40 %; 60 % lies between 55 and 65 % (10.101, 11.996).
    let damp_pct = wood::emc_pct(20.0, 60.0).expect("air");
    let mean_pct = 0.25 * damp_pct + 0.75 * 7.722;
    assert!(
        (shop.wood(192.0).emc_week_pct - mean_pct).abs() < 0.05,
        "{} and {mean_pct}",
        shop.wood(192.0).emc_week_pct
    );
}

#[test]
fn an_instrument_that_waits_in_air_that_opens_it_is_warned_of() {
    let waiting = |zone: &str, moisture_pct: f64| {
        let mut shop = Shop::open();
        shop.put(0.0, "guitar", zone);
        shop.plate(0.0, top("top", "guitar", Some(moisture_pct)));
        shop.wood(0.0).run(0).waiting(TARGET)
    };
    assert_eq!(waiting("bench", 8.7), None, "in the band, and stays there");
    assert_eq!(waiting("bench", 5.0), None, "dry, and on its way back");
    let opens = waiting("house", 8.7).expect("25 % dries it");
    assert!(opens.at_ms > ms(0.0) && opens.at_ms < ms(48.0), "{opens:?}");
    assert!(opens.change_pct < -1.0 && opens.across_mm < -0.5, "{opens:?}");
    let already = waiting("house", 7.0).expect("below the band and drying on");
    assert_eq!(already.at_ms, ms(0.0));
    let swells = waiting("cellar", 8.7).expect("75 % swells it");
    assert!(swells.change_pct > 1.0 && swells.across_mm > 0.5, "{swells:?}");
}

#[test]
fn a_reading_costs_no_work_for_the_instruments_that_wait() {
    let mut shop = Shop::open();
    for n in 0..50 {
        let name = format!("guitar-{n}");
        shop.instrument(&name);
        shop.put(0.0, &name, "bench");
        shop.plate(0.0, top(&format!("top-{n}"), &name, Some(6.0)));
    }
    for quarter in 0..100 {
        shop.read("bench", f64::from(quarter) / 4.0, 21.0, 45.0);
    }
    assert_eq!(shop.forecasts.load(Ordering::SeqCst), 0, "nobody asked, so nobody looked ahead");
}

#[test]
fn readings_that_a_plate_still_feels_are_kept() {
    let mut shop = Shop::open();
    shop.put(0.0, "guitar", "bench");
    shop.plate(0.0, top("top", "guitar", None));
    for h in 0..=24 * 60 {
        shop.read("bench", f64::from(h), 22.0, 40.0 + 10.0 * (f64::from(h) / 50.0).sin());
    }
    let before_pct = shop.moisture_pct(24.0 * 60.0);
    let kept_ms = shop.bench.forget_readings_before("bench", ms(24.0 * 59.0)).expect("a zone");
    assert!((24.0 * 30.0..24.0 * 45.0).contains(&hour(kept_ms)), "kept from hour {}", hour(kept_ms));
    assert!((shop.moisture_pct(24.0 * 60.0) - before_pct).abs() < 1e-9);
}

#[test]
fn what_cannot_be_is_refused_with_how_to_mend_it() {
    let mut shop = Shop::open();
    shop.put(5.0, "guitar", "bench");
    shop.plate(5.0, top("top", "guitar", None));
    let moved = |instrument: &str, zone: &str| InstrumentMoved { instrument: id(instrument), zone: id(zone) };
    let plate = |change: fn(&mut PlateAdded)| {
        let mut plate = top("back", "guitar", None);
        change(&mut plate);
        Fact::PlateAdded(plate)
    };
    for (hour, fact, says) in [
        (6.0, Fact::InstrumentMoved(moved("lute", "bench")), "no instrument \"lute\""),
        (6.0, Fact::InstrumentMoved(moved("guitar", "attic")), "no zone \"attic\""),
        (4.0, Fact::InstrumentMoved(moved("guitar", "box")), "before it came to where it is"),
        (9.0, Fact::InstrumentMoved(moved("guitar", "box")), "in the future"),
        (6.0, Fact::PlateAdded(top("top", "guitar", None)), "the plate \"top\" is there already"),
        (6.0, plate(|plate| plate.instrument = id("lute")), "no instrument \"lute\""),
        (6.0, plate(|plate| plate.thickness_mm = 0.1), "thickness_mm is 0.1 mm"),
        (6.0, plate(|plate| plate.thickness_mm = f64::NAN), "thickness_mm is NaN"),
        (6.0, plate(|plate| plate.width_mm = 4000.0), "width_mm is 4000 mm"),
        (6.0, plate(|plate| plate.moisture_pct = Some(45.0)), "moisture_pct is 45 %"),
    ] {
        let refusal = shop.bench.admit(&fact, ms(hour), ms(6.0)).expect_err(says);
        assert!(refusal.to_string().contains(says) && !refusal.mend().is_empty(), "{refusal} should say: {says}");
    }
    // Two moves of one instrument are not admitted in one breath: the first may void the second.
    assert_eq!(clock::claims(&Fact::InstrumentMoved(moved("guitar", "box"))), [("instrument", "guitar")]);
    assert_eq!(clock::claims(&plate(|_| {})), [("plate", "back")]);
}

#[test]
fn every_plate_that_is_admitted_can_be_run_in_every_air_of_a_workshop() {
    for (temp_c, rh_pct) in [(-20.0, 1.0), (-20.0, 100.0), (60.0, 1.0), (60.0, 100.0)] {
        for (thickness_mm, faces_open) in [(0.3, FacesOpen::Both), (60.0, FacesOpen::One)] {
            let mut shop = Shop::open();
            shop.put(0.0, "guitar", "bench");
            for (n, species) in [SpeciesGroup::Cedar, SpeciesGroup::Birch].into_iter().enumerate() {
                let mut plate = top(&format!("plate-{n}"), "guitar", (n == 1).then_some(25.0));
                (plate.thickness_mm, plate.faces_open, plate.species, plate.cut) =
                    (thickness_mm, faces_open, species, Cut::Flat);
                shop.plate(0.0, plate);
            }
            shop.read("bench", 0.0, temp_c, rh_pct);
            let wood = shop.wood(30.0);
            for run in wood.runs() {
                run.back(TARGET);
                run.back_in_target_air(TARGET);
                run.waiting(TARGET);
                run.gluing(TARGET);
                assert!(run.closing_in_the_end().closes_mm.iter().all(|mm| mm.is_finite()));
                let [low_pct, likely_pct, high_pct] = run.moisture_pct();
                assert!(low_pct <= likely_pct && likely_pct <= high_pct && low_pct >= 0.0);
            }
        }
    }
}
