//! The stored form of what is said of plates and places. Kinds are added, never changed: these lines must read for ever.

use bench::stock::id;
use facts::{Bound, Fact, InstrumentMoved, Limit};

use super::shop::top;

#[test]
fn a_stored_move_and_a_stored_plate_read_as_they_were_said() {
    for (text, fact) in [
        (
            r#"{"kind":"instrument_moved","instrument":"guitar","zone":"bench"}"#,
            Fact::InstrumentMoved(InstrumentMoved { instrument: id("guitar"), zone: id("bench") }),
        ),
        (
            r#"{"kind":"plate_added","id":"top","instrument":"guitar","name":"top","species":"spruce","cut":"quarter","thickness_mm":2.8,"width_mm":400.0,"faces_open":"one"}"#,
            Fact::PlateAdded(top("top", "guitar", None)),
        ),
        (
            r#"{"kind":"plate_added","id":"top","instrument":"guitar","name":"top","species":"spruce","cut":"quarter","thickness_mm":2.8,"width_mm":400.0,"faces_open":"one","moisture_pct":6.5}"#,
            Fact::PlateAdded(top("top", "guitar", Some(6.5))),
        ),
    ] {
        assert_eq!(serde_json::from_str::<Fact>(text).expect("a stored fact"), fact);
        assert_eq!(serde_json::to_string(&fact).expect("a fact has a form"), text);
    }
}

#[test]
fn a_stored_dew_point_limit_reads_beside_the_older_ones() {
    for (text, bound) in
        [(r#"{"below_spread_k":3.0}"#, Bound::BelowSpreadK(3.0)), (r#"{"above_rh_pct":65.0}"#, Bound::AboveRhPct(65.0))]
    {
        let stored = format!(r#"{{"name":"x","bound":{text},"until_h":1.0,"says":"y"}}"#);
        assert_eq!(serde_json::from_str::<Limit>(&stored).expect("a stored limit").bound, bound);
    }
}
