//! May it be strung, and if not, what holds it back: the load of the strings against the strength each joint has
//! developed, and everything else that must hold. Start reading at [`Bench::string_up`], then `joint.rs`.
//!
//! Worked out anew when asked and kept nowhere. Every figure is an estimate and none is a guarantee.

mod bound;
mod doubt;
mod elsewhere;
mod family;
mod item;
mod joint;
mod pull;
mod stages;
mod until;

use std::collections::BTreeMap;

use facts::{Family, InstrumentId, SetupMeasured, Stage, StepKind, StringsFitted};

pub use bound::{WoodBound, stress, wood_bound};
pub use doubt::{doubt, doubt_of, doubts};
pub use elsewhere::{Elsewhere, OtherAir};
pub use family::{A4_HZ, FAMILIES, NYLON_KG_M3, PATHS, family_of, lacks, usual_load, usual_strings};
pub use item::{Item, ItemKind, Wait};
pub use joint::{CurvePoint, JointStanding};
pub use pull::Pulls;
pub use stages::{StageDue, TooSoon};

use crate::{Bench, Cure, StepState, Target, Times, ages::hours};

/// The strings an instrument is to have, and how far stringing up has come.
#[derive(Debug, Clone)]
pub struct Strung {
    /// The strings.
    pub fitted: StringsFitted,
    /// When that was said, ms.
    pub at_ms: i64,
    /// Stages reached since, and when, ms.
    pub stages: BTreeMap<Stage, i64>,
}

/// A set-up as it was measured at an instant, ms.
#[derive(Debug, Clone)]
pub struct Setup {
    /// When, ms.
    pub at_ms: i64,
    /// What.
    pub measured: SetupMeasured,
}

/// The answer for one instrument at an instant.
#[derive(Debug, Clone)]
pub struct StringUp {
    /// The instrument.
    pub instrument: InstrumentId,
    /// Its strings and stages.
    pub strung: Strung,
    /// How hard they pull.
    pub pulls: Pulls,
    /// Times the load that a joint must bear.
    pub margin: f64,
    /// The instant it was asked about, ms.
    pub now_ms: i64,
    /// Each joint that is glued or loaded.
    pub joints: Vec<JointStanding>,
    /// Everything that must hold, joints first.
    pub items: Vec<Item>,
    /// Airs in which each wait is worked out besides.
    pub others: [OtherAir; 2],
}

impl Bench {
    /// The strings of an instrument, if anybody said which.
    pub fn strung(&self, instrument: &str) -> Option<&Strung> {
        self.strings.get(instrument)
    }

    /// The family of an instrument: that of its strings, else that of the words it was added with.
    pub fn family(&self, instrument: &str) -> Option<Family> {
        let of_strings = self.strung(instrument).map(|strung| strung.fitted.family);
        of_strings.or_else(|| family_of(&self.instruments.get(instrument)?.family))
    }

    /// Instruments whose strings are known, in order of id.
    pub fn to_be_strung(&self) -> impl Iterator<Item = &InstrumentId> {
        self.strings.keys()
    }

    /// Set-ups of an instrument as they were measured, in order of time.
    pub fn setups(&self, instrument: &str) -> &[Setup] {
        self.setups.get(instrument).map_or(&[], Vec::as_slice)
    }

    /// Whether an instrument may be strung at `now_ms`, with a margin on the load, in a shop that wants such air; none while
    /// nobody has said which strings it is to have. The wood is not in it: the solver runs beside the requests, see
    /// [`Wood::hold_back`].
    ///
    /// [`Wood::hold_back`]: crate::Wood::hold_back
    pub fn string_up(&self, instrument: &InstrumentId, margin: f64, target: Target, now_ms: i64) -> Option<StringUp> {
        let strung = self.strings.get(instrument)?;
        let pulls = Pulls::of(&strung.fitted);
        let others = self.other_airs(instrument, target, now_ms);
        let of_instrument = self.joints.values().filter(|joint| joint.instrument == *instrument);
        let joints: Vec<JointStanding> =
            of_instrument.filter_map(|joint| self.joint_standing(joint, &pulls, margin, &others, now_ms)).collect();
        let mut items: Vec<Item> = joints.iter().map(|standing| standing.item.clone()).collect();
        items.extend(joints.iter().filter(|standing| standing.load.is_none()).map(load_item));
        for cure in self.cures_of(instrument).filter(|cure| cure.withdrawn.is_none()) {
            // A coat that another lies on is judged by the one on top.
            if cure.begun.cure_kind == facts::CureKind::Coat && cure.covered_ms.is_none() {
                items.extend(self.coat_item(cure, &others, now_ms));
            }
            items.extend(self.clamps_item(cure, now_ms));
        }
        items.extend(self.step_items(instrument));
        let (instrument, strung) = (instrument.clone(), strung.clone());
        Some(StringUp { instrument, strung, pulls, margin, now_ms, joints, items, others })
    }

