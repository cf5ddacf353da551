//! What may be said: every refusal says what, where and how to mend it, and changes nothing.

use clock::{Refusal, claims};
use facts::{CureBegun, CureKind, Fact, StepKind};

use super::{
    exact,
    shop::{Shop, clamp, glue_up, id, in_force, instant, instrument, job, joint, lot, ms, reading, step, zone_set},
    view::{View, same},
};

/// Everything there is one of: open and closed jobs, cures, lots, an alert.
fn stocked() -> Shop {
    let mut shop = Shop::open();
    shop.say(0.0, instrument("violin"));
    shop.say(0.0, joint("neck", "violin"));
    shop.say(0.0, in_force("lacquer", "linear"));
    shop.say(0.0, lot("tin", "lacquer"));
    shop.say(0.0, job("open", "guitar", vec![step("glue", StepKind::GlueUp, &[])]));
    shop.say(0.0, job("shut", "guitar", vec![]));
    shop.say(0.0, Fact::JobClosed { job: id("shut") });
    shop.say(0.0, clamp("lent"));
    shop.say(0.0, Fact::ClampPutAway { clamp: id("lent") });
    shop.record("bench", (0.0, 3.0), 0.25, |_| 20.0);
    let mut begun = glue_up("held", "linear", "bench", 1.0, &[exact("clamp_off", 1.0), exact("full", 50.0)]);
    begun.clamps = vec![id("cam-1")];
    shop.begin(begun);
    shop.begin(glue_up("gone", "linear", "bench", 1.0, &[exact("clamp_off", 1.0)]));
    shop.say(1.0, Fact::CureWithdrawn { cure: id("gone"), reason: "a slip".into() });
    shop.carry(1.5, "held", "box");
    assert_eq!(shop.told(3.0), ["held:clamp_off"]);
    shop
}

fn begin(change: impl FnOnce(&mut CureBegun)) -> Fact {
    let mut begun = glue_up("new", "linear", "bench", 3.0, &[exact("clamp_off", 1.0)]);
    change(&mut begun);
    Fact::CureBegun(begun.into())
}

fn snooze(alert: &str, until_h: f64) -> Fact {
    Fact::AlertSnoozed { alert: id(alert), until: instant(until_h) }
}

fn carry(cure: &str, zone: &str) -> Fact {
    Fact::CureMoved { cure: id(cure), zone: id(zone) }
}

/// A day on which the shop is closed.
fn day(date: &str) -> Fact {
    Fact::DaySet(facts::DaySet { date: date.parse().expect("a date"), hours: Some(facts::DayHours::default()) })
}

fn clamps_off(cure: &str, clamps: &[&str]) -> Fact {
    Fact::ClampsOff { cure: id(cure), clamps: clamps.iter().map(|clamp| id(clamp)).collect() }
}

