//! Wood: moisture, movement, and moisture on its way into a plate.

use super::table::{Table, Worst};
use physics::{Result, plate, wood};

/// Wood Handbook, FPL-GTR-190 (2010), table 4-2: 228 cells within 0.06 % moisture (one printed
/// decimal); and eq. 4-5 computed apart from us, within 0.0001 % in all rows.
#[test]
fn moisture_content_agrees_with_the_wood_handbook_in_every_cell() -> Result<()> {
    let (mut printed, mut computed) = (Worst::default(), Worst::default());
    for row in Table::read("emc_table.csv").rows() {
        let temp_c = row.number("T_C");
        let rh_pct = row.number("RH_pct");
        let cell = format!("{temp_c} °C, {rh_pct} %");
        let ours_pct = wood::emc_pct(temp_c, rh_pct)?;
        if let Some(handbook_pct) = row.given("handbook_pct") {
            printed.absolute(ours_pct, handbook_pct, &cell);
        }
        computed.absolute(ours_pct, row.number("eq4_5_SI_pct"), &cell);
    }
    printed.at_most(0.06, 228);
    computed.at_most(1e-4, 372);
    Ok(())
}

/// Eq. 4-5 in both directions, computed by others and printed to two decimals.
#[test]
fn moisture_content_can_be_asked_either_way() -> Result<()> {
    for (temp_c, rh_pct, emc_pct) in [
        (20.0, 50.0, 9.27),
        (20.0, 75.0, 14.45),
        (20.0, 85.0, 18.00),
        (20.0, 95.0, 23.94),
        (5.0, 85.0, 18.47),
        (2.0, 83.0, 17.66),
        (21.1, 75.0, 14.41),
    ] {
        assert!((wood::emc_pct(temp_c, rh_pct)? - emc_pct).abs() < 0.006, "{temp_c}, {rh_pct}");
    }
    for (emc_pct, rh_pct) in [(6.0, 28.81), (8.0, 41.83), (9.0, 48.30), (12.0, 65.02)] {
        assert!((wood::rh_pct_for_emc(20.0, emc_pct)? - rh_pct).abs() < 0.006, "{emc_pct} %");
    }
    Ok(())
}

/// Wood Handbook, FPL-GTR-190 (2010), example p. 13-17: 232 mm and 3 % more moisture are 233.7 mm.
#[test]
fn a_board_grows_as_in_the_wood_handbook_example() -> Result<()> {
    let narrow_mm = wood::size_change(232.0, 0.00245, 8.0, 11.0)?;
    assert!((narrow_mm - 1.7052).abs() < 1e-9, "{narrow_mm} mm");
    assert!((232.0 + narrow_mm - 233.7).abs() < 0.05);
    let wide_mm = wood::size_change_wide(232.0, 7.0, 30.0, 8.0, 11.0)?;
    assert!((wide_mm - 1.7119).abs() < 1e-4, "{wide_mm} mm");
    Ok(())
}

/// Wood Handbook, FPL-GTR-190 (2010), tables 13-5, 4-3 and 4-4. Every printed digit of the
/// domestic species' coefficients follows from the shrinkage; the two mahoganies are known not to.
#[test]
fn change_coefficients_follow_from_the_shrinkage_but_for_imported_woods() -> Result<()> {
    let (mut domestic, mut movements) = (Worst::default(), Worst::default());
    for row in Table::read("dimensional.csv").rows() {
        let species = row.text("species");
        for (coefficient, shrinkage, movement) in
            [("CR", "SR_pct", "d_mm_per_100mm_quarter_dMC-2"), ("CT", "ST_pct", "d_mm_per_100mm_flat_dMC-2")]
        {
            let printed = row.number(coefficient);
            let moved_mm = wood::size_change(100.0, printed, 10.0, 8.0)?;
            movements.absolute(moved_mm, row.number(movement), species);
            let Some(shrinkage_pct) = row.given(shrinkage) else { continue };
            let ours = wood::change_coefficient(shrinkage_pct, row.number("FSP_used"))?;
            if species.starts_with("Mahogany") {
                assert!(printed / ours > 1.25, "{species} {coefficient}: {printed} and {ours}");
            } else {
                domestic.absolute(ours, printed, &format!("{species} {coefficient}"));
            }
        }
    }
    domestic.at_most(5.001e-6, 2 * 15);
    movements.at_most(1e-9, 2 * 26);
    Ok(())
}

/// Crank, The Mathematics of Diffusion, 2nd ed. 1975, pp. 47–48, summed with 2000 terms: six printed
/// decimals; and his D t/thickness² = 0.049 for half the uptake.
#[test]
fn uptake_of_a_plate_agrees_with_crank() -> Result<()> {
    let mut worst = Worst::default();
    for row in Table::read("crank.csv").rows() {
        let fourier = row.number("Fo");
        let cell = format!("Fo {fourier}");
        worst.absolute(plate::sorbed_fraction(fourier)?, row.number("uptake"), &cell);
        worst.absolute(plate::centre_fraction(fourier)?, row.number("centre"), &cell);
    }
    worst.at_most(1e-6, 2 * 28);
    for (fraction, fourier) in [(0.5, 0.19673), (0.9, 0.84809), (0.95, 1.12901), (0.99, 1.78129)] {
        let hours = plate::hours_to_fraction(fraction, 1e-10, 2e-3, plate::Faces::Both)?;
        let ours = plate::fourier_number(1e-10, 3600.0 * hours, 2e-3, plate::Faces::Both)?;
        assert!((ours - fourier).abs() < 1e-5, "{fraction}: {ours}");
        // On the whole thickness: a quarter of Fo.
        assert!(fraction != 0.5 || (ours / 4.0 - 0.049).abs() < 0.0005);
    }
    Ok(())
}

/// The documentation of PolyKin, citing Crank: 0.2 mm half thickness, 1e−10 m²/s, 100 s.
#[test]
fn uptake_of_a_plate_agrees_with_polykin() -> Result<()> {
    let fourier = plate::fourier_number(1e-10, 100.0, 0.4e-3, plate::Faces::Both)?;
    assert!((plate::sorbed_fraction(fourier)? - 0.562233541762).abs() < 1e-12);
    assert!((plate::centre_fraction(fourier)? - 0.3145542331).abs() < 1e-10);
    Ok(())
}
