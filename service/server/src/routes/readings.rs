//! Readings: what a sensor or a person read off, one or many at a time. Of a batch the good rows are taken and each bad
//! one is reported.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::Sample;
use facts::{SensorId, ZoneId};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::Said;

use super::{Answer, Shop};
use crate::{
    body::{Body, of_reader},
    compose::When,
    intake::{Gate, Offer, Refused, Tally},
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/readings").route(web::post().to(batch)))
        .service(web::resource("/zones/{id}/readings").route(web::get().to(series)).route(web::post().to(single)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones/{id}/readings", "The air of a zone, recorded and expected")
        .query::<Stretch>(json!({}))
        .gives::<Series>();
    api.post("/zones/{id}/readings", "One reading of a zone")
        .takes::<Row>(json!({"sensor": "s-1", "temp_c": 20.5, "rh_pct": 47}))
        .makes::<Tally>();
    api.post("/readings", "Readings of any zones")
        .takes::<Batch>(json!({"readings": [{"zone": "bench", "minutes_ago": 5, "temp_c": 20.4, "rh_pct": 47.5}]}))
        .makes::<Tally>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Row {
    zone: Option<ZoneId>,
    sensor: Option<SensorId>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
    temp_c: f64,
    rh_pct: f64,
}

/// Rows are read one by one, so that one that is no reading does not spoil the others.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Batch {
    readings: Vec<serde_json::Value>,
}

impl Row {
    fn offer(self, row: usize, zone: Option<ZoneId>, now_ms: i64) -> Result<Offer, Problem> {
        let zone = zone.or(self.zone).ok_or_else(|| {
            Problem::new(Kind::Invalid, "zone is missing", "name the zone of each reading").about("zone")
        })?;
        let at_ms = When { at: self.at, minutes_ago: self.minutes_ago }.ms(now_ms)?;
        let sample = Sample { at_ms, temp_c: self.temp_c, rh_pct: self.rh_pct };
        Ok(Offer { row, source: (zone, self.sensor), sample, stamped: self.at.is_some() })
    }
}

async fn batch(shop: Shop, mut body: Body<Batch>) -> Answer {
    let now_ms = shop.now().ms();
    let (mut offers, mut refused) = (Vec::new(), Vec::new());
    for (i, row) in std::mem::take(&mut body.value.readings).into_iter().enumerate() {
        let read = match row {
            row @ serde_json::Value::Object(_) => Row::deserialize(row).map_err(|e| of_reader(&e)),
            _ => Err(Problem::new(Kind::Invalid, "it is no object of named fields", "send {\"zone\": …, …}")),
        };
        match read.and_then(|row| row.offer(i, None, now_ms)) {
            Ok(offer) => offers.push(offer),
            Err(problem) => refused.push(Refused::of(i, problem)),
        }
    }
    take(&shop, "http", offers, refused, &body, |row, field| {
        format!("readings[{row}].{}", field.unwrap_or_default()).trim_end_matches('.').into()
    })
    .await
}

async fn single(shop: Shop, id: web::Path<String>, body: Body<Row>) -> Answer {
    let zone = shop.bench().zone(&id).map(|set| set.id.clone());
    let zone = zone.ok_or_else(|| Problem::not_found("zone", &id))?;
    if let Some(other) = body.value.zone.as_ref().filter(|other| **other != zone) {
        let detail = format!("the body says zone \"{other}\", the address \"{zone}\"");
        return Err(Problem::new(Kind::Invalid, detail, "leave zone out, or post to its own address").about("zone"));
    }
    let (row, body) = body.split();
    let offer = row.offer(0, Some(zone), shop.now().ms())?;
    take(&shop, "http", vec![offer], vec![], &body, |_, field| field.unwrap_or_default().into()).await.map_err(
        |mut problem| {
            // The one row is the problem.
            problem.refused.clear();
            problem
        },
    )
}

/// The zone, the sensor and the instant are a reading's identity, so that a repeated one needs no key. One is honoured
/// all the same: without it a reading sent again after it was corrected would undo the correction.
pub(super) async fn take<T>(
    shop: &Shop,
    by: &'static str,
    offers: Vec<Offer>,
    refused: Vec<Refused>,
    body: &Body<T>,
    name: impl Fn(usize, Option<&str>) -> String,
) -> Answer {
    let text = |tally: &Tally| serde_json::to_string(tally).expect("a tally has a JSON form");
    let mut gate = Gate::new(by);
    let keep = |tally: &Tally| match tally.useless(&name) {
        // Nothing was made that the key could stand for.
        Some(_) => None,
        None => body.answer(&text(tally)),
    };
    let (said, tally) = shop.take_in(&mut gate, offers, refused, keep).await?;
    if let Said::Before(kept) = said {
        return Ok(HttpResponse::Created().content_type("application/json").body(kept.body));
    }
    match tally.useless(&name) {
        Some(problem) => Err(problem),
        None => Ok(HttpResponse::Created().content_type("application/json").body(text(&tally))),
    }
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Stretch {
    /// From when; a day ago if not said.
    from: Option<DateTime<Utc>>,
    /// Until when; 24 h ahead of now if not said.
    to: Option<DateTime<Utc>>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Point {
    at: String,
    temp_c: f64,
    rh_pct: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Expected {
    #[serde(flatten)]
    likely: Point,
    spread_k: f64,
    spread_rh_pct: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Series {
    zone: String,
    recorded: Vec<Point>,
    expected: Vec<Expected>,
}

/// Most readings answered at once: a week of minutes.
const LONGEST_SERIES: usize = 10_080;

async fn series(shop: Shop, id: web::Path<String>, stretch: web::Query<Stretch>) -> Answer {
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let timeline = bench.timeline(&id).ok_or_else(|| Problem::not_found("zone", &id))?;
    let ms = |at: Option<DateTime<Utc>>, default_ms| at.map_or(default_ms, |at| at.timestamp_millis());
    let from_ms = ms(stretch.from, now_ms - 24 * 3_600_000);
    let to_ms = ms(stretch.to, now_ms + 24 * 3_600_000);
    let round = |value: f64| (value * 100.0).round() / 100.0;
    let sample = |at_ms, air: clock::Air| Point {
        at: shop.rfc3339(at_ms),
        temp_c: round(air.temp_c),
        rh_pct: round(air.rh_pct),
    };
    let recorded: Vec<Point> =
        timeline.between(from_ms, to_ms).take(LONGEST_SERIES + 1).map(|(at_ms, air)| sample(at_ms, air)).collect();
    if recorded.len() > LONGEST_SERIES {
        let detail = format!("more than {LONGEST_SERIES} readings lie in that stretch");
        return Err(Problem::new(Kind::Invalid, detail, "ask for a shorter one with from and to").about("from"));
    }
    let outlook = bench.outlook(&id).ok_or_else(|| Problem::not_found("zone", &id))?;
    // Without a reading what is expected begins now.
    let begins_ms = timeline.last().map_or(now_ms, |(last_ms, _)| last_ms);
    let steps = (0..=clock::STEPS as i64).map(|step| begins_ms + step * clock::STEP_MS);
    let expected = steps.filter(|at_ms| (from_ms..=to_ms).contains(at_ms)).map(|at_ms| {
        let clock::Expected { air, spread_k, spread_rh_pct } = outlook.expected_at(at_ms);
        Expected { likely: sample(at_ms, air), spread_k: round(spread_k), spread_rh_pct: round(spread_rh_pct) }
    });
    let expected = expected.collect();
    Ok(HttpResponse::Ok().json(Series { zone: id.to_string(), recorded, expected }))
}
