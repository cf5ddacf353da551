//! The air of each zone: now, as a chart with what is expected, and the sensors that say it.

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::Bench;
use facts::SensorId;
use serde::Deserialize;

use super::frame::{Frame, show};
use crate::{
    chart::PLOT,
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/climate").route(web::get().to(climate)));
}

struct SensorRow {
    name: String,
    last: String,
    says: String,
    /// What is wrong with it, in words; empty when it is well.
    wrong: String,
    calibrated: String,
}

struct ZoneCard {
    id: String,
    name: String,
    temp: String,
    rh: String,
    dew_point: String,
    emc: String,
    /// In words: in the shop's band, or what is beyond it.
    band: String,
    in_band: bool,
    read: String,
    plans: Vec<String>,
    sensors: Vec<SensorRow>,
    curing: usize,
}

#[derive(Template)]
#[template(path = "climate.html")]
struct ClimatePage {
    frame: Frame,
    days: u32,
    spans: [u32; 3],
    from_ms: i64,
    to_ms: i64,
    from_at: String,
    to_at: String,
    time_zone: String,
    temp_sign: &'static str,
    plot: (f64, f64),
    band: String,
    zones: Vec<ZoneCard>,
}

const DAY_MS: i64 = 24 * 3_600_000;
/// How far back a chart can be asked for, days; each looks a day ahead.
const SPANS: [u32; 3] = [1, 3, 14];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Span {
    days: Option<u32>,
}

async fn climate(shop: Shop, span: web::Query<Span>) -> Answer {
    let days = span.days.unwrap_or(3);
    if !(1..=90).contains(&days) {
        let detail = format!("days is {days}; it must be 1 to 90");
        return Err(Problem::new(Kind::Invalid, detail, "leave it out for 3").about("days"));
    }
    show(&shop.climate_page(days), HttpResponse::Ok())
}

impl State {
    fn climate_page(&self, days: u32) -> ClimatePage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let (from_ms, to_ms) = (now_ms - i64::from(days) * DAY_MS, now_ms + DAY_MS);
        let at = |ms| crate::now::instant(ms).format("%Y-%m-%dT%H:%M:%SZ").to_string();
        let (unit, [temp, rh]) = (self.settings.shop.temp_unit, self.settings.shop.band());
        ClimatePage {
            frame: self.frame("/climate"),
            days,
            spans: SPANS,
            from_ms,
            to_ms,
            from_at: at(from_ms),
            to_at: at(to_ms),
            time_zone: self.zone.name().into(),
            temp_sign: unit.sign(),
            plot: PLOT,
            band: format!(
                "{:.0} to {:.0} {}, {:.0} to {:.0} % RH",
                unit.of(temp.0),
                unit.of(temp.1),
                unit.sign(),
                rh.0,
                rh.1
            ),
            zones: bench
                .zone_lines(now_ms, usize::MAX)
                .iter()
                .map(|line| self.zone_card(&bench, line, now_ms))
                .collect(),
        }
    }

    fn zone_card(&self, bench: &Bench, line: &clock::ZoneLine<'_>, now_ms: i64) -> ZoneCard {
        let (air, unit, [temp, rh]) = (line.air, self.settings.shop.temp_unit, self.settings.shop.band());
        let beyond: Vec<&str> = [
            (air.temp_c < temp.0, "too cold"),
            (air.temp_c > temp.1, "too warm"),
            (air.rh_pct < rh.0, "too dry"),
            (air.rh_pct > rh.1, "too damp"),
        ]
        .into_iter()
        .filter_map(|(is_so, word)| is_so.then_some(word))
        .collect();
        let of_zone = bench.plans().values().filter(|plan| plan.said.zone == *line.zone);
        let standing =
            of_zone.filter(|plan| plan.cancelled_ms.is_none() && plan.said.until.timestamp_millis() > now_ms);
        let plan = |plan: &clock::Planned| {
            let said = &plan.said;
            let (from, until) = (said.from.timestamp_millis(), said.until.timestamp_millis());
            let (from, until) = (self.clock_text(from, now_ms), self.clock_text(until, now_ms));
            format!("{} from {from} to {until}", unit.text(said.temp_c.get()))
        };
        ZoneCard {
            id: line.zone.to_string(),
            name: line.name.into(),
            temp: unit.text(air.temp_c),
            rh: format!("{:.0} % RH", air.rh_pct),
            dew_point: physics::air::dew_point_c(air.temp_c, air.rh_pct).map_or("–".into(), |dew_c| unit.text(dew_c)),
            emc: physics::wood::emc_pct(air.temp_c, air.rh_pct).map_or("–".into(), |emc| format!("{emc:.1} % MC")),
            in_band: beyond.is_empty(),
            band: if beyond.is_empty() { "in the shop's band".into() } else { beyond.join(", ") },
            read: match line.read_ms {
                Some(ms) => format!("read {}", self.clock_text(ms, now_ms)),
                None => "assumed from its set-point: no sensor has spoken".into(),
            },
            plans: standing.map(plan).collect(),
            sensors: bench
                .sensors(line.zone.as_str())
                .into_iter()
                .map(|(sensor, track)| self.sensor_row(bench, line.zone, sensor, track, now_ms))
                .collect(),
            curing: bench.cures_in(line.zone.as_str()).count(),
        }
    }

    fn sensor_row(
        &self,
        bench: &Bench,
        zone: &facts::ZoneId,
        sensor: Option<&SensorId>,
        track: &clock::Timeline,
        now_ms: i64,
    ) -> SensorRow {
        let silent_ms = i64::from(self.settings.sensors.silent_minutes) * 60_000;
        let note = self.intake.notes().get(&(zone.clone(), sensor.cloned())).cloned().unwrap_or_default();
        let mut wrong = Vec::new();
        if let Some(since_ms) = clock::silent_since(track, silent_ms, now_ms) {
            wrong.push(format!("silent since {}", self.clock_text(since_ms, now_ms)));
        }
        let held: usize = note.held.values().sum();
        if held > 0 {
            wrong.push(format!("{held} of its readings are held"));
        }
        if let Some(minutes) = note.clock_behind_minutes() {
            wrong.push(format!(
                "its clock is about {} min {}",
                minutes.abs(),
                if minutes > 0.0 { "behind" } else { "ahead" }
            ));
        }
        let calibrated = sensor.and_then(|sensor| bench.calibrations().get(sensor)?.last());
        SensorRow {
            name: sensor.map_or_else(|| "without a name".into(), ToString::to_string),
            last: track.last().map_or_else(|| "never".into(), |(at_ms, _)| self.clock_text(at_ms, now_ms)),
            says: track.last().map_or_else(String::new, |(_, air)| {
                format!("{}, {:.0} % RH", self.settings.shop.temp_unit.text(air.temp_c), air.rh_pct)
            }),
            wrong: wrong.join("; "),
            calibrated: calibrated.map_or_else(|| "never held against salt".into(), |c| self.day_text(c.from_ms)),
        }
    }
}
