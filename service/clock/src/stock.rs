//! The shelf: how long each bottle keeps, what it cost by job, what to buy soon, and what was thrown out.
//!
//! Worked out when asked from what was said of lots; nothing is guessed where nobody said how much was used.

use std::collections::BTreeMap;

use facts::{Amount, CureId, JobId, LotAdded, LotClosed, LotId, LotUsed, MaterialId};

use crate::{Bench, cure_clock::CureIx};

const DAY_MS: i64 = 24 * 3_600_000;
/// Days a bottle takes to come; common practice, no source.
pub const LEAD_DAYS: f64 = 14.0;
/// Days looked back on for how fast a material is used: a season. Common practice, no source.
pub const PACE_DAYS: f64 = 90.0;

/// What became of a lot after it was put on the shelf.
#[derive(Debug, Clone, Default)]
pub struct Shelved {
    /// What was taken from it, with when, ms.
    pub uses: Vec<(i64, LotUsed)>,
    /// When it left the shelf, ms, and how.
    pub closed: Option<(i64, LotClosed)>,
}

/// How a lot stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LotState {
    /// It may be used, as far as its age goes.
    Good,
    /// Past the time it keeps: try it on scrap, or open a fresh one.
    Stale,
    /// It has left the shelf.
    Closed,
}

/// One bottle.
#[derive(Debug)]
pub struct LotLine<'a> {
    /// As it was added.
    pub lot: &'a LotAdded,
    /// How it stands.
    pub state: LotState,
    /// Until when it keeps, ms: the earlier of its printed day and its time since it was opened; none where neither is
    /// known.
    pub keeps_until_ms: Option<i64>,
    /// What was said to be taken from it.
    pub used: f64,
    /// What should be in it, in the unit of its content; none where that is not known.
    pub left: Option<Amount>,
    /// Glue-ups and coats that name it and do not say how much.
    pub unstated: usize,
    /// What a job cost in this material: used over content, times what was paid. Jobs by id; none for what was for no job.
    pub cost_by_job: BTreeMap<Option<&'a JobId>, f64>,
}

/// One material over all its bottles; amounts are in the unit of `unit`, bottles in another unit are left out.
#[derive(Debug, Default)]
pub struct MaterialLine {
    /// `ml` or `g`; empty while no bottle says its content.
    pub unit: &'static str,
    /// Bottles that may be used.
    pub good: usize,
    /// What is in them, as far as it is known.
    pub left: f64,
    /// How much is used a day, over the last [`PACE_DAYS`]; none where no amount was said.
    pub used_per_day: Option<f64>,
    /// Why to buy soon, if one should.
    pub buy_soon: Option<String>,
    /// Bottles that left the shelf and whose rest is known.
    pub closed: usize,
    /// What was in those when they were bought.
    pub bought: f64,
    /// What was thrown out with them.
    pub thrown_out: f64,
    /// What those cost, where it was said.
    pub paid: f64,
    /// What was paid for each unit really used: a smaller container pays up to this price for the same unit. None where a
    /// price is missing or nothing was used.
    pub paid_per_used: Option<f64>,
}

impl MaterialLine {
    /// Share thrown out before use, 0 to 1; none while no bottle has been closed.
    pub fn wasted(&self) -> Option<f64> {
        (self.bought > 0.0).then(|| self.thrown_out / self.bought)
    }
}

impl Bench {
    pub(crate) fn use_lot(&mut self, used: LotUsed, at_ms: i64) {
        self.shelf.entry(used.lot.clone()).or_default().uses.push((at_ms, used));
    }

    /// What a cure that was registered by mistake said it took was not taken.
    pub(crate) fn unuse_lot(&mut self, ix: CureIx) {
        let Some(said) = self.cures[ix as usize].begun.lot_used() else { return };
        let Some(shelved) = self.shelf.get_mut(&said.lot) else { return };
        if let Some(at) = shelved.uses.iter().position(|(_, used)| *used == said) {
            shelved.uses.remove(at);
        }
    }

    /// What became of a lot.
    pub fn shelved(&self, lot: &str) -> Option<&Shelved> {
        self.shelf.get(lot)
    }

