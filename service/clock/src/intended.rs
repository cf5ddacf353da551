//! What the shop means the air of a zone to be: its set-point and the changes planned, and how the air follows them.

use facts::{AirPlanned, PlanId};

use crate::{
    Air,
    forecast::{DAY_MS, Expected, Outlook, STEP_MS, STEPS},
};

/// Time in which air comes within 1/e of what a heater or an open door makes of it: half an hour, as a booth or a warm
/// box of a few cubic metres does with a fan heater. Common practice, no source. A large room takes longer: its
/// readings say so, and each moves the outlook.
const FOLLOW_MS: i64 = 30 * 60_000;
/// After this long a plan's end is no longer felt: four times [`FOLLOW_MS`], less than 2 % of the step is left.
pub(crate) const AFTERMATH_MS: i64 = 4 * FOLLOW_MS;
/// How far past the last reading plans are looked at, ms: with a sensor silent for longer nothing is worth planning.
const LONGEST_MS: i64 = 30 * DAY_MS;
/// How long a plan is remembered behind a later one, ms: in a zone without a sensor a cure may have begun before it.
const REMEMBERED_MS: i64 = 31 * DAY_MS;
/// Half widths of the band where a set-point is all that is known: a room kept at one strays by 2 K, and its vapour by
/// what 8 % RH are at that temperature. Common practice, no source.
const SET_POINT_SPREAD: (f64, f64) = (2.0, 8.0);

/// A change of the air that somebody will make, or made.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// When it begins, ms since 1970 UTC.
    pub from_ms: i64,
    /// When it ends, ms.
    pub until_ms: i64,
    /// Temperature meant, °C.
    pub temp_c: f64,
    /// Relative humidity meant, %; none where only the heat is changed and the water in the air stays what it was.
    pub rh_pct: Option<f64>,
}

impl Plan {
    /// Vapour pressure meant, Pa, where the plan says anything of humidity.
    fn vapour_pa(&self) -> Option<f64> {
        self.rh_pct.map(|rh_pct| Moist::of(Air { temp_c: self.temp_c, rh_pct }).vapour_pa)
    }
}

/// What the shop means the air of one zone to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Intended {
    /// The set-point: the air where nothing is known.
    pub set: Air,
    /// When the set-point was last changed, ms: what was measured before is of another regime.
    pub set_since_ms: i64,
    /// Planned changes in order of time; no two overlap.
    pub plans: Vec<Plan>,
}

impl Intended {
    /// A set-point that has always been, and no plans.
    pub fn always(set: Air) -> Self {
        Self { set, set_since_ms: i64::MIN, plans: Vec::new() }
    }

    /// The plan that shapes the air of an instant: under way then, or over for less than [`AFTERMATH_MS`].
    pub(crate) fn felt_at(&self, at_ms: i64) -> Option<&Plan> {
        let begun = self.plans.partition_point(|plan| plan.from_ms <= at_ms);
        self.plans[..begun].last().filter(|plan| at_ms < plan.until_ms + AFTERMATH_MS)
    }

    /// The plan under way at an instant, and until when that is so.
    fn at(&self, at_ms: i64) -> (Option<&Plan>, i64) {
        let next = self.plans.partition_point(|plan| plan.until_ms <= at_ms);
        match self.plans.get(next) {
            Some(plan) if plan.from_ms <= at_ms => (Some(plan), plan.until_ms),
            Some(plan) => (None, plan.from_ms),
            None => (None, i64::MAX),
        }
    }
}

/// A plan as it was said, and what became of it.
#[derive(Debug)]
pub struct Planned {
    /// As it was said.
    pub said: AirPlanned,
    /// When it was called off, ms.
    pub cancelled_ms: Option<i64>,
}

impl Planned {
    /// Its id.
    pub fn id(&self) -> &PlanId {
        &self.said.id
    }

    /// When it begins, ms.
    pub fn from_ms(&self) -> i64 {
        self.said.from.timestamp_millis()
    }

    /// When it ends, ms; called off under way it ends then, called off before it began it is over as it begins.
    pub fn until_ms(&self) -> i64 {
        let until_ms = self.said.until.timestamp_millis();
        self.cancelled_ms.map_or(until_ms, |ms| ms.clamp(self.from_ms(), until_ms))
    }

    fn plan(&self) -> Plan {
        let AirPlanned { temp_c, rh_pct, .. } = &self.said;
        let rh_pct = rh_pct.map(facts::RhPct::get);
        Plan { from_ms: self.from_ms(), until_ms: self.until_ms(), temp_c: temp_c.get(), rh_pct }
    }
}

