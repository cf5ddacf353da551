//! Days that are not as their weekdays are: the shop is closed, or open at other hours. Said here, a day counts before what the
//! settings say of it.

use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use facts::{DayHours, DaySet, Fact};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{body::Body, openapi::Api, plan::SpecialDay, problem::Problem};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/days").route(web::get().to(list)))
        .service(web::resource("/days/{date}").route(web::put().to(set)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/days", "Days from today on that are not as usual").query::<Paging>(json!({})).lists::<DayWire>();
    api.put("/days/{date}", "Gives a day hours of its own, or its usual ones back")
        .takes::<Day>(json!({"hours": ["10:00-12:30"]}))
        .gives::<DayWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Day {
    /// When the shop is open, like `09:00-13:00`, in order; an empty list where it is closed all day, left out where it is
    /// as usual again.
    hours: Option<Vec<String>>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct DayWire {
    /// The day, by the shop's own calendar.
    date: String,
    /// When the shop is open; none while it is closed all day.
    hours: Vec<String>,
    /// Whether it was said here; else it is as the settings or its weekday have it.
    said: bool,
}

fn wire(day: SpecialDay) -> DayWire {
    DayWire { date: day.date.to_string(), hours: day.hours.into(), said: day.said }
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let days: Vec<(String, SpecialDay)> =
        shop.special_days().into_iter().map(|day| (day.date.to_string(), day)).collect();
    let all = days.iter().map(|(date, day)| (date, day));
    Ok(HttpResponse::Ok().json(paging.part(all, |day| wire(day.clone()))?))
}

async fn set(shop: Shop, date: web::Path<String>, body: Body<Day>) -> Answer {
    let day: NaiveDate = date.parse().map_err(|_| Problem::not_found("day", &date))?;
    let hours = body.value.hours.as_ref().map(|said| DayHours::read("hours", said)).transpose()?;
    let kept = body.answer(&date);
    shop.say_fact(Fact::DaySet(DaySet { date: day, hours }), shop.now().ms(), "bench", kept).await?;
    Ok(HttpResponse::Ok().json(wire(shop.day(day))))
}
