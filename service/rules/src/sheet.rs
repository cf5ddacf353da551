//! From a data sheet to a script, without code: what the sheet states is written down as stated, what it leaves out is
//! filled from the material's class and marked so. The script's expected values are the sheet's own.

mod class;
mod script;

use facts::{Invalid, MaterialId, TempC, within};
use physics::rate;
use serde::{Deserialize, Serialize};

pub use class::Class;
use class::Row;

/// What a data sheet states. Everything but the class and one time may be left out.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DataSheet {
    /// Id of the material: the name of its file.
    pub material: MaterialId,
    /// What the shop calls it, 1 to 80 characters; the class's name if not given.
    #[serde(default)]
    pub name: Option<String>,
    /// Its class.
    pub class: Class,
    /// Temperature at which the sheet's times hold, °C, -20 to 60.
    #[serde(default)]
    pub temp_c: Option<f64>,
    /// Relative humidity at which they hold, %, 1 to 100.
    #[serde(default)]
    pub rh_pct: Option<f64>,
    /// Clamp time, h, up to 720.
    #[serde(default)]
    pub clamp_off_h: Option<f64>,
    /// Time to full strength, h, up to 8784.
    #[serde(default)]
    pub full_strength_h: Option<f64>,
    /// Minutes a mix can be used, up to 1440.
    #[serde(default)]
    pub working_life_min: Option<f64>,
    /// Minutes from spreading to pressure, up to 1440.
    #[serde(default)]
    pub open_time_min: Option<f64>,
    /// Dust-free, h, up to 8784; the times of a coat.
    #[serde(default)]
    pub dust_free_h: Option<f64>,
    /// The next coat may be laid from here, h.
    #[serde(default)]
    pub recoat_opens_h: Option<f64>,
    /// The next coat must be laid before here, h.
    #[serde(default)]
    pub recoat_closes_h: Option<f64>,
    /// It can be sanded, h.
    #[serde(default)]
    pub sandable_h: Option<f64>,
    /// Dry through, h.
    #[serde(default)]
    pub dry_through_h: Option<f64>,
    /// Wet film the times of a coat are stated for, µm, 10 to 1000.
    #[serde(default)]
    pub film_um: Option<f64>,
    /// Below this it does not cure, °C.
    #[serde(default)]
    pub min_temp_c: Option<f64>,
    /// Below this it dries chalky, °C (ISO 2115).
    #[serde(default)]
    pub film_forming_c: Option<f64>,
    /// Below this humidity it is starved of water, or does not start, %.
    #[serde(default)]
    pub min_rh_pct: Option<f64>,
    /// Above this humidity it is spoiled or hardly dries, %.
    #[serde(default)]
    pub max_rh_pct: Option<f64>,
    /// Days an opened container keeps, 1 to 3660.
    #[serde(default)]
    pub storage_days: Option<f64>,
    /// So much faster 10 K warmer, 1 to 6.
    #[serde(default)]
    pub q10: Option<f64>,
    /// The same time at another temperature, instead of a q10.
    #[serde(default)]
    pub second: Option<SecondTime>,
}

/// The clamp time, or the first stated time of a coat, at another temperature.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SecondTime {
    /// That temperature, °C.
    pub temp_c: f64,
    /// The time there, h.
    pub hours: f64,
}

/// A script written from a sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Written {
    /// The script.
    pub text: String,
    /// What the sheet left out and the class stands in for.
    pub assumed: Vec<&'static str>,
}

/// How its speed answers to temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Warmth {
    /// As the sheet states it.
    Q10(f64),
    /// Worked out from two times; kJ/mol, ASTM C1074 form.
    Activation(f64),
    /// The class's.
    Assumed(f64),
}

/// Activation energies a cure can have, kJ/mol: 5 hardly answers to warmth, 200 is faster than any known.
const ACTIVATION_KJ_MOL: (f64, f64) = (5.0, 200.0);

/// What comes later, what earlier, and whether at the same time is too early.
const ORDER: [(&str, &str, bool); 5] = [
    ("full_strength", "clamp_off", true),
    ("recoat_closes", "recoat_opens", true),
    ("sandable", "dust_free", false),
    ("dry_through", "dust_free", false),
    ("dry_through", "recoat_opens", false),
];

impl DataSheet {
    /// Writes the script.
    ///
    /// # Errors
    /// What is out of range or contradicts itself, with the field and how to mend it.
    pub fn script(&self) -> Result<Written, Invalid> {
        self.in_range()?;
        let class = self.class.row();
        let reference_c = self.temp_c.unwrap_or(class.temp_c);
        let warmth = self.warmth(reference_c)?;
        Ok(script::write(self, &class, reference_c, warmth))
    }

