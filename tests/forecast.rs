//! The forecast, measured on air that others recorded, and held to be sane where little is known.
//!
//! Protocol: readings enter a bench one by one, and every quarter of an hour it is asked for its outlook; nothing later
//! than that instant is in it. The warm-up of 48 h is the least from which a daily shape can be told from one day's
//! weather; every later origin with a reading at its target counts, for all three methods alike. Persistence holds the
//! last reading. The hourly mean is that of all readings so far in the hour of day of the target. The set-point given is
//! that of any bench, 20 °C and 50 %: nothing is known of the office.

use std::{fmt::Write, sync::Arc};

use bench::stock::{self, id, instant, recorded};
use clock::{Air, Bench, Expected, Law, Laws, STEP_MS, STEPS, Settings, UsualDay};
use facts::{AirPlanned, Fact, Reading, RhPct, TempC, VersionId, ZoneSet};

const HOUR_MS: i64 = 3_600_000;
const MONDAY_MS: i64 = 1_772_438_400_000;
const HORIZONS_H: [i64; 3] = [1, 6, 24];

struct NoLaws;

impl Laws for NoLaws {
    fn law(&self, _: &VersionId, _: &str) -> Result<Law, String> {
        Err("nothing cures here".into())
    }
}

/// A bench with one zone and nothing in it.
fn room() -> Bench {
    let mut bench = Bench::new(Settings::default(), Arc::new(NoLaws), Box::new(UsualDay));
    bench.take(&recorded(1, MONDAY_MS, stock::zone("room")));
    bench
}

fn read(bench: &mut Bench, at_ms: i64, air: Air) {
    let (temp_c, rh_pct) = (TempC::new(air.temp_c).expect("°C"), RhPct::new(air.rh_pct).expect("%"));
    bench.take_reading(&Reading { zone: id("room"), sensor: None, at: instant(at_ms), temp_c, rh_pct });
}

fn expected(bench: &Bench, at_ms: i64) -> Expected {
    bench.outlook("room").expect("a zone").expected_at(at_ms)
}

/// The office: instants, as if its local time were UTC, and airs.
fn office() -> Vec<(i64, Air)> {
    let path = bench::root().join("tests/reference/indoor_office.csv");
    let text = std::fs::read_to_string(path).expect("the office is there");
    assert!(text.starts_with("# source: "), "a table says where it is from");
    let row = |line: &str| {
        let mut cells = line.split(',');
        let at = format!("{}Z", cells.next().expect("a time"));
        let mut number = || cells.next().and_then(|cell| cell.parse().ok()).expect("a number");
        (bench::ms(&at), Air { temp_c: number(), rh_pct: number() })
    };
    text.lines().skip(2).map(row).collect()
}

/// Mean absolute errors of one quantity at one horizon: ours, persistence, mean of that hour of day; and how often the
/// truth lay in the band.
#[derive(Clone, Copy, Default)]
struct Score {
    errors: [f64; 3],
    covered: f64,
    n: f64,
}

impl Score {
    fn add(&mut self, truth: f64, foreseen: [f64; 3], half_width: f64) {
        for (sum, foreseen) in self.errors.iter_mut().zip(foreseen) {
            *sum += (foreseen - truth).abs();
        }
        self.covered += f64::from((foreseen[0] - truth).abs() <= half_width);
        self.n += 1.0;
    }

    fn means(self) -> [f64; 3] {
        self.errors.map(|sum| sum / self.n)
    }
}

/// Temperature and relative humidity at each horizon.
fn measure(office: &[(i64, Air)], warm_up_h: i64) -> [[Score; 3]; 2] {
    let mut scores = [[Score::default(); 3]; 2];
    let mut hours = [(0.0, 0.0, 0.0); 24];
    let hour_of_day = |at_ms: i64| at_ms.div_euclid(HOUR_MS).rem_euclid(24) as usize;
    let mut bench = room();
    let warm_ms = office[0].0 + warm_up_h * HOUR_MS;
    for &(at_ms, air) in office {
        read(&mut bench, at_ms, air);
        let sum = &mut hours[hour_of_day(at_ms)];
        *sum = (sum.0 + air.temp_c, sum.1 + air.rh_pct, sum.2 + 1.0);
        if at_ms < warm_ms || at_ms % STEP_MS != 0 {
            continue;
        }
        for (horizon, ahead_h) in HORIZONS_H.into_iter().enumerate() {
            let target_ms = at_ms + ahead_h * HOUR_MS;
            let Ok(i) = office.binary_search_by_key(&target_ms, |(at_ms, _)| *at_ms) else { continue };
            let (truth, ours, hour) = (office[i].1, expected(&bench, target_ms), hours[hour_of_day(target_ms)]);
            let [temp, rh] = &mut scores;
            temp[horizon].add(truth.temp_c, [ours.air.temp_c, air.temp_c, hour.0 / hour.2], ours.spread_k);
            rh[horizon].add(truth.rh_pct, [ours.air.rh_pct, air.rh_pct, hour.1 / hour.2], ours.spread_rh_pct);
        }
    }
    scores
}

