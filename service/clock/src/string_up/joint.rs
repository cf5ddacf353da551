//! A joint under the strings: what they ask of it, what it has developed, and when that is enough.

use facts::{Bearing, JointAdded, JointLoaded, Level, Meets, TargetAge};
use physics::{statics::Stress, strength::monotone_table};

use super::{
    Item, ItemKind, OtherAir, Pulls, Wait, WoodBound,
    bound::{stress, wood_bound},
    item::later,
    until::{AgesH, Ahead},
};
use crate::{Band, Bench, Cure, Times, ages::to_ms};

/// Part of its strength that a joint short of glue is credited with. Common practice, no source.
const STARVED: f64 = 0.5;
/// Part that a joint glued again on old glue is credited with. Common practice, no source.
const REOPENED: f64 = 0.7;
/// Gap in µm and the part of its strength a joint is credited with. Common practice, no source, but for where it begins:
/// Wood Handbook ch. 10 puts the best bond line at 80 to 150 µm.
const GAP: [(f64, f64); 3] = [(150.0, 1.0), (500.0, 0.6), (1000.0, 0.4)];
/// Points of a curve.
const POINTS: i64 = 32;

/// Developed strength at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// When, ms.
    pub at_ms: i64,
    /// Share of full strength that is likely.
    pub likely: f64,
    /// Share it does no harm to rely on.
    pub safe: f64,
}

/// A joint under the strings.
#[derive(Debug, Clone)]
pub struct JointStanding {
    /// The joint.
    pub joint: JointAdded,
    /// How it is loaded, if anybody said.
    pub load: Option<JointLoaded>,
    /// Stress at full pitch.
    pub stress: Option<Stress>,
    /// The strength of its weaker wood.
    pub bound: Option<WoodBound>,
    /// Part of full strength credited after gap, starving and reopening.
    pub reduction: f64,
    /// Share of full strength that must have developed: stress / bound × margin / reduction. Above 1 it never is enough; 0
    /// where its load was not said, which is an item of its own.
    pub required: f64,
    /// Share of full strength developed now, at the safe end of its spread.
    pub developed: f64,
    /// Required against developed, from its start on; empty where its clock is not known.
    pub curve: Vec<CurvePoint>,
    /// What it holds back.
    pub item: Item,
}

/// What the rule of a cure said it needs before strings; of a cure that was not asked, its last opening milestone.
fn bearing(cure: &Cure) -> Option<Bearing> {
    cure.begun.bearing.clone().or_else(|| {
        let opens = |m: &&TargetAge| m.meets == Meets::Opens;
        let least = cure.begun.milestones.iter().rfind(opens)?.clone();
        let strength = vec![(0.0, 0.0), (least.likely_h.max(1e-6), 1.0)];
        Some(Bearing { strength, least, creep_hold_h: None })
    })
}

/// The first age at which a share is there; none above what the curve ends with.
fn age_of(strength: &[(f64, f64)], share: f64) -> Option<f64> {
    let first = strength.iter().position(|(_, there)| *there >= share)?;
    let (age_h, there) = strength[first];
    let Some((from_h, from)) = first.checked_sub(1).map(|i| strength[i]) else { return Some(age_h) };
    Some(from_h + (age_h - from_h) * (share - from) / (there - from))
}

/// Share of full strength at an age.
fn share_at(strength: &[(f64, f64)], age_h: f64) -> f64 {
    monotone_table(strength, age_h).unwrap_or(0.0)
}

impl Bench {
    /// The glue-up that a joint rests on: its last, withdrawn or not.
    fn glue_of(&self, joint: &JointAdded) -> Option<&Cure> {
        let of_joint = |cure: &&Cure| cure.begun.joint.as_ref() == Some(&joint.id);
        let last = || self.cures_of(&joint.instrument).rev().filter(of_joint);
        last().find(|cure| cure.withdrawn.is_none()).or_else(|| last().next())
    }

