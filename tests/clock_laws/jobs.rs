//! Jobs and clamps: what is done, what cures, what is next, what is free.

use clock::StepState::{self, Curing, Done, Ready, Waiting};
use facts::{Fact, StepKind};

use super::{
    exact,
    shop::{Shop, glue_up, hour, id, instant, job, ms, step},
    stage,
};

/// Glue, then level, then lacquer; the case may be cleaned at any time. 20 °C for a day.
fn bridge_job() -> Shop {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 24.0), 0.25, |_| 20.0);
    let steps = vec![
        step("glue", StepKind::GlueUp, &[]),
        step("level", StepKind::HandsOn, &["glue"]),
        step("lacquer", StepKind::Coat, &["level"]),
        step("wait", StepKind::Wait, &[]),
        step("touch-up", StepKind::HandsOn, &["glue"]),
    ];
    shop.say(0.0, job("bridge-job", "guitar", steps));
    shop
}

fn of_job(cure: &str, step: &str, start_h: f64, clamps: &[&str]) -> facts::CureBegun {
    let mut begun = glue_up(cure, "linear", "bench", start_h, &[exact("clamp_off", 2.0), stage("full", 20.0)]);
    (begun.job, begun.step) = (Some(id("bridge-job")), Some(id(step)));
    begun.clamps = clamps.iter().map(|clamp| id(clamp)).collect();
    begun
}

fn states(shop: &Shop) -> Vec<StepState> {
    shop.bench.steps(&shop.bench.jobs()["bridge-job"]).into_iter().map(|(_, state, _)| state).collect()
}

/// The steps the board calls next, with the cure they wait for.
fn next(shop: &Shop, now_h: f64) -> Vec<(String, Option<String>)> {
    let board = shop.bench.board(ms(now_h), 9);
    board.next.iter().map(|n| (n.step.id.to_string(), n.waits_for.as_ref().map(ToString::to_string))).collect()
}

fn after(shop: &Shop, cure: &str) -> Option<String> {
    shop.bench.step_after(shop.cure(cure)).map(|step| step.id.to_string())
}

#[test]
fn a_step_is_ready_curing_and_done_and_lets_those_that_follow_it_begin() {
    let mut shop = bridge_job();
    assert_eq!(states(&shop), [Ready, Waiting, Waiting, Waiting, Waiting]);
    assert_eq!(next(&shop, 0.0), [("glue".into(), None)]);

    shop.begin(of_job("bridge", "glue", 0.0, &["cam-1", "cam-2"]));
    assert_eq!(states(&shop), [Curing, Waiting, Waiting, Waiting, Waiting]);
    assert_eq!(next(&shop, 0.0), [("level".into(), Some("bridge".into()))]);
    assert_eq!(after(&shop, "bridge"), Some("level".into()));

    // Told, but the clamps are still on.
    assert_eq!(shop.told(2.0), ["bridge:clamp_off"]);
    assert_eq!(states(&shop)[0], Curing);
    let board = shop.bench.board(ms(2.0), 9);
    assert!(board.cures[0].release_clamps);
    assert_eq!(board.clamps.iter().map(|c| c.free_ms.map(hour)).collect::<Vec<_>>(), [Some(2.0), Some(2.0)]);

    shop.say(2.1, Fact::ClampsOff { cure: id("bridge"), clamps: vec![id("cam-1")] });
    assert_eq!(states(&shop)[0], Curing);
    shop.say(2.2, Fact::ClampsOff { cure: id("bridge"), clamps: vec![id("cam-2")] });
    assert_eq!(states(&shop), [Done, Ready, Waiting, Waiting, Ready]);
    assert_eq!(next(&shop, 2.2), [("level".into(), None), ("touch-up".into(), None)]);
    assert_eq!(shop.cure("bridge").clamps_off_ms.map(hour), Some(2.2));

    shop.say(3.0, Fact::StepDone { job: id("bridge-job"), step: id("level") });
    assert_eq!(states(&shop), [Done, Done, Ready, Waiting, Ready]);
    assert_eq!(after(&shop, "bridge"), Some("touch-up".into()));
}

#[test]
fn a_cure_without_clamps_is_done_when_its_releasing_milestone_is_told() {
    let mut shop = bridge_job();
    shop.begin(of_job("bridge", "glue", 0.0, &[]));
    assert_eq!(states(&shop)[0], Curing);
    shop.tell(2.0);
    assert_eq!(states(&shop)[0], Done);
    assert!(shop.cure("bridge").is_open(), "\"full\" is still to come");
    assert_eq!(shop.told(30.0), ["bridge:full"]);
    assert!(!shop.cure("bridge").is_open());
}

#[test]
fn a_withdrawn_glue_up_gives_its_step_and_its_clamps_back() {
    let mut shop = bridge_job();
    shop.begin(of_job("bridge", "glue", 0.0, &["cam-1"]));
    shop.say(0.5, Fact::CureWithdrawn { cure: id("bridge"), reason: "slipped".into() });
    assert_eq!(states(&shop)[0], Ready);
    assert_eq!(shop.bench.clamps()["cam-1"].on, None);
    assert_eq!(shop.told(100.0), [""; 0]);
    assert_eq!(shop.cure("bridge").withdrawn.as_deref(), Some("slipped"));
    shop.begin(of_job("bridge-2", "glue", 0.6, &["cam-1"]));
    assert_eq!(states(&shop)[0], Curing);
}

