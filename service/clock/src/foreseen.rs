//! When a glue-up or coat that is only planned would reach its milestones: the same sum as a clock's, over the expected air.

use facts::TargetAge;

use crate::{
    Band, Bench, Law,
    ages::{Ages, HOUR_MS},
};

impl Bench {
    /// When each target age would be reached by a cure begun in a zone at an instant: earliest, likely and safe, ms, each
    /// at the edge of the outlook that a running cure's is told at; none where the expected air never gets there. Empty
    /// for a zone nobody set up.
    pub fn foreseen(&self, zone: &str, law: &Law, from_ms: i64, targets: &[TargetAge]) -> Vec<[Option<i64>; 3]> {
        let Some(&zone) = self.zone_of.get(zone) else { return Vec::new() };
        let air = self.air_of(zone);
        let ages = Ages::new(law.clone(), from_ms, air.past);
        let time = |age_h: f64, band: Band, floor_ms: i64| {
            Some(ages.time_of(ages.at(from_ms, band, air) + age_h, band, air)?.max(floor_ms))
        };
        let of_target = |target: &TargetAge| {
            let floor_ms = from_ms + (target.floor_h * HOUR_MS) as i64;
            [
                time(target.earliest_h, Band::Fast, floor_ms),
                time(target.likely_h, Band::Middle, floor_ms),
                time(target.safe_h, Band::Slow, floor_ms),
            ]
        };
        targets.iter().map(of_target).collect()
    }
}