/// Facts that cannot be at hour 3, and what their refusal says.
fn refused() -> Vec<(f64, Fact, &'static str)> {
    let far = glue_up("far", "linear", "bench", 3.0, &[]);
    let on_violin = job("new", "violin", vec![step("a", StepKind::Check, &[]), step("a", StepKind::Check, &[])]);
    let mut of_wrong_joint = step("a", StepKind::GlueUp, &[]);
    of_wrong_joint.joint = Some(id("tail"));
    let mut of_no_material = step("a", StepKind::GlueUp, &[]);
    of_no_material.material = Some(id("spit"));
    let mut opened_ahead = lot("new", "glue");
    let mut wide = joint("new", "guitar");
    if let (Fact::LotAdded(lot), Fact::JointAdded(joint)) = (&mut opened_ahead, &mut wide) {
        (lot.opened_at, joint.gap_um) = (Some(instant(9.0)), 9000.0);
    }
    vec![
        // Times.
        (3.1, zone_set("new", 20.0), "in the future"),
        (3.0, opened_ahead, "in the future"),
        (-9000.0, begin(|begun| begun.started_at = instant(-9000.0)), "days ago"),
        (3.0, snooze("held:clamp_off", 3.0), "until"),
        (3.0, snooze("held:clamp_off", 3.0 + 24.0 * 31.0), "until"),
        (1.4, carry("held", "bench"), "before it came to where it is"),
        // What is there already.
        (3.0, instrument("guitar"), "instrument \"guitar\" is there already"),
        (3.0, joint("bridge", "guitar"), "the joint \""),
        (3.0, clamp("cam-1"), "the clamp \""),
        (3.0, lot("tin", "glue"), "the lot \""),
        (3.0, job("open", "guitar", vec![]), "the job \""),
        (3.0, begin(|begun| begun.id = id("gone")), "the glue-up or coat \""),
        // What is not there.
        (3.0, joint("new", "lute"), "no instrument \"lute\""),
        (3.0, job("new", "lute", vec![]), "no instrument"),
        (3.0, lot("new", "spit"), "no material \"spit\""),
        (3.0, Fact::StepDone { job: id("open"), step: id("sand") }, "no step \"sand\""),
        (3.0, Fact::JobClosed { job: id("none") }, "no job"),
        (3.0, begin(|begun| begun.instrument = id("lute")), "no instrument"),
        (3.0, begin(|begun| begun.material = id("spit")), "no material"),
        (3.0, begin(|begun| begun.zone = id("cellar")), "no zone"),
        (3.0, begin(|begun| begun.joint = Some(id("tail"))), "no joint"),
        (3.0, begin(|begun| begun.job = Some(id("none"))), "no job"),
        (3.0, begin(|begun| (begun.job, begun.step) = (Some(id("open")), Some(id("sand")))), "no step"),
        (3.0, begin(|begun| begun.lot = Some(id("jar"))), "no lot"),
        (3.0, begin(|begun| begun.clamps = vec![id("cam-9")]), "no clamp"),
        (3.0, carry("none", "box"), "no glue-up or coat"),
        (3.0, carry("held", "cellar"), "no zone"),
        (3.0, clamps_off("none", &[]), "no glue-up or coat"),
        (3.0, Fact::CureWithdrawn { cure: id("none"), reason: "x".into() }, "no glue-up or coat"),
        (3.0, snooze("none", 4.0), "no alert"),
        (3.0, Fact::AlertAcknowledged { alert: id("none") }, "no alert"),
        (3.0, Fact::AlertRepeated { alert: id("none") }, "no alert"),
        (3.0, Fact::AlertRetracted { alert: id("none"), because: "x".into() }, "no alert"),
        // What contradicts the bench.
        (3.0, wide, "gap_um is 9000 µm"),
        (3.0, on_violin, "stands twice"),
        (3.0, job("new", "guitar", vec![step("a", StepKind::Check, &["b"])]), "does not stand before it"),
        (3.0, job("new", "guitar", vec![of_wrong_joint]), "no joint \"tail\""),
        (3.0, job("new", "guitar", vec![of_no_material]), "no material"),
        (3.0, Fact::StepDone { job: id("shut"), step: id("glue") }, "is closed"),
        (3.0, Fact::JobClosed { job: id("shut") }, "is closed"),
        (3.0, Fact::JobReopened { job: id("open") }, "is open"),
        (3.0, begin(|begun| begun.job = Some(id("shut"))), "is closed"),
        (3.0, begin(|begun| begun.joint = Some(id("neck"))), "belongs to \"violin\""),
        (3.0, begin(|begun| begun.joint = None), "without a joint"),
        (3.0, begin(|begun| begun.step = Some(id("glue"))), "without its job"),
        (3.0, begin(|b| (b.instrument, b.joint, b.job) = (id("violin"), Some(id("neck")), Some(id("open")))), "is for"),
        (3.0, begin(|begun| begun.lot = Some(id("tin"))), "holds lacquer, not glue"),
        (3.0, begin(|begun| begun.clamps = vec![id("cam-1")]), "is in use on \"held\""),
        (3.0, begin(|begun| begun.clamps = vec![id("cam-2"), id("cam-2")]), "named twice"),
        (3.0, begin(|begun| begun.clamps = vec![id("lent")]), "is put away"),
        (3.0, Fact::ClampPutAway { clamp: id("cam-1") }, "is in use on \"held\""),
        (3.0, Fact::ClampPutAway { clamp: id("lent") }, "is put away"),
        (3.0, Fact::ClampPutAway { clamp: id("none") }, "no clamp"),
        (3.0, Fact::ClampBroughtBack { clamp: id("cam-2") }, "is in use"),
        (3.0, day("2026-02-20"), "date is 2026-02-20"),
        (3.0, day("2027-06-01"), "date is 2027-06-01"),
        (3.0, carry("gone", "box"), "is closed"),
        (3.0, clamps_off("held", &["cam-2"]), "not on \"held\""),
        (3.0, clamps_off("gone", &["cam-1"]), "not on \"gone\""),
        (3.0, clamps_off("held", &[]), "no clamps"),
        (3.0, Fact::CureWithdrawn { cure: id("gone"), reason: "x".into() }, "is closed"),
        (3.0, begin(|begun| *begun = CureBegun { id: id("held"), ..far }), "the glue-up or coat \""),
    ]
}

#[test]
fn a_fact_that_cannot_be_is_refused_with_how_to_mend_it_and_changes_nothing() {
    let mut shop = stocked();
    let before = View::of(&mut shop.bench, ms(3.0));
    for (hour, fact, says) in refused() {
        let refusal: Refusal = shop.say_later(hour, 3.0, fact.clone()).expect_err(says);
        assert!(refusal.to_string().contains(says), "{refusal} should say: {says}");
        assert!(!refusal.mend().is_empty(), "{refusal}");
    }
    same(&before, &View::of(&mut shop.bench, ms(3.0)));
}

