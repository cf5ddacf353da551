//! What is proposed for a glue-up: what the step says, then what was used the last time for such a joint.

use clock::{Bench, Cure, Job};
use facts::{ClampId, CureKind, JointId, LotId, MaterialId, Step, ZoneId};

/// What stands in the form before anybody touches it.
#[derive(Default)]
pub(super) struct Proposal {
    pub(super) joint: Option<JointId>,
    pub(super) material: Option<MaterialId>,
    pub(super) lot: Option<LotId>,
    pub(super) zone: Option<ZoneId>,
    pub(super) clamps: Vec<ClampId>,
}

impl Proposal {
    pub(super) fn of(bench: &Bench, planned: Option<(&Job, &Step)>, now_ms: i64) -> Self {
        let joint = planned.and_then(|(job, step)| step.joint.clone().or_else(|| only_joint(bench, job)));
        let last = last_like(bench, joint.as_ref());
        let said = planned.and_then(|(_, step)| step.material.clone());
        let material = said.or_else(|| last.map(|cure| cure.begun.material.clone()));
        let here =
            planned.and_then(|(job, _)| bench.place(job.opened.instrument.as_str())).map(|(zone, _)| zone.clone());
        let zone = here.or_else(|| last.map(|cure| cure.begun.zone.clone()));
        let free = |clamp: &&ClampId| bench.clamps().get(*clamp).is_some_and(|clamp| clamp.is_free());
        Self {
            lot: material.as_ref().and_then(|material| lot(bench, material, now_ms)),
            zone: zone.or_else(|| bench.zones().next().map(|zone| zone.id.clone())),
            clamps: last.map_or_else(Vec::new, |cure| cure.begun.clamps.iter().filter(free).cloned().collect()),
            joint,
            material,
        }
    }
}

/// The joint of an instrument that has only one.
fn only_joint(bench: &Bench, job: &Job) -> Option<JointId> {
    let mut of_it = bench.joints().values().filter(|joint| joint.instrument == job.opened.instrument);
    of_it.next().filter(|_| of_it.next().is_none()).map(|joint| joint.id.clone())
}

/// The last glue-up of this joint, or of one called the same, or of any.
fn last_like<'a>(bench: &'a Bench, joint: Option<&JointId>) -> Option<&'a Cure> {
    let name = |id: &JointId| bench.joints().get(id).map(|joint| joint.name.as_str());
    let glue_ups =
        || bench.cures().iter().rev().filter(|c| c.begun.cure_kind == CureKind::GlueUp && c.withdrawn.is_none());
    let same = glue_ups().find(|cure| joint.is_some() && cure.begun.joint.as_ref() == joint);
    let alike = || glue_ups().find(|c| joint.is_some_and(|j| c.begun.joint.as_ref().and_then(name) == name(j)));
    same.or_else(alike).or_else(|| glue_ups().next())
}

/// The bottle last used of a material; the one opened last, if none was used; none that is past its time.
fn lot(bench: &Bench, material: &MaterialId, now_ms: i64) -> Option<LotId> {
    let good = |id: &LotId| {
        let lot = bench.lots().get(id);
        lot.is_some_and(|lot| lot.best_before.is_none_or(|until| until.timestamp_millis() > now_ms))
    };
    let used = bench.cures().iter().rev().filter(|cure| cure.begun.material == *material);
    let used = used.filter_map(|cure| cure.begun.lot.clone()).find(good);
    used.or_else(|| {
        let of_it = bench.lots().values().filter(|lot| lot.material == *material && good(&lot.id));
        of_it.max_by_key(|lot| lot.opened_at).map(|lot| lot.id.clone())
    })
}
