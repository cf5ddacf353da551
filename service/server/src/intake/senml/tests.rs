//! The RFC's rules of resolution, each with its example worked by hand beside it.

use super::*;

/// 2026-03-02 08:00 UTC.
const NOW_MS: i64 = 1_772_438_400_000;

fn pack(records: &str) -> (Vec<Resolved>, Vec<Refused>) {
    resolve(records.as_bytes(), NOW_MS).expect("a pack")
}

/// Name, ms, unit and value of each record.
#[track_caller]
fn check(records: &str, expected: &[(&str, i64, &str, f64)]) {
    let (resolved, refused) = pack(records);
    assert_eq!(refused, []);
    let found: Vec<_> = resolved.iter().map(|r| (r.name.as_str(), r.at_ms, r.unit.as_str(), r.value)).collect();
    assert_eq!(found, expected);
}

#[test]
fn section_4_1_base_fields_hold_from_their_record_on_and_names_are_joined() {
    // bn + n; bt + t: 1276020076 + 5 s; u of a record stands above bu.
    check(
        r#"[{"bn": "bench/north/", "bt": 1276020076, "bu": "Cel", "n": "temp", "v": 20.5},
            {"n": "rh", "u": "%RH", "t": 5, "v": 50},
            {"bn": "booth/", "n": "temp", "v": 25}]"#,
        &[
            ("bench/north/temp", 1_276_020_076_000, "Cel", 20.5),
            ("bench/north/rh", 1_276_020_081_000, "%RH", 50.0),
            ("booth/temp", 1_276_020_076_000, "Cel", 25.0),
        ],
    );
}

#[test]
fn section_4_5_3_times_below_two_to_the_28_are_relative_to_now() {
    // No time is now; -60 is a minute ago; 2^28 - 1 s ahead is still relative; 2^28 is 1978-07-04 21:24:16 UTC.
    check(
        r#"[{"bn": "a", "bu": "Cel", "v": 1}, {"t": -60, "v": 2}, {"t": 268435455, "v": 3}, {"t": 268435456, "v": 4},
            {"bt": -120, "t": 30, "v": 5}]"#,
        &[
            ("a", NOW_MS, "Cel", 1.0),
            ("a", NOW_MS - 60_000, "Cel", 2.0),
            ("a", NOW_MS + 268_435_455_000, "Cel", 3.0),
            ("a", 268_435_456_000, "Cel", 4.0),
            ("a", NOW_MS - 90_000, "Cel", 5.0),
        ],
    );
}

#[test]
fn section_4_5_4_base_value_and_value_are_added() {
    // 20 + 0.5, 20 - 1, and a new base value: 30 + 2.
    check(
        r#"[{"bn": "a", "bu": "Cel", "bv": 20, "v": 0.5}, {"v": -1}, {"bv": 30, "v": 2}]"#,
        &[("a", NOW_MS, "Cel", 20.5), ("a", NOW_MS, "Cel", 19.0), ("a", NOW_MS, "Cel", 32.0)],
    );
}

#[test]
fn a_record_of_base_fields_alone_measures_nothing() {
    check(r#"[{"bn": "a", "bt": 1276020076}, {"u": "Cel", "v": 1}]"#, &[("a", 1_276_020_076_000, "Cel", 1.0)]);
    check("[]", &[]);
}

#[test]
fn section_4_4_what_must_be_understood_and_is_not_refuses_the_pack() {
    for records in [
        r#"[{"n": "a", "u": "Cel", "v": 1, "shape_": 2}]"#,
        r#"[{"bver": 11, "n": "a", "v": 1}]"#,
        r#"[{"bver": 5, "n": "a", "v": 1}, {"bver": 10, "v": 1}]"#,
        r#"[{"n": "a", "v": 1, "vs": "x"}]"#,
        r#"[{"n": "a", "v": "1"}]"#,
        r#"[{"n": 7, "v": 1}]"#,
        r#"[7]"#,
        r#"{"n": "a", "v": 1}"#,
        "",
    ] {
        assert!(resolve(records.as_bytes(), NOW_MS).is_err(), "{records}");
    }
    // What need not be understood is passed over.
    check(r#"[{"n": "a", "u": "Cel", "v": 1, "shape": 2, "ut": 60}]"#, &[("a", NOW_MS, "Cel", 1.0)]);
}

#[test]
fn what_is_no_number_or_has_no_name_is_refused_by_row() {
    let (resolved, refused) = pack(
        r#"[{"n": "a", "vs": "warm"}, {"n": "a", "vb": true}, {"v": 1}, {"n": "-a", "v": 1}, {"n": "a", "s": 4}, {"n": "a", "v": 1, "t": -1e300}]"#,
    );
    assert_eq!(resolved, []);
    let told: Vec<_> = refused.iter().map(|r| (r.row, r.field.clone().unwrap_or_default())).collect();
    let expected = [(0, "vs"), (1, "vb"), (2, "n"), (3, "n"), (4, "s"), (5, "t")];
    assert_eq!(told, expected.map(|(row, field)| (row, field.to_string())));
}

fn made(records: &str, names: &[(&str, &str)]) -> (Vec<(String, Sample)>, Vec<usize>) {
    let names = names.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect();
    let (offers, refused) = readings(pack(records).0, None, &names);
    let place = |source: Source| format!("{}/{}", source.0, source.1.map_or(String::new(), |s| s.to_string()));
    let mut rows: Vec<usize> = refused.iter().map(|refused| refused.row).collect();
    rows.sort_unstable();
    (offers.into_iter().map(|offer| (place(offer.source), offer.sample)).collect(), rows)
}

#[test]
fn temperature_and_humidity_of_one_place_and_time_are_a_reading() {
    let records = r#"[{"bn": "Bench/North/", "bt": 1772438340, "n": "temp", "u": "Cel", "v": 20.5}, {"n": "rh", "u": "%RH", "v": 50},
        {"n": "battery", "u": "%EL", "v": 80}, {"t": 30, "n": "temp", "u": "K", "v": 293.15}, {"n": "temp", "u": "Cel", "v": 3}]"#;
    let (readings, refused) = made(records, &[]);
    let sample = Sample { at_ms: NOW_MS - 60_000, temp_c: 20.5, rh_pct: 50.0 };
    assert_eq!(readings, [("bench/north".to_string(), sample)]);
    // The battery is not of the air, the second temperature has no humidity, the third says the first again.
    assert_eq!(refused, [2, 3, 4]);
}

#[test]
fn a_device_that_cannot_be_told_its_name_is_known_by_its_beginning() {
    let records =
        r#"[{"bn": "urn:dev:mac:0024befffe804ff1:", "n": "t", "u": "Cel", "v": 20}, {"n": "h", "u": "%RH", "v": 50}]"#;
    let names = [("urn:dev:mac:", "booth"), ("urn:dev:mac:0024befffe804ff1", "bench/north")];
    assert_eq!(made(records, &names).0[0].0, "bench/north");
    assert_eq!(made(records, &[]).1, [0, 1]);
    // Without a sensor: zone/quantity.
    let records = r#"[{"n": "bench/t", "u": "Cel", "v": 20}, {"n": "bench/h", "u": "%RH", "v": 50}]"#;
    assert_eq!(made(records, &[]).0[0].0, "bench/");
}
