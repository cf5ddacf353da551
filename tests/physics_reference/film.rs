//! Drying films: solvent vapour against two libraries, the stack of coats against a fine mesh of scipy's, against
//! Crank's series, and against the exponential tail in closed form.

use std::f64::consts::PI;

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

/// In the tail only the first term of the series is left, and two stacks that differ by a factor stay τ ln(factor) apart.
/// What a stack of one material holds of the first term follows from its first profile: Σ cᵢ ∫ sin over the coat.
#[test]
fn the_delay_in_the_tail_is_the_closed_form() -> Result<()> {
    let (coat_um, diffusion) = (12.5, 46.0);
    for beneath_um in [[0.5, 0.2], [2.0, 1.0], [2.5, 2.5]] {
        let stack = |beneath: [f64; 2]| -> Result<Coats> {
            let mut coats = Coats::default();
            beneath.iter().chain([&2.5]).try_for_each(|um| coats.lay(coat_um, *um, diffusion))?;
            Ok(coats)
        };
        let later_h = stack(beneath_um)?.as_dry_as(&stack([0.0, 0.0])?, &[200.0])?[0] - 200.0;
        // cos(πx/2L) from the wood up, integrated over each third of the stack.
        let part = |i: f64| ((PI / 2.0 * (i + 1.0) / 3.0).sin() - (PI / 2.0 * i / 3.0).sin()) / coat_um;
        let first = |um: [f64; 3]| um[0] * part(0.0) + um[1] * part(1.0) + um[2] * part(2.0);
        let tau_h = 4.0 * (3.0 * coat_um).powi(2) / (PI * PI * diffusion);
        let ratio = first([beneath_um[0], beneath_um[1], 2.5]) / first([0.0, 0.0, 2.5]);
        let closed_h = tau_h * ratio.ln();
        assert!((later_h / closed_h - 1.0).abs() < 0.02, "{beneath_um:?}: {later_h} h, not {closed_h} h");
    }
    Ok(())
}