    fn in_range(&self) -> Result<(), Invalid> {
        let name = self.name.as_deref().unwrap_or("a name");
        if name.trim().is_empty() || name.chars().count() > 80 || name.chars().any(char::is_control) {
            return Err(invalid("name", format!("{name:?}"), "1 to 80 characters in one line", "shorten it"));
        }
        let rows = [
            ("temp_c", self.temp_c, TempC::RANGE, "°C"),
            ("rh_pct", self.rh_pct, (1.0, 100.0), "%"),
            ("clamp_off_h", self.clamp_off_h, (0.001, 720.0), "h"),
            ("full_strength_h", self.full_strength_h, (0.001, 8784.0), "h"),
            ("working_life_min", self.working_life_min, (0.1, 1440.0), "min"),
            ("open_time_min", self.open_time_min, (0.05, 1440.0), "min"),
            ("dust_free_h", self.dust_free_h, (0.001, 8784.0), "h"),
            ("recoat_opens_h", self.recoat_opens_h, (0.001, 8784.0), "h"),
            ("recoat_closes_h", self.recoat_closes_h, (0.001, 8784.0), "h"),
            ("sandable_h", self.sandable_h, (0.001, 8784.0), "h"),
            ("dry_through_h", self.dry_through_h, (0.001, 8784.0), "h"),
            ("film_um", self.film_um, (10.0, 1000.0), "µm"),
            ("min_temp_c", self.min_temp_c, TempC::RANGE, "°C"),
            ("film_forming_c", self.film_forming_c, TempC::RANGE, "°C"),
            ("min_rh_pct", self.min_rh_pct, (1.0, 100.0), "%"),
            ("max_rh_pct", self.max_rh_pct, (1.0, 100.0), "%"),
            ("storage_days", self.storage_days, (1.0, 3660.0), "days"),
            ("q10", self.q10, (1.0, 6.0), ""),
        ];
        for (field, value, (min, max), unit) in rows {
            if let Some(value) = value {
                within(field, value, min, max, unit, "copy it from the sheet, in this unit")?;
            }
        }
        self.of_one_kind()?;
        self.in_order()
    }

    /// A glue has no recoat window, and a coat no clamp.
    fn of_one_kind(&self) -> Result<(), Invalid> {
        let of_glue = [
            ("clamp_off_h", self.clamp_off_h),
            ("full_strength_h", self.full_strength_h),
            ("open_time_min", self.open_time_min),
        ];
        let of_coat = [
            ("dust_free_h", self.dust_free_h),
            ("recoat_opens_h", self.recoat_opens_h),
            ("recoat_closes_h", self.recoat_closes_h),
            ("sandable_h", self.sandable_h),
            ("dry_through_h", self.dry_through_h),
            ("film_um", self.film_um),
        ];
        let finish = self.class.is_finish();
        let (other, kind): (&[_], _) = if finish { (&of_glue, "a finish") } else { (&of_coat, "an adhesive") };
        if let Some((field, Some(value))) = other.iter().find(|(_, value)| value.is_some()) {
            return Err(invalid(field, value.to_string(), &format!("nothing: the class is {kind}"), "leave it out"));
        }
        if self.main_time().is_none() {
            let field = if finish { "recoat_opens_h" } else { "clamp_off_h" };
            return Err(invalid(field, "missing".into(), "at least one time in hours", "copy it from the sheet"));
        }
        Ok(())
    }

    /// A time the class stands in for counts too: a window that would close before it opens is nobody's.
    fn in_order(&self) -> Result<(), Invalid> {
        let class = self.class.row();
        for (later, earlier, apart) in ORDER {
            let (Some((later_h, is)), Some((earlier_h, than))) =
                (self.hours(later, &class), self.hours(earlier, &class))
            else {
                continue;
            };
            if later_h < earlier_h || (apart && later_h == earlier_h) {
                let given = format!("{later_h} h{is}");
                let expected =
                    format!("{} {earlier}_h, {earlier_h} h{than}", if apart { "more than" } else { "at least" });
                return Err(invalid(
                    &format!("{later}_h"),
                    given,
                    &expected,
                    "look at the sheet again, or state both times",
                ));
            }
        }
        if let (Some(open_min), Some((clamp_h, is))) = (self.open_time_min, self.hours("clamp_off", &class))
            && clamp_h <= open_min / 60.0
        {
            let expected = format!("more than open_time_min, {open_min} min");
            let mend = "look at the sheet again, or state both times";
            return Err(invalid("clamp_off_h", format!("{clamp_h} h{is}"), &expected, mend));
        }
        let (low, high) = (self.min_rh_pct, self.max_rh_pct);
        if low.zip(high).is_some_and(|(low, high)| low >= high) {
            return Err(invalid("min_rh_pct", "no less than max_rh_pct".into(), "less than it", "swap them"));
        }
        let rh_pct = self.rh_pct.unwrap_or(class.rh_pct);
        if low.is_some_and(|low| rh_pct < low) || high.is_some_and(|high| rh_pct > high) {
            let expected = "within min_rh_pct and max_rh_pct";
            return Err(invalid("rh_pct", format!("{rh_pct} %"), expected, "state the humidity the times hold at"));
        }
        let temp_c = self.temp_c.unwrap_or(class.temp_c);
        let coldest = self.coldest_c();
        if coldest.is_some_and(|coldest| temp_c < coldest) {
            let expected = "at least min_temp_c and film_forming_c";
            return Err(invalid("temp_c", format!("{temp_c} °C"), expected, "state the temperature the times hold at"));
        }
        Ok(())
    }

