//! Rates, ages, strength and drying.

use super::table::{Row, Table, Worst};
use physics::{Result, air, film, rate, strength};
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// The day of the maturity table: hours and °C.
const DAY: [(f64, f64); 7] =
    [(0.0, 20.0), (4.0, 16.0), (8.0, 12.0), (12.0, 10.0), (16.0, 14.0), (20.0, 18.0), (24.0, 22.0)];

/// ASTM C1074, Freiesleben Hansen and Pedersen, EN 1992-1-1 and Kamal and Sourour, computed apart
/// from us: every row to half of its last printed digit; but EN 1992 counts kelvins from 273, which
/// is worth 0.1 %, and the age factor with variable energy was computed with R = 8.314.
#[test]
fn rates_ages_and_strengths_agree_with_the_maturity_table() -> Result<()> {
    let mut worst_of: BTreeMap<String, Worst> = BTreeMap::new();
    for row in Table::read("maturity.csv").rows() {
        let kind = row.text("kind");
        let cell = format!("{kind}, {}, {}", row.text("params"), row.text("input"));
        let worst = worst_of.entry(kind.to_owned()).or_default();
        worst.absolute(recomputed(kind, &row)?, row.number("output"), &cell);
    }
    for (kind, n_rows, limit) in [
        ("EN1992_B10_factor", 8, 2e-3),
        ("Ea_from_Q10", 8, 5.01e-4),
        ("Q10_factor", 8, 5.01e-6),
        ("Q10_from_Ea", 20, 5.01e-5),
        ("age_factor", 75, 5.01e-6),
        ("age_factor_FHP", 8, 5e-5),
        ("equiv_age_history", 12, 5.01e-6),
        ("exponential_FHP", 8, 5.01e-5),
        ("exponential_inverse", 3, 5.01e-6),
        ("hyperbolic", 9, 5.01e-5),
        ("hyperbolic_inverse", 3, 5.01e-6),
        ("kamal_m1n1_closed_form", 9, 5.01e-7),
        ("nurse_saul", 18, 1e-9),
        ("nurse_saul_history", 4, 1e-9),
        ("seen_nurse_saul", 1, 1e-9),
    ] {
        let worst = worst_of.remove(kind).unwrap_or_default();
        worst.at_most(limit, n_rows);
    }
    assert!(worst_of.is_empty(), "kinds that nobody checks: {:?}", worst_of.keys());
    Ok(())
}

/// What the crate makes of one row of the maturity table. Days there are hours here.
fn recomputed(kind: &str, row: &Row<'_>) -> Result<f64> {
    let input = || row.number("input");
    match kind {
        "EN1992_B10_factor" => {
            // exp(13.65 - 4000/(273 + T)) is Arrhenius with E = 4000 R, and 0.99812 at 20 °C.
            let at_20_c = (13.65 - 4000.0 / 293.0_f64).exp();
            Ok(at_20_c * rate::arrhenius(input(), 20.0, 4.0 * rate::GAS_CONSTANT)?)
        }
        "age_factor" => {
            let energy_kj_mol = row.labelled("params", "Ea=");
            rate::arrhenius(input(), row.labelled("params", "Tr="), energy_kj_mol)
        }
        "age_factor_FHP" => {
            let energy_kj_mol = 33.5 + 1.47 * (20.0 - input()).max(0.0);
            rate::arrhenius(input(), 20.0, energy_kj_mol)
        }
        "Q10_factor" => rate::q10(input(), 20.0, row.labelled("params", "Q10=")),
        "Q10_from_Ea" => {
            let energy_kj_mol = row.labelled("params", "Ea=");
            rate::arrhenius(row.labelled("input", "-"), input(), energy_kj_mol)
        }
        "Ea_from_Q10" => {
            let faster = row.labelled("params", "Q10=");
            rate::activation_from_two_times(input(), faster, row.labelled("input", "-"), 1.0)
        }
        "nurse_saul" => {
            let temp_c = row.labelled("input", "at ");
            let steady = [(0.0, temp_c), (input(), temp_c)];
            rate::temperature_time_factor_c_h(&steady, row.labelled("params", "T0="))
        }
        "seen_nurse_saul" => {
            let temp_c = row.labelled("input", "at ");
            let steady = [(0.0, temp_c), (24.0 * input(), temp_c)];
            let datum_c = row.labelled("params", "T0=");
            Ok(rate::temperature_time_factor_c_h(&steady, datum_c)? / 24.0)
        }
        "nurse_saul_history" => rate::temperature_time_factor_c_h(&DAY, row.labelled("params", "T0=")),
        "equiv_age_history" => {
            let way = row.text("params");
            let history = if way.ends_with("(step hold)") {
                stepped(|from_c, _| from_c)
            } else if way.ends_with("interval-mean temperature") {
                stepped(f64::midpoint)
            } else {
                DAY.to_vec()
            };
            rate::equivalent_age_h(&history, 20.0, row.labelled("params", "Ea="))
        }
        "hyperbolic" => Ok(40.0 * strength::hyperbolic(24.0 * input(), 0.4 / 24.0, 0.3 * 24.0)?),
        "hyperbolic_inverse" => {
            let fraction = row.labelled("input", "S/Su=");
            Ok(strength::hyperbolic_age_h(fraction, 0.4 / 24.0, 0.3 * 24.0)? / 24.0)
        }
        "exponential_FHP" => Ok(40.0 * strength::exponential(24.0 * input(), 1.2 * 24.0, 0.8)?),
        "exponential_inverse" => {
            let fraction = row.labelled("input", "S/Su=");
            Ok(strength::exponential_age_h(fraction, 1.2 * 24.0, 0.8)? / 24.0)
        }
        "kamal_m1n1_closed_form" => rate::autocatalytic_degree(0.6, 6.0, input() / 60.0),
        other => panic!("maturity.csv has a kind that nobody checks: {other}"),
    }
}

