//! The one way in for readings. However a reading comes (HTTP, CSV, SenML, MQTT) it passes the same checks and ends as
//! exactly one of these: taken; known, because it is there already; held in quarantine with a reason, because it cannot
//! be believed; or refused with a reason, because it cannot be laid to a zone and a time. None is dropped in silence.

pub(crate) mod columns;
pub(crate) mod csv;
mod gate;
pub(crate) mod mqtt;
mod notes;
pub(crate) mod senml;
mod times;

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

use clock::Sample;
use facts::{SensorId, ZoneId};
use serde::Serialize;
use store::{Answer, Said, Saying};

pub(crate) use gate::Gate;
pub(crate) use notes::Note;

use crate::{
    problem::{Kind, Problem},
    state::State,
};

/// Most refused rows told in one answer; the rest is counted.
const MOST_TOLD: usize = 10_000;

/// One sensor in one zone; readings that name no sensor count as those of one.
pub(crate) type Source = (ZoneId, Option<SensorId>);

/// A reading as it was offered, in numbers nobody has checked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Offer {
    /// Its row in what was sent, from 0; for a file its line.
    pub(crate) row: usize,
    pub(crate) source: Source,
    pub(crate) sample: Sample,
    /// Whether the sensor's own clock says when; otherwise it is when the reading came.
    pub(crate) stamped: bool,
}

/// A row that was not taken, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub(crate) struct Refused {
    pub(crate) row: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) field: Option<String>,
    pub(crate) detail: String,
    pub(crate) mend: String,
    /// The reason it is filed under in the quarantine, if it could be kept there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) quarantined: Option<&'static str>,
}

impl Refused {
    pub(crate) fn of(row: usize, problem: Problem) -> Self {
        let Problem { field, detail, mend, .. } = problem;
        Self { row, field, detail, mend, quarantined: None }
    }
}

/// What became of the readings of a request.
#[derive(Debug, Default, Serialize, utoipa::ToSchema)]
pub(crate) struct Tally {
    /// Written now.
    pub(crate) taken: usize,
    /// There already, to the digit.
    pub(crate) known: usize,
    /// Of those taken, how many were older than one that was there already.
    #[serde(skip_serializing_if = "is_zero")]
    pub(crate) late: usize,
    /// Of those taken, how many correct another of the same instant.
    #[serde(skip_serializing_if = "is_zero")]
    pub(crate) corrected: usize,
    /// Of those refused, how many are taken after all if the sensor's next reading says the same.
    #[serde(skip_serializing_if = "is_zero")]
    pub(crate) waiting: usize,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(crate) refused: Vec<Refused>,
    /// Rows refused in an earlier part and taken after all.
    #[serde(skip)]
    cleared: Vec<usize>,
    /// Refused rows beyond those told.
    #[serde(skip_serializing_if = "is_zero")]
    pub(crate) refused_more: usize,
}

fn is_zero(n: &usize) -> bool {
    *n == 0
}

impl Tally {
    pub(crate) fn refuse(&mut self, refused: Refused) {
        if self.refused.len() < MOST_TOLD {
            self.refused.push(refused);
        } else {
            self.refused_more += 1;
        }
    }

    pub(crate) fn add(&mut self, other: Self) {
        self.taken += other.taken;
        self.known += other.known;
        self.late += other.late;
        self.corrected += other.corrected;
        // The gate counts over all parts.
        self.waiting = other.waiting;
        self.refused.retain(|refused| !other.cleared.contains(&refused.row));
        self.refused_more += other.refused_more;
        other.refused.into_iter().for_each(|refused| self.refuse(refused));
    }

    /// A problem when nothing of what was sent is of use; `name` says where a row stands, as in `readings[3].temp_c`.
    pub(crate) fn useless(&self, name: impl Fn(usize, Option<&str>) -> String) -> Option<Problem> {
        let first = self.refused.first().filter(|_| self.taken + self.known + self.waiting == 0)?;
        let others = self.refused.len() + self.refused_more - 1;
        let detail = match others {
            0 => first.detail.clone(),
            1 => format!("{}; the other reading cannot be used either", first.detail),
            n => format!("{}; none of the {n} others can be used either", first.detail),
        };
        let mut problem = Problem::new(Kind::Invalid, detail, first.mend.clone());
        let field = name(first.row, first.field.as_deref());
        problem.field = (!field.is_empty()).then_some(field);
        problem.refused = self.refused.clone();
        Some(problem)
    }
}

/// What the way in remembers between requests. It may be lost: a jump that waits stays held then.
#[derive(Default)]
pub(crate) struct Intake {
    doubted: Mutex<HashMap<Source, Sample>>,
    notes: Mutex<HashMap<Source, Note>>,
    /// How the way to the MQTT broker stands.
    pub(crate) broker: mqtt::Broker,
}

impl Intake {
    fn doubted(&self) -> MutexGuard<'_, HashMap<Source, Sample>> {
        self.doubted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn notes(&self) -> MutexGuard<'_, HashMap<Source, Note>> {
        self.notes.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A person decided about a reading: it waits no longer.
    pub(crate) fn decided(&self, source: &Source) {
        self.doubted().remove(source);
    }
}

impl State {
    /// Takes readings in: what can be believed is on disk and on the clocks when this returns, what cannot is in the
    /// quarantine. `already` are the rows that could not even be offered.
    ///
    /// # Errors
    /// When the store failed; nothing was changed then.
    pub(crate) async fn take_in(
        &self,
        gate: &mut Gate,
        offers: Vec<Offer>,
        already: Vec<Refused>,
        answer: impl FnOnce(&Tally) -> Option<Answer>,
    ) -> Result<(Said, Tally), Problem> {
        let mut sorted = gate.sort(self, offers);
        already.into_iter().for_each(|refused| sorted.tally.refuse(refused));
        sorted.tally.refused.sort_by_key(|refused| refused.row);
        let answer = answer(&sorted.tally);
        let empty = sorted.readings.is_empty() && sorted.held.is_empty() && sorted.decided.is_empty();
        let mut said = Said::Kept;
        if !empty || answer.is_some() {
            let saying = Saying {
                readings: sorted.readings,
                held: sorted.held,
                decided: sorted.decided,
                recorded_ms: self.now().ms(),
                answer,
                ..Saying::default()
            };
            said = self.say_once(saying).await?;
        }
        if said == Said::Kept {
            gate.remember(self);
            self.count(gate.by(), &sorted.tally);
        }
        Ok((said, sorted.tally))
    }

    fn count(&self, by: &'static str, tally: &Tally) {
        let held = tally.refused.iter().filter(|refused| refused.quarantined.is_some()).count();
        let refused = tally.refused.len() + tally.refused_more - held;
        for (ended, n) in [("taken", tally.taken), ("known", tally.known), ("held", held), ("refused", refused)] {
            self.shared.meters.note(|| {
                metrics::counter!("benchclock_readings_offered_total", "by" => by, "ended" => ended)
                    .increment(n as u64);
            });
        }
    }
}