    /// Clamps that are still on.
    fn clamps_item(&self, cure: &Cure, now_ms: i64) -> Option<Item> {
        if cure.clamps_on.is_empty() {
            return None;
        }
        let joint = cure.begun.joint.as_ref().and_then(|joint| self.joints.get(joint));
        let name = joint.map_or_else(|| cure.begun.id.to_string(), |joint| joint.name.clone());
        let clamps: Vec<&str> = cure.clamps_on.iter().map(|clamp| clamp.as_str()).collect();
        let milestone = self.milestone(cure, cure.releasing()?, now_ms);
        let times = Times { earliest: milestone.earliest_ms, likely: milestone.likely_ms, safe: milestone.safe_ms };
        let wait = if milestone.reached { Wait::Work } else { Wait::Until(times) };
        let says = format!("clamps are on it: {}", clamps.join(", "));
        let mend = "take them off when they may come off, and record it";
        Some(Item::plain(ItemKind::Clamps, cure.begun.id.as_str(), &name, wait, says, mend))
    }

    /// Steps marked to be done before strings that are not done.
    fn step_items(&self, instrument: &InstrumentId) -> Vec<Item> {
        let mut items = Vec::new();
        for job in self.jobs.values().filter(|job| !job.closed && job.opened.instrument == *instrument) {
            for (step, state, cure) in self.steps(job) {
                // A wait, or a cure, holds strings back by what cures.
                let waits = step.kind == StepKind::Wait || cure.is_some();
                if step.before_strings && state != StepState::Done && !waits {
                    let id = format!("{}/{}", job.opened.id, step.id);
                    let says = format!("an open step of \"{}\" comes before strings", job.opened.title);
                    items.push(Item::plain(ItemKind::Step, &id, &step.title, Wait::Work, says, "do it and record it"));
                }
            }
        }
        items
    }
}

/// A joint of which nobody said how the strings load it: what it bears cannot be judged, and no waiting tells.
fn load_item(standing: &JointStanding) -> Item {
    let (id, says) = (standing.joint.id.as_str(), "nobody said how the strings load it");
    let mend =
        format!("say it: POST /api/v1/joints/{id}/load with a path; unloaded where no string pull goes through it");
    Item::plain(ItemKind::Load, id, &standing.joint.name, Wait::Work, says.into(), &mend)
}

impl StringUp {
    /// When everything that only takes time is there; what never comes leaves nothing. Work is not waited for: see
    /// [`StringUp::work`].
    pub fn times(&self) -> Times<i64> {
        let now = Some(self.now_ms);
        let times = Times { earliest: now, likely: now, safe: now };
        self.items.iter().fold(times, |times, item| match item.wait {
            Wait::Nothing | Wait::Work => times,
            Wait::Until(other) => item::later(times, other),
            Wait::Never => Times { earliest: None, likely: None, safe: None },
        })
    }

    /// What holds strings back now.
    pub fn held_back_by(&self) -> impl Iterator<Item = &Item> {
        self.items.iter().filter(|item| item.holds(self.now_ms))
    }

    /// What waits for somebody rather than for time.
    pub fn work(&self) -> impl Iterator<Item = &Item> {
        self.items.iter().filter(|item| matches!(item.wait, Wait::Work | Wait::Never))
    }

    /// Whether full pitch is safe now.
    pub fn ready(&self) -> bool {
        self.held_back_by().next().is_none()
    }

    /// Whether nothing but what nobody said holds strings back.
    pub fn not_judged(&self) -> bool {
        !self.ready() && self.held_back_by().all(|item| item.kind == ItemKind::Load)
    }

    /// What holds strings back: what never comes first, then the latest; work, of which nobody knows when it is done, last.
    fn held_back_longest(&self) -> Vec<&Item> {
        let mut waiting: Vec<&Item> = self.held_back_by().collect();
        waiting.sort_by_key(|item| item.safe_ms().map_or((0, 0), |ms| (1, -ms.max(-i64::MAX))));
        waiting
    }

    /// What holds strings back longest, and by how many hours the next trails it, if both can be told.
    pub fn limiting(&self) -> Option<(&Item, Option<f64>)> {
        let waiting = self.held_back_longest();
        let (first, rest) = waiting.split_first()?;
        let known = |item: &Item| item.safe_ms().filter(|ms| *ms > i64::MIN);
        let next_ms = rest.first().and_then(|item| known(item)).unwrap_or(self.now_ms);
        Some((first, known(first).map(|ms| hours(ms - next_ms))))
    }
}
