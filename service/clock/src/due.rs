//! What is due: alarms whose age is reached, snoozed alerts, told milestones that are no longer true.
//! Asking changes nothing that counts: an alarm goes when the fact that told it is taken in.

use facts::{AlertId, CureId, Meets, MixId};

use crate::{
    Bench,
    alarms::{alert_age_h, alert_band},
    cure_clock::{AgeH, Alarm, CureIx},
};

/// Something to be told now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Due {
    /// A milestone came true.
    Reached {
        /// The cure.
        cure: CureId,
        /// Index of the milestone.
        milestone: usize,
        /// Id of the alert to raise.
        alert: AlertId,
        /// When it came true, ms.
        due_ms: i64,
        /// Whether that was long ago.
        late: bool,
    },
    /// A mix is about to gel.
    Gelling {
        /// The mix.
        mix: MixId,
        /// Id of the alert to raise.
        alert: AlertId,
        /// When it was to be told, ms.
        due_ms: i64,
        /// Whether that was long ago.
        late: bool,
    },
    /// A snoozed alert is to be told again.
    Again {
        /// The alert.
        alert: AlertId,
    },
    /// Corrected readings put a told milestone back into the future.
    Untrue {
        /// The alert that told it.
        alert: AlertId,
        /// When it will be true as things look now, ms.
        now_due_ms: Option<i64>,
    },
}

/// A told milestone is taken back only when it turns out to lie this far ahead: the difference between the outlook
/// and the reading that replaced it must not ring twice.
const UNTRUE_MS: i64 = 10 * 60_000;
/// Rounding of an age at a looked-up instant, hours: far less than a millisecond of cure.
const AGE_EPS_H: f64 = 1e-9;

impl Bench {
    /// What is due at `now_ms`, at most about `at_most` things; ask again once these are taken in.
    pub fn due(&mut self, now_ms: i64, at_most: usize) -> Vec<Due> {
        self.refresh_wake();
        let mut due = self.untrue(now_ms);
        let clocks: Vec<(usize, usize)> =
            self.wake.range(..=(now_ms, usize::MAX, usize::MAX)).map(|(_, z, c)| (*z, *c)).collect();
        for (zone, clock) in clocks {
            if due.len() >= at_most {
                break;
            }
            for meets in [Meets::Opens, Meets::Closes] {
                self.ripe(zone, clock, meets, now_ms, at_most, &mut due);
            }
            self.mark_stale(zone, clock);
        }
        let floors: Vec<_> = self.floors.range(..=(now_ms, CureIx::MAX, u8::MAX)).take(at_most).copied().collect();
        due.extend(floors.into_iter().map(|(floor_ms, cure, m)| self.reached(cure, m as usize, floor_ms, now_ms)));
        due.extend(self.gelling(now_ms));
        let again = self.snoozed.iter().take_while(|(until_ms, _)| *until_ms <= now_ms).map(|(_, alert)| alert);
        // What is taken back in the same breath is not told again.
        let untrue =
            |alert: &AlertId| due.iter().any(|due| matches!(due, Due::Untrue { alert: of, .. } if of == alert));
        let again: Vec<_> = again.filter(|alert| !untrue(alert)).cloned().collect();
        due.extend(again.into_iter().map(|alert| Due::Again { alert }));
        due
    }

    /// Whether anything is expected to open after one instant and no later than another: at the slow edge of the air, as
    /// it would be told.
    pub fn opens_between(&self, after_ms: i64, until_ms: i64) -> bool {
        let band = alert_band(Meets::Opens);
        let waits_only = self.floors.range((after_ms + 1, 0, 0)..=(until_ms, CureIx::MAX, u8::MAX)).next().is_some();
        let on_clock = |zone: usize, clock: usize| {
            let opening = &self.zones[zone].clocks[clock].opening;
            if opening.is_empty() {
                return false;
            }
            let [after_h, until_h] = [after_ms, until_ms].map(|ms| self.age_on(zone, clock, ms, band));
            let first = Alarm { target: AgeH(after_h + AGE_EPS_H), cure: CureIx::MAX, milestone: u8::MAX };
            opening.range(first..).next().is_some_and(|alarm| alarm.target.0 <= until_h)
        };
        let of_zone = |zone: usize| (0..self.zones[zone].clocks.len()).any(|clock| on_clock(zone, clock));
        waits_only || (0..self.zones.len()).any(of_zone)
    }

    /// When to ask for what is due again, ms; none while nothing is waiting.
    pub fn next_wake(&mut self) -> Option<i64> {
        self.refresh_wake();
        let clocks = self.wake.first().map(|(ms, ..)| *ms);
        let floors = self.floors.first().map(|(ms, ..)| *ms);
        let snoozed = self.snoozed.first().map(|(ms, _)| *ms);
        [clocks, floors, snoozed, self.next_gelling_ms()].into_iter().flatten().min()
    }

