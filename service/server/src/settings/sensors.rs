//! Settings of sensors: how several are combined, and when one is not believed or missed.

use serde::{Deserialize, Serialize};

/// How sensors are cared for.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Sensors {
    /// How long a sensor that used to speak may say nothing before an alert tells it, minutes. 90 suits one that speaks
    /// half-hourly.
    #[schema(minimum = 5, maximum = 10080)]
    pub silent_minutes: u32,
    /// Several sensors in a zone: its air is the mean of what each last said, if that is no older than this, minutes.
    /// 20 suits sensors that speak every 5 minutes.
    #[schema(minimum = 1, maximum = 240)]
    pub window_minutes: u32,
    /// Further apart than this they disagree, K: times go by the slower of the two and are marked as assumed. 2 suits
    /// household sensors.
    #[schema(minimum = 0.2, maximum = 20)]
    pub apart_k: f64,
    /// The same for humidity, % RH. 8 suits household sensors.
    #[schema(minimum = 1, maximum = 50)]
    pub apart_rh_pct: f64,
    /// How long a sensor may say the same to the digit while the room moves before it counts as stuck, hours.
    #[schema(minimum = 1, maximum = 72)]
    pub stuck_hours: u32,
    /// How long a hygrometer's calibration over salt is good for before an alert asks for the next, days.
    #[schema(minimum = 30, maximum = 3660)]
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
