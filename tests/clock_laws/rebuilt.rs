//! A board is computed from facts and may be thrown away: rebuilt from the journal it is what it was, in whatever
//! order the readings came and however often they were corrected.

use clock::{AlertState, Bench};
use facts::{Bound, CureRuleChanged, Fact, HygrometerCalibrated, Limit, Meets, Reading, Salt, SaltPoint};
use proptest::prelude::*;

use super::{
    bench, closing, exact,
    shop::{
        Shop, coat, glue_up, hour, id, instant, job, loaded, mix, ms, planned, plate, reading, step, strings, zone_set,
    },
    stage,
    view::{View, same},
};

/// One thing that may happen in a shop. Numbers pick among what there is; what cannot be is refused and skipped.
#[derive(Debug, Clone)]
enum Event {
    Reading { zone: usize, sensor: usize, ago_h: f64, temp_c: f64, rh_pct: f64 },
    Calibrate { sensor: usize, ago_h: f64, off_pct: f64 },
    Backlog { zone: usize, temp_c: f64 },
    Stage,
    Begin { zone: usize, ago_h: f64, law: usize, clamps: usize, of_job: bool },
    Coat { ago_h: f64, law: usize, surface: usize },
    Stir { ago_h: f64, law: usize },
    Carry { cure: usize, zone: usize, ago_h: f64 },
    Put { zone: usize, ago_h: f64 },
    ClampsOff { cure: usize },
    PutAway { clamp: usize, back: bool },
    SetDay { in_days: u32, usual: bool },
    Withdraw { cure: usize },
    ChangeRule { cure: usize, law: usize, stages: usize },
    Observe { cure: usize, stage: usize, reached: bool, ago_h: f64 },
    CloseJob,
    ReopenJob,
    SetZone { zone: usize, temp_c: f64 },
    Plan { zone: usize, in_h: f64, for_h: f64, temp_c: f64 },
    CancelPlan { plan: usize },
    Acknowledge { alert: usize },
    Snooze { alert: usize, for_h: f64 },
    Tell,
}

const ZONES: [&str; 2] = ["bench", "box"];
/// Readings of a person, and of two sensors.
const SENSORS: [Option<&str>; 3] = [None, Some("north"), Some("south")];
const LAWS: [&str; 5] = ["linear", "arrhenius-50", "vpd-ratio", "never", "lost"];

fn event() -> impl Strategy<Value = Event> {
    let zone = 0..2_usize;
    let ago_h = prop_oneof![3 => Just(0.0), 1 => 0.0..6.0_f64];
    let (temp_c, which) = (5.0..30.0_f64, 0..40_usize);
    prop_oneof![
        6 => (zone.clone(), 0..3_usize, ago_h.clone(), temp_c.clone(), 20.0..80.0_f64)
            .prop_map(|(zone, sensor, ago_h, temp_c, rh_pct)| Event::Reading { zone, sensor, ago_h, temp_c, rh_pct }),
        1 => (1..3_usize, ago_h.clone(), -9.0..9.0_f64)
            .prop_map(|(sensor, ago_h, off_pct)| Event::Calibrate { sensor, ago_h, off_pct }),
        1 => (zone.clone(), temp_c.clone()).prop_map(|(zone, temp_c)| Event::Backlog { zone, temp_c }),
        4 => (zone.clone(), ago_h.clone(), 0..LAWS.len(), 0..3_usize, any::<bool>())
            .prop_map(|(zone, ago_h, law, clamps, of_job)| Event::Begin { zone, ago_h, law, clamps, of_job }),
        3 => (ago_h.clone(), 0..LAWS.len(), 0..2_usize)
            .prop_map(|(ago_h, law, surface)| Event::Coat { ago_h, law, surface }),
        1 => (ago_h.clone(), 0..LAWS.len()).prop_map(|(ago_h, law)| Event::Stir { ago_h, law }),
        1 => (zone.clone(), ago_h.clone()).prop_map(|(zone, ago_h)| Event::Put { zone, ago_h }),
        1 => (which.clone(), 0..3_usize, any::<bool>(), ago_h.clone())
            .prop_map(|(cure, stage, reached, ago_h)| Event::Observe { cure, stage, reached, ago_h }),
        2 => (which.clone(), zone.clone(), ago_h).prop_map(|(cure, zone, ago_h)| Event::Carry { cure, zone, ago_h }),
        1 => which.clone().prop_map(|cure| Event::ClampsOff { cure }),
        1 => (0..2_usize, any::<bool>()).prop_map(|(clamp, back)| Event::PutAway { clamp, back }),
        1 => (0..3_u32, any::<bool>()).prop_map(|(in_days, usual)| Event::SetDay { in_days, usual }),
        1 => which.clone().prop_map(|cure| Event::Withdraw { cure }),
        2 => (which.clone(), 0..LAWS.len(), 0..3_usize)
            .prop_map(|(cure, law, stages)| Event::ChangeRule { cure, law, stages }),
        1 => Just(Event::CloseJob),
        1 => Just(Event::ReopenJob),
        1 => Just(Event::Stage),
        1 => (zone.clone(), temp_c.clone()).prop_map(|(zone, temp_c)| Event::SetZone { zone, temp_c }),
        1 => (zone, -2.0..6.0_f64, 0.5..12.0_f64, temp_c)
            .prop_map(|(zone, in_h, for_h, temp_c)| Event::Plan { zone, in_h, for_h, temp_c }),
        1 => which.clone().prop_map(|plan| Event::CancelPlan { plan }),
        1 => which.clone().prop_map(|alert| Event::Acknowledge { alert }),
        1 => (which, 0.1..5.0_f64).prop_map(|(alert, for_h)| Event::Snooze { alert, for_h }),
        5 => Just(Event::Tell),
    ]
}