    /// Every bottle at an instant; `storage_days` is how long an opened one of a material keeps.
    pub fn lot_lines(&self, now_ms: i64, storage_days: impl Fn(&MaterialId) -> Option<f64>) -> Vec<LotLine<'_>> {
        self.lots.values().map(|lot| self.lot_line(lot, now_ms, storage_days(&lot.material))).collect()
    }

    fn lot_line<'a>(&'a self, lot: &'a LotAdded, now_ms: i64, storage_days: Option<f64>) -> LotLine<'a> {
        let printed_ms = lot.best_before.map(|at| at.timestamp_millis());
        let opened_ms = lot.opened_at.map(|at| at.timestamp_millis());
        let open_until_ms =
            opened_ms.zip(storage_days).map(|(at_ms, days)| at_ms.saturating_add((days * DAY_MS as f64) as i64));
        let keeps_until_ms = [printed_ms, open_until_ms].into_iter().flatten().min();
        let shelved = self.shelf.get(&lot.id);
        let closed = shelved.and_then(|shelved| shelved.closed.as_ref());
        let state = match (closed, keeps_until_ms) {
            (Some(_), _) => LotState::Closed,
            (None, Some(until_ms)) if until_ms < now_ms => LotState::Stale,
            _ => LotState::Good,
        };
        let uses = shelved.map_or(&[][..], |shelved| &shelved.uses);
        let used = amount(uses.iter().map(|(_, used)| used));
        let rest = lot.content.map(|content| content.of((content.get() - used).max(0.0)));
        LotLine {
            lot,
            state,
            keeps_until_ms,
            used,
            left: closed.map_or(rest, |(_, closed)| closed.left.or(rest)),
            unstated: self.unstated(&lot.id, uses),
            cost_by_job: self.cost_by_job(lot, uses),
        }
    }

    fn unstated(&self, lot: &LotId, uses: &[(i64, LotUsed)]) -> usize {
        let stated = |cure: &CureId| uses.iter().any(|(_, used)| used.cure.as_ref() == Some(cure));
        let of_lot = self.cures.iter().filter(|cure| cure.begun.lot.as_ref() == Some(lot) && cure.withdrawn.is_none());
        of_lot.filter(|cure| !stated(&cure.begun.id)).count()
    }

    fn cost_by_job(&self, lot: &LotAdded, uses: &[(i64, LotUsed)]) -> BTreeMap<Option<&JobId>, f64> {
        let mut by_job = BTreeMap::new();
        let (Some(content), Some(cost)) = (lot.content, lot.cost) else { return by_job };
        for (_, used) in uses {
            let cure = used.cure.as_ref().and_then(|cure| self.cure(cure.as_str()));
            let job = cure.and_then(|cure| cure.begun.job.as_ref());
            *by_job.entry(job).or_default() += used.amount.get() / content.get() * cost;
        }
        by_job
    }

    /// Every material that ever had a bottle, over all of them.
    pub fn material_lines<'a>(&self, lines: &[LotLine<'a>], now_ms: i64) -> BTreeMap<&'a MaterialId, MaterialLine> {
        let mut materials: BTreeMap<&MaterialId, Vec<&LotLine<'_>>> = BTreeMap::new();
        for line in lines {
            materials.entry(&line.lot.material).or_default().push(line);
        }
        materials.into_iter().map(|(material, lots)| (material, self.material_line(&lots, now_ms))).collect()
    }

    fn material_line(&self, lots: &[&LotLine<'_>], now_ms: i64) -> MaterialLine {
        let unit = lots.iter().find_map(|line| line.lot.content).map_or("", Amount::unit);
        let mut all = MaterialLine { unit, ..MaterialLine::default() };
        let mut unpriced = false;
        for line in lots {
            all.good += usize::from(line.state == LotState::Good);
            let Some(content) = line.lot.content.filter(|content| content.unit() == unit) else { continue };
            let left = line.left.map_or(0.0, Amount::get);
            match line.state {
                LotState::Good => all.left += left,
                LotState::Stale => {}
                LotState::Closed => {
                    all.closed += 1;
                    all.bought += content.get();
                    all.thrown_out += left.min(content.get());
                    all.paid += line.lot.cost.unwrap_or_default();
                    unpriced |= line.lot.cost.is_none();
                }
            }
        }
        let used = all.bought - all.thrown_out;
        all.paid_per_used = (all.closed > 0 && !unpriced && used > 0.0).then(|| all.paid / used);
        all.used_per_day = self.used_per_day(lots, unit, now_ms);
        all.buy_soon = buy_soon(&all, lots, now_ms);
        all
    }

    /// The pace is taken over a season, or since the first use where that is shorter, but never over less than a lead time.
    fn used_per_day(&self, lots: &[&LotLine<'_>], unit: &str, now_ms: i64) -> Option<f64> {
        let uses = lots.iter().filter_map(|line| self.shelf.get(&line.lot.id)).flat_map(|shelved| &shelved.uses);
        let of_unit: Vec<_> = uses.filter(|(_, used)| used.amount.unit() == unit).collect();
        let first_ms = of_unit.iter().map(|(at_ms, _)| *at_ms).min()?;
        let days = ((now_ms - first_ms) as f64 / DAY_MS as f64).clamp(LEAD_DAYS, PACE_DAYS);
        let from_ms = now_ms - (days * DAY_MS as f64) as i64;
        let used = amount(of_unit.iter().filter(|(at_ms, _)| *at_ms >= from_ms).map(|(_, used)| used));
        Some(used / days)
    }
}

fn buy_soon(all: &MaterialLine, lots: &[&LotLine<'_>], now_ms: i64) -> Option<String> {
    let good = || lots.iter().filter(|line| line.state == LotState::Good);
    if all.good == 0 {
        return Some("no bottle on the shelf is within its time".into());
    }
    // A bottle without an end keeps longest of all.
    let last_ms = good().map(|line| line.keeps_until_ms.unwrap_or(i64::MAX)).max()?;
    let days = last_ms.saturating_sub(now_ms) as f64 / DAY_MS as f64;
    if days < LEAD_DAYS {
        return Some(format!("the last good bottle keeps {days:.0} more days"));
    }
    // A good bottle of unknown content may be full.
    let known = good().all(|line| line.left.is_some_and(|left| left.unit() == all.unit));
    let pace = all.used_per_day.filter(|pace| known && *pace > 0.0)?;
    let lasts = all.left / pace;
    (lasts < LEAD_DAYS).then(|| format!("at the pace of late, what is left lasts {lasts:.0} days"))
}

/// All that was used. From 0: an empty sum of floats is -0, and would be shown so.
fn amount<'a>(uses: impl Iterator<Item = &'a LotUsed>) -> f64 {
    uses.fold(0.0, |all, used| all + used.amount.get())
}