#[test]
fn the_mend_names_what_would_do() {
    let mut shop = stocked();
    let in_use = begin(|begun| begun.clamps = vec![id("cam-1")]);
    let mend = shop.say_later(3.0, 3.0, in_use.clone()).expect_err("in use").mend();
    assert!(mend.contains("cam-2"), "{mend}");
    shop.say(3.0, begin(|begun| (begun.id, begun.clamps) = (id("other"), vec![id("cam-2")])));
    let mend = shop.say_later(3.0, 3.0, in_use).expect_err("in use").mend();
    assert!(mend.contains("no clamp is free"), "{mend}");
    let mend = shop.say_later(3.0, 3.0, clamps_off("held", &["cam-2"])).expect_err("not on it").mend();
    assert!(mend.contains("cam-1"), "{mend}");
}

#[test]
fn what_can_be_is_admitted() {
    for (hour, fact) in [
        (3.0, begin(|_| ())),
        (3.01, begin(|_| ())),
        (1.0, begin(|begun| begun.started_at = instant(1.0))),
        (3.0, begin(|begun| (begun.cure_kind, begun.joint) = (CureKind::Coat, None))),
        (3.0, begin(|begun| (begun.job, begun.step) = (Some(id("open")), Some(id("glue"))))),
        (3.0, begin(|begun| begun.clamps = vec![id("cam-2")])),
        (1.5, carry("held", "bench")),
        (3.0, carry("held", "box")),
        (3.0, clamps_off("held", &["cam-1"])),
        (3.0, snooze("held:clamp_off", 3.5)),
        (3.0, snooze("held:clamp_off", 3.0 + 24.0 * 30.0)),
        (3.0, zone_set("bench", 15.0)),
        (3.0, in_force("glue", "q10-2")),
        (3.0, Fact::CureWithdrawn { cure: id("held"), reason: "x".into() }),
    ] {
        let shown = format!("{fact:?}");
        stocked().say_later(hour, 3.0, fact).unwrap_or_else(|refusal| panic!("{refusal}: {shown}"));
    }
}

#[test]
fn a_reading_is_refused_for_an_unknown_zone_or_an_impossible_time() {
    let shop = stocked();
    for (zone, hour, says) in [
        ("cellar", 3.0, "no zone \"cellar\""),
        ("bench", 3.1, "6 min in the future"),
        ("bench", -9000.0, "375 days ago"),
    ] {
        let refusal = shop.bench.admit_reading(&reading(zone, hour, 20.0, 50.0), ms(3.0)).expect_err(says);
        assert!(refusal.to_string().contains(says), "{refusal}");
        assert!(!refusal.mend().is_empty(), "{refusal}");
    }
    for hour in [3.0, 3.01, -8000.0] {
        assert_eq!(shop.bench.admit_reading(&reading("bench", hour, 20.0, 50.0), ms(3.0)), Ok(()));
    }
}

/// Each pair is admitted alone on the stocked bench, and the first makes the second impossible.
#[test]
fn facts_that_could_void_each_other_share_a_claim() {
    let alert = || id("held:clamp_off");
    let of_open = |cure: &str| begin(|begun| (begun.id, begun.job) = (id(cure), Some(id("open"))));
    let step_done = Fact::StepDone { job: id("open"), step: id("glue") };
    let withdrawn = || Fact::CureWithdrawn { cure: id("held"), reason: "x".into() };
    let with_clamp = |cure: &str| begin(|begun| (begun.id, begun.clamps) = (id(cure), vec![id("cam-2")]));
    for (first, second) in [
        (instrument("lute"), instrument("lute")),
        (joint("tail", "guitar"), joint("tail", "guitar")),
        (clamp("cam-3"), clamp("cam-3")),
        (lot("jar", "glue"), lot("jar", "glue")),
        (job("new", "guitar", vec![]), job("new", "guitar", vec![])),
        (begin(|_| ()), begin(|_| ())),
        (with_clamp("a"), with_clamp("b")),
        (with_clamp("a"), Fact::ClampPutAway { clamp: id("cam-2") }),
        (Fact::ClampPutAway { clamp: id("cam-2") }, with_clamp("a")),
        (Fact::ClampBroughtBack { clamp: id("lent") }, Fact::ClampBroughtBack { clamp: id("lent") }),
        (Fact::JobClosed { job: id("open") }, of_open("a")),
        (Fact::JobClosed { job: id("open") }, step_done),
        (Fact::JobClosed { job: id("open") }, Fact::JobClosed { job: id("open") }),
        (Fact::JobReopened { job: id("shut") }, Fact::JobReopened { job: id("shut") }),
        (withdrawn(), withdrawn()),
        (withdrawn(), carry("held", "box")),
        (clamps_off("held", &["cam-1"]), clamps_off("held", &["cam-1"])),
        (Fact::AlertRetracted { alert: alert(), because: "x".into() }, Fact::AlertAcknowledged { alert: alert() }),
    ] {
        let mut shop = stocked();
        for fact in [&first, &second] {
            assert_eq!(shop.bench.admit(fact, ms(3.0), ms(3.0)), Ok(()), "{fact:?}");
        }
        assert!(claims(&first).iter().any(|claim| claims(&second).contains(claim)), "{first:?} and {second:?}");
        shop.say(3.0, first);
        assert!(shop.bench.admit(&second, ms(3.0), ms(3.0)).is_err(), "{second:?}");
    }
}