/// The plans of one zone in order of time, without those called off before they began and those long gone by.
pub(crate) fn standing<'a>(planned: impl Iterator<Item = &'a Planned>) -> Vec<Plan> {
    let mut plans: Vec<Plan> = planned.map(Planned::plan).filter(|plan| plan.from_ms < plan.until_ms).collect();
    plans.sort_by_key(|plan| plan.from_ms);
    let kept_ms = plans.last().map_or(0, |plan| plan.from_ms - REMEMBERED_MS);
    plans.retain(|plan| plan.until_ms > kept_ms);
    plans
}

/// Air by what a heater and a humidifier change.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moist {
    /// Temperature, °C.
    pub(crate) temp_c: f64,
    /// Pressure of the water vapour, Pa: it stays the same when air is only warmed.
    pub(crate) vapour_pa: f64,
}

/// How far one air is from another, or may be.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Apart {
    pub(crate) delta_k: f64,
    pub(crate) delta_pa: f64,
}

impl Moist {
    pub(crate) fn of(air: Air) -> Self {
        let vapour_pa = physics::air::vapour_pressure_pa(air.temp_c, air.rh_pct).expect("the air of a workshop");
        Self { temp_c: air.temp_c, vapour_pa }
    }
}

/// How far air of this temperature may be from what is meant where a set-point is all that is known.
pub(crate) fn set_point_spread(temp_c: f64) -> Apart {
    let (delta_k, rh_pct) = SET_POINT_SPREAD;
    Apart { delta_k, delta_pa: Moist::of(Air { temp_c, rh_pct }.held_physical()).vapour_pa }
}

/// What is expected while nobody changes anything, and the half widths of its band.
pub(crate) struct Undisturbed {
    pub(crate) middle: Moist,
    pub(crate) spread: Apart,
}

/// Lays the plans over the undisturbed air, step by step. `off` is how far the air is from undisturbed at `from_ms`.
pub(crate) fn follow(
    intended: &Intended,
    from_ms: i64,
    mut off: Apart,
    undisturbed: impl Fn(i64) -> Undisturbed,
) -> Outlook {
    // How far the air is in a plan's hands: 1 once it has followed one for long.
    let mut held = 0.0;
    let expected = |at_ms: i64, off: Apart, held: f64| {
        let Undisturbed { middle, spread } = undisturbed(at_ms);
        let temp_c = middle.temp_c + off.delta_k;
        let of_plan = set_point_spread(temp_c);
        let (spread_k, spread_pa) =
            (spread.delta_k.max(held * of_plan.delta_k), spread.delta_pa.max(held * of_plan.delta_pa));
        Expected::of_vapour(temp_c, middle.vapour_pa + off.delta_pa, spread_k, spread_pa)
    };
    let n_steps = steps_needed(intended, from_ms);
    let mut steps = Vec::with_capacity(n_steps + 1);
    steps.push(expected(from_ms, off, held));
    for step in 1..=n_steps as i64 {
        let (mut at_ms, end_ms) = (from_ms + (step - 1) * STEP_MS, from_ms + step * STEP_MS);
        while at_ms < end_ms {
            let (plan, changes_ms) = intended.at(at_ms);
            let to_ms = changes_ms.min(end_ms);
            let kept = (-((to_ms - at_ms) as f64) / FOLLOW_MS as f64).exp();
            let begun = undisturbed(at_ms).middle;
            let air = Moist { temp_c: begun.temp_c + off.delta_k, vapour_pa: begun.vapour_pa + off.delta_pa };
            off = Apart { delta_k: off.delta_k * kept, delta_pa: off.delta_pa * kept };
            if let Some(plan) = plan {
                let ends = undisturbed(to_ms).middle;
                off.delta_k = plan.temp_c + kept * (air.temp_c - plan.temp_c) - ends.temp_c;
                if let Some(meant_pa) = plan.vapour_pa() {
                    off.delta_pa = meant_pa + kept * (air.vapour_pa - meant_pa) - ends.vapour_pa;
                }
            }
            held = if plan.is_some() { 1.0 - kept * (1.0 - held) } else { kept * held };
            at_ms = to_ms;
        }
        steps.push(expected(end_ms, off, held));
    }
    Outlook { from_ms, steps }
}

/// Steps to where the plans within reach have been over for a day.
fn steps_needed(intended: &Intended, from_ms: i64) -> usize {
    let within_reach = intended.plans.iter().rev().find(|plan| plan.from_ms < from_ms + LONGEST_MS);
    let over_ms = within_reach.map_or(from_ms, |plan| plan.until_ms + AFTERMATH_MS + DAY_MS);
    STEPS.max((over_ms - from_ms).max(0) as usize / STEP_MS as usize + 1)
}

/// Without a reading the set-point stands in, and plans change it, also those gone by.
pub(crate) fn assumed(intended: &Intended) -> Outlook {
    let from_ms = intended.plans.first().map_or(0, |plan| plan.from_ms);
    let (middle, spread) = (Moist::of(intended.set), set_point_spread(intended.set.temp_c));
    follow(intended, from_ms, Apart::default(), |_| Undisturbed { middle, spread })
}
