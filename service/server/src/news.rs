//! What happens, as everybody who listens is told of it. The text of an event is made once, by the first listener that
//! needs it, however many listen.

use std::sync::{Arc, OnceLock};

use actix_web::web::Bytes;
use facts::{Fact, Reading, Recorded};

use crate::now::instant;

/// One thing that happened. Cheap to clone.
#[derive(Debug, Clone)]
pub(crate) struct News(Arc<Told>);

#[derive(Debug)]
struct Told {
    what: What,
    event: OnceLock<Bytes>,
}

/// What happened.
#[derive(Debug)]
pub(crate) enum What {
    /// A fact was taken in.
    Fact(Recorded),
    /// A reading was taken in.
    Reading(Reading),
    /// The bench was planned anew at this instant, ms, and something stands elsewhere. It is derived, so it has no place in
    /// the journal.
    Planned(i64),
}

impl News {
    pub(crate) fn of(what: What) -> Self {
        Self(Arc::new(Told { what, event: OnceLock::new() }))
    }

    pub(crate) fn what(&self) -> &What {
        &self.0.what
    }

    /// The event that tells it, as it goes over the wire.
    pub(crate) fn event(&self) -> Bytes {
        self.0.event.get_or_init(|| self.what().event()).clone()
    }

    /// Whether it is to be told at once, whatever else there is to tell.
    pub(crate) fn is_urgent(&self) -> bool {
        matches!(self.what(), What::Fact(fact) if is_alert(&fact.fact))
    }
}

impl What {
    fn event(&self) -> Bytes {
        match self {
            Self::Fact(fact) => event_of(fact),
            Self::Reading(reading) => {
                let data = serde_json::to_string(reading).expect("a reading has a JSON form");
                format!("event: reading\ndata: {data}\n\n").into()
            }
            Self::Planned(made_ms) => {
                let data = serde_json::json!({ "made_at": instant(*made_ms).to_rfc3339() });
                format!("event: plan\ndata: {data}\n\n").into()
            }
        }
    }
}

fn is_alert(fact: &Fact) -> bool {
    matches!(fact, Fact::AlertRaised(_) | Fact::AlertRepeated { .. })
}

/// A fact as an event; the text of a rule stays in the journal.
pub(crate) fn event_of(recorded: &Recorded) -> Bytes {
    let mut fact = serde_json::to_value(recorded).expect("a fact has a JSON form");
    if let (Fact::RulePutInForce(_), Some(told)) = (&recorded.fact, fact["fact"].as_object_mut()) {
        told.remove("text");
    }
    let name = if is_alert(&recorded.fact) { "alert" } else { "fact" };
    format!("id: {}\nevent: {name}\ndata: {fact}\n\n", recorded.seq).into()
}
