//! Readings: what a sensor or a person read off, one or many at a time. A batch is taken whole or not at all.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Reading, RhPct, TempC, ZoneId};
use serde::{Deserialize, Serialize};
use store::{Said, Saying};

use super::{Answer, Shop};
use crate::{
    body::Body,
    compose::When,
    now::instant,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/readings").route(web::post().to(batch)))
        .service(web::resource("/zones/{id}/readings").route(web::get().to(series)).route(web::post().to(single)));
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    zone: Option<ZoneId>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
    temp_c: f64,
    rh_pct: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Batch {
    readings: Vec<Row>,
}

#[derive(Serialize)]
struct Taken {
    /// Readings written now.
    taken: usize,
    /// Readings that were there already, to the digit.
    known: usize,
}

impl Row {
    fn reading(&self, zone: Option<ZoneId>, now_ms: i64) -> Result<Reading, Problem> {
        let zone = zone.or_else(|| self.zone.clone()).ok_or_else(|| {
            Problem::new(Kind::Invalid, "zone is missing", "name the zone of each reading").about("zone")
        })?;
        let when = When { at: self.at, minutes_ago: self.minutes_ago };
        Ok(Reading {
            zone,
            at: instant(when.ms(now_ms)?),
            temp_c: TempC::new(self.temp_c)?,
            rh_pct: RhPct::new(self.rh_pct)?,
        })
    }
}

async fn batch(shop: Shop, body: Body<Batch>) -> Answer {
    let now_ms = shop.now().ms();
    let mut readings = Vec::with_capacity(body.value.readings.len());
    for (i, row) in body.value.readings.iter().enumerate() {
        let checked = row.reading(None, now_ms).and_then(|reading| {
            shop.bench().admit_reading(&reading, now_ms)?;
            Ok(reading)
        });
        readings.push(checked.map_err(|mut problem| {
            let field = problem.field.take().unwrap_or_default();
            problem.about(format!("readings[{i}].{field}").trim_end_matches('.'))
        })?);
    }
    take(&shop, readings, &body).await
}

async fn single(shop: Shop, id: web::Path<String>, body: Body<Row>) -> Answer {
    let zone = shop.bench().zones().find(|set| set.id.as_str() == *id).map(|set| set.id.clone());
    let zone = zone.ok_or_else(|| Problem::not_found("zone", &id))?;
    if let Some(other) = body.value.zone.as_ref().filter(|other| **other != zone) {
        let detail = format!("the body says zone \"{other}\", the address \"{zone}\"");
        return Err(Problem::new(Kind::Invalid, detail, "leave zone out, or post to its own address").about("zone"));
    }
    let reading = body.value.reading(Some(zone), shop.now().ms())?;
    take(&shop, vec![reading], &body).await
}

/// The zone, the instant and the reading make a reading's identity, so that a repeated one needs no key. One is
/// honoured all the same: without it a reading sent again after it was corrected would undo the correction.
async fn take<T>(shop: &Shop, mut readings: Vec<Reading>, body: &Body<T>) -> Answer {
    let sent = readings.len();
    {
        let bench = shop.bench();
        readings.retain(|reading| {
            let at_ms = reading.at.timestamp_millis();
            let known = bench.timeline(reading.zone.as_str()).and_then(|t| t.between(at_ms, at_ms).next());
            known.is_none_or(|(_, air)| air != clock::Air::new(reading.temp_c, reading.rh_pct))
        });
    }
    let taken = Taken { taken: readings.len(), known: sent - readings.len() };
    let mut text = serde_json::to_string(&taken).expect("two numbers have a JSON form");
    let answer = body.answer(&text);
    if taken.taken > 0 || answer.is_some() {
        let saying = Saying { readings, recorded_ms: shop.now().ms(), answer, ..Saying::default() };
        if let Said::Before(kept) = shop.say_once(saying).await? {
            text = kept.body;
        }
    }
    Ok(HttpResponse::Created().content_type("application/json").body(text))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Stretch {
    /// From when; a day ago if not said.
    from: Option<DateTime<Utc>>,
    /// Until when; 24 h ahead of now if not said.
    to: Option<DateTime<Utc>>,
}

#[derive(Serialize)]
struct Sample {
    at: String,
    temp_c: f64,
    rh_pct: f64,
}

#[derive(Serialize)]
struct Expected {
    #[serde(flatten)]
    likely: Sample,
    spread_k: f64,
    spread_rh_pct: f64,
}

#[derive(Serialize)]
struct Series {
    zone: String,
    recorded: Vec<Sample>,
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
    let sample = |at_ms, air: clock::Air| Sample {
        at: shop.rfc3339(at_ms),
        temp_c: round(air.temp_c),
        rh_pct: round(air.rh_pct),
    };
    let recorded: Vec<Sample> =
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
