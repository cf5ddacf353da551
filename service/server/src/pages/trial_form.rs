//! The part of a rule's page that says in what a draft is tried: the air, for how long, and the joint or film. In the units of
//! the shop.

use facts::{Porosity, RhPct, TempC};

use super::{
    choice::{self, Choice, POROSITIES},
    form::Fields,
    rule_try::{BETWEEN, ROWS},
};
use crate::{
    now::instant,
    problem::{Kind, Problem},
    routes::rules::trying::{AirSaid, JointSaid, Try},
    state::State,
};

const AIRS: [(&str, &str); 3] =
    [("constant", "constant air"), ("recorded", "a recorded stretch"), ("forecast", "the forecast")];
/// The fields that say in what a draft is tried, as they were filled in.
pub(super) struct TrialForm {
    pub(super) airs: Vec<Choice>,
    pub(super) zones: Vec<Choice>,
    pub(super) porosities: Vec<Choice>,
    pub(super) temp: String,
    pub(super) temp_unit: &'static str,
    pub(super) rh_pct: String,
    pub(super) ago_h: String,
    pub(super) hours: String,
    pub(super) gap: String,
    pub(super) film: String,
    pub(super) thin_unit: &'static str,
}

impl TrialForm {
    pub(super) fn new(state: &State, fields: &Fields) -> Self {
        let shop = &state.settings.shop;
        let said = |name: &str, usual: &str| fields.get(name).unwrap_or(usual).to_string();
        let of = |list: &[(&str, &str)], chosen: &str| {
            list.iter().map(|(value, text)| Choice::new(*value, *text, *value == chosen)).collect()
        };
        Self {
            airs: of(&AIRS, &said("air", "constant")),
            zones: choice::zones(&state.bench(), |id| fields.get("zone") == Some(id)),
            porosities: of(&POROSITIES, &said("porosity", "normal")),
            temp: said("temp", &format!("{:.0}", shop.temp_unit.of(20.0))),
            temp_unit: shop.temp_unit.sign(),
            rh_pct: said("rh_pct", "50"),
            ago_h: said("ago_h", "24"),
            hours: said("hours", "48"),
            gap: said("gap", ""),
            film: said("film", ""),
            thin_unit: shop.length_unit.thin().0,
        }
    }
}

/// The form's fields as what is to be tried.
///
/// # Errors
/// What is missing, no number, or not to be chosen.
pub(super) fn asked(fields: &Fields, state: &State) -> Result<Try, Problem> {
    let (unit, (_, um), now_ms) =
        (state.settings.shop.temp_unit, state.settings.shop.length_unit.thin(), state.now().ms());
    let nowhere = AirSaid { temp_c: None, rh_pct: None, zone: None, from: None, until: None };
    let zone = || fields.get("zone").map(str::to_string);
    let air = match fields.get("air") {
        Some("recorded") => {
            let mend = "a year back at most";
            let ago_h = facts::within("ago_h", fields.needed("ago_h")?, 0.0, 24.0 * 366.0, "h ago", mend)?;
            AirSaid { zone: zone(), from: Some(instant(now_ms - (ago_h * 3.6e6) as i64)), ..nowhere }
        }
        Some("forecast") => AirSaid { zone: zone(), ..nowhere },
        _ => {
            let (temp_c, rh_pct) =
                (TempC::new(unit.celsius(fields.needed("temp")?))?, RhPct::new(fields.needed("rh_pct")?)?);
            AirSaid { temp_c: Some(temp_c), rh_pct: Some(rh_pct), ..nowhere }
        }
    };
    let porosity: Porosity =
        serde_json::from_value(fields.get("porosity").unwrap_or("normal").into()).map_err(|_| {
            Problem::new(Kind::Invalid, "there is no such porosity", "choose one of the list").about("porosity")
        })?;
    let thin = |name: &'static str| Ok::<_, Problem>(fields.number(name)?.map(|said| said * um));
    let joint = JointSaid { gap_um: thin("gap")?, film_um: thin("film")?, porosity };
    let points = Some(ROWS * BETWEEN + 1);
    Ok(Try { material: None, text: None, air, joint: Some(joint), hours: fields.number("hours")?, points })
}
