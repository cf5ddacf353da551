//! The laws of the clock, held against closed forms, other people's numbers, and the clock itself asked another way.
//!
//! Rules are closures here: a version's name is its law. Hours count from [`shop::START_MS`].

mod admission;
mod ages;
mod air;
mod alarms;
mod doses;
mod jobs;
mod legs;
mod plans;
mod rebuilt;
mod retraction;
mod sensors;
mod shop;
mod varying;
mod view;

use std::{cell::Cell, sync::Arc};

use clock::{Air, Bench, Expected, Forecast, Intended, Law, Laws, Outlook, STEPS, Settings, Timeline, UsualDay};
use facts::{Meets, TargetAge, VersionId};

/// Laws by name, so that a test says which one it means and needs no script.
struct Named;

thread_local! {
    /// How often a law was asked on this thread: what the promise about the cost of a reading is counted in.
    static ASKED: Cell<usize> = const { Cell::new(0) };
}

impl Laws for Named {
    fn law(&self, version: &VersionId, mode: &str) -> Result<Law, String> {
        let of_air: fn(Air) -> f64 = match version.as_str() {
            "arrhenius-50" => |air| physics::rate::arrhenius(air.temp_c, 20.0, 50.0).expect("a bench temperature"),
            "q10-2" => |air| physics::rate::q10(air.temp_c, 20.0, 2.0).expect("a bench temperature"),
            "vpd-ratio" => |air| vpd_pa(air) / vpd_pa(Air { temp_c: 20.0, rh_pct: 50.0 }),
            // 1 at 20 °C, straight in temperature; stands still below 0 °C.
            "linear" => |air| (air.temp_c / 20.0).max(0.0),
            // Cures by the water in the air: damp is quick.
            "damp" => |air| air.rh_pct / 50.0,
            "never" => |_| 0.0,
            other => return Err(format!("there is no law \"{other}\"")),
        };
        let share = if mode == "gap" { 0.5 } else { 1.0 };
        Ok(Arc::new(move |air| {
            ASKED.set(ASKED.get() + 1);
            of_air(air) * share
        }))
    }
}

fn vpd_pa(air: Air) -> f64 {
    physics::air::vpd_pa(air.temp_c, air.rh_pct).expect("bench air")
}

/// The last reading for ever, and no band: where a law is about what the clock does and not about the forecast.
struct Held;

impl Forecast for Held {
    fn outlook(&self, history: &Timeline, intended: &Intended) -> Outlook {
        let (from_ms, air) = history.last().unwrap_or((0, intended.set));
        Outlook { from_ms, steps: vec![Expected { air, spread_k: 0.0, spread_rh_pct: 0.0 }; STEPS + 1] }
    }
}

fn bench() -> Bench {
    Bench::new(Settings::default(), Arc::new(Named), Box::new(UsualDay))
}

/// A bench that expects the last reading for ever.
fn held() -> Bench {
    Bench::new(Settings::default(), Arc::new(Named), Box::new(Held))
}

/// A milestone whose spread is 0.8 to 1.25 of its age.
fn stage(stage: &str, likely_h: f64) -> TargetAge {
    TargetAge {
        stage: stage.into(),
        earliest_h: likely_h * 0.8,
        likely_h,
        safe_h: likely_h * 1.25,
        floor_h: 0.0,
        meets: Meets::Opens,
        ahead_h: 0.0,
        next: String::new(),
    }
}

/// A milestone without a spread.
fn exact(stage: &str, age_h: f64) -> TargetAge {
    TargetAge { earliest_h: age_h, safe_h: age_h, ..self::stage(stage, age_h) }
}

fn closing(target: TargetAge) -> TargetAge {
    TargetAge { meets: Meets::Closes, ..target }
}

#[track_caller]
fn near(ours: f64, theirs: f64, within: f64) {
    assert!((ours - theirs).abs() <= within, "{ours} here, {theirs} expected, within {within}");
}
