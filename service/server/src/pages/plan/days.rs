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

/// How many days may be said at once.
const MOST_DAYS: i64 = 62;

/// Days that are not as usual, alike one after another.
pub(super) struct DayRow {
    /// The first and the last, as a form says them.
    pub(super) date: String,
    pub(super) until: String,
    pub(super) days: String,
    pub(super) hours: String,
    /// Whether they were said at the bench, and can be unsaid there.
    pub(super) said: bool,
}

impl State {
    /// Those from today on.
    pub(super) fn day_rows(&self) -> Vec<DayRow> {
        let days = self.special_days();
        let follows = |a: &SpecialDay, b: &SpecialDay| {
            a.date.succ_opt() == Some(b.date) && a.said == b.said && a.hours == b.hours
        };
        let named = |date: NaiveDate| date.format("%A %-d %B").to_string();
        let row = |alike: &[SpecialDay]| {
            let (first, last) = (alike.first()?, alike.last()?);
            let spans = Vec::<String>::from(first.hours.clone());
            Some(DayRow {
                date: first.date.to_string(),
                until: last.date.to_string(),
                days: match alike {
                    [day] => named(day.date),
                    _ => format!("{} to {}", named(first.date), named(last.date)),
                },
                hours: if spans.is_empty() { "closed".into() } else { spans.join(", ") },
                said: first.said,
            })
        };
        days.chunk_by(follows).filter_map(row).collect()
    }
}

/// What a form says of a day, or of each from one to another: `hours` as spans with commas between, nothing or "closed" for
/// closed; `usual` where they are as usual again.
fn of_form(fields: &Fields) -> Result<Vec<DaySet>, Problem> {
    let day = |name: &'static str, said: &str| {
        let wrong =
            || Problem::new(Kind::Invalid, format!("\"{said}\" is no day"), "choose one, like 2026-12-24").about(name);
        said.parse::<NaiveDate>().map_err(|_| wrong())
    };
    let date = day("date", fields.get("date").unwrap_or_default())?;
    let until = fields.get("until").map_or(Ok(date), |said| day("until", said))?;
    let more = (until - date).num_days();
    if !(0..MOST_DAYS).contains(&more) {
        let what = format!("from {date} to {until} are not 1 to {MOST_DAYS} days");
        return Err(Problem::new(Kind::Invalid, what, "say the later day second, or fewer days at once").about("until"));
    }
    let hours = if fields.get("usual").is_some() {
        None
    } else {
        let said = fields.all("hours").filter(|said| !said.trim().eq_ignore_ascii_case("closed"));
        let spans: Vec<String> = said.flat_map(|said| said.split(',')).map(|s| s.trim().into()).collect();
        Some(DayHours::read("hours", &spans)?)
    };
    Ok(date.iter_days().take(more as usize + 1).map(|date| DaySet { date, hours: hours.clone() }).collect())
}

async fn set(shop: Shop, fields: Fields) -> Answer {
    let days = of_form(&fields)?;
    let kept = fields.answer("/days", &days.first().map(|set| set.date.to_string()).unwrap_or_default());
    let at_ms = fields.pressed_ms(shop.now().ms())?;
    let mut days = days.into_iter().map(|set| shop.saying(Fact::DaySet(set), at_ms, "bench", vec![], None));
    if let Some(mut saying) = days.next() {
        saying.answer = kept;
        saying.entries.extend(days.flat_map(|day| day.entries));
        shop.say_once(saying).await?;
    }
    shop.replan(FIRST).await?;
    see_other("/plan#days")
}
