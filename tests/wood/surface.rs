//! The surface at the moment of application, and the dew point while a film is wet.

use bench::stock::{cure, furniture, id, instant, recorded};
use clock::{Air, Bench, Law, Laws, Settings, Surface, UsualDay};
use facts::{Bound, CureKind, Fact, Finding, Level, Limit, Reading, RhPct, TempC};

use super::shop::{START_MS, ms};

const ROOM: Air = Air { temp_c: 20.0, rh_pct: 50.0 };

fn levels(findings: &[Finding]) -> Vec<Level> {
    findings.iter().map(|finding| finding.level).collect()
}

/// PsychroLib 2.5.0: the dew point of 20 °C and 50 % is 9.272 °C, of 80 % 16.447 °C. The 3 K of ISO 8502-4 (guidance) is
/// the number of coating practice, from memory.
#[test]
fn a_surface_is_held_against_the_dew_point_of_the_room() {
    let cold = |temp_c| Surface::new(ROOM, Some(temp_c));
    assert!((cold(12.0).spread_k() - 2.728).abs() < 0.005);
    for (temp_c, expected) in [
        (20.0, vec![]),
        (12.3, vec![]),
        (12.2, vec![Level::Caution]),
        (9.3, vec![Level::Caution]),
        (9.2, vec![Level::Defect]),
        (-3.0, vec![Level::Defect, Level::Defect]),
    ] {
        for kind in [CureKind::Coat, CureKind::GlueUp] {
            assert_eq!(levels(&cold(temp_c).findings(kind)), expected, "{temp_c} °C, {kind:?}");
        }
    }
    let wet = &cold(5.0).findings(CureKind::Coat)[0];
    assert!(wet.what.contains("5.0 °C, 4.3 K below the dew point") && !wet.mend.is_empty(), "{wet:?}");
}

#[test]
fn a_surface_nobody_measured_is_as_warm_as_the_room_and_a_coat_says_so() {
    let surface = Surface::new(ROOM, None);
    assert_eq!(surface.air(), ROOM);
    let said = surface.findings(CureKind::Coat);
    assert_eq!(levels(&said), [Level::Note]);
    assert!(
        said[0].what.contains("the air's 20.0 °C was taken") && said[0].mend.contains("measure its surface"),
        "{said:?}"
    );
    assert_eq!(surface.findings(CureKind::GlueUp), []);
    let damp = Surface::new(Air { temp_c: 20.0, rh_pct: 85.0 }, None).findings(CureKind::Coat);
    assert_eq!(levels(&damp), [Level::Caution]);
    assert!(damp[0].what.contains("No surface temperature was given"), "{damp:?}");
}

/// PsychroLib 2.5.0: 1169.4 Pa of vapour at 20 °C and 50 %, saturation 1705.4 Pa at 15 °C: 68.6 % at a surface of 15 °C.
#[test]
fn the_air_at_a_cold_surface_is_cold_and_damp() {
    let at = Surface::new(ROOM, Some(15.0)).air();
    assert!((at.rh_pct - 100.0 * 1169.4 / 1705.4).abs() < 0.01 && at.temp_c == 15.0, "{at:?}");
    assert_eq!(Surface::new(ROOM, Some(5.0)).air(), Air { temp_c: 5.0, rh_pct: 100.0 });
    assert!(Surface::new(ROOM, Some(28.0)).air().rh_pct < 32.0, "warmed wood is drier than the room");
}

struct Steady;

impl Laws for Steady {
    fn law(&self, _: &facts::VersionId, _: &str) -> Result<Law, String> {
        Ok(std::sync::Arc::new(|_| 1.0))
    }
}

/// PsychroLib 2.5.0 at 20 °C: 3.55 K above the dew point at 80 %, 0.83 K at 95 %.
#[test]
fn air_that_comes_near_its_dew_point_breaks_the_limit_of_a_young_film_and_of_no_other() {
    let mut bench = Bench::new(Settings::default(), std::sync::Arc::new(Steady), Box::new(UsualDay));
    furniture(START_MS).iter().for_each(|fact| bench.take(fact));
    let dew = |until_h| Limit { name: "dew point".into(), bound: Bound::BelowSpreadK(3.0), until_h, says: "x".into() };
    for (n, until_h) in [(0, 1.0), (1, 3.0)] {
        let Fact::CureBegun(begun) = cure(n, "any", "bench", START_MS, 24.0).fact else { panic!("a cure") };
        let begun = facts::CureBegun { limits: vec![dew(until_h)], ..(*begun).clone() };
        bench.take(&recorded(9 + n as i64, START_MS, Fact::CureBegun(begun.into())));
    }
    for (hour, rh_pct) in [(0.0, 80.0), (1.0, 80.0), (2.0, 95.0), (3.0, 80.0)] {
        bench.take_reading(&Reading {
            zone: id("bench"),
            sensor: None,
            at: instant(ms(hour)),
            temp_c: TempC::new(20.0).expect("°C"),
            rh_pct: RhPct::new(rh_pct).expect("%"),
        });
    }
    let since = |cure: &str| {
        let broken = bench.broken_limits(bench.cure(cure).expect("a cure"), ms(4.0));
        broken.first().map(|(_, since_ms, air)| (*since_ms, air.rh_pct))
    };
    assert_eq!(since("g-0"), None, "it was dry to touch by then");
    assert_eq!(since("g-1"), Some((ms(2.0), 95.0)));
}

/// Bounds are added, never changed: a limit stored before there was a dew point among them reads as it did.
#[test]
fn a_stored_dew_point_limit_reads_beside_the_older_ones() {
    for (text, bound) in
        [(r#"{"below_spread_k":3.0}"#, Bound::BelowSpreadK(3.0)), (r#"{"above_rh_pct":65.0}"#, Bound::AboveRhPct(65.0))]
    {
        let stored = format!(r#"{{"name":"x","bound":{text},"until_h":1.0,"says":"y"}}"#);
        let limit: Limit = serde_json::from_str(&stored).expect("a stored limit");
        assert_eq!(limit.bound, bound);
        assert_eq!(serde_json::to_string(&limit).expect("a limit has a form"), stored);
    }
}