/// Events with the hours between them.
fn history() -> impl Strategy<Value = Vec<(f64, Event)>> {
    prop::collection::vec((prop_oneof![3 => 0.0..0.5_f64, 1 => 0.0..6.0_f64], event()), 1..60)
}

impl Shop {
    fn live(&mut self, now_h: f64, event: &Event) {
        let n_cures = self.bench.cures().len().max(1);
        let cure = |cure: usize| id(&format!("cure-{}", cure % n_cures));
        let alert = |alert: usize| self.bench.alerts().keys().nth(alert % self.bench.alerts().len().max(1)).cloned();
        let (hour, fact) = match *event {
            Event::Reading { zone, sensor, ago_h, temp_c, rh_pct } => {
                let reading = reading(ZONES[zone], now_h - ago_h, temp_c, rh_pct);
                return self.take_reading(Reading { sensor: SENSORS[sensor].map(id), ..reading });
            }
            Event::Calibrate { sensor, ago_h, off_pct } => {
                let id = id(SENSORS[sensor].expect("the first is nobody"));
                (now_h - ago_h, calibrated(id, off_pct))
            }
            Event::Backlog { zone, temp_c } => {
                return self.record(ZONES[zone], (now_h - 4.0, now_h), 0.5, |hour| temp_c + hour.sin());
            }
            Event::Begin { zone, ago_h, law, clamps, of_job } => {
                let n = self.bench.cures().len();
                let begun = begun(n, LAWS[law], ZONES[zone], now_h - ago_h, clamps, of_job);
                (now_h - ago_h, Fact::CureBegun(begun.into()))
            }
            Event::Coat { ago_h, law, surface } => {
                let milestones =
                    [stage("recoat_opens", 1.0), closing(stage("recoat_closes", 8.0)), stage("rub_out", 24.0)];
                let cure = format!("cure-{}", self.bench.cures().len());
                let begun = coat(&cure, LAWS[law], ["top", "Back"][surface], now_h - ago_h, &milestones);
                (now_h - ago_h, Fact::CureBegun(begun.into()))
            }
            Event::Stir { ago_h, law } => {
                (now_h - ago_h, mix(&format!("mix-{}", self.bench.mixes().len()), LAWS[law], 2.0))
            }
            Event::Carry { cure: n, zone, ago_h } => {
                (now_h - ago_h, Fact::CureMoved { cure: cure(n), zone: id(ZONES[zone]) })
            }
            Event::Put { zone, ago_h } => {
                let moved = facts::InstrumentMoved { instrument: id("guitar"), zone: id(ZONES[zone]) };
                (now_h - ago_h, Fact::InstrumentMoved(moved))
            }
            Event::ClampsOff { cure: n } => {
                let clamps = self.bench.cure(cure(n).as_str()).map_or_else(Vec::new, |cure| cure.clamps_on.clone());
                (now_h, Fact::ClampsOff { cure: cure(n), clamps })
            }
            Event::PutAway { clamp, back } => {
                let clamp = id(["cam-1", "cam-2"][clamp]);
                (now_h, if back { Fact::ClampBroughtBack { clamp } } else { Fact::ClampPutAway { clamp } })
            }
            Event::SetDay { in_days, usual } => {
                let date = instant(now_h + 24.0 * f64::from(in_days)).date_naive();
                let hours = (!usual).then(facts::DayHours::default);
                (now_h, Fact::DaySet(facts::DaySet { date, hours }))
            }
            Event::Withdraw { cure: n } => (now_h, Fact::CureWithdrawn { cure: cure(n), reason: "a slip".into() }),
            Event::Stage => {
                let stage = facts::Stage::HalfTension;
                (now_h, Fact::StageReached(facts::StageReached { instrument: id("guitar"), stage }))
            }
            Event::ChangeRule { cure: n, law, stages } => {
                let like = begun(stages, LAWS[law], ZONES[0], now_h, 0, false);
                let (rule_version, milestones, limits) = (like.rule_version, like.milestones, vec![]);
                let bearing = like.bearing;
                let change =
                    CureRuleChanged { cure: cure(n), rule_version, mode: String::new(), milestones, limits, bearing };
                (now_h, Fact::CureRuleChanged(change.into()))
            }
            Event::Observe { cure: n, stage, reached, ago_h } => {
                let known = self.bench.observations().len();
                if reached && known > 2 {
                    let observation = id(&format!("seen-{}", n % known));
                    (now_h, Fact::ObservationWithdrawn { observation, reason: "a slip".into() })
                } else {
                    let (cure, stage) = (cure(n), ["assembly_closes", "clamp_off", "dry_through"][stage].into());
                    let (id, by) = (id(&format!("seen-{known}")), facts::Observing::SqueezeOut);
                    let made = facts::ObservationMade { id, cure, stage, reached, by, note: String::new() };
                    (now_h - ago_h, Fact::ObservationMade(made))
                }
            }
            Event::CloseJob => (now_h, Fact::JobClosed { job: id("job") }),
            Event::ReopenJob => (now_h, Fact::JobReopened { job: id("job") }),
            Event::SetZone { zone, temp_c } => (now_h, zone_set(ZONES[zone], temp_c)),
            Event::Plan { zone, in_h, for_h, temp_c } => {
                let plan = format!("plan-{}", self.bench.plans().len());
                (now_h, planned(&plan, ZONES[zone], (now_h + in_h, now_h + in_h + for_h), temp_c))
            }
            Event::CancelPlan { plan } => {
                let n_plans = self.bench.plans().len().max(1);
                (now_h, Fact::PlanCancelled { plan: id(&format!("plan-{}", plan % n_plans)) })
            }
            Event::Acknowledge { alert: n } => match alert(n) {
                Some(alert) => (now_h, Fact::AlertAcknowledged { alert }),
                None => return,
            },
            Event::Snooze { alert: n, for_h } => match alert(n) {
                Some(alert) => (now_h, Fact::AlertSnoozed { alert, until: instant(now_h + for_h) }),
                None => return,
            },
            Event::Tell => return drop(self.tell(now_h)),
        };
        if let Err(refusal) = self.say_later(hour, now_h, fact) {
            assert!(!refusal.mend().is_empty(), "{refusal}");
        }
    }

