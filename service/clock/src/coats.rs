//! The coats on one surface of an instrument: which lies on top, what the others still hold, when its window to recoat
//! closes, and what may touch it.
//!
//! A coat that another lies on has nothing more to tell: its alarms go, and it leaves its clocks. What it still held then
//! stands in the fact of the coat that covers it, so that the next coat needs to look no further than the top one.

use std::sync::Arc;

use facts::{CoatBeneath, CoatExposed, CureBegun, CureKind, InstrumentId, Meets, TargetAge};
use physics::film::Coats;

use crate::{Bench, Cure, ages::HOUR_MS, cure_clock::CureIx};

/// Where coats lie one on the other: an instrument and the luthier's word for the surface, in lower case.
pub(crate) type SurfaceKey = (InstrumentId, String);

/// Stages of the whole stack, which wait for what the coats beneath still hold.
const DEEP: [&str; 3] = ["dry_through", "print_free", "rub_out"];
/// The stage of the top coat that what comes up from the one just beneath holds back.
const SANDABLE: &str = "sandable";
/// Stages that evaporation from the surface brings about.
const SURFACE: [&str; 4] = ["set_to_touch", "dust_free", "tack_free", "dry_to_touch"];
/// Most coats looked at; those further down have long been dry.
const DEEPEST: usize = 30;

/// The surface a coat lies on; none for a glue-up.
pub(crate) fn surface_of(cure: &Cure) -> Option<SurfaceKey> {
    let begun = &cure.begun;
    let surface = begun.surface.as_ref().filter(|_| begun.cure_kind == CureKind::Coat)?;
    Some((begun.instrument.clone(), surface.trim().to_lowercase()))
}

/// Whether the window to recoat is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RecoatWindow {
    /// Not before it has had its light: it is wet.
    Wet,
    /// Its rule closes no window: the next coat dissolves this one again, or bites by itself.
    Stays,
    /// Open, or not opened yet; closes at the earliest at this instant, ms, if the expected air ever gets there.
    Closes(Option<i64>),
    /// Closed at this instant, ms: abrade before the next coat.
    Closed(i64),
}

impl Bench {
    /// The coats on a surface that count, oldest first.
    fn coats_on(&self, key: &SurfaceKey) -> Vec<CureIx> {
        let mut coats: Vec<CureIx> = self.coats.get(key).cloned().unwrap_or_default();
        coats.retain(|ix| self.cures[*ix as usize].withdrawn.is_none());
        coats.sort_by_key(|ix| (self.cures[*ix as usize].begun.started_at, *ix));
        coats
    }

    /// The top coat of a surface as it was at an instant.
    pub fn top_coat(&self, instrument: &InstrumentId, surface: &str, at_ms: i64) -> Option<&Cure> {
        let coats = self.coats_on(&(instrument.clone(), surface.trim().to_lowercase()));
        let mut coats = coats.into_iter().map(|ix| &self.cures[ix as usize]);
        coats.rfind(|cure| cure.begun.started_at.timestamp_millis() <= at_ms)
    }

    /// The top coat of each surface of an instrument.
    pub fn top_coats<'a>(&'a self, instrument: &'a str) -> Vec<&'a Cure> {
        let of_it = self.coats.keys().filter(|(of, _)| of.as_str() == instrument);
        let mut tops: Vec<&Cure> =
            of_it.filter_map(|key| self.coats_on(key).last().map(|ix| &self.cures[*ix as usize])).collect();
        tops.sort_by_key(|cure| cure.begun.started_at);
        tops
    }

    /// A coat got more light. Once it is enough its age begins.
    pub(crate) fn expose(&mut self, exposed: &CoatExposed, at_ms: i64) {
        let Some(&ix) = self.cure_of.get(&exposed.cure) else { return };
        let cure = &mut self.cures[ix as usize];
        let waited = cure.waits_for_light();
        let mut begun = CureBegun::clone(&cure.begun);
        begun.findings = exposed.findings.clone();
        if let Some(laid) = &mut begun.coat {
            laid.exposure_mj_cm2 = Some(laid.exposure_mj_cm2.unwrap_or(0.0) + exposed.exposure_mj_cm2);
        }
        cure.begun = Arc::new(begun);
        let Some(zone) = cure.open_legs().last().map(|leg| leg.zone) else { return };
        if waited && !cure.waits_for_light() {
            self.off_clocks(ix);
            self.cures[ix as usize].legs.clear();
            self.begin_leg(ix, zone, at_ms);
        }
    }

    /// A coat came to a surface or was withdrawn from it: all but the top one are covered.
    pub(crate) fn cover(&mut self, key: &SurfaceKey) {
        let coats = self.coats_on(key);
        for (i, ix) in coats.iter().copied().enumerate() {
            let above = coats.get(i + 1).map(|next| self.cures[*next as usize].begun.started_at.timestamp_millis());
            let was = std::mem::replace(&mut self.cures[ix as usize].covered_ms, above);
            match (was.is_some(), above.is_some()) {
                (false, true) => {
                    let covered = self.cures[ix as usize].begun.id.clone();
                    self.take_back_alerts(covered.as_str());
                }
                (true, false) => self.give_back_alerts(ix),
                _ => {}
            }
            match (was, above) {
                (None, Some(_)) if !self.cures[ix as usize].closed => {
                    self.leave_clocks(ix);
                    self.cures[ix as usize].closed_by_cover = true;
                }
                (Some(_), None) => self.uncover(ix),
                _ => {}
            }
        }
    }

