//! Telling: alarms become alerts, alerts become deliveries.

pub(crate) mod alarm;
pub(crate) mod channel;
pub(crate) mod climate;
pub(crate) mod delivery;
pub(crate) mod message;
pub(crate) mod reach;
pub(crate) mod sensors;
pub(crate) mod shop;
pub(crate) mod string_up;
pub(crate) mod tell;
pub(crate) mod words;