    /// Lives through a history; returns the hour at its end.
    fn live_through(&mut self, history: &[(f64, Event)]) -> f64 {
        self.say(0.0, job("job", "guitar", vec![step("glue", facts::StepKind::GlueUp, &[])]));
        self.say(0.0, plate("top", "guitar"));
        self.say(0.0, strings("guitar"));
        self.say(0.0, loaded("bridge"));
        let mut now_h = 0.0;
        for (after_h, event) in history {
            now_h += after_h;
            self.live(now_h, event);
        }
        now_h
    }
}

/// A sensor read so much less than the salt's 75 %.
fn calibrated(sensor: facts::SensorId, off_pct: f64) -> Fact {
    let point = SaltPoint { salt: Salt::SodiumChloride, temp_c: 20.0, read_rh_pct: 75.0 - off_pct, true_rh_pct: 75.0 };
    Fact::HygrometerCalibrated(HygrometerCalibrated::new(sensor, vec![point]).expect("it is not broken"))
}

fn begun(n: usize, law: &str, zone: &str, start_h: f64, clamps: usize, of_job: bool) -> facts::CureBegun {
    let mut floored = exact("dry_through", 1.0);
    floored.floor_h = 3.0;
    let milestones = [closing(stage("assembly_closes", 0.2)), stage("clamp_off", 0.75), floored, stage("full", 24.0)];
    let mut begun = glue_up(&format!("cure-{n}"), law, zone, start_h, &milestones[..2 + n % 3]);
    begun.clamps = ["cam-1", "cam-2"][..clamps].iter().map(|clamp| id(clamp)).collect();
    begun.limits = vec![Limit { name: "cold".into(), bound: Bound::BelowTempC(8.0), until_h: 2.0, says: "x".into() }];
    if of_job {
        (begun.job, begun.step) = (Some(id("job")), Some(id("glue")));
    }
    begun
}

