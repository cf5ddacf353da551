//! Fewer readings that look the same: a long stretch for a chart, with every extreme kept.

use crate::Air;

/// At most about `most` of the readings, in order: the stretch is cut into equal spans of time, and of each span the
/// first reading and the coldest, warmest, driest and dampest stay. Nothing is averaged, so that what is drawn was
/// measured. All of them stay when there are no more than `most`.
pub fn thinned(readings: &[(i64, Air)], most: usize) -> Vec<(i64, Air)> {
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else { return vec![] };
    if readings.len() <= most {
        return readings.to_vec();
    }
    // Five of each span may stay.
    let spans = (most / 5).max(1) as i64;
    let span_ms = ((last.0 - first.0) / spans + 1).max(1);
    let mut kept = Vec::with_capacity(most);
    for span in readings.chunk_by(|a, b| (a.0 - first.0) / span_ms == (b.0 - first.0) / span_ms) {
        let by = |of: fn(&Air) -> f64| {
            let order = move |a: &&(i64, Air), b: &&(i64, Air)| of(&a.1).total_cmp(&of(&b.1));
            [span.iter().min_by(order), span.iter().max_by(order)]
        };
        let mut stay: Vec<(i64, Air)> = [span.first(), span.last().filter(|end| end.0 == last.0)]
            .into_iter()
            .chain(by(|air| air.temp_c))
            .chain(by(|air| air.rh_pct))
            .flatten()
            .copied()
            .collect();
        stay.sort_by_key(|(at_ms, _)| *at_ms);
        stay.dedup_by_key(|(at_ms, _)| *at_ms);
        kept.extend(stay);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn week() -> Vec<(i64, Air)> {
        let reading = |i: i64| {
            let swing = (i as f64 / 288.0 * std::f64::consts::TAU).sin();
            let spike = if i == 1234 { 9.0 } else { 0.0 };
            (i * 300_000, Air { temp_c: 20.0 + swing + spike, rh_pct: 48.0 - 5.0 * swing })
        };
        (0..2016).map(reading).collect()
    }

    #[test]
    fn extremes_ends_and_order_are_kept() {
        let (all, few) = (week(), thinned(&week(), 200));
        assert!(few.len() <= 250, "{} readings are not few", few.len());
        let most = |readings: &[(i64, Air)], of: fn(&Air) -> f64| {
            readings.iter().map(|(_, air)| of(air)).fold(f64::NEG_INFINITY, f64::max)
        };
        for of in [|a: &Air| a.temp_c, |a: &Air| -a.temp_c, |a: &Air| a.rh_pct, |a: &Air| -a.rh_pct] {
            assert_eq!(most(&few, of).to_bits(), most(&all, of).to_bits());
        }
        assert_eq!((few.first(), few.last()), (all.first(), all.last()));
        assert!(few.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert!(few.iter().all(|reading| all.contains(reading)), "nothing drawn that was not measured");
    }

    #[test]
    fn a_short_stretch_stays_whole() {
        assert_eq!(thinned(&week()[..50], 50).len(), 50);
        assert!(thinned(&[], 10).is_empty());
    }
}