    /// The coat above was withdrawn: the one beneath has its milestones before it again.
    fn uncover(&mut self, ix: CureIx) {
        let cure = &mut self.cures[ix as usize];
        let job_closed = cure.begun.job.as_ref().and_then(|job| self.jobs.get(job)).is_some_and(|job| job.closed);
        if !std::mem::take(&mut cure.closed_by_cover) || job_closed {
            return;
        }
        self.open_cure_again(ix);
    }

    /// Age of a coat at an instant, reference hours. One that is finished is on no clock any more: its hours on the wall are
    /// taken, which only decides how little solvent is left of a little.
    fn coat_age_h(&self, cure: &Cure, at_ms: i64) -> f64 {
        let on_the_wall_h = (at_ms - cure.begun.started_at.timestamp_millis()) as f64 / HOUR_MS;
        self.age_h(cure, at_ms).unwrap_or(on_the_wall_h).max(0.0)
    }

    /// The coats a new one would lie on at an instant, from the wood up, each with the solvent it still holds. All of it
    /// goes by the clock of the top coat, though warmth drives what is deep and the air what is at the surface.
    pub fn beneath(&self, instrument: &InstrumentId, surface: &str, at_ms: i64) -> Vec<CoatBeneath> {
        let Some(top) = self.top_coat(instrument, surface, at_ms) else { return vec![] };
        let Some(laid) = &top.begun.coat else { return vec![] };
        let known: Vec<CoatBeneath> = laid.beneath.iter().copied().chain(laid.film).collect();
        let known = &known[known.len().saturating_sub(DEEPEST)..];
        let mut coats = stack(known);
        // Ages and coats were checked when they were told.
        let rested = coats.rest(self.coat_age_h(top, at_ms));
        let held = coats.held_um();
        if rested.is_err() || held.len() != known.len() {
            return vec![];
        }
        known.iter().zip(held).map(|(coat, solvent_um)| CoatBeneath { solvent_um, ..*coat }).collect()
    }

    /// Whether the next coat on this one must wait for paper: as it looks at `at_ms`.
    pub fn recoat_window(&self, cure: &Cure, at_ms: i64) -> RecoatWindow {
        if cure.waits_for_light() {
            return RecoatWindow::Wet;
        }
        let milestones = &cure.begun.milestones;
        let Some(m) = milestones.iter().position(|m| m.meets == Meets::Closes && m.stage == "recoat_closes") else {
            return RecoatWindow::Stays;
        };
        let closes_ms = match cure.is_open() {
            true => self.milestone(cure, m, at_ms).earliest_ms,
            // A finished coat is on no clock; nor is one whose job was closed early.
            false => {
                let wall_ms = (milestones[m].earliest_h * HOUR_MS) as i64;
                Some(cure.begun.started_at.timestamp_millis() + wall_ms)
            }
        };
        match closes_ms {
            Some(closes_ms) if closes_ms <= at_ms => RecoatWindow::Closed(closes_ms),
            closes_ms => RecoatWindow::Closes(closes_ms),
        }
    }
}

fn stack(coats: &[CoatBeneath]) -> Coats {
    let mut stack = Coats::default();
    for coat in coats {
        // A coat no formula takes is left out; such a stack is told from one that is whole by its length.
        let laid = stack.lay(coat.dry_um, coat.solvent_um, coat.diffusion_um2_h);
        if let (Ok(()), Some(sets_h)) = (laid, coat.sets_h) {
            let _ = stack.top_sets(sets_h);
        }
    }
    stack
}

/// How much later a coat hardens for what those beneath it hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Later {
    /// Solvent carried in from beneath, µm.
    pub carried_um: f64,
    /// What is put on the target ages of the whole stack, reference hours.
    pub later_h: f64,
}

/// Puts the stages of a coat that wait for its depth later, for what the coats beneath it still hold: added to the earliest,
/// likely and safe age alike, so that no stage overtakes another.
pub fn harden_later(milestones: &mut [TargetAge], laid: CoatBeneath, beneath: &[CoatBeneath]) -> Later {
    let later_h = stack(&[beneath, &[laid]].concat()).later_h();
    let just_beneath = &beneath[beneath.len().saturating_sub(1)..];
    let sand_later_h = stack(&[just_beneath, &[laid]].concat()).later_h().min(later_h);
    for milestone in milestones.iter_mut().filter(|m| m.likely_h > 0.0) {
        let later_h = match milestone.stage.as_str() {
            SANDABLE => sand_later_h,
            stage if DEEP.contains(&stage) => later_h,
            _ => continue,
        };
        milestone.earliest_h += later_h;
        milestone.likely_h += later_h;
        milestone.safe_h += later_h;
    }
    Later { carried_um: beneath.iter().map(|coat| coat.solvent_um).sum(), later_h }
}

/// Stretches the stages that evaporation brings about. What follows them begins later by as much as the last of them does:
/// no film is ready for the next coat before it is dry to the touch.
pub fn set_later(milestones: &mut [TargetAge], factor: f64) {
    let of_surface = |m: &TargetAge| SURFACE.contains(&m.stage.as_str());
    let last = milestones.iter().filter(|m| of_surface(m)).max_by(|a, b| a.likely_h.total_cmp(&b.likely_h));
    let later = |age_h: f64| age_h * (factor - 1.0).max(0.0);
    let later_h = last.map_or([0.0; 3], |m| [m.earliest_h, m.likely_h, m.safe_h].map(later));
    for milestone in milestones {
        let ages_h = [&mut milestone.earliest_h, &mut milestone.likely_h, &mut milestone.safe_h];
        let surface = SURFACE.contains(&milestone.stage.as_str());
        for (age_h, later_h) in ages_h.into_iter().zip(later_h) {
            *age_h = if surface { *age_h * factor } else { *age_h + later_h };
        }
    }
}
