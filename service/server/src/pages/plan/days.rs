//! Days that are not as usual, on the plan page: the shop is closed, or open at other hours.

use actix_web::web;
use chrono::NaiveDate;
use facts::{DayHours, DaySet, Fact};

use crate::{
    pages::{form::Fields, frame::see_other},
    plan::{FIRST, SpecialDay},
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/days").route(web::post().to(set)));
}

/// A day that is not as usual.
pub(super) struct DayRow {
    /// As a form says it.
    pub(super) date: String,
    pub(super) day: String,
    pub(super) hours: String,
    /// Whether it was said at the bench, and can be unsaid there.
    pub(super) said: bool,
}

impl State {
    /// Those from today on.
    pub(super) fn day_rows(&self) -> Vec<DayRow> {
        let row = |day: SpecialDay| DayRow {
            date: day.date.to_string(),
            day: day.date.format("%A %-d %B").to_string(),
            hours: match Vec::<String>::from(day.hours) {
                none if none.is_empty() => "closed".into(),
                spans => spans.join(", "),
            },
            said: day.said,
        };
        self.special_days().into_iter().map(row).collect()
    }
}

/// What a form says of a day: `hours` as spans with commas between, nothing or "closed" for closed; `usual` where it is as usual
/// again.
fn of_form(fields: &Fields) -> Result<DaySet, Problem> {
    let said = fields.get("date").unwrap_or_default();
    let date: NaiveDate = said.parse().map_err(|_| {
        Problem::new(Kind::Invalid, format!("\"{said}\" is no day"), "choose one, like 2026-12-24").about("date")
    })?;
    if fields.get("usual").is_some() {
        return Ok(DaySet { date, hours: None });
    }
    let said = fields.all("hours").filter(|said| !said.trim().eq_ignore_ascii_case("closed"));
    let spans: Vec<String> = said.flat_map(|said| said.split(',')).map(|s| s.trim().into()).collect();
    Ok(DaySet { date, hours: Some(DayHours::read("hours", &spans)?) })
}

async fn set(shop: Shop, fields: Fields) -> Answer {
    let set = of_form(&fields)?;
    let kept = fields.answer("/days", &set.date.to_string());
    shop.say_fact(Fact::DaySet(set), fields.pressed_ms(shop.now().ms())?, "bench", kept).await?;
    shop.replan(FIRST).await?;
    see_other("/plan#days")
}
