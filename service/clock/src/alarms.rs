//! Putting cures on clocks: start age, target ages, and which of them must be set anew when readings change.

use facts::{Meets, TargetAge};

use crate::{
    Band, Bench, Cure,
    ages::{Ages, AirOf, HOUR_MS},
    cure::Leg,
    cure_clock::{AgeH, Alarm, ClockKey, CureClock, CureIx},
    zone::Zone,
};

/// How much further back than asked a clock is begun anew.
const SPARE_MS: i64 = 24 * 3_600_000;

impl Bench {
    pub(crate) fn air_of(&self, zone: usize) -> AirOf<'_> {
        self.zones[zone].air_of(self.forecast.as_ref(), self.settings.bridge_ms)
    }

    /// Age shown by a clock at an instant.
    pub(crate) fn age_on(&self, zone: usize, clock: usize, at_ms: i64, band: Band) -> f64 {
        self.zones[zone].clocks[clock].ages.at(at_ms, band, self.air_of(zone))
    }

    /// The clock of a rule version in a zone, made or moved back so that it shows an age from `start_ms` on.
    pub(crate) fn clock_in(&mut self, zone: usize, key: &ClockKey, start_ms: i64) -> Result<usize, String> {
        let bridge_ms = self.settings.bridge_ms;
        let known = self.zones[zone].clock_of.get(key).copied();
        let (clocks, past) = self.zones[zone].clocks_and_past(bridge_ms);
        if let Some(clock) = known {
            let on = &clocks[clock];
            let behind = on.cures.is_empty() && !on.ages.is_whole(past);
            let ahead_ms = on.ages.origin_ms() - start_ms;
            if behind || ahead_ms > 0 {
                // Further back than asked, and each time further: cures registered one after the other, each begun
                // earlier than the last, would otherwise sum the clock anew for every one of them.
                let spare_ms = if behind { 0 } else { ahead_ms.max(SPARE_MS) };
                clocks[clock].ages.restart(start_ms - spare_ms, past);
                self.arm_all(zone, clock);
            }
            return Ok(clock);
        }
        let law = self.laws.law(&key.version, &key.mode)?;
        clocks.push(CureClock::new(Ages::new(law, start_ms, past)));
        let clock = clocks.len() - 1;
        self.zones[zone].clock_of.insert(key.clone(), clock);
        Ok(clock)
    }

    /// What the clock of its last leg showed when the cure's age was zero, had it been there all the time.
    fn base(&self, cure: &Cure, last: Leg, band: Band) -> f64 {
        self.age_on(last.zone, last.clock, last.from_ms, band) - self.gathered(cure, last.from_ms, band)
    }

    /// Something of a cure hangs on a clock up to an instant. While no reading has come that late it may turn out
    /// different, and the cure is looked at again with the next reading.
    pub(crate) fn rests_on(&mut self, zone: usize, clock: usize, until_ms: i64, ix: CureIx) {
        let Zone { timeline, clocks, .. } = &mut self.zones[zone];
        if timeline.last().is_none_or(|(last_ms, _)| until_ms > last_ms) {
            clocks[clock].unsettled.insert(ix);
        }
    }

    /// Sets every alarm of a cure that is not told yet; any it had is taken off first.
    pub(crate) fn arm(&mut self, ix: CureIx) {
        for milestone in 0..self.cures[ix as usize].told.len() {
            self.disarm(ix, milestone);
        }
        let cure = &self.cures[ix as usize];
        let Some(last) = cure.open_legs().last().copied().filter(|_| !cure.waits_for_light()) else { return };
        let base = |meets| self.base(cure, last, alert_band(meets));
        let (opens, closes) = (base(Meets::Opens), base(Meets::Closes));
        let told_ms = cure.told.iter().filter_map(|told| told.due_ms).fold(last.from_ms, i64::max);
        let left = cure.legs.windows(2).map(|legs| (legs[0], legs[1].from_ms));
        for (leg, until_ms) in left.chain([(last, told_ms)]).collect::<Vec<_>>() {
            self.rests_on(leg.zone, leg.clock, until_ms, ix);
        }
        let Leg { zone, clock, .. } = last;
        let cure = &mut self.cures[ix as usize];
        let on = &mut self.zones[zone].clocks[clock];
        for (milestone, told) in cure.told.iter_mut().enumerate().filter(|(_, told)| told.alert.is_none()) {
            let target = &cure.begun.milestones[milestone];
            let age = alert_age_h(target)
                + match target.meets {
                    Meets::Opens => opens,
                    Meets::Closes => closes,
                };
            told.armed = Some(age);
            on.alarms(target.meets).insert(Alarm { target: AgeH(age), cure: ix, milestone: milestone as u8 });
        }
        self.mark_stale(zone, clock);
    }

    /// Sets a cure's alarms anew after its ages changed; what it told may have become untrue.
    pub(crate) fn rearm(&mut self, ix: CureIx) {
        self.arm(ix);
        let told = self.cures[ix as usize].told.iter().enumerate().filter(|(_, told)| told.alert.is_some());
        self.suspects.extend(told.map(|(m, _)| (ix, m as u8)));
    }

    /// The outlook of a clock changed and the past did not: sets anew what rests on the outlook.
    pub(crate) fn arm_unsettled(&mut self, zone: usize, clock: usize) {
        for ix in std::mem::take(&mut self.zones[zone].clocks[clock].unsettled) {
            self.rearm(ix);
        }
        self.mark_stale(zone, clock);
    }

    /// Sets anew the alarms of all cures with a leg on a clock.
    pub(crate) fn arm_all(&mut self, zone: usize, clock: usize) {
        self.zones[zone].clocks[clock].unsettled.clear();
        let cures: Vec<CureIx> = self.zones[zone].clocks[clock].cures.iter().copied().collect();
        for ix in cures {
            self.rearm(ix);
        }
        self.mark_stale(zone, clock);
    }

    /// Takes one alarm off its clock or off the wall-clock list.
    pub(crate) fn disarm(&mut self, ix: CureIx, milestone: usize) {
        let cure = &mut self.cures[ix as usize];
        let told = &mut cure.told[milestone];
        if let Some(floor_ms) = told.floor_ms.take() {
            self.floors.remove(&(floor_ms, ix, milestone as u8));
        }
        let (Some(age), Some(leg)) = (told.armed.take(), cure.legs.last().copied()) else { return };
        let meets = cure.begun.milestones[milestone].meets;
        let alarm = Alarm { target: AgeH(age), cure: ix, milestone: milestone as u8 };
        self.zones[leg.zone].clocks[leg.clock].alarms(meets).remove(&alarm);
        self.mark_stale(leg.zone, leg.clock);
    }

    /// Starts a leg: the cure is on that zone's clock from `from_ms` on.
    pub(crate) fn begin_leg(&mut self, ix: CureIx, zone: usize, from_ms: i64) {
        for milestone in 0..self.cures[ix as usize].told.len() {
            self.disarm(ix, milestone);
        }
        let key = Self::clock_key(&self.cures[ix as usize]);
        match self.clock_in(zone, &key, from_ms) {
            Ok(clock) => {
                self.cures[ix as usize].legs.push(Leg { zone, clock, from_ms });
                self.zones[zone].clocks[clock].cures.insert(ix);
                self.arm(ix);
            }
            Err(why) => self.cures[ix as usize].broken = Some(why),
        }
    }

    /// A closed cure leaves its clocks; what it told stays.
    pub(crate) fn leave_clocks(&mut self, ix: CureIx) {
        self.off_clocks(ix);
        self.open.remove(&ix);
        self.cures[ix as usize].closed = true;
    }

    /// A closed cure is on the clocks of its legs again, with an alarm for what it has not told.
    pub(crate) fn open_cure_again(&mut self, ix: CureIx) {
        self.cures[ix as usize].closed = false;
        self.open.insert(ix);
        for leg in std::mem::take(&mut self.cures[ix as usize].legs) {
            self.begin_leg(ix, leg.zone, leg.from_ms);
        }
    }

    /// Takes a cure with its alarms off every clock it is or was on.
    pub(crate) fn off_clocks(&mut self, ix: CureIx) {
        for milestone in 0..self.cures[ix as usize].told.len() {
            self.disarm(ix, milestone);
        }
        for leg in self.cures[ix as usize].legs.clone() {
            let clock = &mut self.zones[leg.zone].clocks[leg.clock];
            clock.cures.remove(&ix);
            clock.unsettled.remove(&ix);
        }
    }

    pub(crate) fn mark_stale(&mut self, zone: usize, clock: usize) {
        let on = &mut self.zones[zone].clocks[clock];
        if !on.stale {
            on.stale = true;
            self.stale.push((zone, clock));
        }
    }

    /// Wall-clock instant before which a milestone is not reached whatever the age.
    pub(crate) fn floor_ms(&self, ix: CureIx, milestone: usize) -> i64 {
        let begun = &self.cures[ix as usize].begun;
        begun.started_at.timestamp_millis() + (begun.milestones[milestone].floor_h * HOUR_MS) as i64
    }
}

/// The edge of the band that does no harm: told late rather than early when something opens, early when it closes.
pub(crate) fn alert_band(meets: Meets) -> Band {
    match meets {
        Meets::Opens => Band::Slow,
        Meets::Closes => Band::Fast,
    }
}

/// The end of the spread that goes with it; what closes is told so long before that it can be made use of.
pub(crate) fn alert_age_h(target: &TargetAge) -> f64 {
    match target.meets {
        Meets::Opens => target.safe_h,
        Meets::Closes => (target.earliest_h - target.ahead_h).max(0.0),
    }
}
