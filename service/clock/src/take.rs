//! Taking facts in. Nothing is refused here: what is in the journal is true, and replay must end where growth did.

use std::sync::Arc;

use facts::{
    AirPlanned, AlertId, AlertKind, AlertRaised, ClampId, CureBegun, Fact, HygrometerCalibrated, Reading, Recorded,
    ZoneId, ZoneSet,
};

use crate::{
    Air, Alert, AlertState, Bench, Clamp, Cure, Job, Mix, Planned, Plate,
    coats::surface_of,
    cure::{Leg, Told},
    cure_clock::CureIx,
    intended::standing,
    sensors::Calibration,
    string_up::{Setup, Strung},
    timeline::Change,
    wood::{Stay, memory_ms},
    zone::Zone,
};

impl Bench {
    /// Takes one fact of the journal in.
    pub fn take(&mut self, recorded: &Recorded) {
        let happened_ms = recorded.happened_at.timestamp_millis();
        match &recorded.fact {
            Fact::ZoneSet(set) => self.set_zone(set, happened_ms),
            Fact::InstrumentAdded(added) => drop(self.instruments.insert(added.id.clone(), added.clone())),
            Fact::InstrumentMoved(moved) => {
                if let Some(&zone) = self.zone_of.get(&moved.zone) {
                    let stays = self.stays.entry(moved.instrument.clone()).or_default();
                    stays.push(Stay { zone, from_ms: happened_ms });
                }
            }
            Fact::PlateAdded(added) => {
                self.plates.insert(added.id.clone(), Plate { added: added.clone(), at_ms: happened_ms });
            }
            Fact::JobOpened(opened) => {
                self.jobs.insert(opened.id.clone(), Job::new(opened.clone(), happened_ms));
            }
            Fact::StepDone { job, step } => {
                if let Some(job) = self.jobs.get_mut(job) {
                    job.done.entry(step.clone()).or_insert(happened_ms);
                }
            }
            Fact::JobClosed { job } => self.close_job(job.as_str(), happened_ms),
            Fact::JobReopened { job } => self.reopen_job(job.as_str()),
            Fact::JointAdded(added) => drop(self.joints.insert(added.id.clone(), added.clone())),
            Fact::JointLoaded(loaded) => drop(self.loads.insert(loaded.joint.clone(), loaded.clone())),
            Fact::StringsFitted(fitted) => {
                let strung = Strung { fitted: fitted.clone(), at_ms: happened_ms, stages: Default::default() };
                self.strings.insert(fitted.instrument.clone(), strung);
            }
            Fact::StageReached(reached) => {
                if let Some(strung) = self.strings.get_mut(&reached.instrument) {
                    strung.stages.entry(reached.stage).or_insert(happened_ms);
                }
            }
            Fact::SetupMeasured(measured) => {
                let setups = self.setups.entry(measured.instrument.clone()).or_default();
                let place = setups.partition_point(|setup| setup.at_ms <= happened_ms);
                setups.insert(place, Setup { at_ms: happened_ms, measured: measured.clone() });
            }
            Fact::ClampAdded(added) => {
                self.clamps.insert(added.id.clone(), Clamp { added: added.clone(), on: None, away: false });
            }
            Fact::ClampPutAway { clamp } => self.put_away(clamp, true),
            Fact::ClampBroughtBack { clamp } => self.put_away(clamp, false),
            Fact::DaySet(set) => {
                match &set.hours {
                    Some(hours) => self.days.insert(set.date, hours.clone()),
                    None => self.days.remove(&set.date),
                };
            }
            Fact::RulePutInForce(rule) => {
                self.in_force.insert(rule.material.clone(), rule.version.clone());
            }
            Fact::LotAdded(lot) => drop(self.lots.insert(lot.id.clone(), lot.clone())),
            Fact::LotOpened { lot } => {
                if let Some(lot) = self.lots.get_mut(lot) {
                    lot.opened_at.get_or_insert(recorded.happened_at);
                }
            }
            Fact::LotUsed(used) => self.use_lot(used.clone(), happened_ms),
            Fact::LotClosed(closed) => {
                self.shelf.entry(closed.lot.clone()).or_default().closed.get_or_insert((happened_ms, closed.clone()));
            }
            Fact::CureBegun(begun) => {
                begun.lot_used().into_iter().for_each(|used| self.use_lot(used, happened_ms));
                self.begin_cure(begun, recorded.recorded_at.timestamp_millis());
            }
            Fact::CureMoved { cure, zone } => {
                // Its job may have been closed in the same breath.
                if let (Some(&ix), Some(&zone)) = (self.cure_of.get(cure), self.zone_of.get(zone))
                    && self.cures[ix as usize].is_open()
                {
                    self.begin_leg(ix, zone, happened_ms);
                }
            }
            Fact::CureRuleChanged(change) => self.change_rule(change),
            Fact::CoatExposed(exposed) => self.expose(exposed, happened_ms),
            Fact::ClampsOff { cure, clamps } => {
                if let Some(&ix) = self.cure_of.get(cure) {
                    self.free_clamps(ix, |clamp| clamps.contains(clamp), happened_ms);
                    self.close_if_over(ix);
                }
            }
            Fact::CureWithdrawn { cure, reason } => {
                if let Some(&ix) = self.cure_of.get(cure) {
                    self.cures[ix as usize].withdrawn = Some(reason.clone());
                    self.unuse_lot(ix);
                    self.take_back_alerts(cure.as_str());
                    self.close_cure(ix, happened_ms);
                    if let Some(surface) = surface_of(&self.cures[ix as usize]) {
                        self.cover(&surface);
                    }
                }
            }
            Fact::AlertRaised(raised) => self.raise(raised, recorded.seq),
            Fact::AlertAcknowledged { alert } => self.answer(alert.as_str(), AlertState::Acknowledged),
            Fact::AlertSnoozed { alert, until } => {
                let until_ms = until.timestamp_millis();
                self.answer(alert.as_str(), AlertState::Snoozed(until_ms));
                self.snoozed.insert((until_ms, alert.clone()));
            }
            Fact::AlertRepeated { alert } => self.answer(alert.as_str(), AlertState::Open),
            Fact::AlertRetracted { alert, .. } => self.retract(alert.as_str()),
            Fact::HygrometerCalibrated(calibrated) => self.calibrate(calibrated, happened_ms),
            Fact::ObservationMade(made) => self.observe(made, happened_ms),
            Fact::ObservationWithdrawn { observation, reason } => self.withdraw_observation(observation, reason),
            Fact::StepAdded { job, step } => {
                if let Some(job) = self.jobs.get_mut(job) {
                    job.opened.steps.push(step.clone());
                }
            }
            Fact::AirPlanned(said) => self.plan(said),
            Fact::PlanCancelled { plan } => {
                if let Some(planned) = self.plans.get_mut(plan) {
                    planned.cancelled_ms.get_or_insert(happened_ms);
                    let zone = planned.said.zone.clone();
                    self.follow_plans(&zone);
                }
            }
            Fact::NoteMade(made) => self.keep_note(made, happened_ms),
            Fact::PhotoAdded(added) => self.keep_photo(added, happened_ms),
            Fact::MixMade(made) => {
                self.live_mixes.insert(made.id.clone());
                self.mixes.insert(made.id.clone(), Mix { made: (**made).clone(), at_ms: happened_ms });
            }
        }
    }

