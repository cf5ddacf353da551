//! Settings of sensors: how several are combined, and when one is not believed or missed.

use serde::Deserialize;

use super::{SettingsError, wrong};

/// How sensors are cared for.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Sensors {
    /// How long a sensor may say nothing before it is told, minutes.
    pub silent_minutes: u32,
    /// How old a sensor's word may be to count beside another's of its zone, minutes.
    pub window_minutes: u32,
    /// Sensors of a zone further apart than this disagree, K.
    pub apart_k: f64,
    /// Sensors of a zone further apart than this disagree, % RH.
    pub apart_rh_pct: f64,
    /// How long the same value to the digit lasts before a sensor may be stuck, hours.
    pub stuck_hours: u32,
    /// How long a hygrometer's calibration is good for, days.
    pub calibrate_days: u32,
}

impl Default for Sensors {
    fn default() -> Self {
        Self {
            silent_minutes: 90,
            window_minutes: 20,
            apart_k: 2.0,
            apart_rh_pct: 8.0,
            stuck_hours: 6,
            calibrate_days: 365,
        }
    }
}

impl Sensors {
    pub(super) fn check(&self) -> Result<(), SettingsError> {
        if !(5..=10_080).contains(&self.silent_minutes) {
            return Err(wrong(
                "sensors.silent_minutes",
                "must be 5 to 10080",
                "90 suits a sensor that speaks half-hourly",
            ));
        }
        if !(1..=240).contains(&self.window_minutes) {
            return Err(wrong(
                "sensors.window_minutes",
                "must be 1 to 240",
                "20 suits sensors that speak every 5 minutes",
            ));
        }
        if !(0.2..=20.0).contains(&self.apart_k) {
            return Err(wrong("sensors.apart_k", "must be 0.2 to 20", "2 suits household sensors"));
        }
        if !(1.0..=50.0).contains(&self.apart_rh_pct) {
            return Err(wrong("sensors.apart_rh_pct", "must be 1 to 50", "8 suits household sensors"));
        }
        if !(1..=72).contains(&self.stuck_hours) {
            return Err(wrong("sensors.stuck_hours", "must be 1 to 72", "6 is plenty"));
        }
        if !(30..=3660).contains(&self.calibrate_days) {
            return Err(wrong("sensors.calibrate_days", "must be 30 to 3660", "365 is a year"));
        }
        Ok(())
    }
}
