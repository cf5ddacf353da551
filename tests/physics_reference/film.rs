//! Drying films: solvent vapour against two libraries, the stack of coats against a fine mesh of scipy's, against
//! Crank's series, and against the exponential tail in closed form.

use super::table::{Table, Worst};
use physics::{
    Result,
    film::{Coats, Solvent, vapour_pressure_of_pa},
};

/// CoolProp 8.0.0, and Perry's equation for butyl acetate: within 10 % of each pressure, and of each rise by 10 K within 4 %.
#[test]
fn solvent_vapour_agrees_with_two_libraries_from_10_to_40_c() -> Result<()> {
    let table = Table::read("solvent_vapour.csv");
    let (mut pressure, mut rise) = (Worst::default(), Worst::default());
    for solvent in Solvent::ALL {
        let rows: Vec<_> =
            table.rows().filter(|row| row.text("solvent") == solvent.name() && row.number("temp_c") >= 10.0).collect();
        assert_eq!(rows.len(), 4, "{solvent:?}");
        let ours = |i: usize| vapour_pressure_of_pa(solvent, rows[i].number("temp_c"));
        let theirs = |i: usize| rows[i].number("pressure_pa");
        for (i, row) in rows.iter().enumerate() {
            let cell = format!("{} at {} °C", solvent.name(), row.text("temp_c"));
            pressure.relative(ours(i)?, theirs(i), &cell);
            if i > 0 {
                rise.relative(ours(i)? / ours(i - 1)?, theirs(i) / theirs(i - 1), &cell);
            }
        }
    }
    pressure.at_most(0.10, 24);
    rise.at_most(0.04, 18);
    Ok(())
}

/// One coat as the table writes it: dry µm, solvent µm, µm²/h, hours of rest.
fn coats(text: &str) -> Vec<[f64; 4]> {
    let number = |part: &str| part.parse().unwrap_or_else(|e| panic!("{part}: {e}"));
    let coat = |coat: &str| {
        let parts: Vec<f64> = coat.split('/').map(number).collect();
        [parts[0], parts[1], parts[2], parts[3]]
    };
    text.split(' ').map(coat).collect()
}

/// scipy's solve_ivp with 200 cells a coat: each coat within 1.5 % of what the stack was laid with, the whole stack too.
#[test]
fn a_stack_of_coats_agrees_with_scipy_on_a_fine_mesh() -> Result<()> {
    for row in Table::read("coats.csv").rows() {
        let mut stack = Coats::default();
        let laid = coats(row.text("coats"));
        for [dry_um, solvent_um, diffusion, rest_h] in &laid {
            stack.lay(*dry_um, *solvent_um, *diffusion)?;
            stack.rest(*rest_h)?;
        }
        let whole_um: f64 = laid.iter().map(|coat| coat[1]).sum();
        let held: Vec<f64> = row.text("held_um").split(' ').map(|held| held.parse().unwrap()).collect();
        for (coat, (ours, theirs)) in stack.held_um().iter().zip(&held).enumerate() {
            let apart = (ours - theirs).abs() / laid[coat][1];
            assert!(apart < 0.015, "{}: coat {coat} holds {ours}, not {theirs} µm", row.text("name"));
        }
        let apart = (stack.solvent_um() - held.iter().sum::<f64>()).abs() / whole_um;
        assert!(apart < 0.015, "{}: {apart}", row.text("name"));
    }
    Ok(())
}

/// Crank, p. 48: the share left of a sheet with one face open, within 1 % of what it was laid with.
#[test]
fn one_coat_follows_cranks_series() -> Result<()> {
    let mut worst = Worst::default();
    for row in Table::read("crank.csv").rows().filter(|row| row.number("Fo") >= 0.02) {
        let mut coat = Coats::default();
        coat.lay(20.0, 4.0, 40.0)?;
        coat.rest(row.number("Fo") * 20.0 * 20.0 / 40.0)?;
        let lost = 1.0 - coat.solvent_um() / 4.0;
        worst.absolute(lost, row.number("uptake"), &format!("Fo {}", row.text("Fo")));
    }
    worst.at_most(0.01, 23);
    Ok(())
}

/// The area under the drying curve is the mean time its solvent takes out, and the delay is how that grows by what lies
/// beneath: the closed form against the solver (itself held against scipy), for stacks of one and of several materials.
#[test]
fn the_delay_is_the_area_that_the_coats_beneath_add_under_the_drying_curve() -> Result<()> {
    /// ∫ S dt / S(0) by the solver: Simpson over steps that grow, until a ten-thousandth is left.
    fn mean_h(coats: &[(f64, f64, f64)]) -> Result<f64> {
        let mut stack = Coats::default();
        coats.iter().try_for_each(|(dry_um, um, diffusion)| stack.lay(*dry_um, *um, *diffusion))?;
        let (start_um, mut area, mut step_h) = (stack.solvent_um(), 0.0, 0.01);
        while stack.solvent_um() > 1e-4 * start_um {
            let before_um = stack.solvent_um();
            stack.rest(step_h / 2.0)?;
            let halfway_um = stack.solvent_um();
            stack.rest(step_h / 2.0)?;
            area += step_h / 6.0 * (before_um + 4.0 * halfway_um + stack.solvent_um());
            step_h *= 1.05;
        }
        Ok(area / start_um)
    }
    let uneven = [(8.0, 0.6, 5.0), (20.0, 1.5, 80.0), (12.5, 2.5, 46.0)];
    let even = [(12.5, 2.5, 46.0); 3];
    let half_dry = [(20.0, 0.5, 46.0), (20.0, 1.8, 46.0), (20.0, 4.0, 46.0)];
    for coats in [&uneven, &even, &half_dry] {
        let mut stack = Coats::default();
        coats.iter().try_for_each(|(dry_um, um, diffusion)| stack.lay(*dry_um, *um, *diffusion))?;
        let [low, middle, (dry_um, um, diffusion)] = *coats;
        let top_alone_h = mean_h(&[(low.0, 0.0, low.2), (middle.0, 0.0, middle.2), (dry_um, um, diffusion)])?;
        let by_area_h = mean_h(coats)? - top_alone_h;
        assert!(
            (stack.later_h() / by_area_h - 1.0).abs() < 0.02,
            "{coats:?}: {} h, not {by_area_h} h",
            stack.later_h()
        );
        let whole_um = low.0 + middle.0 + dry_um;
        let slowest = low.2.min(middle.2).min(diffusion);
        assert!(stack.later_h() < whole_um.powi(2) / (2.0 * slowest), "{coats:?}");
    }
    // Twice as thick throughout, four times as late.
    let [mut thin, mut thick] = [Coats::default(), Coats::default()];
    for um in [1.0, 2.0, 3.0] {
        thin.lay(10.0, um, 46.0)?;
        thick.lay(20.0, um, 46.0)?;
    }
    assert!((thick.later_h() / thin.later_h() - 4.0).abs() < 1e-9);
    Ok(())
}