    /// Takes a reading in: appends to every clock of its zone, or sums again from where it changed the past.
    pub fn take_reading(&mut self, reading: &Reading) {
        let Some(&z) = self.zone_of.get(&reading.zone) else { return };
        let combining = self.settings.combining();
        let change = self.zones[z].put(reading, combining, &self.calibrations);
        self.settle(z, change);
    }

    /// Readings of a sensor are corrected from an instant on; what its zones' clocks summed from there is void.
    fn calibrate(&mut self, calibrated: &HygrometerCalibrated, from_ms: i64) {
        let of_sensor = self.calibrations.entry(calibrated.sensor.clone()).or_default();
        // The last word about an instant counts.
        of_sensor.retain(|calibration| calibration.from_ms != from_ms);
        of_sensor.push(Calibration { from_ms, calibrated: calibrated.clone() });
        of_sensor.sort_by_key(|calibration| calibration.from_ms);
        let combining = self.settings.combining();
        for z in 0..self.zones.len() {
            let change = self.zones[z].correct(from_ms, combining, &self.calibrations);
            self.settle(z, change);
        }
    }

    /// Brings a zone's clocks up to date with its series.
    fn settle(&mut self, z: usize, change: Change) {
        let from = match change {
            Change::Nothing => return,
            Change::Appended => self.zones[z].timeline.len() - 1,
            Change::From(i) => i,
        };
        self.zones[z].look_again();
        let (clocks, past) = self.zones[z].clocks_and_past(self.settings.bridge_ms);
        for clock in clocks.iter_mut() {
            if clock.cures.is_empty() {
                clock.ages.void();
            } else {
                clock.ages.sum_from(from, past);
            }
        }
        for clock in 0..self.zones[z].clocks.len() {
            if change == Change::Appended {
                self.arm_unsettled(z, clock);
            } else {
                self.arm_all(z, clock);
            }
        }
    }

