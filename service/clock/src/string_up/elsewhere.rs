//! What another air from now on would change: a warm box whose humidity is kept for the wood's sake, and a room whose
//! heating failed.

use facts::InstrumentId;

use super::{Item, StringUp, Wait};
use crate::{Air, Bench, Target, ages::hours, intended::Moist};

/// Temperature of a warm box, °C.
const BOX_C: f64 = 30.0;
/// Temperature of a room whose heating failed, °C.
const COLD_C: f64 = 15.0;

/// An air the instrument could be in from now on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherAir {
    /// The air.
    pub air: Air,
    /// Where its humidity is to be kept: what it would come to with the water the air has here, %.
    pub unkept_rh_pct: Option<f64>,
}

/// The airs a wait is worked out in besides: the box in the middle of the shop's band of humidity, and the cold room with
/// the water its air has now. Air that is only warmed dries wood out while its glue is helped along.
fn other_airs(here: Air, target: Target) -> [OtherAir; 2] {
    let vapour_pa = Moist::of(here).vapour_pa;
    let unkept = |temp_c: f64| {
        let saturated_pa = Moist::of(Air { temp_c, rh_pct: 100.0 }).vapour_pa;
        Air { temp_c, rh_pct: 100.0 * vapour_pa / saturated_pa }.held_physical()
    };
    let (warmed, cold) = (unkept(BOX_C), unkept(COLD_C));
    let kept = Air { temp_c: BOX_C, rh_pct: target.middle_rh_pct() };
    [OtherAir { air: kept, unkept_rh_pct: Some(warmed.rh_pct) }, OtherAir { air: cold, unkept_rh_pct: None }]
}

/// What another air from now on would change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elsewhere<'a> {
    /// That air.
    pub other: OtherAir,
    /// When strings may go on then, ms.
    pub safe_ms: Option<i64>,
    /// Hours by which that is sooner; negative where it is later. None where either never comes.
    pub saves_h: Option<f64>,
    /// What does not come there by waiting, if anything.
    pub stopped_by: Option<&'a Item>,
}

impl Bench {
    /// The airs its waits are worked out in besides, by the air it is in now: where it is, else where something of it still
    /// cures, else the shop's own.
    pub(super) fn other_airs(&self, instrument: &InstrumentId, target: Target, now_ms: i64) -> [OtherAir; 2] {
        let placed = || self.stays.get(instrument)?.last().map(|stay| stay.zone);
        let cures = || self.cures_of(instrument).find_map(|cure| cure.open_legs().last()).map(|leg| leg.zone);
        let zone = placed().or_else(cures);
        let own = Air { temp_c: target.temp_c, rh_pct: target.middle_rh_pct() };
        let here = zone.map_or(own, |zone| self.zones[zone].air_at(now_ms, self.forecast.as_ref()));
        other_airs(here, target)
    }
}

impl StringUp {
    /// What other airs from now on would change, for those that would change it by half an hour or more.
    pub fn elsewhere(&self) -> Vec<Elsewhere<'_>> {
        let here_ms = self.times().safe;
        let of = |(place, other): (usize, &OtherAir)| {
            let safe_ms = self.items.iter().try_fold(self.now_ms, |latest, item| match item.wait {
                Wait::Nothing | Wait::Work => Some(latest),
                Wait::Until(_) => item.elsewhere_ms[place].map(|ms| ms.max(latest)),
                Wait::Never => None,
            });
            let saves_h = here_ms.zip(safe_ms).map(|(here_ms, there_ms)| hours(here_ms - there_ms));
            let never = |item: &&Item| matches!(item.wait, Wait::Until(_)) && item.elsewhere_ms[place].is_none();
            Elsewhere { other: *other, safe_ms, saves_h, stopped_by: self.items.iter().find(never) }
        };
        let matters = |other: &Elsewhere<'_>| match other.saves_h {
            Some(saves_h) => saves_h.abs() >= 0.5,
            None => other.safe_ms.is_some() != here_ms.is_some(),
        };
        self.others.iter().enumerate().map(of).filter(matters).collect()
    }
}