fn table(scores: &[[Score; 3]; 2]) -> String {
    let mut text = String::from(
        "| | horizon | forecast | persistence | hourly mean | in the band | origins |\n|---|---|---|---|---|---|---|\n",
    );
    for (quantity, unit, scores) in [("temperature", "K", scores[0]), ("humidity", "% RH", scores[1])] {
        for (ahead_h, score) in HORIZONS_H.iter().zip(scores) {
            let [ours, persistence, hourly] = score.means();
            let (covered, n) = (100.0 * score.covered / score.n, score.n);
            writeln!(
                text,
                "| {quantity}, {unit} | {ahead_h} h | {ours:.2} | {persistence:.2} | {hourly:.2} | {covered:.0} % | {n} |"
            )
            .expect("text grows");
        }
    }
    text
}

#[test]
fn an_office_is_foreseen_better_than_by_holding_the_last_reading_or_by_its_hourly_mean() {
    let office = office();
    let scores = measure(&office, 48);
    println!("after 48 h\n{}\nafter 24 h, for comparison\n{}", table(&scores), table(&measure(&office, 24)));
    for of_quantity in scores {
        for (ahead_h, score) in HORIZONS_H.iter().zip(of_quantity) {
            let [ours, persistence, hourly] = score.means();
            assert!(ours <= persistence, "at {ahead_h} h {ours} against persistence {persistence}");
            assert!(*ahead_h == 1 || ours < hourly, "at {ahead_h} h {ours} against the hourly mean {hourly}");
        }
        let (covered, n) = of_quantity.iter().fold((0.0, 0.0), |(c, n), score| (c + score.covered, n + score.n));
        let share = covered / n;
        assert!((0.75..=0.90).contains(&share), "{share} of what came lay in the band");
    }
}

#[test]
fn the_table_in_the_developers_page_is_what_is_measured_here() {
    let page = std::fs::read_to_string(bench::root().join("DEVELOPERS.md")).expect("DEVELOPERS.md is there");
    let table = table(&measure(&office(), 48));
    assert!(page.contains(&table), "put this under \"Forecast\" in DEVELOPERS.md:\n{table}");
}

/// The band opens from nothing and never closes again; the air stays what a room can have.
#[track_caller]
fn sane(bench: &Bench, what: &str) {
    let outlook = bench.outlook("room").expect("a zone");
    assert!(outlook.steps.len() > STEPS, "{what}: {} steps", outlook.steps.len());
    for pair in outlook.steps.windows(2) {
        assert!(pair[0].spread_k <= pair[1].spread_k + 1e-9, "{what}: the band closes at {pair:?}");
    }
    for step in &outlook.steps {
        assert!(
            (-20.0..=60.0).contains(&step.air.temp_c) && (1.0..=100.0).contains(&step.air.rh_pct),
            "{what}: {step:?}"
        );
        assert!(step.spread_k.is_finite() && step.spread_k < 10.0, "{what}: {step:?}");
        assert!(step.spread_rh_pct.is_finite() && step.spread_rh_pct < 60.0, "{what}: {step:?}");
    }
    let last = outlook.steps[STEPS];
    assert!(last.spread_k >= 0.5 && last.spread_rh_pct >= 2.0, "{what}: too sure after three days: {last:?}");
}

fn swing(at_ms: i64) -> Air {
    let day = at_ms.rem_euclid(24 * HOUR_MS) as f64 / (24 * HOUR_MS) as f64 * std::f64::consts::TAU;
    Air { temp_c: 18.0 + 3.0 * day.sin(), rh_pct: 45.0 + 5.0 * day.cos() }
}