    /// Readings older than an instant that no open cure and no plate needs, and the instant of the first that stays.
    pub fn readings_before(&self, zone: &str, at_ms: i64) -> Option<(i64, Vec<(i64, Air)>)> {
        let z = *self.zone_of.get(zone)?;
        let timeline = &self.zones[z].timeline;
        // The last of them still bounds the first interval kept.
        let stays_ms = timeline.between(i64::MIN, self.needed_from(z, at_ms)).last()?.0;
        Some((stays_ms, timeline.between(i64::MIN, stays_ms - 1).collect()))
    }

    /// From when on open cures and plates need the readings of a zone; `at_ms` if they need fewer.
    fn needed_from(&self, z: usize, at_ms: i64) -> i64 {
        // What the cures need, not where the clocks began: a clock that is never idle would never let one go.
        let legs = self.open.iter().flat_map(|ix| &self.cures[*ix as usize].legs).filter(|leg| leg.zone == z);
        let at_ms = legs.fold(at_ms, |least, leg| least.min(leg.from_ms));
        let last_ms = self.zones[z].timeline.last().map_or(at_ms, |(last_ms, _)| last_ms);
        let was_here = |plate: &&Plate| {
            self.stays.get(&plate.added.instrument).is_some_and(|stays| stays.iter().any(|stay| stay.zone == z))
        };
        let felt = self.plates.values().filter(was_here).map(|plate| last_ms - memory_ms(&plate.added));
        felt.fold(at_ms, i64::min)
    }

    /// Forgets readings older than an instant that no open cure and no plate needs. Returns the instant from which all
    /// are kept, ms.
    pub fn forget_readings_before(&mut self, zone: &str, at_ms: i64) -> Option<i64> {
        let z = *self.zone_of.get(zone)?;
        let at_ms = self.needed_from(z, at_ms);
        self.zones[z].sensors.forget_before(at_ms);
        if self.zones[z].timeline.forget_before(at_ms) > 0 {
            let (clocks, past) = self.zones[z].clocks_and_past(self.settings.bridge_ms);
            for clock in clocks.iter_mut() {
                clock.ages.restart(clock.ages.origin_ms().max(at_ms), past);
            }
            for clock in 0..self.zones[z].clocks.len() {
                self.arm_all(z, clock);
            }
        }
        Some(self.zones[z].timeline.first().map_or(at_ms, |(first_ms, _)| first_ms.min(at_ms)))
    }

    /// Makes every zone's outlook anew; the alarms follow it.
    pub fn look_again(&mut self) {
        (0..self.zones.len()).for_each(|z| self.look_again_in(z));
    }

    fn look_again_in(&mut self, z: usize) {
        self.zones[z].look_again();
        for clock in &mut self.zones[z].clocks {
            clock.ages.look_again();
        }
        for clock in 0..self.zones[z].clocks.len() {
            self.arm_unsettled(z, clock);
        }
    }

    fn plan(&mut self, said: &AirPlanned) {
        self.plans.insert(said.id.clone(), Planned { said: said.clone(), cancelled_ms: None });
        self.follow_plans(&said.zone);
    }

    /// The plans of a zone changed. What is recorded there stays as it is; what rests on the outlook follows.
    fn follow_plans(&mut self, zone: &ZoneId) {
        let Some(&z) = self.zone_of.get(zone) else { return };
        self.zones[z].intended.plans = standing(self.plans.values().filter(|planned| planned.said.zone == *zone));
        self.look_again_in(z);
    }

