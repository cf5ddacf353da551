//! Telling: alarms become alerts, alerts become deliveries.

pub(crate) mod alarm;
pub(crate) mod climate;
pub(crate) mod delivery;
pub(crate) mod sensors;
pub(crate) mod shop;
pub(crate) mod words;
