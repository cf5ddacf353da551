//! Clamps: held from the glue-up until somebody takes them off; and cures that belong to no open job, with the clamps and
//! the room they keep.

use std::collections::BTreeMap;

use clock::Cure;
use facts::{CureKind, StepKind, Work};
use planner::{Hold, Resource, Step};

use super::{JobLine, Part, Piece, Room, Stages, begun, clamps_off_title, minute};

/// Minutes it takes to take the clamps off a joint. Common practice, no source.
const CLAMPS_OFF_MIN: i64 = 10;
impl Room<'_> {
    /// Clamps that nobody knows when to take off are not there for others, nor is the room of the joint they are on.
    pub(super) fn keep(&mut self, cure: &Cure) {
        if let (Some(place), CureKind::GlueUp) = (self.places.get(self.bench.lies_in(cure)), cure.begun.cure_kind) {
            let capacity = &mut self.draft.problem.resources[*place].capacity;
            *capacity = capacity.saturating_sub(1);
        }
        for clamp in &cure.clamps_on {
            let kind =
                self.bench.clamps().get(clamp).and_then(|clamp| self.kinds.get(&clamp.added.clamp_kind)).copied();
            for resource in [Some(self.clamps), kind].into_iter().flatten() {
                let capacity = &mut self.draft.problem.resources[resource].capacity;
                *capacity = capacity.saturating_sub(1);
            }
        }
    }

    /// The clamps on a cure and the room it takes, until somebody takes them off.
    pub(super) fn off_begun(&mut self, job: usize, work: usize, piece: Piece, cure: &Cure, stages: &Stages) -> usize {
        let clamps = cure.clamps_on.len() as u32;
        let off = self.clamps_off(job, Piece { clamps, ..piece });
        self.cure_lag(work, off, stages.release());
        self.hold(self.clamps, clamps, work, off);
        if let Some(place) = self.places.get(self.bench.lies_in(cure)).copied() {
            self.hold(place, 1, work, off);
        }
        let mut of_kind: BTreeMap<usize, u32> = BTreeMap::new();
        for clamp in &cure.clamps_on {
            let kind = self.bench.clamps().get(clamp).and_then(|clamp| self.kinds.get(&clamp.added.clamp_kind));
            kind.into_iter().for_each(|kind| *of_kind.entry(*kind).or_default() += 1);
        }
        of_kind.into_iter().for_each(|(kind, count)| self.hold(kind, count, work, off));
        off
    }

    /// The clamps a planned glue-up takes. A shop that has listed none at all has some, and nobody has counted them.
    pub(super) fn hold_clamps(&mut self, asked: &Work, from: usize, to: usize) {
        let clamps = asked.clamps.unwrap_or(0);
        if clamps > 0 && self.bench.clamps().is_empty() {
            self.draft.assumed.insert("no clamp is listed in the shop: none are counted".into());
            return;
        }
        self.hold(self.clamps, clamps, from, to);
        if !asked.clamp_kind.is_empty() {
            let kind = self.kind(&asked.clamp_kind);
            self.hold(kind, clamps, from, to);
        }
    }

    /// A kind of clamp; one that nobody has counts as none of it.
    fn kind(&mut self, kind: &str) -> usize {
        if let Some(known) = self.kinds.get(kind) {
            return *known;
        }
        let none = self.draft.resource(format!("{kind} clamps"), Resource { capacity: 0, hours: None });
        self.kinds.insert(kind.into(), none);
        none
    }

    pub(super) fn clamps_off(&mut self, job: usize, piece: Piece) -> usize {
        let needs = self.hands(CLAMPS_OFF_MIN, 1);
        self.draft.piece(piece, Step { job, length_min: CLAMPS_OFF_MIN, needs, ..Step::default() })
    }

    pub(super) fn hold(&mut self, resource: usize, count: u32, from: usize, to: usize) {
        if count > 0 {
            self.draft.problem.holds.push(Hold { resource, count, from, to });
        }
    }

    /// Clamps on cures that belong to no open job come off, too, and such cures keep their room.
    pub(super) fn add_loose(&mut self) {
        let bench = self.bench;
        let takes = |cure: &&Cure| !cure.clamps_on.is_empty() || self.places.contains_key(bench.lies_in(cure));
        let loose = bench.cures().iter().filter(|cure| cure.is_open()).filter(takes);
        let loose: Vec<&Cure> = loose.filter(|cure| !self.known.contains(&cure.begun.id)).collect();
        for cure in loose {
            let stages = self.stages_of(cure);
            let (clamped, stays) = (!cure.clamps_on.is_empty(), self.stays(cure, &stages));
            let is_coat = cure.begun.cure_kind == CureKind::Coat;
            let lets_go = stages.release().is_none_or(|stage| self.minutes(stage).is_some());
            let may_stick = !is_coat && !cure.step_done() && !lets_go;
            if !clamped && !may_stick && stays.is_empty() {
                continue;
            }
            let place = crate::alerts::words::place(bench, cure);
            let name = bench.instruments().get(&cure.begun.instrument).map_or_else(String::new, |i| i.name.clone());
            let job = self.job_line(JobLine { id: None, title: place.clone(), instrument: name }, None, 1);
            let piece = |part, key: String, title| Piece {
                key,
                part,
                step: None,
                cure: Some(cure.begun.id.clone()),
                kind: if is_coat { StepKind::Coat } else { StepKind::GlueUp },
                title,
                zone: Some(bench.lies_in(cure).clone()),
                clamps: cure.clamps_on.len() as u32,
                under_way: false,
            };
            let start_min = minute(cure.begun.started_at.timestamp_millis());
            let stuck = may_stick && self.never_lets_go(job, &place, &stages);
            let work = piece(Part::Step, cure.begun.id.to_string(), place.clone());
            let needs = if clamped && !stuck { vec![] } else { stays };
            let work = self.draft.piece(work, begun(job, start_min, needs));
            let off = piece(Part::ClampsOff, format!("{}:clamps_off", cure.begun.id), clamps_off_title(&place));
            if stuck {
                self.keep(cure);
            } else if clamped {
                self.off_begun(job, work, off, cure, &stages);
            }
        }
    }
}
