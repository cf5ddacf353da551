//! Putting cures on clocks: start age, target ages, and which of them must be set anew when readings change.

use facts::Meets;

use crate::{
    Band, Bench, Cure,
    ages::{Ages, AirOf, HOUR_MS, Past},
    cure::Leg,
    cure_clock::{AgeH, Alarm, ClockKey, CureClock, CureIx},
    zone::Zone,
};

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
        let Zone { timeline, clocks, clock_of, set, .. } = &mut self.zones[zone];
        let past = Past { timeline, set: crate::Air::new(set.set_temp_c, set.set_rh_pct), bridge_ms };
        if let Some(&clock) = clock_of.get(key) {
            let idle = clocks[clock].cures.is_empty();
            if idle || start_ms < clocks[clock].ages.origin_ms() {
                clocks[clock].ages.restart(start_ms, past);
                self.arm_all(zone, clock);
            }
            return Ok(clock);
        }
        let law = self.laws.law(&key.version, &key.mode)?;
        clocks.push(CureClock::new(Ages::new(law, start_ms, past)));
        clock_of.insert(key.clone(), clocks.len() - 1);
        Ok(clocks.len() - 1)
    }

    /// Age a cure brought with it onto its last leg.
    fn carried(&self, cure: &Cure, band: Band) -> f64 {
        cure.legs
            .windows(2)
            .map(|legs| {
                let Leg { zone, clock, from_ms } = legs[0];
                self.age_on(zone, clock, legs[1].from_ms, band) - self.age_on(zone, clock, from_ms, band)
            })
            .sum()
    }

    /// What its last clock showed when the cure's age was zero, had it been there all the time.
    pub(crate) fn base(&self, cure: &Cure, band: Band) -> Option<f64> {
        let leg = cure.legs.last()?;
        Some(self.age_on(leg.zone, leg.clock, leg.from_ms, band) - self.carried(cure, band))
    }

    /// Sets every alarm of a cure that is not told yet; any it had is taken off first.
    pub(crate) fn arm(&mut self, ix: CureIx) {
        for milestone in 0..self.cures[ix as usize].told.len() {
            self.disarm(ix, milestone);
        }
        let cure = &self.cures[ix as usize];
        let Some(Leg { zone, clock, .. }) = cure.legs.last().copied() else { return };
        let base = |meets| self.base(cure, alert_band(meets)).unwrap_or(0.0);
        let (opens, closes) = (base(Meets::Opens), base(Meets::Closes));
        let settled_until = |zone: usize| self.zones[zone].timeline.last().map_or(i64::MIN, |last| last.0);
        let unsettled: Vec<Leg> = cure
            .legs
            .iter()
            .enumerate()
            .filter(|(i, leg)| {
                let end = cure.legs.get(i + 1).map_or(leg.from_ms, |next| next.from_ms);
                end.max(leg.from_ms) > settled_until(leg.zone)
            })
            .map(|(_, leg)| *leg)
            .collect();
        for leg in unsettled {
            self.zones[leg.zone].clocks[leg.clock].unsettled.push(ix);
        }
        let cure = &mut self.cures[ix as usize];
        let on = &mut self.zones[zone].clocks[clock];
        for (milestone, told) in cure.told.iter_mut().enumerate().filter(|(_, told)| told.alert.is_none()) {
            let target = &cure.begun.milestones[milestone];
            let age = match target.meets {
                Meets::Opens => opens + target.safe_h,
                Meets::Closes => closes + target.earliest_h,
            };
            told.armed = Some(age);
            on.alarms(target.meets).insert(Alarm { target: AgeH(age), cure: ix, milestone: milestone as u8 });
        }
        self.mark_stale(zone, clock);
    }

    /// Sets anew the alarms of all cures with a leg on a clock.
    pub(crate) fn arm_all(&mut self, zone: usize, clock: usize) {
        self.zones[zone].clocks[clock].unsettled.clear();
        let cures: Vec<CureIx> = self.zones[zone].clocks[clock].cures.iter().copied().collect();
        for ix in cures {
            self.arm(ix);
            let told = &self.cures[ix as usize].told;
            let told = told.iter().enumerate().filter(|(_, t)| t.alert.is_some());
            self.suspects.extend(told.map(|(m, _)| (ix, m as u8)));
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
        for milestone in 0..self.cures[ix as usize].told.len() {
            self.disarm(ix, milestone);
        }
        for leg in self.cures[ix as usize].legs.clone() {
            let clock = &mut self.zones[leg.zone].clocks[leg.clock];
            clock.cures.remove(&ix);
            clock.unsettled.retain(|open| *open != ix);
        }
        self.open.remove(&ix);
        self.cures[ix as usize].closed = true;
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
