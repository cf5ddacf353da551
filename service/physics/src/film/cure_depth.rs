//! How deep light hardens a film that is cured by exposure.

use crate::range::{Result, within};

/// Depth to which an exposure hardens a resin.
///
/// # Equation
///
/// C = D_p · ln(E/E_c); 0 where E is below E_c.
///
/// # Arguments
///
/// - `exposure_mj_cm2`: exposure E at the surface, 0 to 100 000 mJ/cm².
/// - `critical_mj_cm2`: critical exposure E_c at which it just gels, 0.1 to 10 000 mJ/cm².
/// - `penetration_um`: depth D_p at which the light has fallen to 1/e, 1 to 10 000 µm.
///
/// # Result
///
/// Depth hardened, µm.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// The working curve of photopolymers, from Beer and Lambert's law; P. F. Jacobs, Rapid Prototyping & Manufacturing (1992)
/// (from memory).
///
/// # Departures
///
/// Oxygen at the surface and pigment in the film are not in it.
///
/// # Examples
///
/// Ten times the critical exposure hardens 2.3 times the penetration depth.
///
/// ```
/// let depth_um = physics::film::cure_depth_um(500.0, 50.0, 100.0)?;
/// assert!((depth_um - 230.2585).abs() < 0.001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn cure_depth_um(exposure_mj_cm2: f64, critical_mj_cm2: f64, penetration_um: f64) -> Result<f64> {
    let exposure = within("exposure_mj_cm2", exposure_mj_cm2, 0.0, 100_000.0, "mJ/cm²")?;
    let critical = within("critical_mj_cm2", critical_mj_cm2, 0.1, 10_000.0, "mJ/cm²")?;
    let penetration_um = within("penetration_um", penetration_um, 1.0, 10_000.0, "µm")?;
    Ok(penetration_um * (exposure / critical).max(1.0).ln())
}

/// Exposure that hardens a resin to a depth: [`cure_depth_um`] turned round.
///
/// # Equation
///
/// E = E_c · exp(C/D_p).
///
/// # Arguments
///
/// - `depth_um`: depth C, 0 to 100 000 µm.
/// - `critical_mj_cm2`: critical exposure E_c at which it just gels, 0.1 to 10 000 mJ/cm².
/// - `penetration_um`: depth D_p at which the light has fallen to 1/e, 1 to 10 000 µm.
///
/// # Result
///
/// Exposure at the surface, mJ/cm².
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// As [`cure_depth_um`]; doses of one lamp add up (reciprocity), common practice, no source.
///
/// # Examples
///
/// 300 µm of a resin of 40 mJ/cm² and 150 µm take 40 e² = 295.6 mJ/cm².
///
/// ```
/// let exposure_mj_cm2 = physics::film::cure_exposure_mj_cm2(300.0, 40.0, 150.0)?;
/// assert!((exposure_mj_cm2 - 295.562).abs() < 0.001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn cure_exposure_mj_cm2(depth_um: f64, critical_mj_cm2: f64, penetration_um: f64) -> Result<f64> {
    let depth_um = within("depth_um", depth_um, 0.0, 100_000.0, "µm")?;
    let critical = within("critical_mj_cm2", critical_mj_cm2, 0.1, 10_000.0, "mJ/cm²")?;
    let penetration_um = within("penetration_um", penetration_um, 1.0, 10_000.0, "µm")?;
    Ok(critical * (depth_um / penetration_um).exp())
}

#[cfg(test)]
mod tests {
    use super::{cure_depth_um, cure_exposure_mj_cm2};
    use crate::range::{Result, assert_refuses};

    #[test]
    fn nothing_hardens_below_the_critical_exposure() -> Result<()> {
        assert_eq!(cure_depth_um(0.0, 50.0, 100.0)?, 0.0);
        assert_eq!(cure_depth_um(50.0, 50.0, 100.0)?, 0.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        assert_refuses("depth_um", cure_exposure_mj_cm2(-1.0, 50.0, 100.0));
        assert_refuses("exposure_mj_cm2", cure_depth_um(-1.0, 50.0, 100.0));
        assert_refuses("critical_mj_cm2", cure_depth_um(1.0, 0.0, 100.0));
        assert_refuses("penetration_um", cure_depth_um(1.0, 50.0, f64::NAN));
    }
}
