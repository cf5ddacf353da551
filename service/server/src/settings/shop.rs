//! The shop itself: its name, its hours, the air it keeps, the units it thinks in.

use std::path::PathBuf;

use serde::Deserialize;

use super::{Hours, SettingsError, wrong};
use crate::units::{LengthUnit, TempUnit};

/// The shop itself.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Shop {
    /// Id in the journal.
    pub id: String,
    /// Name on the board.
    pub name: String,
    /// IANA zone in which hours are read and written.
    pub time_zone: String,
    /// When the shop is open, by its own clock.
    pub hours: Hours,
    /// Local time of the morning digest.
    pub digest_at: String,
    /// Driest air the shop wants its instruments in, % RH.
    pub rh_low_pct: f64,
    /// Dampest, % RH.
    pub rh_high_pct: f64,
    /// Coolest, °C.
    pub temp_low_c: f64,
    /// Warmest, °C.
    pub temp_high_c: f64,
    /// In what temperatures are shown.
    pub temp_unit: TempUnit,
    /// In what lengths are shown.
    pub length_unit: LengthUnit,
    /// Folder of the usual jobs.
    pub procedures: PathBuf,
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
        let apart = |low: f64, high: f64, least: f64| high - low >= least;
        if !(10.0..=90.0).contains(&self.rh_low_pct) {
            return Err(wrong("shop.rh_low_pct", "must be 10 to 90", "40 is usual"));
        }
        if !(10.0..=90.0).contains(&self.rh_high_pct) || !apart(self.rh_low_pct, self.rh_high_pct, 2.0) {
            return Err(wrong("shop.rh_high_pct", "must be 2 above rh_low_pct, and at most 90", "55 is usual"));
        }
        if !(0.0..=40.0).contains(&self.temp_low_c) {
            return Err(wrong("shop.temp_low_c", "must be 0 to 40", "18 is usual"));
        }
        if !(0.0..=40.0).contains(&self.temp_high_c) || !apart(self.temp_low_c, self.temp_high_c, 1.0) {
            return Err(wrong("shop.temp_high_c", "must be 1 above temp_low_c, and at most 40", "26 is usual"));
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