/// The day with one temperature per interval: two readings at each end make a step.
fn stepped(temp_of: impl Fn(f64, f64) -> f64) -> Vec<(f64, f64)> {
    DAY.windows(2)
        .flat_map(|ends| {
            let temp_c = temp_of(ends[0].1, ends[1].1);
            [(ends[0].0, temp_c), (ends[1].0, temp_c)]
        })
        .collect()
}

/// scipy 1.17.1 with PsychroLib 2.5.0, to 1e-10: a room that swings, with a cold night and a wet
/// afternoon. Rates at five-minute readings, joined by trapezoids, are within 0.1 % of its age at
/// every six hours; in fact within 0.001 %.
#[test]
fn five_minute_readings_give_the_age_of_a_varying_room_as_scipy_does() -> Result<()> {
    let mut worst = Worst::default();
    for row in Table::read("varying_climate.csv").rows() {
        let law = row.text("law");
        let rate_at = |age_h: f64| match law {
            "arrhenius_50" => rate::arrhenius(room_temp_c(age_h), 20.0, 50.0),
            "q10_2" => rate::q10(room_temp_c(age_h), 20.0, 2.0),
            "vpd_ratio" => film::evaporation_factor(room_temp_c(age_h), room_rh_pct(age_h), 20.0, 50.0),
            other => panic!("varying_climate.csv has a law that nobody checks: {other}"),
        };
        let readings_h: Vec<f64> = five_minutes_up_to(row.number("t_hours"));
        let mut age_h = 0.0;
        for ends in readings_h.windows(2) {
            age_h += (ends[1] - ends[0]) * f64::midpoint(rate_at(ends[0])?, rate_at(ends[1])?);
        }
        worst.relative(age_h, row.number("age_h"), &format!("{law}, {} h", row.text("t_hours")));
    }
    worst.at_most(1e-5, 3 * 12);
    Ok(())
}

/// The same room, Arrhenius at 50 kJ/mol, through the crate's own integral over the readings.
#[test]
fn equivalent_age_of_a_varying_room_agrees_with_scipy() -> Result<()> {
    let mut worst = Worst::default();
    for row in Table::read("varying_climate.csv").rows() {
        if row.text("law") == "arrhenius_50" {
            let readings_h = five_minutes_up_to(row.number("t_hours"));
            let history: Vec<_> = readings_h.into_iter().map(|age_h| (age_h, room_temp_c(age_h))).collect();
            let age_h = rate::equivalent_age_h(&history, 20.0, 50.0)?;
            worst.relative(age_h, row.number("age_h"), row.text("t_hours"));
        }
    }
    worst.at_most(1e-5, 12);
    Ok(())
}

/// The closed form stated at the head of `varying_climate.csv`.
fn room_temp_c(age_h: f64) -> f64 {
    18.0 + 4.0 * (2.0 * PI * age_h / 24.0).sin() - 6.0 * (-((age_h - 52.0) / 3.0).powi(2)).exp()
}

fn room_rh_pct(age_h: f64) -> f64 {
    50.0 - 12.0 * (2.0 * PI * (age_h - 3.0) / 24.0).sin() + 8.0 * (-((age_h - 30.0) / 4.0).powi(2)).exp()
}

fn five_minutes_up_to(end_h: f64) -> Vec<f64> {
    (0_u32..).map(|n| f64::from(n) / 12.0).take_while(|age_h| *age_h <= end_h).collect()
}

/// Vapour pressure deficits by PsychroLib 2.5.0 (kPa at four digits): only their ratio dries.
#[test]
fn evaporation_goes_with_the_vapour_pressure_deficit() -> Result<()> {
    let reference_kpa = 1.1694;
    for (temp_c, rh_pct, deficit_kpa) in
        [(20.0, 30.0, 1.6372), (20.0, 70.0, 0.7016), (10.0, 50.0, 0.614), (25.0, 50.0, 1.5846), (30.0, 50.0, 2.123)]
    {
        let deficit_pa = air::vpd_pa(temp_c, rh_pct)?;
        assert!((deficit_pa / 1000.0 - deficit_kpa).abs() < 5.1e-5, "{temp_c} °C, {rh_pct} %");
        let factor = film::evaporation_factor(temp_c, rh_pct, 20.0, 50.0)?;
        assert!((factor - deficit_kpa / reference_kpa).abs() < 2e-4, "{temp_c} °C, {rh_pct} %");
    }
    Ok(())
}

/// Two-stage drying with a straight falling rate, worked by hand to five decimals. A print that
/// drops the equilibrium before the logarithm gives 7.78364 h instead of 6.81069.
#[test]
fn two_stage_drying_agrees_with_the_worked_examples() -> Result<()> {
    let (thin_h, thick_h) = (
        film::two_stage_drying_h(10.0, 1.5, 0.25, 0.10, 0.0, 0.05)?,
        film::two_stage_drying_h(5.0, 0.5, 1.0, 0.40, 0.05, 0.10)?,
    );
    assert!((thin_h - (1.0 + 0.46210)).abs() < 5e-6, "{thin_h} h");
    assert!((thick_h - (6.0 + 6.81069)).abs() < 5e-6, "{thick_h} h");
    let falling_h = film::two_stage_drying_h(5.0, 0.5, 0.40, 0.40, 0.05, 0.10)?;
    assert!((falling_h - 7.78364).abs() > 0.9, "{falling_h} h");
    Ok(())
}