fn view(bench: &mut Bench, now_h: f64) -> View {
    View::of(bench, ms(now_h))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..Default::default() })]

    #[test]
    fn a_board_rebuilt_from_facts_is_the_board_grown_fact_by_fact(history in history()) {
        let mut shop = Shop::open();
        let now_h = shop.live_through(&history);
        let grown = view(&mut shop.bench, now_h);
        same(&grown, &view(&mut shop.grown_again(), now_h));
        same(&grown, &view(&mut shop.rebuilt(), now_h));
        // And it stays the same as time goes on.
        same(&view(&mut shop.bench, now_h + 7.0), &view(&mut shop.rebuilt(), now_h + 7.0));
    }

    #[test]
    fn what_is_told_and_not_taken_back_is_true(history in history()) {
        let mut shop = Shop::open();
        let now_h = shop.live_through(&history);
        shop.tell(now_h);
        for cure in shop.bench.cures().iter().filter(|cure| cure.is_open()) {
            for (m, milestone) in shop.bench.milestones(cure, ms(now_h)).iter().enumerate() {
                if let (Some((alert, _)), Meets::Opens) = (cure.told(m), milestone.target.meets) {
                    let safe_h = milestone.safe_ms.map_or(f64::INFINITY, hour);
                    prop_assert!(safe_h <= now_h + 1.0 / 6.0, "{alert} was told at {now_h} and is true at {safe_h}");
                    prop_assert_ne!(shop.bench.alerts()[alert].state, AlertState::Retracted);
                }
                if cure.told(m).is_none() && cure.broken.is_none() && milestone.target.meets == Meets::Opens {
                    prop_assert!(!milestone.reached, "{} {} is not told", cure.begun.id, milestone.target.stage);
                }
            }
        }
    }

    /// The nearest cures are found without asking every open one; that they are the nearest is held against asking all.
    #[test]
    fn a_short_board_is_the_top_of_the_whole_one(history in history(), later_h in 0.0..12.0_f64) {
        let mut shop = Shop::open();
        let now_h = shop.live_through(&history) + later_h;
        let top = |at_most: usize| -> Vec<_> {
            let board = shop.bench.board(ms(now_h), at_most);
            board.cures.iter().map(|line| (line.cure.begun.id.clone(), line.next, line.next_ms)).collect()
        };
        let whole = top(usize::MAX);
        prop_assert_eq!(whole.len(), shop.bench.open_cures());
        for at_most in 1..whole.len() {
            prop_assert_eq!(&top(at_most)[..], &whole[..at_most]);
        }
        let open = shop.bench.alerts().values().filter(|alert| alert.state == AlertState::Open);
        prop_assert_eq!(shop.bench.alerts_open().count(), open.count());
    }

    #[test]
    fn the_order_in_which_late_readings_come_does_not_matter(
        temps in prop::collection::vec(5.0..30.0_f64, 2..30),
        order in any::<u64>(),
        known in 0..30_usize,
        sensors in prop::collection::vec(0..3_usize, 30),
    ) {
        let mut in_time = Shop::open();
        let mut late = Shop::open();
        let n_known = known.min(temps.len());
        let readings: Vec<_> =
            temps.iter().enumerate().map(|(i, temp_c)| Reading {
                sensor: SENSORS[sensors[i]].map(id),
                ..reading("bench", i as f64 * 0.2, *temp_c, 50.0)
            }).collect();
        let mut rest = readings[n_known..].to_vec();
        rest.sort_by_key(|reading| (reading.at.timestamp_millis() as u64).wrapping_mul(order | 1));
        for (shop, rest) in [(&mut in_time, &readings[n_known..]), (&mut late, &rest)] {
            readings[..n_known].iter().for_each(|reading| shop.take_reading(reading.clone()));
            for (cure, start_h) in [("early", -1.0), ("mid", 3.1), ("after", 20.0)] {
                shop.begin(glue_up(cure, "arrhenius-50", "bench", start_h, &[stage("clamp_off", 2.0), stage("full", 9.0)]));
            }
            rest.iter().for_each(|reading| shop.take_reading(reading.clone()));
        }
        same(&view(&mut in_time.bench, 20.0), &view(&mut late.bench, 20.0));
    }

    #[test]
    fn correcting_a_reading_and_correcting_it_back_changes_nothing(
        temps in prop::collection::vec(5.0..30.0_f64, 1..30),
        at in 0..30_usize,
        wrong_c in -5.0..40.0_f64,
    ) {
        let at = at % temps.len();
        let mut shop = Shop::open();
        shop.begin(glue_up("early", "q10-2", "bench", -1.0, &[stage("clamp_off", 2.0)]));
        shop.record("bench", (0.0, (temps.len() - 1) as f64), 1.0, |hour| temps[hour as usize]);
        shop.begin(glue_up("late", "q10-2", "bench", temps.len() as f64, &[stage("clamp_off", 2.0)]));
        let before = view(&mut shop.bench, 31.0);
        shop.read("bench", at as f64, wrong_c);
        shop.read("bench", at as f64, temps[at]);
        same(&before, &view(&mut shop.bench, 31.0));
    }

    #[test]
    fn forgetting_old_readings_changes_no_open_cure(history in history(), before in 0.0..1.0_f64) {
        let mut shop = Shop::open();
        let now_h = shop.live_through(&history);
        let before_h = now_h * before - 1.0;
        let ages = |bench: &Bench| -> Vec<_> {
            let open = bench.cures().iter().filter(|cure| cure.is_open());
            open.map(|cure| bench.age_h(cure, ms(now_h)).unwrap_or(-1.0)).collect()
        };
        let was = ages(&shop.bench);
        for zone in ZONES {
            let kept_ms = shop.bench.forget_readings_before(zone, ms(before_h)).expect("a zone");
            prop_assert!(kept_ms <= ms(before_h), "{zone}: readings after {} went", hour(kept_ms));
        }
        for (was, is) in was.iter().zip(ages(&shop.bench)) {
            prop_assert!((was - is).abs() < 1e-9, "{was} h became {is} h");
        }
        // The clocks still run, and closed cures can still be looked at.
        shop.read("bench", now_h + 0.1, 20.0);
        shop.read("box", now_h - 0.1, 20.0);
        view(&mut shop.bench, now_h + 1.0);
    }
}

