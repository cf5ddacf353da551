//! Changing one string of a set: another gauge, another note, a winding and what it weighs.

use actix_web::web;
use facts::{Fact, Note, StringFitted, StringsFitted};

use super::back;
use crate::{
    compose::missing,
    pages::{choice::Choice, form::Fields},
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        plates::instrument,
        strings::{Fit, OneString, fitted},
    },
    units::LengthUnit,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/string").route(web::post().to(change)));
}

/// The form that changes one string.
pub(super) struct GaugeForm {
    pub(super) strings: Vec<Choice>,
    /// Name, what it asks, what stands in it.
    pub(super) asked: Vec<(&'static str, String, String)>,
    pub(super) kinds: Vec<Choice>,
}

/// How a string is made; as it was where nobody says.
const KINDS: [(&str, &str); 3] = [("", "as it was"), ("plain", "plain"), ("wound", "wound")];

impl GaugeForm {
    pub(super) fn of(fitted: &StringsFitted, unit: LengthUnit, fields: &Fields) -> Self {
        let sent = |name: &str| fields.get(name).unwrap_or_default().to_string();
        let string = |(i, string): (usize, &StringFitted)| {
            let wound = if string.wound { ", wound" } else { "" };
            let text = format!("{}: {} {}{wound}", i + 1, string.note, said(string.gauge_mm, unit));
            Choice::new(i.to_string(), text, sent("string") == i.to_string())
        };
        let gauge_unit = if unit == LengthUnit::In { "thousandths of an inch" } else { "mm" };
        let ask = |name: &'static str, says: String| (name, says, sent(name));
        Self {
            strings: fitted.strings.iter().enumerate().map(string).collect(),
            asked: vec![
                ask("gauge", format!("Gauge, {gauge_unit}")),
                ask("note", "Note, if another".into()),
                ask("unit_g_m", "Weight of a wound one, g/m".into()),
                ask("core_mm", "… or its core, mm".into()),
                ask("wrap_mm", "… and its winding, mm".into()),
            ],
            kinds: KINDS.map(|(value, text)| Choice::new(value, text, sent("made") == value)).into(),
        }
    }
}

/// A gauge as it is written on a packet.
fn said(gauge_mm: f64, unit: LengthUnit) -> String {
    match unit {
        LengthUnit::Mm => format!("{gauge_mm:.2} mm"),
        LengthUnit::In => format!("{:.1} thousandths", unit.of(gauge_mm) * 1000.0),
    }
}

async fn change(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let (fitted, at_ms) = fitted(&shop, &id, changed(&shop, &id, &fields)?)?;
        let kept = fields.answer(&format!("/instruments/{id}/string"), &id);
        shop.say_fact(Fact::StringsFitted(fitted), at_ms, "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}

/// The set as it is, with one string changed.
fn changed(shop: &Shop, id: &str, fields: &Fields) -> Result<Fit, Problem> {
    let instrument = instrument(shop, id)?;
    let known = shop.bench().strung(instrument.as_str()).map(|strung| strung.fitted.clone());
    let known = known.ok_or_else(|| {
        Problem::new(Kind::Conflict, "nobody has said which strings it is to have", "say which set it has first")
    })?;
    let place = fields.number("string")?.ok_or_else(|| missing("string"))?;
    let old = known.strings.get(place as usize).filter(|_| place >= 0.0).ok_or_else(|| {
        Problem::new(Kind::Invalid, format!("there is no string {place}"), "choose one of the list").about("string")
    })?;
    let new = one(old, fields, shop.settings.shop.length_unit)?;
    let mut strings: Vec<OneString> = known.strings.iter().map(OneString::of).collect();
    strings[place as usize] = new;
    Ok(Fit {
        family: Some(known.family),
        scale_mm: Some(known.scale_mm),
        a4_hz: Some(known.a4_hz),
        strings: Some(strings),
        half_tension_h: known.half_tension_h,
        ..Fit::default()
    })
}

/// One string as the form has it; what is left empty stays, but for a weight that another gauge does not have.
fn one(old: &StringFitted, fields: &Fields, unit: LengthUnit) -> Result<OneString, Problem> {
    let note = fields.get("note").map(Note::new).transpose().map_err(|e| Problem::from(e).about("note"))?;
    let gauge = fields.number("gauge")?;
    let (core_mm, wrap_mm) = (fields.number("core_mm")?, fields.number("wrap_mm")?);
    let unit_kg_m = fields.number("unit_g_m")?.map(|g_m| g_m / 1000.0);
    let made = fields.get("made").map(|made| made == "wound");
    let was = OneString::of(old);
    let same = gauge.is_none() && core_mm.is_none() && made.is_none_or(|wound| wound == old.wound);
    // A plain string that becomes a thick one is asked about.
    let wound = made.or((same || old.wound).then_some(old.wound));
    let kept_mm = if core_mm.is_none() { was.gauge_mm } else { None };
    Ok(OneString {
        gauge_mm: if unit == LengthUnit::Mm { gauge.or(kept_mm) } else { kept_mm.filter(|_| gauge.is_none()) },
        gauge_thou: gauge.filter(|_| unit == LengthUnit::In),
        wound,
        unit_kg_m: unit_kg_m.or(was.unit_kg_m.filter(|_| same)),
        core_mm,
        wrap_mm,
        length_mm: was.length_mm,
        ..OneString::tuned_to(note.unwrap_or(old.note))
    })
}
