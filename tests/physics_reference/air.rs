//! Moist air and surfaces.

use super::table::{Table, Worst};
use physics::{Result, air, surface};

/// ASHRAE Handbook, Fundamentals (2017), ch. 1, table 3, as quoted in the tests of PsychroLib; the
/// handbook claims 300 parts in a million, which holds but at −60 °C, where its table has 3 digits.
#[test]
fn saturation_pressure_agrees_with_the_ashrae_table() -> Result<()> {
    let printed = [
        (-20.0, 103.24),
        (-5.0, 401.74),
        (5.0, 872.6),
        (25.0, 3169.7),
        (50.0, 12_351.3),
        (100.0, 101_418.0),
        (150.0, 476_101.4),
    ];
    let mut worst = Worst::default();
    for (temp_c, pressure_pa) in printed {
        let ours_pa = air::saturation_pressure_pa(temp_c)?;
        worst.relative(ours_pa, pressure_pa, &format!("{temp_c} °C"));
    }
    worst.at_most(0.0003, printed.len());
    assert!((air::saturation_pressure_pa(-60.0)? - 1.08).abs() < 0.01);
    Ok(())
}

/// PsychroLib 2.5.0, same equations: six printed digits, and temperatures to the 0.001 K at which
/// its own search stops.
#[test]
fn moist_air_agrees_with_psychrolib_in_every_row() -> Result<()> {
    let (mut amounts, mut temperatures) = (Worst::default(), Worst::default());
    for row in Table::read("psychrometrics.csv").rows() {
        let (temp_c, rh_pct) = (row.number("temp_c"), row.number("rh_pct"));
        let sea_pa = air::STANDARD_PRESSURE_PA;
        for (column, ours) in [
            ("sat_vapour_pressure_pa", air::saturation_pressure_pa(temp_c)?),
            ("humidity_ratio_kg_kg", air::humidity_ratio(temp_c, rh_pct, sea_pa)?),
            ("vpd_pa", air::vpd_pa(temp_c, rh_pct)?),
            ("absolute_humidity_g_m3", air::absolute_humidity_g_m3(temp_c, rh_pct)?),
        ] {
            let cell = format!("{column} at {temp_c} °C, {rh_pct} %");
            amounts.relative(ours, row.number(column), &cell);
        }
        for (column, ours_c) in [
            ("dew_point_c", air::dew_point_c(temp_c, rh_pct)?),
            ("wet_bulb_c", air::wet_bulb_c(temp_c, rh_pct, sea_pa)?),
        ] {
            let cell = format!("{column} at {temp_c} °C, {rh_pct} %");
            temperatures.absolute(ours_c, row.number(column), &cell);
        }
    }
    amounts.at_most(5e-6, 4 * 108);
    temperatures.at_most(0.001, 2 * 108);
    Ok(())
}

/// CoolProp 8.0.0, real moist air: 0.6 % in humidity ratio, 0.03 K in dew point and wet bulb. In one
/// row, 5 °C and 35 %, it reports the iced bulb and we the wet one, 0.36 K apart.
#[test]
fn moist_air_agrees_with_coolprop_as_far_as_an_ideal_gas_can() -> Result<()> {
    let (mut ratios, mut temperatures) = (Worst::default(), Worst::default());
    let sea_pa = air::STANDARD_PRESSURE_PA;
    for row in Table::read("psychrometrics.csv").rows() {
        let (temp_c, rh_pct) = (row.number("temp_c"), row.number("rh_pct"));
        let cell = format!("{temp_c} °C, {rh_pct} %");
        let ratio = air::humidity_ratio(temp_c, rh_pct, sea_pa)?;
        ratios.relative(ratio, row.number("coolprop_humidity_ratio_kg_kg"), &cell);
        let dew_c = air::dew_point_c(temp_c, rh_pct)?;
        temperatures.absolute(dew_c, row.number("coolprop_dew_point_c"), &cell);
        let bulb_c = air::wet_bulb_c(temp_c, rh_pct, sea_pa)?;
        if (temp_c, rh_pct) == (5.0, 35.0) {
            let iced_c = row.number("coolprop_wet_bulb_c");
            assert!(iced_c < 0.0 && bulb_c > 0.0, "iced {iced_c} °C, wet {bulb_c} °C");
        } else {
            temperatures.absolute(bulb_c, row.number("coolprop_wet_bulb_c"), &cell);
        }
    }
    ratios.at_most(0.006, 108);
    temperatures.at_most(0.03, 2 * 108 - 1);
    Ok(())
}

