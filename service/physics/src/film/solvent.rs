//! How fast a solvent leaves the surface of a wet film: by its vapour pressure, and by how the air moves.

use crate::range::{Result, temperature, within};

/// A generic solvent of the finishing room, with the constants of its Antoine equation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Solvent {
    /// Ethanol, the alcohol of shellac.
    Ethanol,
    /// Propanone, the fastest of thinners.
    Acetone,
    /// Methylbenzene.
    Toluene,
    /// n-Butyl ethanoate, the body of lacquer thinner.
    ButylAcetate,
    /// 1,2-Dimethylbenzene.
    Xylene,
    /// n-Decane, standing for mineral spirit.
    Decane,
}

impl Solvent {
    /// Every solvent, for lists and messages.
    pub const ALL: [Self; 6] =
        [Self::Ethanol, Self::Acetone, Self::Toluene, Self::ButylAcetate, Self::Xylene, Self::Decane];

    /// Its name as rules write it: `ethanol`, `butyl_acetate`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Ethanol => "ethanol",
            Self::Acetone => "acetone",
            Self::Toluene => "toluene",
            Self::ButylAcetate => "butyl_acetate",
            Self::Xylene => "xylene",
            Self::Decane => "decane",
        }
    }

    /// The solvent of that name, if there is one.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|solvent| solvent.name() == name)
    }

    /// A, B (K) and C (K) of log₁₀ p = A − B/(T + C), p in Pa, T in K.
    fn antoine(self) -> (f64, f64, f64) {
        match self {
            Self::Ethanol => (10.336_75, 1648.22, -42.232),
            Self::Acetone => (9.2184, 1197.01, -45.09),
            Self::Toluene => (9.050_43, 1327.62, -55.525),
            Self::ButylAcetate => (9.268_03, 1440.231, -61.362),
            Self::Xylene => (9.097_89, 1458.706, -61.109),
            Self::Decane => (9.068_53, 1495.17, -79.292),
        }
    }
}

/// Vapour pressure of a pure solvent.
///
/// # Equation
///
/// Antoine: log₁₀ p = A − B/(T + C).
///
/// # Arguments
///
/// - `solvent`: which.
/// - `temp_c`: temperature of the liquid, −20 to 60 °C.
///
/// # Result
///
/// Pressure in Pa.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Poling, Prausnitz and O'Connell, The Properties of Gases and Liquids, 5th ed. (2001), appendix A, as tabulated by the
/// open library `chemicals` 1.5.2; butyl acetate: NIST Chemistry WebBook (from memory), because the book's rounded row is a
/// quarter off at 0 °C.
///
/// # Departures
///
/// Xylene, decane and butyl acetate are fitted from 40, 65 and 60 °C on; below, the equation is carried on. From 10 to 40 °C
/// it is then within 10 % of CoolProp and of Perry's equation (`tests/reference/solvent_vapour.csv`); ratios between two
/// temperatures 10 K apart are within 4 %.
///
/// # Examples
///
/// Ethanol at 20 °C: 5876 Pa (CoolProp 8.0.0).
///
/// ```
/// use physics::film::{Solvent, vapour_pressure_of_pa};
/// let pressure_pa = vapour_pressure_of_pa(Solvent::Ethanol, 20.0)?;
/// assert!((pressure_pa / 5875.9 - 1.0).abs() < 0.01);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn vapour_pressure_of_pa(solvent: Solvent, temp_c: f64) -> Result<f64> {
    let temp_k = within("temp_c", temp_c, -20.0, 60.0, "°C")? + crate::rate::KELVIN_AT_0_C;
    let (a, b_k, c_k) = solvent.antoine();
    Ok(10f64.powf(a - b_k / (temp_k + c_k)))
}

/// How much faster a solvent leaves a wet film than at a reference temperature, in like draught.
///
/// # Equation
///
/// f = p(T)/p(T_ref): the air of a room holds next to no solvent, so that the whole vapour pressure drives it.
///
/// # Arguments
///
/// - `solvent`: which leaves last and so sets the pace.
/// - `temp_c`, `ref_temp_c`: temperature of the film and of the reference, −20 to 60 °C.
///
/// # Result
///
/// Hours at the reference worth one hour at this temperature (h/h, a pure factor).
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Dalton's law of evaporation with [`vapour_pressure_of_pa`].
///
/// # Departures
///
/// One solvent stands for a blend. The film is taken to be as warm as the air, though fast solvents cool it.
///
/// # Examples
///
/// ```
/// use physics::film::{Solvent, solvent_factor};
/// assert!((solvent_factor(Solvent::Ethanol, 30.0, 20.0)? - 10467.2 / 5875.9).abs() < 0.01);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn solvent_factor(solvent: Solvent, temp_c: f64, ref_temp_c: f64) -> Result<f64> {
    temperature("ref_temp_c", ref_temp_c)?;
    let reference_pa = vapour_pressure_of_pa(solvent, ref_temp_c)
        .map_err(|refusal| crate::OutOfRange { argument: "ref_temp_c", ..refusal })?;
    Ok(vapour_pressure_of_pa(solvent, temp_c)? / reference_pa)
}

/// How much faster a film gives off vapour in moving air than in a reference draught.
///
/// # Equation
///
/// f = (0.13 + 0.14 v)/(0.13 + 0.14 v_ref).
///
/// # Arguments
///
/// - `air_m_s`, `ref_air_m_s`: speed of the air over the film, and of the reference, 0 to 5 m/s.
///
/// # Result
///
/// Hours in the reference draught worth one hour in this (h/h, a pure factor).
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// The wind function of Penman 1963 for water, E = (0.13 + 0.14 v)(e_s − e_a).
///
/// # Departures
///
/// Made for water out of doors; for a solvent in a booth only the ratio is used. Penman's function of 1948,
/// 1 + 0.54 v, gives 1.26 where this gives 1.49 from 0.1 to 0.6 m/s: expect no better than that.
///
/// # Examples
///
/// ```
/// assert!((physics::film::draught_factor(0.5, 0.1)? - 0.2 / 0.144).abs() < 1e-12);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn draught_factor(air_m_s: f64, ref_air_m_s: f64) -> Result<f64> {
    let wind = |argument, v| Ok(0.13 + 0.14 * within(argument, v, 0.0, 5.0, "m/s")?);
    Ok(wind("air_m_s", air_m_s)? / wind("ref_air_m_s", ref_air_m_s)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn every_solvent_is_found_by_its_name_and_leaves_faster_when_warm() -> Result<()> {
        for solvent in Solvent::ALL {
            assert_eq!(Solvent::named(solvent.name()), Some(solvent));
            assert_eq!(solvent_factor(solvent, 20.0, 20.0)?, 1.0);
            assert!(solvent_factor(solvent, 30.0, 20.0)? > 1.4, "{solvent:?}");
        }
        assert_eq!(Solvent::named("water"), None);
        assert_eq!(draught_factor(0.3, 0.3)?, 1.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-21.0, 61.0, f64::NAN] {
            assert_refuses("temp_c", solvent_factor(Solvent::Ethanol, temp_c, 20.0));
            assert_refuses("ref_temp_c", solvent_factor(Solvent::Ethanol, 20.0, temp_c));
        }
        for air_m_s in [-0.1, 6.0, f64::NAN] {
            assert_refuses("air_m_s", draught_factor(air_m_s, 0.1));
            assert_refuses("ref_air_m_s", draught_factor(0.1, air_m_s));
        }
    }
}
