//! Who is told and how: what became of each delivery, the channels of each person and how they stand, and the browsers
//! that are told by push message.

use actix_web::{HttpRequest, HttpResponse, web};
use facts::AlertId;
use store::{Delivery, DeliveryState, Off, Saying, Subscription};

use super::page;
use crate::{
    alerts::{channel, tell},
    pages::{
        form::Fields,
        frame::{see_other, show},
    },
    problem::Problem,
    routes::{Answer, Shop, calendars::path_of, deliveries::send_test, push::host_of},
    settings::{Person, Settings},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/channels/{id}/test").route(web::post().to(test)))
        .service(web::resource("/push-subscriptions/{id}/drop").route(web::post().to(drop_browser)));
}

/// One delivery of an alert.
pub(super) struct DeliveryRow {
    pub(super) by: String,
    pub(super) says: String,
    pub(super) failed: bool,
}

/// A way somebody is told by.
pub(super) struct ChannelRow {
    pub(super) id: String,
    pub(super) way: String,
    pub(super) says: String,
    pub(super) off: bool,
}

/// A browser that is told.
pub(super) struct BrowserRow {
    pub(super) id: String,
    pub(super) says: String,
}

/// A calendar a phone subscribes to. Whoever knows its address reads it.
pub(super) struct Calendar {
    /// As a phone takes it: it asks whether to subscribe.
    pub(super) subscribe: String,
    /// As it is copied into a calendar on the web.
    pub(super) address: String,
}

impl Calendar {
    pub(super) fn of(state: &State, base: &str, person: Option<&str>) -> Self {
        let address = format!("{base}{}", path_of(state, person));
        let bare = address.split_once("://").map_or(address.as_str(), |(_, bare)| bare);
        Self { subscribe: format!("webcal://{bare}"), address }
    }
}

/// Somebody who is told.
pub(super) struct PersonCard {
    /// As the settings have it; empty for webhooks that belong to nobody.
    pub(super) name: String,
    /// Quiet hours and who stands in, in words.
    pub(super) terms: String,
    pub(super) channels: Vec<ChannelRow>,
    /// Whether they are told by push message at all.
    pub(super) push: bool,
    pub(super) browsers: Vec<BrowserRow>,
    /// Ids of those browsers, so that one can find itself.
    pub(super) browser_ids: String,
    /// What they are told of, as a calendar; webhooks have none.
    pub(super) calendar: Option<Calendar>,
}

/// What the store knows of deliveries.
pub(super) struct Known {
    /// Of each alert that was asked about, in that order.
    deliveries: Vec<Vec<Delivery>>,
    off: Vec<Off>,
    last: Vec<Delivery>,
    browsers: Vec<Subscription>,
}

impl Known {
    pub(super) async fn of(shop: &Shop, alerts: Vec<AlertId>) -> Result<Self, Problem> {
        let read = shop.read(move |database| {
            let deliveries = alerts.iter().map(|alert| database.deliveries_of(alert.as_str()));
            Ok(Self {
                deliveries: deliveries.collect::<Result<_, _>>()?,
                off: database.switched_off()?,
                last: database.last_tried()?,
                browsers: database.subscriptions(None)?,
            })
        });
        read.await
    }

    /// Deliveries of the n-th alert asked about.
    pub(super) fn deliveries_of(&self, state: &State, n: usize, now_ms: i64) -> Vec<DeliveryRow> {
        let row = |delivery: &Delivery| DeliveryRow {
            by: by(&state.settings, &delivery.channel),
            says: state.went(delivery, now_ms),
            failed: delivery.state == DeliveryState::GivenUp && delivery.attempts > 0,
        };
        self.deliveries[n].iter().map(row).collect()
    }

    /// Everybody in the settings, webhooks that belong to nobody last.
    pub(super) fn people(&self, state: &State, base: &str, now_ms: i64) -> Vec<PersonCard> {
        let channels = tell::channels(&state.settings);
        let of = |name: &str| {
            let whose =
                |id: &&String| tell::person_of(&state.settings, id).map_or("", |(person, _)| &person.name) == name;
            channels.iter().filter(whose).map(|id| self.channel(state, id, now_ms)).collect::<Vec<_>>()
        };
        let card = |person: &Person| {
            let own = self.browsers.iter().filter(|browser| browser.person == person.name);
            PersonCard {
                channels: of(&person.name),
                terms: terms(person),
                push: channels.contains(&format!("{}:push", person.name)),
                browser_ids: own.clone().map(|browser| browser.id.as_str()).collect::<Vec<_>>().join(" "),
                browsers: own.map(|browser| browser_row(state, browser)).collect(),
                calendar: Some(Calendar::of(state, base, Some(&person.name))),
                name: person.name.clone(),
            }
        };
        let mut cards: Vec<PersonCard> = state.settings.people.iter().map(card).collect();
        let (name, terms, push, browsers, browser_ids) = Default::default();
        cards.push(PersonCard { channels: of(""), name, terms, push, browsers, browser_ids, calendar: None });
        cards.retain(|card| !card.name.is_empty() || !card.channels.is_empty());
        cards
    }

