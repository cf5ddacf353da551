//! Unit weight of a string: mass per length.

use std::f64::consts::PI;

use crate::range::{Result, within};

/// Density of the steel of plain strings, kg/m³: what handbooks give for carbon steel. A printed unit weight of plain
/// 0.010 in wire (2.215e-5 lb/in) answers to 7806, 0.6 % less.
pub const STEEL_KG_M3: f64 = 7850.0;

fn diameter(argument: &'static str, mm: f64) -> Result<f64> {
    within(argument, mm, 0.05, 10.0, "mm")
}

fn density(argument: &'static str, kg_m3: f64) -> Result<f64> {
    within(argument, kg_m3, 500.0, 22_000.0, "kg/m³")
}

/// Unit weight of a plain string: one material all through.
///
/// # Equation
///
/// μ = ρ π d²/4.
///
/// # Arguments
///
/// - `gauge_mm`: diameter d, 0.05 to 10 mm.
/// - `density_kg_m3`: ρ, 500 to 22 000 kg/m³; [`STEEL_KG_M3`] for steel, about 1100 for nylon.
///
/// # Result
///
/// kg/m.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Geometry.
///
/// # Departures
///
/// The thinning of a string under tension (0.7 % at breaking strain) is left out.
///
/// # Examples
///
/// ```
/// use physics::strings::{STEEL_KG_M3, plain_kg_m};
/// assert!((plain_kg_m(0.3048, STEEL_KG_M3)? - 5.727821e-4).abs() < 1e-10);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn plain_kg_m(gauge_mm: f64, density_kg_m3: f64) -> Result<f64> {
    let d_m = diameter("gauge_mm", gauge_mm)? / 1000.0;
    Ok(density("density_kg_m3", density_kg_m3)? * PI * d_m * d_m / 4.0)
}

/// Unit weight of a string with one close winding of round wire over a core.
///
/// # Equation
///
/// μ = ρc π dc²/4 + ρw (π dw²/4) (π (dc + dw))/dw, the second term being the wire's section times the
/// length of wire on a length of string: one turn of π (dc + dw) every dw.
///
/// ```text
///    O O O O O O   wrap wire, diameter dw, turn beside turn
///   =============  core, diameter dc; gauge = dc + 2 dw
///    O O O O O O
/// ```
///
/// # Arguments
///
/// - `core_mm`, `wrap_mm`: diameters dc and dw, 0.05 to 10 mm.
/// - `core_kg_m3`, `wrap_kg_m3`: densities, 500 to 22 000 kg/m³; bronze and nickel about 8800.
///
/// # Result
///
/// kg/m.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Geometry; "statics by hand".
///
/// # Departures
///
/// A hexagonal core, a flattened or a second winding and the bite of wire into core are left out: a figure from the
/// maker of the string, or a kitchen scale, is better by several percent.
///
/// # Examples
///
/// ```
/// // 0.5 mm core, 0.3 mm wrap: steel 1.541 g/m and wrap 8800 · π² · 0.3 · 0.8/4 = 5.211 g/m.
/// let kg_m = physics::strings::wound_kg_m(0.5, 0.3, 7850.0, 8800.0)?;
/// assert!((kg_m - 6.752e-3).abs() < 1e-6);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn wound_kg_m(core_mm: f64, wrap_mm: f64, core_kg_m3: f64, wrap_kg_m3: f64) -> Result<f64> {
    let core_m = diameter("core_mm", core_mm)? / 1000.0;
    let wrap_m = diameter("wrap_mm", wrap_mm)? / 1000.0;
    let core = density("core_kg_m3", core_kg_m3)? * PI * core_m * core_m / 4.0;
    let wrap = density("wrap_kg_m3", wrap_kg_m3)? * PI * PI * wrap_m * (core_m + wrap_m) / 4.0;
    Ok(core + wrap)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn arguments_out_of_range_are_named() {
        for mm in [0.012, 12.0, f64::NAN] {
            assert_refuses("gauge_mm", plain_kg_m(mm, STEEL_KG_M3));
            assert_refuses("core_mm", wound_kg_m(mm, 0.3, STEEL_KG_M3, 8800.0));
            assert_refuses("wrap_mm", wound_kg_m(0.4, mm, STEEL_KG_M3, 8800.0));
        }
        assert_refuses("density_kg_m3", plain_kg_m(0.3, 7.85));
        assert_refuses("core_kg_m3", wound_kg_m(0.4, 0.3, 7.85, 8800.0));
        assert_refuses("wrap_kg_m3", wound_kg_m(0.4, 0.3, 7850.0, 8.8));
    }

    #[test]
    fn a_winding_of_the_cores_own_metal_weighs_less_than_the_same_gauge_plain() -> Result<()> {
        let (plain, wound) = (plain_kg_m(1.1, 7850.0)?, wound_kg_m(0.5, 0.3, 7850.0, 7850.0)?);
        // Round wire side by side fills π/4 of its ring.
        let ring = plain - plain_kg_m(0.5, 7850.0)?;
        assert!((wound - (plain - ring * (1.0 - PI / 4.0))).abs() < 1e-12, "{plain} {wound}");
        Ok(())
    }
}