    fn set_zone(&mut self, set: &ZoneSet, at_ms: i64) {
        let Some(&z) = self.zone_of.get(&set.id) else {
            self.zone_of.insert(set.id.clone(), self.zones.len());
            self.zones.push(Zone::new(set.clone()));
            return;
        };
        self.zones[z].revise(set, at_ms);
        self.zones[z].look_again();
        let (clocks, past) = self.zones[z].clocks_and_past(self.settings.bridge_ms);
        for clock in clocks.iter_mut() {
            clock.ages.restart(clock.ages.origin_ms(), past);
        }
        for clock in 0..self.zones[z].clocks.len() {
            self.arm_all(z, clock);
        }
    }

    fn begin_cure(&mut self, begun: &Arc<CureBegun>, recorded_ms: i64) {
        let Some(&zone) = self.zone_of.get(&begun.zone) else { return };
        let ix = self.cures.len() as CureIx;
        self.cures.push(Cure {
            begun: begun.clone(),
            recorded_ms,
            clamps_on: begun.clamps.clone(),
            clamps_off_ms: None,
            withdrawn: None,
            broken: None,
            closed: false,
            covered_ms: None,
            closed_by_cover: false,
            off_with_job: None,
            legs: Vec::new(),
            told: vec![Told::default(); begun.milestones.len()],
            former: Vec::new(),
        });
        self.cure_of.insert(begun.id.clone(), ix);
        self.cures_of.entry(begun.instrument.clone()).or_default().push(ix);
        self.open.insert(ix);
        for clamp in &begun.clamps {
            if let Some(clamp) = self.clamps.get_mut(clamp) {
                clamp.on = Some(begun.id.clone());
            }
        }
        if let Some(job) = begun.job.as_ref().and_then(|job| self.jobs.get_mut(job)) {
            job.cures.push(begun.id.clone());
        }
        self.begin_leg(ix, zone, begun.started_at.timestamp_millis());
        if let Some(surface) = surface_of(&self.cures[ix as usize]) {
            self.coats.entry(surface.clone()).or_default().push(ix);
            self.cover(&surface);
        }
    }

    fn free_clamps(&mut self, ix: CureIx, which: impl Fn(&facts::ClampId) -> bool, at_ms: i64) {
        let cure = &mut self.cures[ix as usize];
        for clamp in cure.clamps_on.extract_if(.., |clamp| which(clamp)) {
            if let Some(clamp) = self.clamps.get_mut(&clamp) {
                clamp.on = None;
            }
        }
        if cure.clamps_on.is_empty() && !cure.begun.clamps.is_empty() {
            cure.clamps_off_ms.get_or_insert(at_ms);
        }
    }

    fn close_cure(&mut self, ix: CureIx, at_ms: i64) {
        self.free_clamps(ix, |_| true, at_ms);
        self.leave_clocks(ix);
    }

    pub(crate) fn close_if_over(&mut self, ix: CureIx) {
        let cure = &self.cures[ix as usize];
        if !cure.closed && cure.clamps_on.is_empty() && cure.all_told() {
            self.leave_clocks(ix);
        }
    }

    fn close_job(&mut self, job: &str, at_ms: i64) {
        let Some(job) = self.jobs.get_mut(job) else { return };
        job.closed = true;
        let cures: Vec<CureIx> = job.cures.iter().filter_map(|id| self.cure_of.get(id).copied()).collect();
        for ix in cures {
            let cure = &mut self.cures[ix as usize];
            cure.off_with_job = Some(cure.clamps_on.clone()).filter(|on| !on.is_empty());
            self.close_cure(ix, at_ms);
        }
    }

    fn put_away(&mut self, clamp: &ClampId, away: bool) {
        if let Some(clamp) = self.clamps.get_mut(clamp) {
            clamp.away = away;
        }
    }