fn lived(hours: impl IntoIterator<Item = (i64, i64)>) -> Bench {
    let mut bench = room();
    for (from_h, to_h) in hours {
        (from_h * 12..=to_h * 12).for_each(|i| {
            let at_ms = MONDAY_MS + i * HOUR_MS / 12;
            read(&mut bench, at_ms, swing(at_ms));
        });
    }
    bench
}

#[test]
fn the_outlook_is_sane_with_a_fortnight_a_day_an_hour_one_reading_and_a_gap() {
    for (what, hours) in [
        ("a fortnight", vec![(0, 336)]),
        ("two days", vec![(0, 48)]),
        ("a day", vec![(0, 24)]),
        ("an hour", vec![(0, 1)]),
        ("one reading", vec![(0, 0)]),
        ("a gap of three days", vec![(0, 30), (102, 104)]),
        ("one reading after a year", vec![(0, 24), (8760, 8760)]),
    ] {
        let bench = lived(hours);
        let (at_ms, air) = bench.timeline("room").and_then(|timeline| timeline.last()).expect("a reading");
        let begins = expected(&bench, at_ms);
        assert!((begins.air.temp_c - air.temp_c).abs() < 1e-9, "{what}: {begins:?} is not the last reading");
        assert!((begins.air.rh_pct - air.rh_pct).abs() < 1e-9, "{what}: {begins:?} is not the last reading");
        assert!(begins.spread_k < 1e-9 && begins.spread_rh_pct < 1e-9, "{what}: {begins:?}");
        sane(&bench, what);
    }
    let outlook = room();
    let held = expected(&outlook, MONDAY_MS);
    assert_eq!(held.air, Air { temp_c: 20.0, rh_pct: 50.0 }, "without a sensor the set-point stands in");
    assert_eq!(held.spread_k, 2.0);
}

#[test]
fn a_regular_day_is_foreseen_and_the_band_is_narrower_than_without_history() {
    let bench = lived([(0, 336)]);
    for ahead_h in [3, 9, 15, 30, 70] {
        let at_ms = MONDAY_MS + (336 + ahead_h) * HOUR_MS;
        let (ours, truth) = (expected(&bench, at_ms), swing(at_ms));
        assert!((ours.air.temp_c - truth.temp_c).abs() < 0.35, "{ours:?} is {truth:?}");
        assert!((ours.air.rh_pct - truth.rh_pct).abs() < 4.0, "{ours:?} is {truth:?}");
        assert!(ours.spread_k < 1.0, "{ours:?}");
    }
}

/// A plan for the room from and until hours after [`MONDAY_MS`].
fn plan(bench: &mut Bench, hours: (i64, i64), temp_c: f64, rh_pct: Option<f64>) {
    let n = bench.plans().len();
    let at = |hour: i64| instant(MONDAY_MS + hour * HOUR_MS);
    let plan = AirPlanned {
        id: id(&format!("plan-{n}")),
        zone: id("room"),
        from: at(hours.0),
        until: at(hours.1),
        temp_c: TempC::new(temp_c).expect("°C"),
        rh_pct: rh_pct.map(|rh_pct| RhPct::new(rh_pct).expect("%")),
    };
    bench.take(&recorded(n as i64 + 2, MONDAY_MS, Fact::AirPlanned(plan)));
}

