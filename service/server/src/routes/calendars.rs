//! The calendar: its secret address for the shop and for each person, and what is behind it.

use actix_web::{HttpRequest, HttpResponse, http::header, web};
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::{Answer, Shop};
use crate::{calendar, openapi::Api, problem::Problem, state::State, wire::List};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/calendars").route(web::get().to(list)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/calendars", "Calendars to subscribe to").lists::<CalendarWire>();
}

pub(super) fn configure_feed(config: &mut web::ServiceConfig) {
    config.service(web::resource("/calendar/{secret}.ics").route(web::get().to(feed)));
}

#[derive(Serialize, utoipa::ToSchema)]
struct CalendarWire {
    /// Whose it is; none for the shop's.
    person: Option<String>,
    /// Whoever knows this address reads the calendar.
    path: String,
}

/// The shop itself, then everybody in it: an address can be taken from one without changing the others.
fn owners(state: &State) -> impl Iterator<Item = Option<&str>> {
    std::iter::once(None).chain(state.settings.people.iter().map(|person| Some(person.name.as_str())))
}

fn secret(state: &State, person: Option<&str>) -> String {
    state.keys.calendar_secret(&person.map_or_else(|| "the shop".into(), |name| format!("person {name}")))
}

/// The secret address of a person's calendar, or the shop's.
pub(crate) fn path_of(state: &State, person: Option<&str>) -> String {
    format!("/calendar/{}.ics", secret(state, person))
}

async fn list(shop: Shop) -> Answer {
    let wire = |person: Option<&str>| CalendarWire { person: person.map(str::to_string), path: path_of(&shop, person) };
    Ok(HttpResponse::Ok().json(List::whole(owners(&shop).map(wire))))
}

async fn feed(shop: Shop, asked: web::Path<String>, request: HttpRequest) -> Answer {
    // Every address is compared, so that how long it takes says nothing.
    let found = owners(&shop).filter(|person| same(&secret(&shop, *person), &asked)).last();
    // The address may be one that was good once: it is not said back.
    let whose = found.ok_or_else(|| Problem::not_found("calendar", "of that address"))?;
    let person = shop.settings.people.iter().find(|person| Some(person.name.as_str()) == whose);
    let text = calendar::feed(&shop, person).await?;
    let tag: String = Sha256::digest(&text).iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    let tag = format!("\"{tag}\"");
    let known = request.headers().get(header::IF_NONE_MATCH).and_then(|sent| sent.to_str().ok()).unwrap_or_default();
    let unchanged = known.split(',').any(|known| known.trim().trim_start_matches("W/") == tag);
    let mut answer = if unchanged { HttpResponse::NotModified() } else { HttpResponse::Ok() };
    answer.insert_header((header::ETAG, tag)).insert_header((header::CACHE_CONTROL, "private, no-cache"));
    Ok(match unchanged {
        true => answer.finish(),
        false => answer.content_type("text/calendar; charset=utf-8").body(text),
    })
}

/// Takes as long wherever they differ.
fn same(ours: &str, theirs: &str) -> bool {
    ours.len() == theirs.len() && ours.bytes().zip(theirs.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}