#[test]
fn closing_a_job_closes_its_cures_and_frees_its_clamps() {
    let mut shop = bridge_job();
    shop.begin(of_job("bridge", "glue", 0.0, &["cam-1", "cam-2"]));
    shop.say(1.0, Fact::JobClosed { job: id("bridge-job") });
    assert!(!shop.cure("bridge").is_open());
    assert!(shop.bench.clamps().values().all(|clamp| clamp.on.is_none()));
    assert_eq!((shop.bench.next_wake(), shop.told(100.0).len(), next(&shop, 1.0).len()), (None, 0, 0));
}

#[test]
fn a_job_that_is_opened_again_goes_on_as_if_it_had_never_been_closed() {
    let (mut shop, mut straight) = (bridge_job(), bridge_job());
    for shop in [&mut shop, &mut straight] {
        shop.begin(of_job("bridge", "glue", 0.0, &["cam-1", "cam-2"]));
    }
    shop.say(1.0, Fact::JobClosed { job: id("bridge-job") });
    // One clamp was taken for something else meanwhile, and stays there.
    let mut other = glue_up("other", "linear", "bench", 1.1, &[exact("clamp_off", 90.0)]);
    other.clamps = vec![id("cam-2")];
    shop.begin(other);
    shop.say(1.2, Fact::JobReopened { job: id("bridge-job") });
    assert_eq!(shop.cure("bridge").clamps_on, [id("cam-1")]);
    assert_eq!(shop.bench.clamps()["cam-2"].on, Some(id("other")));
    assert_eq!(states(&shop), states(&straight));
    let times = |shop: &Shop| -> Vec<_> {
        let milestones = shop.bench.milestones(shop.cure("bridge"), ms(1.2));
        milestones.iter().map(|m| (m.earliest_ms, m.likely_ms, m.safe_ms)).collect()
    };
    assert_eq!(times(&shop), times(&straight));
    assert_eq!(shop.told(50.0), straight.told(50.0));
    assert!(shop.cure("bridge").told(1).is_some());
    // What is over by itself stays over.
    let all: Vec<facts::ClampId> = shop.cure("bridge").clamps_on.clone();
    shop.say(51.0, Fact::ClampsOff { cure: id("bridge"), clamps: all });
    shop.say(52.0, Fact::JobClosed { job: id("bridge-job") });
    shop.say(53.0, Fact::JobReopened { job: id("bridge-job") });
    assert!(!shop.cure("bridge").is_open() && !shop.bench.jobs()["bridge-job"].closed);
}

#[test]
fn a_closed_cure_can_be_looked_at_whatever_its_clock_does_since() {
    let mut shop = bridge_job();
    let mut begun = of_job("bridge", "glue", 20.0, &[]);
    begun.limits = vec![facts::Limit {
        name: "cold".into(),
        bound: facts::Bound::BelowTempC(1.0),
        until_h: 3.0,
        says: String::new(),
    }];
    shop.begin(begun);
    shop.say(21.0, Fact::CureWithdrawn { cure: id("bridge"), reason: "slipped".into() });
    shop.record("bench", (24.25, 60.0), 0.25, |_| 0.0);
    shop.bench.forget_readings_before("bench", ms(50.0));
    let cure = shop.cure("bridge");
    assert_eq!(shop.bench.age_h(cure, ms(60.0)), None);
    assert_eq!(shop.bench.broken_limits(cure, ms(60.0)), []);
    let line = shop.bench.cure_line(cure, ms(60.0));
    assert_eq!((line.next, line.next_ms, line.zone.as_str()), (Some(0), None, "bench"));
}

#[test]
fn the_board_shows_first_what_can_be_acted_on_and_then_what_comes_next() {
    let mut shop = bridge_job();
    let mut later = of_job("later", "glue", 5.0, &["cam-1"]);
    later.milestones = vec![exact("clamp_off", 1.0), exact("full", 90.0)];
    shop.begin(later);
    for (cure, age_h) in [("third", 9.0), ("second", 8.0)] {
        shop.begin(glue_up(cure, "linear", "bench", 5.0, &[exact("clamp_off", age_h)]));
    }
    shop.tell(6.0);
    let order = |at_most| {
        let board = shop.bench.board(ms(6.0), at_most);
        board.cures.iter().map(|line| line.cure.begun.id.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(order(9), ["later", "second", "third"]);
    assert_eq!(order(2), ["later", "second"]);
    let board = shop.bench.board(ms(6.0), 9);
    assert_eq!(board.alerts_open, 1);
    assert_eq!(board.zones[0].read_ms, Some(ms(24.0)));
    assert_eq!(instant(24.0).timestamp_millis(), ms(24.0));
}