#[test]
fn a_heated_evening_is_followed_within_hours_dries_the_air_and_is_left_again() {
    let mut bench = lived([(0, 336)]);
    let at = |hour: i64| MONDAY_MS + (336 + hour) * HOUR_MS;
    let before = |hour| expected(&lived([(0, 336)]), at(hour));
    plan(&mut bench, (346, 350), 28.0, None);
    sane_but_held(&bench);
    assert_eq!(expected(&bench, at(10)), before(10), "nothing changes before it begins");
    let half = expected(&bench, at(10) + HOUR_MS / 2).air.temp_c;
    let (cold, warm) = (before(10).air.temp_c, expected(&bench, at(14)));
    assert!(half > cold + 0.5 * (28.0 - cold) && half < 27.0, "half an hour in it is {half}");
    assert!((warm.air.temp_c - 28.0).abs() < 0.1, "{warm:?}");
    // The water in the air stays what it was, so that warmer air is dryer.
    let vapour_pa = |air: Air| physics::air::vapour_pressure_pa(air.temp_c, air.rh_pct).expect("a room's air");
    assert!((vapour_pa(warm.air) / vapour_pa(before(14).air) - 1.0).abs() < 1e-6, "{warm:?}");
    assert!(warm.spread_k > 1.9, "a set-point is not kept to the tenth: {warm:?}");
    let after = expected(&bench, at(18));
    assert!((after.air.temp_c - before(18).air.temp_c).abs() < 0.05, "{after:?}");
    // What is repeated past the end is a day without the plan.
    let repeated = expected(&bench, at(24 * 9 + 14));
    assert!((repeated.air.temp_c - before(24 * 9 + 14).air.temp_c).abs() < 0.05, "{repeated:?}");
}

/// With a plan the band may close again behind it; everything else holds.
fn sane_but_held(bench: &Bench) {
    let steps = &bench.outlook("room").expect("a zone").steps;
    for pair in steps.windows(2) {
        let jump_k = (pair[1].air.temp_c - pair[0].air.temp_c).abs();
        // Of the 13 K to a booth at 28 °C a quarter of an hour sees two fifths.
        assert!(jump_k < 5.5, "the air jumps by {jump_k} K within a quarter of an hour");
    }
}

#[test]
fn a_plan_on_the_third_day_is_foreseen_and_not_repeated_for_ever() {
    let mut bench = lived([(0, 336)]);
    plan(&mut bench, (336 + 60, 336 + 70), 30.0, Some(40.0));
    let in_plan = expected(&bench, MONDAY_MS + (336 + 66) * HOUR_MS).air;
    assert!((in_plan.temp_c - 30.0).abs() < 0.1 && (in_plan.rh_pct - 40.0).abs() < 0.5, "{in_plan:?}");
    for days in [1, 2, 10] {
        let later = expected(&bench, MONDAY_MS + (336 + 66 + 24 * days) * HOUR_MS).air;
        assert!(later.temp_c < 22.0, "{later:?} {days} days later");
    }
}

#[test]
fn what_a_plan_made_of_the_air_is_not_learned_as_the_rooms_own() {
    let heated = |at_ms: i64| (MONDAY_MS + 300 * HOUR_MS..=MONDAY_MS + 310 * HOUR_MS).contains(&at_ms);
    let (mut told, mut untold) = (room(), room());
    plan(&mut told, (300, 310), 32.0, None);
    for i in 0..=336 * 12 {
        let at_ms = MONDAY_MS + i * HOUR_MS / 12;
        let air = if heated(at_ms) { Air { temp_c: 32.0, rh_pct: 25.0 } } else { swing(at_ms) };
        read(&mut told, at_ms, air);
        read(&mut untold, at_ms, air);
    }
    // At an hour of the day that was heated.
    let at_ms = MONDAY_MS + (336 + 64) * HOUR_MS;
    let truth = swing(at_ms).temp_c;
    let (knowing, fooled) = (expected(&told, at_ms), expected(&untold, at_ms));
    assert!((knowing.air.temp_c - truth).abs() < (fooled.air.temp_c - truth).abs(), "{knowing:?} {fooled:?} {truth}");
    assert!(knowing.spread_k < fooled.spread_k, "{knowing:?} {fooled:?}");
}

#[test]
fn a_new_set_point_draws_a_warm_box_to_itself_whatever_was_before() {
    let mut bench = lived([(0, 168)]);
    let now_ms = MONDAY_MS + 168 * HOUR_MS + 60_000;
    let (set_temp_c, set_rh_pct) = (TempC::new(35.0).expect("°C"), RhPct::new(40.0).expect("%"));
    let set = ZoneSet { id: id("room"), name: "warm box".into(), set_temp_c, set_rh_pct };
    bench.take(&recorded(2, now_ms, Fact::ZoneSet(set)));
    let soon = expected(&bench, now_ms + 3 * HOUR_MS);
    assert!((soon.air.temp_c - 35.0).abs() < 0.2 && (soon.air.rh_pct - 40.0).abs() < 2.0, "{soon:?}");
    sane(&bench, "a new set-point");
}
