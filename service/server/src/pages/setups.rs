//! Set-up of one instrument: relief, action and saddle over the years, what a day at pitch changed, and when the neck
//! angle will need attention.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::{NeckAngle, Setup, neck_angle, wanted};
use facts::{Fact, SetupMeasured, Stage};

use super::{
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    alerts::words::ESTIMATE,
    now::instant,
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        plates::instrument,
        setups::{CAREFUL_MM, basis, neck_says, saddle_is_asked, settled},
    },
    state::State,
    units::LengthUnit,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/setups").route(web::get().to(one)).route(web::post().to(measure)));
}

/// A set-up as it was measured.
struct SetupRow {
    day: String,
    relief: String,
    action: String,
    saddle: String,
    sigma: String,
}

/// The forecast of the neck angle.
struct NeckCard {
    says: String,
    spare: String,
    pace: String,
    years: String,
}

#[derive(Template)]
#[template(path = "setups.html")]
struct SetupsPage {
    frame: Frame,
    key: String,
    wrong: String,
    id: String,
    name: String,
    part: &'static str,
    unit: &'static str,
    /// Newest first.
    setups: Vec<SetupRow>,
    /// What a day at pitch changed; empty where nobody looked before and after.
    settled: String,
    neck: Option<NeckCard>,
    basis: String,
    /// Name, what it asks, what stands in it.
    asked: Vec<(&'static str, &'static str, String)>,
    day: String,
    today: String,
    estimate: &'static str,
}

const ASKED: [(&str, &str); 4] = [
    ("relief", "Relief: hollow of the fingerboard"),
    ("action", "Action: lowest string at the twelfth fret"),
    ("saddle", "Saddle: how far it stands out"),
    ("sigma", "May be off by"),
];

fn page(shop: &Shop, id: &str, fields: &Fields, wrong: String) -> Result<SetupsPage, Problem> {
    let instrument = instrument(shop, id)?;
    let (bench, now_ms, unit) = (shop.bench(), shop.now().ms(), shop.settings.shop.length_unit);
    let setups = bench.setups(id);
    let pitch_ms = bench.strung(id).and_then(|strung| strung.stages.get(&Stage::FullPitch).copied());
    let settled = pitch_ms.and_then(|pitch_ms| settled(setups, pitch_ms)).map(|of| {
        let change = |what: &str, mm: Option<f64>| {
            Some(format!("{what} {}{}", if mm? < 0.0 { "−" } else { "+" }, unit.text(mm?.abs())))
        };
        let changes = [change("relief", of.relief_mm), change("action", of.action_mm)];
        let changes = changes.into_iter().flatten().collect::<Vec<_>>().join(", ");
        let when = format!("{} to {}", shop.clock_text(of.from_ms, now_ms), shop.clock_text(of.to_ms, now_ms));
        format!("A day at pitch changed ({when}): {changes}.")
    });
    let wanted = wanted(bench.family(id));
    let neck = wanted.and_then(|wanted| neck_angle(setups, wanted));
    let asked = ASKED.into_iter().filter(|(name, _)| wanted.is_some() || *name != "saddle");
    let text = |name: &str| fields.get(name).unwrap_or_default().to_string();
    Ok(SetupsPage {
        frame: shop.frame("/instruments"),
        key: fields.get("key").map_or_else(new_key, str::to_string),
        wrong,
        id: id.into(),
        name: bench.instruments().get(&instrument).map_or_else(String::new, |of| of.name.clone()),
        part: "Set-up",
        unit: unit.sign(),
        setups: setups.iter().rev().map(|setup| setup_row(shop, setup, unit)).collect(),
        settled: settled.unwrap_or_default(),
        basis: basis(setups, wanted, neck.as_ref()),
        neck: neck.map(|neck| neck_card(shop, &neck, unit)),
        asked: asked.map(|(name, says)| (name, says, text(name))).collect(),
        day: text("day"),
        today: instant(now_ms).with_timezone(&shop.zone).format("%Y-%m-%d").to_string(),
        estimate: ESTIMATE,
    })
}

fn setup_row(state: &State, setup: &Setup, unit: LengthUnit) -> SetupRow {
    let text = |mm: Option<f64>| mm.map_or_else(|| "—".into(), |mm| unit.bare(mm));
    let SetupMeasured { relief_mm, action_mm, saddle_mm, sigma_mm, .. } = setup.measured;
    SetupRow {
        day: instant(setup.at_ms).with_timezone(&state.zone).format("%-d %b %Y").to_string(),
        relief: text(relief_mm),
        action: text(action_mm),
        saddle: text(saddle_mm),
        sigma: text(Some(sigma_mm)),
    }
}

fn neck_card(state: &State, neck: &NeckAngle, unit: LengthUnit) -> NeckCard {
    let year = |ms: Option<i64>| {
        let year = |ms| instant(ms).with_timezone(&state.zone).format("%Y").to_string();
        ms.map_or_else(|| "not within 60 years".into(), year)
    };
    let pace_mm = neck.mm_a_year;
    NeckCard {
        says: neck_says(state, neck),
        spare: unit.text(neck.spares.last().map_or(0.0, |spare| spare.spare_mm)),
        pace: format!(
            "{}{} a year, give or take {}",
            if pace_mm < 0.0 { "−" } else { "+" },
            unit.text(pace_mm.abs()),
            unit.text(neck.mm_a_year_band)
        ),
        years: format!(
            "first {}, likely {}, last {}",
            year(neck.due.earliest),
            year(neck.due.likely),
            year(neck.due.safe)
        ),
    }
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    show(&page(&shop, &id, &Fields(vec![]), String::new())?, HttpResponse::Ok())
}

async fn measure(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let instrument = instrument(&shop, &id)?;
        let unit = shop.settings.shop.length_unit;
        let measured = SetupMeasured {
            instrument,
            relief_mm: fields.length_mm("relief", unit)?,
            action_mm: fields.length_mm("action", unit)?,
            saddle_mm: fields.length_mm("saddle", unit)?,
            sigma_mm: fields.length_mm("sigma", unit)?.unwrap_or(CAREFUL_MM),
        };
        saddle_is_asked(&shop, &measured.instrument, measured.saddle_mm)?;
        let pressed_ms = fields.pressed_ms(shop.now().ms())?;
        let at_ms = fields.get("day").map(|day| shop.midday_of(day)).transpose()?;
        let at_ms = at_ms.map_or(pressed_ms, |at_ms| at_ms.min(pressed_ms));
        let kept = fields.answer(&format!("/instruments/{id}/setups"), &id);
        shop.say_fact(Fact::SetupMeasured(measured), at_ms, "bench", kept).await?;
        Ok(())
    };
    match done.await {
        Ok(()) => see_other(&format!("/instruments/{id}/setups")),
        Err(wrong @ Problem { .. }) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(&shop, &id, &fields, wrong.to_string())?, builder)
        }
    }
}

impl State {
    /// The middle of a day of the shop's calendar, ms: of a set-up years back nobody knows the hour.
    fn midday_of(&self, day: &str) -> Result<i64, Problem> {
        let wrong = || Problem::new(Kind::Invalid, format!("\"{day}\" is no day"), "write 2026-03-31").about("day");
        let day = chrono::NaiveDate::parse_from_str(day, "%Y-%m-%d").map_err(|_| wrong())?;
        let midday = day.and_hms_opt(12, 0, 0).ok_or_else(wrong)?;
        Ok(midday.and_local_timezone(self.zone).latest().ok_or_else(wrong)?.timestamp_millis())
    }
}
