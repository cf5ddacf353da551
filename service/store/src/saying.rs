//! What is written in one piece, and what is read back.

use facts::{AlertId, Entry, Reading, SensorId, ZoneId};
use serde::{Deserialize, Serialize};

/// Facts that stand or fall together, with what must be on disk in the same breath.
#[derive(Debug, Clone, Default)]
pub struct Saying {
    /// The facts.
    pub entries: Vec<Entry>,
    /// Readings; many, so they have a table of their own.
    pub readings: Vec<Reading>,
    /// Readings that cannot be believed; they wait for a person.
    pub held: Vec<NewHeld>,
    /// Readings held before, and what became of them.
    pub decided: Vec<(HeldKey, HeldState)>,
    /// When the readings reached the service, ms.
    pub recorded_ms: i64,
    /// What is to be delivered because of these facts.
    pub deliveries: Vec<NewDelivery>,
    /// Whether the thing its fact names must not be there yet: setting up a zone and revising one is the same fact.
    pub fresh: bool,
    /// The answer to give again when the same request comes again.
    pub answer: Option<Answer>,
}

/// What names a reading that is held back: it was never given an id by its sender.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeldKey {
    /// Its zone.
    pub zone: ZoneId,
    /// Its sensor, if it was named.
    pub sensor: Option<SensorId>,
    /// When it says it was taken, ms.
    #[serde(rename = "at", with = "crate::whole::rfc3339")]
    pub at_ms: i64,
    /// Temperature as it was said, °C.
    pub temp_c: f64,
    /// Relative humidity as it was said, %.
    pub rh_pct: f64,
}

/// A reading to be held back.
#[derive(Debug, Clone, PartialEq)]
pub struct NewHeld {
    /// Which.
    pub key: HeldKey,
    /// By which way it came.
    pub by: String,
    /// Why, in a word.
    pub reason: String,
    /// Why, in a sentence.
    pub detail: String,
    /// How to mend it.
    pub mend: String,
}

/// A reading that is or was held back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// Row in the table.
    pub id: i64,
    /// Which.
    #[serde(flatten)]
    pub key: HeldKey,
    /// When it reached the service, ms.
    #[serde(rename = "recorded_at", with = "crate::whole::rfc3339")]
    pub recorded_ms: i64,
    /// By which way it came.
    pub by: String,
    /// Why, in a word.
    pub reason: String,
    /// Why, in a sentence.
    pub detail: String,
    /// How to mend it.
    pub mend: String,
    /// How it stands.
    pub state: HeldState,
    /// When that was decided, ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_ms: Option<i64>,
}

/// How a reading that was held back stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeldState {
    /// It waits.
    Held,
    /// It was taken after all.
    Released,
    /// It stays out.
    Discarded,
}

/// An answer kept under the key its request carried.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// The sender's key.
    pub key: String,
    /// Hash of the request, so that a key used twice for different requests is noticed.
    pub fingerprint: String,
    /// Status of the answer.
    pub status: u16,
    /// Body of the answer.
    pub body: String,
}

/// Something to hand to a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDelivery {
    /// The alert it tells; the same on every attempt.
    pub alert: AlertId,
    /// Name of the channel in the settings.
    pub channel: String,
    /// What is sent.
    pub body: String,
    /// When it may first be told, ms.
    pub since_ms: i64,
    /// When to try first, ms; later than that if it waits for company or for quiet hours to end.
    pub due_ms: i64,
}

/// A delivery as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Delivery {
    /// Row in the outbox.
    pub id: i64,
    /// The alert it tells.
    pub alert: AlertId,
    /// Name of the channel.
    pub channel: String,
    /// What is sent.
    pub body: String,
    /// How often it was tried.
    pub attempts: u32,
    /// When it might first be told, ms.
    pub since_ms: i64,
    /// When to try next, ms; when it ended, once it is finished.
    pub due_ms: i64,
    /// How it stands.
    pub state: DeliveryState,
    /// What the last failure was.
    pub error: Option<String>,
}

/// How a delivery stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum DeliveryState {
    /// To be tried.
    Waiting,
    /// The receiver took it.
    Delivered,
    /// It is of no use any more, or the receiver refused for good.
    GivenUp,
}

/// One run of a recurring job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Run {
    /// Name of the job.
    pub job: String,
    /// When it ran, ms.
    pub at_ms: i64,
    /// What went wrong, if anything did.
    pub error: Option<String>,
}

/// What became of a saying.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// It is on disk.
    Kept,
    /// The same request was answered before; this was the answer.
    Before(Answer),
    /// The key was used for another request.
    KeyReused,
}
