//! Drying in two stages: evaporation first, then what still seeps out of the film.

use crate::range::{Result, within};

/// Moisture of the drying layer, kg of water per kg of its dry solid.
const MOISTURE: &str = "kg/kg";

/// Time for a layer to dry from one moisture to another, first at a constant rate down to the
/// critical moisture, then ever more slowly towards equilibrium.
///
/// # Equation
///
/// t = (L_s/A)/R_c · { (X_from − X_c) + (X_c − X_e) ln[(X_c − X_e)/(X_to − X_e)] }: the first term
/// for the part above X_c, the second for the part below it.
///
/// # Arguments
///
/// - `dry_solid_kg_m2`: dry solid per area L_s/A, 0 to 1000 kg/m². It is the *solid*, not the water.
/// - `rate_kg_m2_h`: constant rate R_c, 0.000001 to 1000 kg of water per m² and hour.
/// - `from`: moisture X at the start, above `equilibrium`, at most 100 kg of water per kg of solid.
/// - `critical`: critical moisture X_c, above `equilibrium`, at most 100 kg/kg.
/// - `equilibrium`: moisture X_e that the layer comes to in this air, 0 to 100 kg/kg.
/// - `to`: moisture to be reached, above `equilibrium` (it is never quite reached), at most `from`.
///
/// # Result
///
/// Time in hours; 0 where `to` equals `from`.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Two-stage drying of chemical engineering, with a straight-line falling rate
/// R = R_c (X − X_e)/(X_c − X_e); Geankoplis, Transport Processes and Unit Operations, ch. 9 (work
/// from memory, equation seen).
///
/// # Departures
///
/// `from` may lie below `critical` and `to` above it; then one stage only is counted. Some prints
/// put X_c instead of X_c − X_e before the logarithm, which is right for free moisture only and
/// gives 13.78 h instead of 12.81 in the example.
///
/// # Examples
///
/// 5 kg/m² of solid at 0.5 kg/(m² h) from 1.0 past 0.40 to 0.10, equilibrium 0.05: 6 h and 6.81069 h.
///
/// ```
/// let time_h = physics::film::two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, 0.1)?;
/// assert!((time_h - 12.81069).abs() < 0.00001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn two_stage_drying_h(
    dry_solid_kg_m2: f64,
    rate_kg_m2_h: f64,
    from: f64,
    critical: f64,
    equilibrium: f64,
    to: f64,
) -> Result<f64> {
    let dry_solid = within("dry_solid_kg_m2", dry_solid_kg_m2, 0.0, 1000.0, "kg/m²")?;
    let rate = within("rate_kg_m2_h", rate_kg_m2_h, 1e-6, 1000.0, "kg/(m² h)")?;
    let equilibrium = within("equilibrium", equilibrium, 0.0, 100.0, MOISTURE)?;
    let above_equilibrium = equilibrium.next_up();
    let from = within("from", from, above_equilibrium, 100.0, MOISTURE)?;
    let critical = within("critical", critical, above_equilibrium, 100.0, MOISTURE)?;
    let to = within("to", to, above_equilibrium, from, MOISTURE)?;

    let constant_rate = (from - to.max(critical)).max(0.0);
    let falling_rate = if to < critical {
        let falls_from = from.min(critical);
        (critical - equilibrium) * ((falls_from - equilibrium) / (to - equilibrium)).ln()
    } else {
        0.0
    };
    Ok(dry_solid / rate * (constant_rate + falling_rate))
}

#[cfg(test)]
mod tests {
    use super::two_stage_drying_h;
    use crate::range::{Result, assert_refuses};

    #[test]
    fn drying_in_two_goes_takes_as_long_as_in_one() -> Result<()> {
        let whole_h = two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, 0.1)?;
        for halt in [0.9, 0.4, 0.2] {
            let first_h = two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, halt)?;
            let second_h = two_stage_drying_h(5.0, 0.5, halt, 0.4, 0.05, 0.1)?;
            assert!((first_h + second_h - whole_h).abs() < 1e-12, "with a halt at {halt}");
        }
        Ok(())
    }

    #[test]
    fn no_way_to_go_takes_no_time() -> Result<()> {
        assert_eq!(two_stage_drying_h(5.0, 0.5, 0.8, 0.4, 0.05, 0.8)?, 0.0);
        assert_eq!(two_stage_drying_h(5.0, 0.5, 0.2, 0.4, 0.05, 0.2)?, 0.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 2000.0, f64::NAN] {
            assert_refuses("dry_solid_kg_m2", two_stage_drying_h(bad, 0.5, 1.0, 0.4, 0.05, 0.1));
            assert_refuses("rate_kg_m2_h", two_stage_drying_h(5.0, bad, 1.0, 0.4, 0.05, 0.1));
            assert_refuses("from", two_stage_drying_h(5.0, 0.5, bad, 0.4, 0.05, 0.1));
            assert_refuses("critical", two_stage_drying_h(5.0, 0.5, 1.0, bad, 0.05, 0.1));
            assert_refuses("equilibrium", two_stage_drying_h(5.0, 0.5, 1.0, 0.4, bad, 0.1));
            assert_refuses("to", two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, bad));
        }
        assert_refuses("rate_kg_m2_h", two_stage_drying_h(5.0, 0.0, 1.0, 0.4, 0.05, 0.1));
        // Equilibrium itself is never reached, and nothing dries upwards.
        assert_refuses("to", two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, 0.05));
        assert_refuses("to", two_stage_drying_h(5.0, 0.5, 1.0, 0.4, 0.05, 1.1));
        assert_refuses("critical", two_stage_drying_h(5.0, 0.5, 1.0, 0.05, 0.05, 0.1));
    }
}