/// PsychroLib 2.5.0 at the standard pressures of 0, 1000 and 2000 m.
#[test]
fn thinner_air_cools_a_wet_bulb_further() -> Result<()> {
    for (pressure_pa, bulb_c, ratio) in
        [(101_325.0, 13.783, 0.007262), (89_875.0, 13.491, 0.008199), (79_495.0, 13.199, 0.009286)]
    {
        assert!((air::wet_bulb_c(20.0, 50.0, pressure_pa)? - bulb_c).abs() < 0.0015);
        assert!((air::humidity_ratio(20.0, 50.0, pressure_pa)? - ratio).abs() < 1e-6);
    }
    Ok(())
}

/// Frost points by PsychroLib 2.5.0 to 0.01 K, beside the Magnus formula over supercooled water
/// (611.2 Pa, 17.62, 243.12 °C), which a careless dew point would give.
#[test]
fn below_freezing_the_dew_point_is_the_frost_point() -> Result<()> {
    let magnus_c = |temp_c: f64, rh_pct: f64| {
        let exponent = (rh_pct / 100.0).ln() + 17.62 * temp_c / (243.12 + temp_c);
        243.12 * exponent / (17.62 - exponent)
    };
    for (temp_c, rh_pct, frost_c, over_water_c) in [
        (20.0, 10.0, -11.18, -12.60),
        (5.0, 20.0, -14.41, -16.16),
        (0.0, 50.0, -8.16, -9.20),
        (-5.0, 80.0, -7.59, -7.92),
    ] {
        let ours_c = air::dew_point_c(temp_c, rh_pct)?;
        assert!((ours_c - frost_c).abs() < 0.01, "{temp_c} °C, {rh_pct} %: {ours_c}");
        assert!((magnus_c(temp_c, rh_pct) - over_water_c).abs() < 0.01);
        assert!(ours_c > over_water_c + 0.3);
    }
    assert!((air::dew_point_c(20.0, 50.0)? - 9.272).abs() < 0.001);
    Ok(())
}

/// Margins computed with PsychroLib 2.5.0: humidity at which a surface as warm as the air is just
/// 3 K above the dew point, to 0.01 K; and the margin that 85 % leaves.
#[test]
fn the_three_kelvin_rule_is_stricter_than_85_percent() -> Result<()> {
    for (temp_c, rh_pct) in
        [(5.0, 80.91), (10.0, 81.59), (15.0, 82.24), (20.0, 82.86), (25.0, 83.45), (30.0, 84.02), (35.0, 84.55)]
    {
        let spread_k = surface::dew_point_spread_k(temp_c, rh_pct, temp_c)?;
        let off_k = (spread_k - surface::MIN_DEW_POINT_SPREAD_K).abs();
        assert!(off_k < 0.01, "{temp_c} °C, {rh_pct} %: {spread_k} K");
    }
    for (temp_c, margin_k) in [(5.0, 2.31), (35.0, 2.91)] {
        let spread_k = surface::dew_point_spread_k(temp_c, 85.0, temp_c)?;
        assert!((spread_k - margin_k).abs() < 0.01, "{temp_c} °C: {spread_k} K");
    }
    Ok(())
}

/// CRC Handbook, "Constant humidity solutions": its table to the rounded hundredth, and the handbook's own whole
/// percent at 25 °C.
#[test]
fn air_over_saturated_salts_agrees_with_the_crc_table() -> Result<()> {
    let (mut printed, mut rounded) = (Worst::default(), Worst::default());
    for row in Table::read("salt_points.csv").rows() {
        let salt = match row.text("salt") {
            "NaCl" => air::SaturatedSalt::SodiumChloride,
            "MgCl2.6H2O" => air::SaturatedSalt::MagnesiumChloride,
            _ => continue,
        };
        for temp_c in [15.0, 20.0, 25.0, 30.0] {
            let column = format!("rh_pct_{temp_c}c");
            printed.absolute(air::salt_rh_pct(salt, temp_c)?, row.number(&column), &column);
        }
        rounded.absolute(air::salt_rh_pct(salt, 25.0)?, row.number("rh_pct_at_25c_rounded"), row.text("salt"));
    }
    printed.at_most(0.006, 8);
    rounded.at_most(0.5, 2);
    Ok(())
}
