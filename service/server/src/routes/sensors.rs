//! Sensors: what is known of each, and holding a hygrometer against saturated salts.

use std::collections::BTreeMap;

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Fact, HygrometerCalibrated, Salt, SaltPoint, SensorId};
use physics::air::{SaturatedSalt, salt_rh_pct};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    body::Body,
    compose::When,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/zones/{id}/sensors").route(web::get().to(of_zone))).service(
        web::resource("/sensors/{id}/calibrations").route(web::get().to(list)).route(web::post().to(calibrate)),
    );
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones/{id}/sensors", "The sensors of a zone").lists::<SensorWire>();
    api.get("/sensors/{id}/calibrations", "Calibrations of a hygrometer").lists::<CalibrationWire>();
    api.post("/sensors/{id}/calibrations", "A calibration over saturated salts")
        .takes::<Calibrate>(json!({"points": [{"salt": "sodium_chloride", "temp_c": 20, "read_rh_pct": 73.5}]}))
        .makes::<CalibrationWire>();
}

#[derive(Serialize, utoipa::ToSchema)]
struct SensorWire {
    /// None for readings that name no sensor.
    sensor: Option<String>,
    readings: usize,
    last_reading_at: Option<String>,
    temp_c: Option<f64>,
    /// As it was read.
    rh_pct: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    silent_since: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    calibrated_at: Option<String>,
    /// Since the service started: readings that came out of order, corrections, and what was held, by reason.
    late: usize,
    corrected: usize,
    held: BTreeMap<&'static str, usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

async fn of_zone(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let zone = bench.zone(&id).ok_or_else(|| Problem::not_found("zone", &id))?;
    let (now_ms, notes) = (shop.now().ms(), shop.intake.notes());
    let silent_ms = i64::from(shop.settings.sensors.silent_minutes) * 60_000;
    let wire = |(sensor, track): (Option<&SensorId>, &clock::Timeline)| {
        let last = track.last();
        let note = notes.get(&(zone.id.clone(), sensor.cloned())).cloned().unwrap_or_default();
        let calibrated = sensor.and_then(|sensor| bench.calibrations().get(sensor)?.last());
        SensorWire {
            sensor: sensor.map(ToString::to_string),
            readings: track.len(),
            last_reading_at: last.map(|(at_ms, _)| shop.rfc3339(at_ms)),
            temp_c: last.map(|(_, air)| air.temp_c),
            rh_pct: last.map(|(_, air)| air.rh_pct),
            silent_since: clock::silent_since(track, silent_ms, now_ms).map(|ms| shop.rfc3339(ms)),
            calibrated_at: calibrated.map(|calibration| shop.rfc3339(calibration.from_ms)),
            late: note.late,
            corrected: note.corrected,
            note: note.clock_behind_minutes().map(|minutes| match minutes {
                behind if behind > 0.0 => format!("its clock is about {behind} min behind; a time zone?"),
                ahead => format!("its clock is about {} min ahead; a time zone?", -ahead),
            }),
            held: note.held,
        }
    };
    Ok(HttpResponse::Ok().json(List::whole(bench.sensors(&id).into_iter().map(wire))))
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Calibrate {
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
    points: Vec<Point>,
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = SaltReading)]
pub(crate) struct Point {
    #[schema(value_type = crate::twins::Salt)]
    pub(crate) salt: Salt,
    pub(crate) temp_c: f64,
    pub(crate) read_rh_pct: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct CalibrationWire {
    sensor: String,
    /// Readings from then on are corrected.
    at: String,
    #[schema(value_type = Vec<crate::twins::SaltPoint>)]
    points: Vec<SaltPoint>,
    gain: f64,
    offset_rh_pct: f64,
    next_due_at: String,
}

fn wire(state: &State, calibration: &clock::Calibration) -> CalibrationWire {
    let made = &calibration.calibrated;
    let good_ms = i64::from(state.settings.sensors.calibrate_days) * 86_400_000;
    CalibrationWire {
        sensor: made.sensor.to_string(),
        at: state.rfc3339(calibration.from_ms),
        points: made.points.clone(),
        gain: (made.gain * 1e4).round() / 1e4,
        offset_rh_pct: (made.offset_rh_pct * 100.0).round() / 100.0,
        next_due_at: state.rfc3339(calibration.from_ms + good_ms),
    }
}

async fn list(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let of_sensor = bench.calibrations().get(id.as_str()).map_or(&[][..], Vec::as_slice);
    Ok(HttpResponse::Ok().json(List::whole(of_sensor.iter().map(|calibration| wire(&shop, calibration)))))
}

async fn calibrate(shop: Shop, id: web::Path<String>, body: Body<Calibrate>) -> Answer {
    let sensor = SensorId::new(id.as_str()).map_err(|_| Problem::not_found("sensor", &id))?;
    let now_ms = shop.now().ms();
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(now_ms)?;
    let calibrated = calibrated(sensor.clone(), &body.value.points)?;
    shop.say_fact(Fact::HygrometerCalibrated(calibrated), at_ms, "bench", body.answer(&id)).await?;
    let bench = shop.bench();
    let made = bench.calibrations().get(&sensor).and_then(|all| all.iter().rfind(|made| made.from_ms <= at_ms));
    Ok(HttpResponse::Created().json(made.map(|made| wire(&shop, made))))
}

/// What a hygrometer read over salts, held against the published humidity over each.
///
/// # Errors
/// A temperature the table does not reach, no humidity, or a correction only a broken sensor would need.
pub(crate) fn calibrated(sensor: SensorId, points: &[Point]) -> Result<HygrometerCalibrated, Problem> {
    let points = points.iter().enumerate().map(|(i, point)| point.held_against_published(i));
    Ok(HygrometerCalibrated::new(sensor, points.collect::<Result<_, _>>()?)?)
}

impl Point {
    fn held_against_published(&self, i: usize) -> Result<SaltPoint, Problem> {
        let salt = match self.salt {
            Salt::SodiumChloride => SaturatedSalt::SodiumChloride,
            Salt::MagnesiumChloride => SaturatedSalt::MagnesiumChloride,
        };
        let true_rh_pct = salt_rh_pct(salt, self.temp_c).map_err(|e| {
            Problem::new(Kind::Invalid, e.to_string(), "do it at room temperature")
                .about(&format!("points[{i}].temp_c"))
        })?;
        let mend = "send what the hygrometer read in the box, in percent";
        let read_rh_pct = facts::within("read_rh_pct", self.read_rh_pct, 1.0, 100.0, "%", mend)?;
        Ok(SaltPoint { salt: self.salt, temp_c: self.temp_c, read_rh_pct, true_rh_pct })
    }
}