    /// A joint under the strings; none where neither glue nor load was ever said of it.
    pub(super) fn joint_standing(
        &self,
        joint: &JointAdded,
        pulls: &Pulls,
        margin: f64,
        others: &[OtherAir; 2],
        now_ms: i64,
    ) -> Option<JointStanding> {
        let (load, cure) = (self.loads.get(&joint.id), self.glue_of(joint));
        if load.is_none() && cure.is_none() {
            return None;
        }
        let stress = load.and_then(|load| stress(&load.load, pulls).ok().flatten());
        let bound = load.map(|load| wood_bound(load.wood));
        let gap_um = cure.map_or(joint.gap_um, |cure| cure.begun.joint_state.gap_um);
        let weakened = |by: bool, to: f64| if by { to } else { 1.0 };
        let reduction = share_at(&GAP, gap_um)
            * weakened(load.is_some_and(|load| load.starved), STARVED)
            * weakened(load.is_some_and(|load| load.reopened), REOPENED);
        let asked = stress.zip(bound).and_then(|(stress, bound)| stress.share(bound.shear_mpa, bound.peel_mpa).ok());
        let required = asked.unwrap_or(0.0) * margin / reduction;
        let mut standing = JointStanding {
            joint: joint.clone(),
            load: load.cloned(),
            stress,
            bound,
            reduction,
            required,
            developed: 1.0,
            curve: Vec::new(),
            item: Item::plain(ItemKind::Joint, joint.id.as_str(), &joint.name, Wait::Nothing, String::new(), ""),
        };
        self.judge(&mut standing, cure, others, now_ms);
        Some(standing)
    }

    fn judge(&self, standing: &mut JointStanding, cure: Option<&Cure>, others: &[OtherAir; 2], now_ms: i64) {
        let required = standing.required;
        let mut verdict = |wait, says: &str, mend: &str| {
            standing.item.wait = wait;
            (standing.item.says, standing.item.mend) = (says.into(), mend.into());
        };
        if standing.load.as_ref().is_some_and(|load| load.sound) {
            return verdict(Wait::Nothing, "tested and vouched for", "");
        }
        if matches!(standing.load.as_ref().map(|load| load.load), Some(facts::LoadPath::Unloaded {})) {
            return verdict(Wait::Nothing, "no string pull goes through it", "");
        }
        if required > 1.0 {
            let says = format!(
                "even at full strength it is short of the load times the margin: {:.0} % of its strength is asked",
                required * 100.0
            );
            let mend =
                "check its measures and the margin; lighter strings ask less; if you have tested it, say sound: true";
            return verdict(Wait::Never, &says, mend);
        }
        let Some(cure) = cure else {
            return verdict(Wait::Nothing, "it was not glued here; it is taken to be sound", "look at it yourself");
        };
        if cure.withdrawn.is_some() {
            return verdict(Wait::Work, "its glue-up was withdrawn", "glue it, or say sound: true if it is whole");
        }
        if let Some(defect) = self.defect(cure, now_ms) {
            let mend = "test it and say sound: true, or take it apart and glue it again";
            return verdict(Wait::Work, &defect, mend);
        }
        let Some(bearing) = bearing(cure) else {
            return verdict(Wait::Work, "its rule names no stage to wait for", "test it and say sound: true");
        };
        self.wait_for(standing, cure, &bearing, others, now_ms);
    }

    /// Why a glue-up must not be relied on, if there is a reason.
    fn defect(&self, cure: &Cure, now_ms: i64) -> Option<String> {
        let found = cure.begun.findings.iter().find(|finding| finding.level == Level::Defect);
        let broken = || self.broken_limits(cure, now_ms).first().map(|(limit, ..)| limit.says.clone());
        let spoiled = || broken().or_else(|| self.was_spoiled(cure));
        found.map(|finding| finding.what.clone()).or_else(spoiled).or_else(|| cure.broken.clone())
    }