    /// The time of a stage, stated or assumed, and what is said behind it.
    fn hours(&self, stage: &str, class: &Row) -> Option<(f64, &'static str)> {
        let stated = self.stated().into_iter().find_map(|(of, hours)| hours.filter(|_| of == stage));
        stated.map(|hours| (hours, "")).or_else(|| Some((class.time(stage)?, ", assumed from the class")))
    }

    /// The time a second one is compared with: its stage and its hours.
    pub(crate) fn main_time(&self) -> Option<(&'static str, f64)> {
        self.stated().into_iter().find_map(|(stage, hours)| hours.map(|hours| (stage, hours)))
    }

    /// The times it may state, the one a second time is of first.
    pub(crate) fn stated(&self) -> Vec<(&'static str, Option<f64>)> {
        match self.class.is_finish() {
            false => vec![("clamp_off", self.clamp_off_h), ("full_strength", self.full_strength_h)],
            true => vec![
                ("recoat_opens", self.recoat_opens_h),
                ("dust_free", self.dust_free_h),
                ("sandable", self.sandable_h),
                ("recoat_closes", self.recoat_closes_h),
                ("dry_through", self.dry_through_h),
            ],
        }
    }

    /// Below this it does not cure at all.
    pub(crate) fn coldest_c(&self) -> Option<f64> {
        let both = [self.min_temp_c, self.film_forming_c];
        both.into_iter().flatten().reduce(f64::max)
    }

    /// An energy worked out from a temperature nobody stated would be nobody's, and where it does not cure there is no time.
    fn comparable(&self, second: SecondTime) -> Result<(), Invalid> {
        if self.temp_c.is_none() {
            let expected = "the temperature at which the first time holds, beside second";
            return Err(invalid("temp_c", "missing".into(), expected, "copy both temperatures from the sheet"));
        }
        if self.coldest_c().is_some_and(|coldest| second.temp_c < coldest) {
            let mend = "look at the sheet again: it has a time where it says that it does not cure";
            let expected = "at least min_temp_c and film_forming_c";
            return Err(invalid("second.temp_c", format!("{} °C", second.temp_c), expected, mend));
        }
        Ok(())
    }

    fn warmth(&self, reference_c: f64) -> Result<Warmth, Invalid> {
        match (self.q10, self.second, self.main_time()) {
            (Some(_), Some(_), _) => {
                Err(invalid("q10", "given beside second".into(), "one of them", "leave one of them out"))
            }
            (Some(q10), None, _) => Ok(Warmth::Q10(q10)),
            (None, Some(second), Some((stage, hours))) => {
                self.comparable(second)?;
                activation(reference_c, second, stage, hours)
            }
            _ => Ok(Warmth::Assumed(self.class.row().q10)),
        }
    }
}

/// The activation energy with which a time at one temperature becomes that at another: the rate law of ASTM C1074,
/// asked backwards.
fn activation(reference_c: f64, second: SecondTime, stage: &str, hours: f64) -> Result<Warmth, Invalid> {
    within("second.temp_c", second.temp_c, TempC::RANGE.0, TempC::RANGE.1, "°C", "the sheet's other temperature")?;
    within("second.hours", second.hours, 0.001, 8784.0, "h", "the time at the other temperature")?;
    if (second.temp_c - reference_c).abs() < 2.0 {
        let mend = "give a time at least 2 K away, or leave it out";
        return Err(invalid("second.temp_c", format!("{} °C", second.temp_c), "another temperature than temp_c", mend));
    }
    // The logarithm of the rate is linear in the energy: one value of it is enough to know it.
    let of_one_kj = rate::arrhenius(second.temp_c, reference_c, 1.0).map_or(f64::NAN, f64::ln);
    let activation = (hours / second.hours).ln() / of_one_kj;
    if (ACTIVATION_KJ_MOL.0..=ACTIVATION_KJ_MOL.1).contains(&activation) {
        return Ok(Warmth::Activation(activation));
    }
    let given = format!("{} h at {} °C beside {hours} h at {reference_c} °C", second.hours, second.temp_c);
    let expected = "a warmer cure that is faster, by an activation energy of 5 to 200 kJ/mol";
    Err(invalid("second.hours", given, expected, &format!("look at the {stage} times again, or leave it out")))
}

fn invalid(what: &str, given: String, expected: &str, mend: &str) -> Invalid {
    Invalid { what: what.into(), given, expected: expected.into(), mend: mend.into() }
}
