//! Strings, what they load, and a line through measurements.

use facts::{Note, SpeciesGroup};
use physics::{Result, line, statics, strings};

use super::table::{Table, Worst};

/// Mersenne's law for plain steel of 7850 kg/m³, with frequencies of equal temperament computed apart from us (four
/// decimals): unit weight to seven digits, tension within 0.002 N, stress within 0.1 MPa.
#[test]
fn tension_of_plain_steel_agrees_with_mersennes_law_in_every_row() -> Result<()> {
    let (mut hz, mut weight, mut pull, mut stress) =
        (Worst::default(), Worst::default(), Worst::default(), Worst::default());
    for row in Table::read("strings.csv").rows() {
        let name = format!("{} {} in", row.text("note"), row.text("d_in"));
        let note = Note::new(row.text("note")).expect("a note");
        let ours_hz = strings::equal_temperament_hz(440.0, note.semitones_from_a4())?;
        hz.absolute(ours_hz, row.number("f_Hz"), &name);
        let gauge_mm = strings::mm_from_inches(row.number("d_in"))?;
        assert!((gauge_mm - row.number("d_mm")).abs() < 1e-12, "{name}: {gauge_mm}");
        let unit_kg_m = strings::plain_kg_m(gauge_mm, 7850.0)?;
        let printed: f64 = row.text("mu_kg_m").parse().expect("a number with its power of ten");
        weight.relative(unit_kg_m, printed, &name);
        let n = strings::tension_n(row.number("L_mm"), ours_hz, unit_kg_m)?;
        pull.absolute(n, row.number("T_N"), &name);
        assert!((n / strings::NEWTONS_PER_POUND - row.number("T_lbf")).abs() < 6e-4, "{name}: {n} N");
        stress.absolute(strings::stress_mpa(n, gauge_mm)?, row.number("stress_MPa"), &name);
    }
    hz.at_most(5.1e-5, 18);
    weight.at_most(1e-6, 18);
    pull.at_most(2e-3, 18);
    stress.at_most(0.1, 18);
    Ok(())
}

/// The imperial form of string makers, T = UW (2 L f)²/386.4 with UW in lb/in and L in inches (386.4 in/s² is their g), and
/// a printed unit weight of plain 0.010 in: 2.215e-5 lb/in, within 1 %.
#[test]
fn the_imperial_form_gives_the_same_pull() -> Result<()> {
    const KG_M_PER_LB_IN: f64 = 0.453_592_37 / 0.0254;
    let (uw, l_in, f_hz): (f64, f64, f64) = (2.215e-5, 25.5, 329.6276);
    let pounds = uw * (2.0 * l_in * f_hz).powi(2) / 386.4;
    let ours_n = strings::tension_n(strings::mm_from_inches(l_in)?, f_hz, uw * KG_M_PER_LB_IN)?;
    // 386.4 is short for 386.0886.
    assert!((ours_n / strings::NEWTONS_PER_POUND / pounds - 386.4 / 386.0886).abs() < 1e-6, "{ours_n} N, {pounds} lbf");
    let plain = strings::plain_kg_m(strings::mm_from_thousandths(10.0)?, 7850.0)?;
    assert!((plain / (uw * KG_M_PER_LB_IN) - 1.0).abs() < 0.01, "{plain}");
    Ok(())
}

/// The international inch is 25.4 mm: 0.427 in is 10.8 mm to a tenth, fractions of an inch are exact.
#[test]
fn inches_become_millimetres_exactly() -> Result<()> {
    for (inches, mm) in [(1.0 / 16.0, 1.5875), (7.0 / 16.0, 11.1125), (0.5, 12.7), (25.5, 647.7), (24.75, 628.65)] {
        assert_eq!(strings::mm_from_inches(inches)?, mm);
    }
    assert_eq!((strings::mm_from_inches(0.427)? * 10.0).round() / 10.0, 10.8);
    for (thousandths, mm) in [(9.0, 0.2286), (10.0, 0.254), (12.0, 0.3048), (13.0, 0.3302), (53.0, 1.3462)] {
        assert_eq!(strings::mm_from_thousandths(thousandths)?, mm);
    }
    Ok(())
}

