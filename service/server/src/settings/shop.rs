//! The shop itself: its name, its hours, the air it keeps, the units it thinks in.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::{Hours, SettingsError, wrong};
use crate::units::{LengthUnit, TempUnit};

/// The shop itself.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Shop {
    /// Id of the shop in the journal.
    pub id: String,
    /// Name on the board.
    pub name: String,
    /// IANA zone in which hours are read and shown, for example "Europe/Paris".
    pub time_zone: String,
    /// Local time of the morning digest.
    pub digest_at: String,
    /// Driest air the shop wants its instruments in, % RH. Wood is held against it: when it is back, when to glue a
    /// crack. The figures of this band are common practice, no source; compare 40 to 55 % and 20 to 22 °C in the ASHRAE
    /// Handbook's advice for museums.
    #[schema(minimum = 10, maximum = 90)]
    pub rh_low_pct: f64,
    /// Dampest, % RH; at least 2 above rh_low_pct.
    #[schema(minimum = 10, maximum = 90)]
    pub rh_high_pct: f64,
    /// Coolest, °C.
    #[schema(minimum = 0, maximum = 40)]
    pub temp_low_c: f64,
    /// Warmest, °C; at least 1 above temp_low_c.
    #[schema(minimum = 0, maximum = 40)]
    pub temp_high_c: f64,
    /// In what pages and alerts show temperatures. Over HTTP everything stays SI.
    #[schema(inline)]
    pub temp_unit: TempUnit,
    /// In what they show lengths.
    #[schema(inline)]
    pub length_unit: LengthUnit,
    /// Folder of the usual jobs, one file each; edit them, or add your own.
    pub procedures: PathBuf,
    /// When the shop is open, by its own clock; the bench plan goes by it. Days not named here keep these hours.
    #[schema(inline)]
    pub hours: Hours,
}

impl Default for Shop {
    fn default() -> Self {
        Self {
            id: "shop".into(),
            name: "The bench".into(),
            time_zone: "UTC".into(),
            hours: Hours::default(),
            digest_at: "07:30".into(),
            rh_low_pct: 40.0,
            rh_high_pct: 55.0,
            temp_low_c: 18.0,
            temp_high_c: 26.0,
            temp_unit: TempUnit::C,
            length_unit: LengthUnit::Mm,
            procedures: "config/procedures".into(),
        }
    }
}
impl Shop {
    /// The band needs an inside: what is back "in the band" must be a place where wood can rest.
    pub(super) fn check_band(&self) -> Result<(), SettingsError> {
        if self.rh_high_pct - self.rh_low_pct < 2.0 {
            return Err(wrong("shop.rh_high_pct", "must be 2 above rh_low_pct", "55 is usual"));
        }
        if self.temp_high_c - self.temp_low_c < 1.0 {
            return Err(wrong("shop.temp_high_c", "must be 1 above temp_low_c", "26 is usual"));
        }
        Ok(())
    }

    /// The band as wood is held against it.
    pub(crate) fn target(&self) -> clock::Target {
        let temp_c = f64::midpoint(self.temp_low_c, self.temp_high_c);
        clock::Target { rh_low_pct: self.rh_low_pct, rh_high_pct: self.rh_high_pct, temp_c }
    }

    /// The band, °C and % RH.
    pub(crate) fn band(&self) -> [(f64, f64); 2] {
        [(self.temp_low_c, self.temp_high_c), (self.rh_low_pct, self.rh_high_pct)]
    }

    /// The band as the air of each zone is watched against it.
    pub(crate) fn watch(&self) -> clock::AirWatch {
        clock::AirWatch {
            temp_c: (self.temp_low_c, self.temp_high_c),
            rh_pct: (self.rh_low_pct, self.rh_high_pct),
            ..clock::AirWatch::default()
        }
    }
}
