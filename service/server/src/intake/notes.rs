//! What is noted of a sensor while the service runs: how often it came late, what of it was held, whether its clock is
//! off. Notes are for whoever looks; nothing is computed from them, and they begin anew with the service.

use std::collections::{BTreeMap, VecDeque};

use super::gate::Noted;

/// Delays remembered.
const DELAYS: usize = 8;
/// A clock is told to be off after so many delays in a row that agree.
const AGREEING: usize = 5;
/// Delays that differ by no more than this agree: the way to the service takes a different time each time.
const AGREE_MS: i64 = 60_000;
/// An offset below this is that way, not the clock.
const LEAST_OFFSET_MS: i64 = 2 * 60_000;

/// What is noted of one sensor.
#[derive(Debug, Default, Clone)]
pub(crate) struct Note {
    pub(crate) late: usize,
    pub(crate) corrected: usize,
    pub(crate) held: BTreeMap<&'static str, usize>,
    delays: VecDeque<i64>,
}

impl Note {
    pub(super) fn note(&mut self, noted: Noted) {
        match noted {
            Noted::Late => self.late += 1,
            Noted::Corrected => self.corrected += 1,
            Noted::Held(reason) => *self.held.entry(reason).or_default() += 1,
            Noted::Delay(delay_ms) => {
                self.delays.push_back(delay_ms);
                if self.delays.len() > DELAYS {
                    self.delays.pop_front();
                }
            }
        }
    }

    /// By how much its clock is behind (or ahead, if negative), minutes, if that is constant.
    pub(crate) fn clock_behind_minutes(&self) -> Option<f64> {
        let recent: Vec<i64> = self.delays.iter().rev().take(AGREEING).copied().collect();
        let (least, most) = (recent.iter().min()?, recent.iter().max()?);
        let steady = recent.len() == AGREEING && most - least <= AGREE_MS;
        // The quickest way is nearest to the clock.
        (steady && least.abs() >= LEAST_OFFSET_MS).then(|| (*least as f64 / 60_000.0).round())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(delays_s: &[i64], expected: Option<f64>) {
        let mut note = Note::default();
        delays_s.iter().for_each(|s| note.note(Noted::Delay(s * 1000)));
        assert_eq!(note.clock_behind_minutes(), expected, "{delays_s:?}");
    }

    #[test]
    fn a_constant_offset_is_noted_and_a_slow_way_is_not() {
        check(&[3601, 3600, 3605, 3602, 3600], Some(60.0));
        check(&[-3601, -3600, -3605, -3602, -3600], Some(-60.0));
        check(&[3601, 3600, 3605, 3602], None);
        check(&[2, 1, 4, 2, 1, 3], None);
        check(&[600, 10, 4000, 2, 300, 90], None);
        check(&[5, 5, 5, 3601, 3600, 3605, 3602, 3600], Some(60.0));
    }
}