#[test]
fn a_clock_that_is_never_idle_lets_old_readings_go() {
    let mut shop = Shop::with(bench());
    for day in 0..30 {
        let start_h = f64::from(day) * 24.0;
        shop.record("bench", (start_h, start_h + 23.75), 0.25, |_| 20.0);
        shop.begin(glue_up(&format!("cure-{day}"), "linear", "bench", start_h + 12.0, &[exact("clamp_off", 20.0)]));
        shop.tell(start_h + 23.75);
    }
    let open = shop.bench.cures().iter().filter(|cure| cure.is_open()).count();
    assert_eq!(open, 1);
    let age_h = shop.age_h("cure-29", 720.0);
    let kept_ms = shop.bench.forget_readings_before("bench", ms(650.0));
    assert_eq!(kept_ms.map(hour), Some(649.75));
    assert_eq!(shop.bench.timeline("bench").map(|timeline| timeline.len()), Some(281));
    assert!((shop.age_h("cure-29", 720.0) - age_h).abs() < 1e-9);
    assert_eq!(shop.told(732.0), ["cure-29:clamp_off"]);
}

#[test]
fn a_first_reading_from_before_the_first_cure_can_be_forgotten() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "bench", 10.0, &[exact("clamp_off", 3.0)]));
    for hour in [9.0, 9.5, 11.0] {
        shop.read("bench", hour, 10.0);
    }
    assert_eq!(shop.bench.forget_readings_before("bench", ms(10.0)).map(hour), Some(9.5));
    assert_eq!(shop.age_h("cure", 11.0), 0.5);
}