    /// What closing the job ended goes on. A clamp that has been put elsewhere since stays there.
    fn reopen_job(&mut self, job: &str) {
        let Some(job) = self.jobs.get_mut(job) else { return };
        job.closed = false;
        let cures: Vec<CureIx> = job.cures.iter().filter_map(|id| self.cure_of.get(id).copied()).collect();
        for ix in cures {
            let cure = &mut self.cures[ix as usize];
            for clamp in cure.off_with_job.take().into_iter().flatten() {
                if let Some(known) = self.clamps.get_mut(&clamp).filter(|known| known.is_free()) {
                    known.on = Some(cure.begun.id.clone());
                    cure.clamps_on.push(clamp);
                    cure.clamps_off_ms = None;
                }
            }
            if cure.withdrawn.is_some() || (cure.clamps_on.is_empty() && cure.told.iter().all(|t| t.alert.is_some())) {
                continue;
            }
            // A coat that lies under another opens when that is withdrawn.
            match cure.covered_ms {
                Some(_) => cure.closed_by_cover = true,
                None => self.open_cure_again(ix),
            }
        }
    }

    fn raise(&mut self, raised: &AlertRaised, seq: i64) {
        let alert = Alert { raised: Arc::new(raised.clone()), state: AlertState::Open, seq };
        self.alerts.insert(raised.id.clone(), alert);
        self.waiting.insert(raised.id.clone());
        if raised.alert_kind == AlertKind::Mix
            && let Some(mix) = raised.id.as_str().strip_suffix(":gels")
        {
            self.live_mixes.remove(mix);
        }
        let Some(&ix) = raised.cure.as_ref().and_then(|cure| self.cure_of.get(cure)) else { return };
        let cure = &self.cures[ix as usize];
        let Some(milestone) = cure.begun.milestones.iter().position(|m| m.stage == raised.stage) else { return };
        self.disarm(ix, milestone);
        let told = &mut self.cures[ix as usize].told[milestone];
        told.alert = Some(raised.id.clone());
        told.due_ms = Some(raised.due_at.timestamp_millis());
        if let Some(&Leg { zone, clock, .. }) = self.cures[ix as usize].open_legs().last() {
            self.rests_on(zone, clock, raised.due_at.timestamp_millis(), ix);
        }
        // Asked again once, because a retraction may have been lost between a reading and its commit.
        self.suspects.insert((ix, milestone as u8));
        self.close_if_over(ix);
    }

    fn answer(&mut self, alert: &str, state: AlertState) {
        let Some(alert) = self.alerts.get_mut(alert) else { return };
        if let AlertState::Snoozed(until_ms) = alert.state {
            self.snoozed.remove(&(until_ms, alert.raised.id.clone()));
        }
        alert.state = state;
        match state {
            AlertState::Open | AlertState::Snoozed(_) => self.waiting.insert(alert.raised.id.clone()),
            AlertState::Acknowledged | AlertState::Retracted => self.waiting.remove(&alert.raised.id),
        };
    }

    /// Alerts of a cure that nobody has acknowledged yet.
    pub fn waiting_alerts(&self, cure: &str) -> Vec<AlertId> {
        let of_cure = |id: &&AlertId| {
            let about = self.alerts.get(*id).and_then(|alert| alert.raised.cure.as_ref());
            about.is_some_and(|about| about.as_str() == cure)
        };
        self.waiting.iter().filter(of_cure).cloned().collect()
    }

    /// What a cure told is not so any more, since it was withdrawn or lies under the next coat, and is not to be told again.
    pub(crate) fn take_back_alerts(&mut self, cure: &str) {
        for id in self.waiting_alerts(cure) {
            self.answer(id.as_str(), AlertState::Retracted);
        }
    }

    /// A coat is on top again, and what it told stands. What later readings made untrue was told no more before that.
    pub(crate) fn give_back_alerts(&mut self, ix: CureIx) {
        let told = self.cures[ix as usize].told.iter().filter_map(|told| told.alert.clone());
        for id in told.collect::<Vec<_>>() {
            if self.alerts.get(&id).is_some_and(|alert| alert.state == AlertState::Retracted) {
                self.answer(id.as_str(), AlertState::Open);
            }
        }
    }

    fn retract(&mut self, id: &str) {
        self.answer(id, AlertState::Retracted);
        let Some(raised) = self.alerts.get(id).map(|alert| alert.raised.clone()) else { return };
        let Some(&ix) = raised.cure.as_ref().and_then(|cure| self.cure_of.get(cure)) else { return };
        let cure = &mut self.cures[ix as usize];
        for told in cure.told.iter_mut().filter(|told| told.alert.as_ref() == Some(&raised.id)) {
            told.alert = None;
            told.due_ms = None;
            told.retractions += 1;
        }
        if !cure.closed {
            self.arm(ix);
        }
    }
}