    fn wait_for(
        &self,
        standing: &mut JointStanding,
        cure: &Cure,
        bearing: &Bearing,
        others: &[OtherAir; 2],
        now_ms: i64,
    ) {
        let spread = AgesH::of(&bearing.least);
        let hold_h = bearing.creep_hold_h.unwrap_or(0.0);
        let until = |required: f64, ahead: Ahead| {
            let age_h = age_of(&bearing.strength, required)?;
            let strong = self.when(cure, spread.spread_as(age_h), 0.0, ahead, now_ms);
            let least = self.when(cure, spread, bearing.least.floor_h.max(hold_h), ahead, now_ms);
            Some((strong, least))
        };
        let Some((strong, least)) = until(standing.required, Ahead::Expected) else {
            let says = "the strength its rule foresees never reaches what is asked";
            (standing.item.wait, standing.item.says) = (Wait::Never, says.into());
            standing.item.mend = "glue it with something stronger, or string it lighter".into();
            return;
        };
        let both = later(strong, least);
        standing.item.wait = Wait::Until(both);
        standing.item.half_safe_ms =
            until(standing.required / 2.0, Ahead::Expected).and_then(|(a, b)| later(a, b).safe);
        standing.item.elsewhere_ms = others.map(|other| match self.rate_in(cure, other.air) {
            Some(rate) => until(standing.required, Ahead::Held(rate)).and_then(|(a, b)| later(a, b).safe),
            None => both.safe,
        });
        if cure.is_open() {
            let slow_h = self.gathered(cure, now_ms, Band::Slow);
            let safe_share = spread.spread_as(1.0).safe.max(1.0);
            standing.developed = share_at(&bearing.strength, slow_h / safe_share);
            standing.curve = self.curve(cure, &bearing.strength, safe_share, both.safe, now_ms);
        } else if both.safe.is_some_and(|safe_ms| safe_ms > now_ms) {
            standing.developed = 0.0;
        }
        let there = format!("{:.0} % is there", standing.developed * 100.0);
        let asked = match standing.load {
            Some(_) => format!("{:.0} % of full strength is asked, {there}", standing.required * 100.0),
            None => format!("how much strength is asked nobody said, {there}"),
        };
        let held = if both.safe <= Some(now_ms) && both.safe.is_some() {
            "; the least wait of its rule is over"
        } else if strong.safe >= least.safe {
            "; it waits for strength"
        } else if hold_h > bearing.least.floor_h && least.safe == self.held_ms(cure, hold_h) {
            "; this glue creeps under load and is left longer"
        } else {
            "; it waits for the least time its rule gives"
        };
        standing.item.says = asked + held;
    }

    fn held_ms(&self, cure: &Cure, hold_h: f64) -> Option<i64> {
        Some(cure.begun.started_at.timestamp_millis() + to_ms(hold_h))
    }

    /// Developed strength from the start of an open cure to some way past the time it is enough.
    fn curve(
        &self,
        cure: &Cure,
        strength: &[(f64, f64)],
        safe_share: f64,
        safe_ms: Option<i64>,
        now_ms: i64,
    ) -> Vec<CurvePoint> {
        let from_ms = cure.begun.started_at.timestamp_millis();
        let span_ms = (safe_ms.unwrap_or(now_ms).max(now_ms) - from_ms).max(1) * 5 / 4;
        let point = |i: i64| {
            let at_ms = from_ms + span_ms * i / POINTS;
            let share = |band, by: f64| share_at(strength, self.gathered(cure, at_ms, band) / by);
            CurvePoint { at_ms, likely: share(Band::Middle, 1.0), safe: share(Band::Slow, safe_share) }
        };
        (0..=POINTS).map(point).collect()
    }

    /// When a coat, or a joint that nobody loads, is at a stage of its rule.
    pub(super) fn coat_item(&self, cure: &Cure, others: &[OtherAir; 2], now_ms: i64) -> Option<Item> {
        let milestones = &cure.begun.milestones;
        let stage = |word: &str| milestones.iter().find(|m| m.stage == word);
        let last = || milestones.iter().rfind(|m| m.meets == Meets::Opens);
        let target = stage("print_free").or_else(|| stage("dry_through")).or_else(last)?;
        let when = |ahead| self.when(cure, AgesH::of(target), target.floor_h, ahead, now_ms);
        let wait: Times<i64> = when(Ahead::Expected);
        let surface = cure.begun.surface.as_deref().unwrap_or("finish");
        let says = format!("a strap, a capo or a hand prints into it until it is {}", target.stage.replace('_', " "));
        let mut item = Item::plain(ItemKind::Coat, cure.begun.id.as_str(), surface, Wait::Until(wait), says, "");
        item.elsewhere_ms = others.map(|other| match self.rate_in(cure, other.air) {
            Some(rate) => when(Ahead::Held(rate)).safe,
            None => wait.safe,
        });
        Some(item)
    }
}