    fn channel(&self, state: &State, id: &str, now_ms: i64) -> ChannelRow {
        let here = |off: &&Off| off.channel == id && channel::address(state, id) == Some(off.address.as_str());
        let off = self.off.iter().find(here);
        let last = self.last.iter().find(|delivery| delivery.channel == id);
        let says = match (off, last) {
            (Some(off), _) => format!("off since {}: {}", state.clock_text(off.since_ms, now_ms), off.why),
            (None, Some(last)) => format!("on; the last one: {}", state.went(last, now_ms)),
            (None, None) => "on; nothing has gone by it yet".into(),
        };
        let way = match tell::person_of(&state.settings, id) {
            Some((_, way)) => way_said(way),
            None => format!("webhook {id}"),
        };
        ChannelRow { id: id.into(), way, says, off: off.is_some() }
    }
}

fn terms(person: &Person) -> String {
    let quiet = if person.quiet.is_empty() { String::new() } else { format!("left alone {}", person.quiet) };
    let then = if person.then.is_empty() { String::new() } else { format!("{} stands in", person.then) };
    [quiet, then].into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(", ")
}

fn browser_row(state: &State, browser: &Subscription) -> BrowserRow {
    let says = format!("a browser, since {}, by {}", state.day_text(browser.added_ms), host_of(&browser.endpoint));
    BrowserRow { id: browser.id.clone(), says }
}

/// A way of being told, in words.
fn way_said(way: &str) -> String {
    match way {
        "page" => "on the pages".into(),
        "push" => "by push message".into(),
        "email" => "by e-mail".into(),
        "mqtt" => "over MQTT".into(),
        hook => format!("by the webhook {hook}"),
    }
}

/// Whom a channel tells, and how.
fn by(settings: &Settings, channel: &str) -> String {
    match tell::person_of(settings, channel) {
        Some((person, way)) => format!("{} {}", person.name, way_said(way)),
        None => format!("webhook {channel}"),
    }
}

impl State {
    /// How a delivery went, in words.
    fn went(&self, delivery: &Delivery, now_ms: i64) -> String {
        let at = self.clock_text(delivery.due_ms, now_ms);
        let tried = match delivery.attempts {
            0 => "not tried yet".into(),
            1 => "tried once".into(),
            n => format!("tried {n} times"),
        };
        let why = delivery.error.as_ref().map_or_else(String::new, |why| format!(": {why}"));
        match delivery.state {
            // Nobody needed to hear of it any more.
            DeliveryState::GivenUp if delivery.attempts == 0 => format!("not sent{why}"),
            DeliveryState::Delivered => format!("delivered {at}, {tried}"),
            DeliveryState::Waiting => format!("{tried}, goes at {at}{why}"),
            DeliveryState::GivenUp => format!("given up {at}, {tried}{why}"),
        }
    }
}

/// Sends a test and says on the page how it went.
async fn test(shop: Shop, id: web::Path<String>, fields: Fields, request: HttpRequest) -> Answer {
    if !tell::channels(&shop.settings).contains(&id) {
        return Err(Problem::not_found("channel", &id));
    }
    let answer = fields.answer(&format!("/channels/{id}/test"), &id);
    let recorded_ms = shop.now().ms();
    let said = shop.say_once(Saying { answer, recorded_ms, ..Saying::default() }).await?;
    let whom = by(&shop.settings, &id);
    let note = match said {
        // It is not sent twice.
        store::Said::Before(_) => format!("{whom}: this test was sent before."),
        _ => match send_test(shop.get_ref(), &id).await?.error {
            None => format!("{whom}: the test was taken."),
            Some(why) => format!("{whom}: the test was not taken: {why}"),
        },
    };
    show(&page(&shop, &request, None, note).await?, HttpResponse::Ok())
}

async fn drop_browser(shop: Shop, id: web::Path<String>) -> Answer {
    let asked = id.clone();
    if !shop.act(move |database| database.forget_subscription(&asked)).await? {
        return Err(Problem::not_found("push subscription", &id));
    }
    see_other("/alerts#who")
}
