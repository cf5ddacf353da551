//! What a string's pull does to the joints of an instrument: plain statics, one load path a file, each with its
//! drawing.
//!
//! Every formula gives a [`Stress`]: what slides the faces along each other and what parts them. All are estimates from
//! above: linear stress, no help from neighbours, no credit for a shape that locks.
//!
//! Start reading at [`bridge_foot()`]; the rest is written the same way. Units: N, mm, MPa = N/mm².

mod brace_end;
mod bridge_foot;
mod fingerboard;
mod headstock;
mod neck_joint;
mod seam;
mod slot;
mod top_crack;

pub use brace_end::brace_end;
pub use bridge_foot::bridge_foot;
pub use fingerboard::fingerboard;
pub use headstock::headstock;
pub use neck_joint::neck_joint;
pub use seam::back_seam;
pub use slot::{nut_slot, saddle_slot};
pub use top_crack::top_crack;

use crate::range::{Result, within};

/// Stress in a joint under load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stress {
    /// Along the faces, MPa, never negative.
    pub shear_mpa: f64,
    /// Across them, MPa: positive parts the faces, negative presses them shut.
    pub peel_mpa: f64,
}

impl Stress {
    /// Share of the wood's strength that the load takes: the greater of shear and peel, each against its own bound.
    /// A joint pressed shut asks for shear only.
    ///
    /// # Errors
    /// [`OutOfRange`](crate::OutOfRange) naming the bound that is not 0.1 to 100 MPa.
    pub fn share(&self, shear_bound_mpa: f64, peel_bound_mpa: f64) -> Result<f64> {
        let shear = self.shear_mpa / within("shear_bound_mpa", shear_bound_mpa, 0.1, 100.0, "MPa")?;
        let peel = self.peel_mpa / within("peel_bound_mpa", peel_bound_mpa, 0.1, 100.0, "MPa")?;
        Ok(shear.max(peel))
    }
}

/// The pull of all strings, 0 to 10 000 N: more than a grand's heaviest triple is a wrong unit.
fn pull(tension_n: f64) -> Result<f64> {
    within("tension_n", tension_n, 0.0, 10_000.0, "N")
}

/// A measure that must be something: an area of nothing carries nothing.
fn measure(argument: &'static str, mm: f64) -> Result<f64> {
    within(argument, mm, 0.5, 2000.0, "mm")
}

/// The distance at which a force acts, which may be nothing.
fn arm(argument: &'static str, mm: f64) -> Result<f64> {
    within(argument, mm, 0.0, 500.0, "mm")
}

/// A part of the pull.
fn part(argument: &'static str, share: f64) -> Result<f64> {
    within(argument, share, 0.0, 1.0, "")
}

/// An angle from along to across, as sine and cosine.
fn angle(argument: &'static str, deg: f64) -> Result<(f64, f64)> {
    Ok(within(argument, deg, 0.0, 90.0, "°")?.to_radians().sin_cos())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn a_joint_without_an_area_is_refused_by_the_measure_that_is_nothing() {
        assert_refuses("across_mm", bridge_foot(700.0, 0.0, 28.0, 12.0));
        assert_refuses("along_mm", bridge_foot(700.0, 150.0, 0.0, 12.0));
        assert_refuses("width_mm", neck_joint(700.0, 0.0, 90.0, 50.0));
        assert_refuses("depth_mm", neck_joint(700.0, 55.0, 0.0, 50.0));
        assert_refuses("width_mm", headstock(700.0, 0.0, 15.0, 12.0, 14.0));
        assert_refuses("thickness_mm", headstock(700.0, 45.0, 0.0, 12.0, 14.0));
        assert_refuses("anchor_mm", fingerboard(700.0, 50.0, 22.0, 6.0, 0.0, 18.0));
        assert_refuses("length_mm", brace_end(700.0, 8.0, 0.0, 200.0, 12.0, 0.25));
        assert_refuses("length_mm", top_crack(700.0, 0.0, 2.8, 0.0, 0.5, true));
        assert_refuses("thickness_mm", back_seam(700.0, 450.0, 0.0, 100.0, 14.0));
        assert_refuses("depth_mm", nut_slot(104.0, 0.0, 6.0, 14.0));
        assert_refuses("depth_mm", saddle_slot(700.0, 75.0, 0.0, 8.0, 20.0));
    }

    #[test]
    fn what_is_no_number_is_refused_everywhere() {
        for nan in [f64::NAN, f64::INFINITY, -1.0] {
            assert_refuses("tension_n", bridge_foot(nan, 150.0, 28.0, 12.0));
            assert_refuses("height_mm", bridge_foot(700.0, 150.0, 28.0, nan));
            assert_refuses("arm_mm", neck_joint(700.0, 55.0, 90.0, nan));
            assert_refuses("slope_deg", headstock(700.0, 45.0, 15.0, 12.0, nan));
            assert_refuses("share", brace_end(700.0, 8.0, 40.0, 200.0, 12.0, nan));
            assert_refuses("angle_deg", top_crack(700.0, 200.0, 2.8, nan, 0.5, true));
        }
    }

    #[test]
    fn a_joint_pressed_shut_asks_for_shear_only() -> Result<()> {
        let shut = Stress { shear_mpa: 0.4, peel_mpa: -5.0 };
        assert_eq!(shut.share(8.0, 2.0)?, 0.05);
        assert_refuses("peel_bound_mpa", shut.share(8.0, 0.0));
        Ok(())
    }
}
