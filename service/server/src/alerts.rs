//! Telling: alarms become alerts, alerts become deliveries.

pub(crate) mod alarm;
pub(crate) mod channel;
pub(crate) mod climate;
pub(crate) mod delivery;
pub(crate) mod message;
pub(crate) mod reach;
pub(crate) mod rounds;
pub(crate) mod sensors;
pub(crate) mod shop;
pub(crate) mod string_up;
pub(crate) mod taken_back;
pub(crate) mod tell;
mod unwritten;
pub(crate) mod words;

pub(crate) use unwritten::Unwritten;