    /// Looks up the next alarm of each clock that changed since it was last asked.
    fn refresh_wake(&mut self) {
        self.look_up(usize::MAX);
    }

    /// Looks up the next alarm of at most so many of the clocks that changed. Whether there are more of them: ask again, and
    /// let others at the bench in between, because an outlook is made for each zone.
    pub fn look_up(&mut self, at_most: usize) -> bool {
        let rest = self.stale.split_off(at_most.min(self.stale.len()));
        for (zone, clock) in std::mem::replace(&mut self.stale, rest) {
            let on = &self.zones[zone].clocks[clock];
            let head = |alarms: &std::collections::BTreeSet<Alarm>, meets| {
                let target = alarms.first()?.target.0;
                on.ages.time_of(target, alert_band(meets), self.air_of(zone))
            };
            let wake_ms =
                [head(&on.opening, Meets::Opens), head(&on.closing, Meets::Closes)].into_iter().flatten().min();
            let on = &mut self.zones[zone].clocks[clock];
            on.stale = false;
            if let Some(old_ms) = std::mem::replace(&mut on.wake_ms, wake_ms) {
                self.wake.remove(&(old_ms, zone, clock));
            }
            if let Some(wake_ms) = wake_ms {
                self.wake.insert((wake_ms, zone, clock));
            }
        }
        !self.stale.is_empty()
    }

    /// Alarms of one clock whose age is reached; those that still wait for the wall clock move to its list.
    fn ripe(&mut self, zone: usize, clock: usize, meets: Meets, now_ms: i64, at_most: usize, due: &mut Vec<Due>) {
        let band = alert_band(meets);
        let age = self.age_on(zone, clock, now_ms, band) + AGE_EPS_H;
        let alarms = self.zones[zone].clocks[clock].alarms(meets);
        let ripe: Vec<Alarm> = alarms.iter().take_while(|alarm| alarm.target.0 <= age).take(at_most).copied().collect();
        for alarm in ripe {
            let (ix, milestone) = (alarm.cure, alarm.milestone as usize);
            // Asked of the cure rather than of this clock: it may have come true before the cure was moved here.
            let cure = &self.cures[ix as usize];
            let age_h = alert_age_h(&cure.begun.milestones[milestone]);
            let at_ms = self.time_of(cure, age_h, band).map_or(now_ms, |ms| ms.min(now_ms));
            let floor_ms = self.floor_ms(ix, milestone);
            if floor_ms > now_ms {
                self.disarm(ix, milestone);
                self.cures[ix as usize].told[milestone].floor_ms = Some(floor_ms);
                self.floors.insert((floor_ms, ix, alarm.milestone));
                self.rests_on(zone, clock, at_ms, ix);
                continue;
            }
            due.push(self.reached(ix, milestone, at_ms.max(floor_ms), now_ms));
        }
    }

    fn reached(&self, ix: CureIx, milestone: usize, due_ms: i64, now_ms: i64) -> Due {
        let cure = &self.cures[ix as usize];
        let stage = &cure.begun.milestones[milestone].stage;
        let alert = match cure.told[milestone].retractions {
            0 => format!("{}:{stage}", cure.begun.id),
            n => format!("{}:{stage}:{}", cure.begun.id, n + 1),
        };
        Due::Reached {
            cure: cure.begun.id.clone(),
            milestone,
            alert: AlertId::new(alert).expect("a cure's id and a checked stage make an alert's id"),
            due_ms,
            late: now_ms - due_ms.max(cure.recorded_ms) > self.settings.late_after_ms,
        }
    }

    /// Told milestones that corrected readings put well into the future.
    fn untrue(&mut self, now_ms: i64) -> Vec<Due> {
        let suspects = std::mem::take(&mut self.suspects);
        let (untrue, _): (Vec<_>, Vec<_>) = suspects
            .into_iter()
            .filter_map(|(ix, m)| {
                let cure = &self.cures[ix as usize];
                let alert = cure.told(m as usize)?.0.clone();
                let target = &cure.begun.milestones[m as usize];
                if cure.closed || target.meets == Meets::Closes {
                    return None;
                }
                let now_due_ms = self.milestone(cure, m as usize, now_ms).safe_ms;
                let untrue = now_due_ms.is_none_or(|ms| ms > now_ms + UNTRUE_MS);
                Some(((ix, m), untrue.then_some(Due::Untrue { alert, now_due_ms })))
            })
            .partition(|(_, untrue)| untrue.is_some());
        // They stay suspect until the retraction is taken in: a commit may fail.
        self.suspects.extend(untrue.iter().map(|(suspect, _)| *suspect));
        untrue.into_iter().filter_map(|(_, due)| due).collect()
    }
}
