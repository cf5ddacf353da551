//! When a cure is far enough for strings: by its clock in the air that is expected, or in another air from now on.

use facts::{Limit, TargetAge};

use crate::{
    Air, Band, Bench, Cure, Expected, Times,
    ages::{HOUR_MS, to_ms},
    intended::{Apart, Moist, set_point_spread},
    surface::is_broken,
};

/// Share of a milestone's safe hours that is waited on the wall where a cure's clock was stopped before it was told.
const STOPPED: f64 = 2.0;

/// Which air a cure has from now on.
#[derive(Debug, Clone, Copy)]
pub(super) enum Ahead {
    /// That of its zone, as it is expected.
    Expected,
    /// One that is held, in which it ages so fast.
    Held(f64),
}

/// Three ages, hours.
#[derive(Debug, Clone, Copy)]
pub(super) struct AgesH {
    pub(super) earliest: f64,
    pub(super) likely: f64,
    pub(super) safe: f64,
}

impl AgesH {
    pub(super) fn of(target: &TargetAge) -> Self {
        Self { earliest: target.earliest_h, likely: target.likely_h, safe: target.safe_h }
    }

    /// An age with the spread of another.
    pub(super) fn spread_as(self, likely_h: f64) -> Self {
        let share = |age_h: f64| if self.likely > 0.0 { age_h / self.likely } else { 1.0 };
        Self { earliest: likely_h * share(self.earliest), likely: likely_h, safe: likely_h * share(self.safe) }
    }
}

impl Bench {
    /// When an open cure reaches an age.
    fn reaches(&self, cure: &Cure, age_h: f64, band: Band, ahead: Ahead, now_ms: i64) -> Option<i64> {
        let Ahead::Held(rate) = ahead else { return self.time_of(cure, age_h, band) };
        let left_h = age_h - self.gathered(cure, now_ms, band);
        match () {
            () if left_h <= 0.0 => self.time_of(cure, age_h, band),
            () if rate > 0.0 => Some(now_ms + to_ms(left_h / rate)),
            () => None,
        }
    }

    /// When a cure has three ages, but not before so many hours on the wall. A closed cure that told all it had is
    /// there since then; one whose clock was stopped before waits twice its safe hours on the wall.
    pub(super) fn when(&self, cure: &Cure, ages: AgesH, floor_h: f64, ahead: Ahead, now_ms: i64) -> Times<i64> {
        let started_ms = cure.begun.started_at.timestamp_millis();
        let floor_ms = started_ms + (floor_h * HOUR_MS) as i64;
        if !cure.is_open() {
            let told = (0..cure.begun.milestones.len()).map(|m| cure.told(m).map(|(_, due_ms)| due_ms));
            let all: Option<Vec<i64>> = told.collect();
            let there_ms = all.and_then(|told| told.into_iter().max());
            let at_ms = there_ms.unwrap_or(started_ms + to_ms(STOPPED * ages.safe)).max(floor_ms);
            return Times { earliest: Some(at_ms), likely: Some(at_ms), safe: Some(at_ms) };
        }
        if cure.broken.is_some() {
            return Times { earliest: None, likely: None, safe: None };
        }
        let at = |age_h, band| Some(self.reaches(cure, age_h, band, ahead, now_ms)?.max(floor_ms));
        Times {
            earliest: at(ages.earliest, Band::Fast),
            likely: at(ages.likely, Band::Middle),
            safe: at(ages.safe, Band::Slow),
        }
    }

    /// What the air did to a cure that is closed by now, as far as its readings are kept. Its clocks have gone on without it,
    /// so the age up to which a limit mattered is found on the wall, straight between its start and a milestone it told.
    pub(super) fn was_spoiled(&self, cure: &Cure) -> Option<String> {
        if cure.is_open() {
            return None;
        }
        let started_ms = cure.begun.started_at.timestamp_millis();
        let told = |limit: &Limit| {
            let places = 0..cure.begun.milestones.len();
            let told = places.filter_map(|m| Some((cure.begun.milestones[m].likely_h, cure.told(m)?.1)));
            told.filter(|(age_h, _)| *age_h >= limit.until_h).min_by(|a, b| a.0.total_cmp(&b.0))
        };
        let broken = |limit: &&Limit| {
            let Some((age_h, due_ms)) = told(limit) else { return false };
            let part = if age_h > 0.0 { limit.until_h / age_h } else { 1.0 };
            let until_ms = started_ms + ((due_ms - started_ms) as f64 * part) as i64;
            let ends = cure.legs.iter().skip(1).map(|next| next.from_ms).chain([i64::MAX]);
            cure.legs.iter().zip(ends).any(|(leg, end_ms)| {
                let mut air = self.zones[leg.zone].timeline.between(leg.from_ms, end_ms.min(until_ms));
                air.any(|(_, air)| is_broken(limit, air))
            })
        };
        cure.begun.limits.iter().find(broken).map(|limit| limit.says.clone())
    }

    /// How fast an open cure ages, at the slow edge of what a room or box kept at an air is; none where that air would spoil
    /// it, or its law is lost, or it cures no more.
    pub(super) fn rate_in(&self, cure: &Cure, air: Air) -> Option<f64> {
        cure.open_legs().last()?;
        let Apart { delta_k, delta_pa } = set_point_spread(air.temp_c);
        let kept = Expected::of_vapour(air.temp_c, Moist::of(air).vapour_pa, delta_k, delta_pa);
        if cure.begun.limits.iter().any(|limit| is_broken(limit, kept.air)) {
            return None;
        }
        let law = self.laws.law(&cure.begun.rule_version, &cure.begun.mode).ok()?;
        Some(kept.corners().into_iter().map(|air| law(air)).fold(f64::INFINITY, f64::min))
    }
}
