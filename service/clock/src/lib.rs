//! What follows from facts: how old each cure is, when each milestone comes, what is due, what the board shows.
//!
//! Responsible for: zone timelines and their outlook, cure clocks, alarms, milestones, moisture of wood, whether an
//! instrument may be strung, the state of the bench.
//! Never knows: files, HTTP, scripts, time zones, what time it is (every question brings its `now`).
//! Wakes when: somebody asks. [`Bench::next_wake`] says when to ask again.
//! Start reading at `ages.rs` (the one idea), then `bench.rs`.

mod admit;
mod ages;
mod air;
mod alarms;
mod bench;
mod board;
mod care;
mod claims;
mod coats;
mod cure;
mod cure_clock;
mod dose;
mod due;
mod forecast;
mod foreseen;
mod gun;
mod intended;
mod keepsake;
mod milestone;
mod nearest;
mod observed;
mod pot;
mod refusal;
mod retarder;
mod rule_change;
mod sample;
mod sensors;
mod setup;
mod silence;
mod stock;
mod stretch;
mod string_up;
mod surface;
mod take;
mod timeline;
mod touch;
mod trial;
mod usual_day;
mod watch;
mod wood;
mod zone;

pub use ages::Band;
pub use air::{Air, Law, Laws};
pub use bench::{Alert, AlertState, Bench, Clamp, Job, Settings};
pub use board::{Board, ClampLine, CureLine, NextStep, StepState, ZoneLine};
pub use care::{Doubt, Judged, Reason, Sample, Scene, Watch};
pub use claims::claims;
pub use coats::{Later, RecoatWindow, harden_later, set_later};
pub use cure::{Cure, releasing};
pub use dose::{Dose, Doses};
pub use due::Due;
pub use forecast::{Expected, Forecast, Outlook, STEP_MS, STEPS};
pub use gun::{AirAhead, Gun, GunAir, SprayWindow, Word, best_window, spray_windows};
pub use intended::{Intended, Plan, Planned};
pub use keepsake::{Note, Photo};
pub use milestone::{Climate, Milestone};
pub use observed::Observation;
pub use pot::{Mix, MixState};
pub use refusal::Refusal;
pub use retarder::Retarder;
pub use sample::thinned;
pub use sensors::Calibration;
pub use setup::{NeckAngle, Spare, USUAL_YEARS, Wanted, neck_angle, spares, wanted};
pub use silence::silent_since;
pub use stock::{LEAD_DAYS, LotLine, LotState, MaterialLine, PACE_DAYS, Shelved};
pub use string_up::{
    A4_HZ, CurvePoint, Elsewhere, FAMILIES, Item, ItemKind, JointStanding, NYLON_KG_M3, OtherAir, PATHS, Pulls, Setup,
    StageDue, StringUp, Strung, TooSoon, Wait, WoodBound, doubt, doubt_of, doubts, family_of, lacks, stress,
    usual_load, usual_strings, wood_bound,
};
pub use surface::Surface;
pub use timeline::Timeline;
pub use touch::{Touch, TouchState};
pub use trial::Trial;
pub use usual_day::UsualDay;
pub use watch::{AirWatch, Excursion, Trouble};
pub use wood::{Closing, Gluing, Movement, Plate, Run, STILL_PCT_A_DAY, Start, Target, Times, Waiting, Wood, movement};