/// A bridge of 150 × 28 mm, strings of 700 N 12 mm above the top, by hand: T/A = 700/4200 = 0.1667 MPa, 2.0 % of the
/// 8.3 MPa of Engelmann spruce; the moment 8.4 N m makes 6 · 8400/(150 · 28²) = 0.4286 MPa at the back edge, 17.9 % of its
/// 2.4 MPa. Peel governs. Twice the length along the strings halves the shear and quarters the peel.
#[test]
fn peel_at_the_back_edge_and_not_shear_governs_a_bridge() -> Result<()> {
    let stress = statics::bridge_foot(700.0, 150.0, 28.0, 12.0)?;
    assert!((stress.shear_mpa / 8.3 - 0.020).abs() < 5e-4 && (stress.peel_mpa / 2.4 - 0.179).abs() < 5e-4);
    assert!((stress.share(8.3, 2.4)? - 0.178_571).abs() < 1e-6);
    let longer = statics::bridge_foot(700.0, 150.0, 56.0, 12.0)?;
    assert!((longer.shear_mpa * 2.0 - stress.shear_mpa).abs() < 1e-12);
    assert!((longer.peel_mpa * 4.0 - stress.peel_mpa).abs() < 1e-12);
    Ok(())
}

/// The sign of a crack across the pull: behind the bridge the strings open it, before the bridge they close it; by hand a
/// half of 700 N over 200 × 2.8 mm is 0.625 MPa either way, and at 30° cos and sin of that.
#[test]
fn the_tension_closes_a_crack_before_the_bridge_and_opens_it_behind() -> Result<()> {
    let at = |angle_deg, behind| statics::top_crack(700.0, 200.0, 2.8, angle_deg, 0.5, behind);
    assert!((at(90.0, true)?.peel_mpa - 0.625).abs() < 1e-12 && (at(90.0, false)?.peel_mpa + 0.625).abs() < 1e-12);
    assert!(at(90.0, false)?.share(8.3, 2.4)? < 1e-12, "a crack that is pressed shut asks nothing");
    let slanting = at(30.0, true)?;
    assert!((slanting.peel_mpa - 0.3125).abs() < 1e-12 && (slanting.shear_mpa - 0.541_266).abs() < 1e-6);
    Ok(())
}

/// Wood Handbook, FPL-GTR-282 (2021), table 5-3a: the bounds the service uses are the printed ones, and what stands in for a
/// tension perpendicular that is not printed is no more than any printed row has of its shear.
#[test]
fn strength_of_wood_is_what_the_handbook_prints() {
    let table = Table::read("wood_strength.csv");
    let bounds =
        [SpeciesGroup::Spruce, SpeciesGroup::Maple, SpeciesGroup::Cherry, SpeciesGroup::Ash].map(clock::wood_bound);
    let mut n_found = 0;
    for row in table.rows() {
        if let Some(peel_mpa) = row.given("tension_perpendicular_MPa") {
            assert!(peel_mpa / row.number("shear_parallel_MPa") >= 0.25, "{}", row.text("species"));
        }
        let Some(bound) = bounds.iter().find(|bound| bound.species == row.text("species")) else { continue };
        n_found += 1;
        assert_eq!(bound.shear_mpa, row.number("shear_parallel_MPa"), "{}", bound.species);
        let peel_mpa = row.given("tension_perpendicular_MPa").unwrap_or(0.25 * bound.shear_mpa);
        assert_eq!(bound.peel_mpa, peel_mpa, "{}", bound.species);
    }
    assert_eq!(n_found, bounds.len());
}

/// scipy's weighted fit of the same points: slope, its error, and the line with its error at a distant x, within 5e-8: scipy seeks what is solved here.
#[test]
fn a_weighted_line_is_that_of_scipy() -> Result<()> {
    let (mut values, mut errors) = (Worst::default(), Worst::default());
    for row in Table::read("setup_line.csv").rows() {
        let number = |text: &str| text.parse::<f64>().expect("a number");
        let point = |text: &str| {
            let parts: Vec<f64> = text.split(':').map(number).collect();
            (parts[0], parts[1], parts[2])
        };
        let points: Vec<_> = row.text("points").split(' ').map(point).collect();
        let line = line::weighted(&points)?;
        let (y, se_y) = line.at(row.number("x"));
        values.absolute(line.slope, row.number("slope"), row.text("set"));
        values.absolute(y, row.number("y"), row.text("set"));
        errors.absolute(line.se_slope, row.number("se_slope"), row.text("set"));
        errors.absolute(se_y, row.number("se_y"), row.text("set"));
    }
    values.at_most(5e-8, 8);
    errors.at_most(5e-8, 8);
    Ok(())
}
