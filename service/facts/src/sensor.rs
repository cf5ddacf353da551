//! What is said about a sensor, apart from its readings.

use serde::{Deserialize, Serialize};

use crate::{Invalid, SensorId, within};

/// A salt whose saturated solution holds the air above it at a known humidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Salt {
    /// NaCl, table salt: about 75 %.
    SodiumChloride,
    /// MgCl2·6H2O, sold as bath salt or against dust: about 33 %.
    MagnesiumChloride,
}

/// What a hygrometer read over one salt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SaltPoint {
    /// The salt.
    pub salt: Salt,
    /// Temperature of the box it stood in, °C; the published humidity depends on it.
    pub temp_c: f64,
    /// What it read there, %.
    pub read_rh_pct: f64,
    /// The published humidity over that salt at that temperature, %; kept, so that a revised table changes no past.
    pub true_rh_pct: f64,
}

/// A hygrometer held against saturated salts. When the fact happened is from when on its readings are corrected:
/// corrected = `gain` · read + `offset_rh_pct`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HygrometerCalibrated {
    /// The sensor, in whichever zone it is.
    pub sensor: SensorId,
    /// One point or two.
    pub points: Vec<SaltPoint>,
    /// 1 for one point.
    pub gain: f64,
    /// What is added, %.
    pub offset_rh_pct: f64,
}

impl HygrometerCalibrated {
    /// The correction that follows from one point (a shift) or two (a straight line through both).
    ///
    /// # Errors
    /// When there is no point or more than two, two over the same salt, or a correction so large that the sensor
    /// is broken or had not stood long enough.
    pub fn new(sensor: SensorId, points: Vec<SaltPoint>) -> Result<Self, Invalid> {
        let (gain, offset_rh_pct) = match points.as_slice() {
            [one] => (1.0, one.true_rh_pct - one.read_rh_pct),
            [one, two] if one.salt != two.salt => {
                let gain = (two.true_rh_pct - one.true_rh_pct) / (two.read_rh_pct - one.read_rh_pct);
                (gain, one.true_rh_pct - gain * one.read_rh_pct)
            }
            _ => {
                return Err(Invalid {
                    what: "points".into(),
                    given: format!("{} points", points.len()),
                    expected: "one point, or two over different salts".into(),
                    mend: "send what it read over sodium_chloride, over magnesium_chloride, or over both".into(),
                });
            }
        };
        let mend = "let it stand in the closed box for half a day with salt still undissolved, and read it again; a \
                    sensor that is this far off is to be replaced";
        // Common practice, no source: a sensor that needs more is broken.
        within("gain", gain, 0.7, 1.4, "", mend)?;
        for point in &points {
            let off_pct = point.true_rh_pct - point.read_rh_pct;
            within("read_rh_pct", off_pct, -15.0, 15.0, "% from the published humidity", mend)?;
        }
        Ok(Self { sensor, points, gain, offset_rh_pct })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(salt: Salt, read_rh_pct: f64, true_rh_pct: f64) -> SaltPoint {
        SaltPoint { salt, temp_c: 20.0, read_rh_pct, true_rh_pct }
    }

    fn corrected(points: Vec<SaltPoint>) -> Result<(f64, f64), Invalid> {
        let sensor = SensorId::new("hall").expect("an id");
        HygrometerCalibrated::new(sensor, points).map(|made| (made.gain, made.offset_rh_pct))
    }

    #[test]
    fn one_point_shifts_and_two_points_lay_a_line_through_both() {
        assert_eq!(corrected(vec![point(Salt::SodiumChloride, 72.0, 75.0)]), Ok((1.0, 3.0)));
        let two = vec![point(Salt::SodiumChloride, 71.0, 75.0), point(Salt::MagnesiumChloride, 36.0, 33.0)];
        let (gain, offset) = corrected(two).expect("a sensor that is off, not broken");
        assert!((gain * 71.0 + offset - 75.0).abs() < 1e-9 && (gain * 36.0 + offset - 33.0).abs() < 1e-9);
    }

    #[test]
    fn a_sensor_that_is_broken_or_two_of_one_salt_make_no_correction() {
        let salt = Salt::SodiumChloride;
        for points in [
            vec![],
            vec![point(salt, 50.0, 75.0)],
            vec![point(salt, 75.0, 75.0), point(salt, 75.0, 75.0)],
            vec![point(salt, 62.0, 75.0), point(Salt::MagnesiumChloride, 46.0, 33.0)],
            vec![point(salt, 60.0, 75.0), point(Salt::MagnesiumChloride, 60.0, 33.0)],
        ] {
            assert!(corrected(points.clone()).is_err(), "{points:?}");
        }
    }
}
