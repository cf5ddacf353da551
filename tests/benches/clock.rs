//! Speed of the clock alone: `cargo bench -p bench-tests --bench clock`.
//!
//! One reading into a zone with 100 open glue-ups against one with 100,000; the milestone times of one glue-up with a
//! year of five-minute readings behind it; the outlook of one zone. The figures stand in DEVELOPERS.md.
#![allow(missing_docs)]

use std::sync::Arc;

use bench::stock::{self, MINUTE_MS};
use clock::{Air, Bench, Law, Laws, Settings, UsualDay};
use divan::{Bencher, black_box};
use facts::VersionId;

fn main() {
    divan::main();
}

/// A law as a rule gives it is a table look-up; this one costs about the same.
struct Arrhenius;

impl Laws for Arrhenius {
    fn law(&self, _: &VersionId, _: &str) -> Result<Law, String> {
        Ok(Arc::new(|air: Air| physics::rate::arrhenius(air.temp_c, 20.0, 50.0).unwrap_or(0.0)))
    }
}

/// A zone with readings every five minutes up to `now_ms`, and `cures` glue-ups spread over eight rules.
fn zone_with(cures: usize, days: i64, now_ms: i64) -> Bench {
    let mut bench = Bench::new(Settings::default(), Arc::new(Arrhenius), Box::new(UsualDay));
    for recorded in stock::furniture(now_ms) {
        bench.take(&recorded);
    }
    let readings = days * 24 * 12;
    for i in 0..=readings {
        bench.take_reading(&stock::reading("bench", now_ms - (readings - i) * 5 * MINUTE_MS));
    }
    for i in 0..cures {
        // Begun within the last day, with months to go: none falls due while the bench runs.
        let started_ms = now_ms - (i as i64 % 1440) * MINUTE_MS;
        bench.take(&stock::cure(i, &format!("{:016x}", i % 8), "bench", started_ms, 5000.0));
    }
    bench
}

const NOW_MS: i64 = 1_772_438_400_000;

#[divan::bench(args = [100, 100_000], sample_count = 200, sample_size = 20)]
fn one_reading_into_a_zone_with_open_cures(bencher: Bencher<'_, '_>, cures: usize) {
    let mut bench = zone_with(cures, 10, NOW_MS);
    let mut at_ms = NOW_MS;
    bencher.bench_local(|| {
        at_ms += 5 * MINUTE_MS;
        bench.take_reading(&stock::reading("bench", at_ms));
        // The alarms are looked at after every reading; that belongs to its cost.
        black_box(bench.due(at_ms, 64));
        black_box(bench.next_wake());
    });
}

/// With two weeks behind it, which is all a forecast looks at; it is made anew after every reading.
#[divan::bench]
fn outlook_of_one_zone_with_two_weeks_of_readings(bencher: Bencher<'_, '_>) {
    let mut bench = zone_with(0, 14, NOW_MS);
    bencher.bench_local(|| {
        bench.look_again();
        black_box(bench.outlook("bench").expect("a zone").steps.len());
    });
}

#[divan::bench(args = ["begun a day ago", "begun a year ago"])]
fn milestone_times_of_one_cure_with_a_year_of_readings(bencher: Bencher<'_, '_>, begun: &str) {
    let mut bench = zone_with(0, 365, NOW_MS);
    let started_ms = NOW_MS - if begun == "begun a day ago" { 1440 } else { 1440 * 364 } * MINUTE_MS;
    bench.take(&stock::cure(1, "00000000000000aa", "bench", started_ms, 30.0));
    bencher.bench_local(|| {
        let cure = bench.cure("g-1").expect("it was taken in");
        black_box(bench.milestones(cure, black_box(NOW_MS)));
    });
}
