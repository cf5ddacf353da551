//! A zone's air over time: as data thinned to what a chart can show, and as a chart.

use actix_web::{HttpResponse, http::header, web};
use chrono::{DateTime, Utc};
use clock::Air;
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::Mean;

use super::{Answer, Shop};
use crate::{
    chart::{self, Chart},
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/zones/{id}/series").route(web::get().to(series)))
        .service(web::resource("/zones/{id}/chart.svg").route(web::get().to(chart_svg)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones/{id}/series", "What a chart of the air is drawn from")
        .query::<Stretch>(json!({}))
        .gives::<Series>();
    api.get("/zones/{id}/chart.svg", "The chart of the air").query::<Stretch>(json!({})).gives_media("image/svg+xml");
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Stretch {
    /// From when; three days ago if not said.
    from: Option<DateTime<Utc>>,
    /// Until when; a day ahead if not said.
    to: Option<DateTime<Utc>>,
    /// About how many readings at most, 50 to 5000; 600 if not said.
    most: Option<usize>,
    /// Of a chart: on what ground it is drawn.
    #[serde(default)]
    look: chart::Look,
    /// Of a chart: how wide it is drawn, 320 to 2000 pixels; 1000 if not said.
    width: Option<u32>,
}

/// One reading with what follows from it.
#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = SeriesPoint)]
struct Point {
    at: String,
    temp_c: f64,
    rh_pct: f64,
    dew_point_c: Option<f64>,
    emc_pct: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ExpectedPoint {
    #[serde(flatten)]
    likely: Point,
    spread_k: f64,
    spread_rh_pct: f64,
}

/// A glue-up or coat that began in this stretch.
#[derive(Serialize, utoipa::ToSchema)]
struct Mark {
    at: String,
    cure: String,
}

/// A quarter of an hour of which only this is left: mean, least and most.
#[derive(Serialize, utoipa::ToSchema)]
struct MeanPoint {
    from: String,
    readings: u32,
    temp_c: [f64; 3],
    rh_pct: [f64; 3],
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = ChartSeries)]
struct Series {
    zone: String,
    readings: usize,
    /// What is left of the oldest part of the stretch.
    means: Vec<MeanPoint>,
    recorded: Vec<Point>,
    expected: Vec<ExpectedPoint>,
    marks: Vec<Mark>,
}

const DAY_MS: i64 = 24 * 3_600_000;

fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn point(state: &State, at_ms: i64, air: Air) -> Point {
    Point {
        at: state.rfc3339(at_ms),
        temp_c: round(air.temp_c),
        rh_pct: round(air.rh_pct),
        dew_point_c: physics::air::dew_point_c(air.temp_c, air.rh_pct).ok().map(round),
        emc_pct: physics::wood::emc_pct(air.temp_c, air.rh_pct).ok().map(round),
    }
}

/// What both answers show.
struct Gathered {
    chart: Chart,
    mark_ids: Vec<String>,
    readings: usize,
    means: Vec<Mean>,
}

async fn gather(shop: &Shop, id: &str, stretch: &Stretch) -> Result<Gathered, Problem> {
    let most = stretch.most.unwrap_or(600);
    if !(50..=5000).contains(&most) {
        let detail = format!("most is {most}; it must be 50 to 5000");
        return Err(Problem::new(Kind::Invalid, detail, "leave it out for 600").about("most"));
    }
    let width_px = chart::width_px(stretch.width)?;
    let now_ms = shop.now().ms();
    let ms = |at: Option<DateTime<Utc>>, default_ms| at.map_or(default_ms, |at| at.timestamp_millis());
    let (from_ms, to_ms) = (ms(stretch.from, now_ms - 3 * DAY_MS), ms(stretch.to, now_ms + DAY_MS));
    if from_ms >= to_ms {
        let detail = "from is not before to";
        return Err(Problem::new(Kind::Invalid, detail, "swap them, or leave one out").about("from"));
    }
    let of_zone = id.to_string();
    let means = shop.read(move |database| database.means(&of_zone, from_ms, to_ms)).await?;
    let bench = shop.bench();
    let zone = bench.zones().find(|set| set.id.as_str() == id).ok_or_else(|| Problem::not_found("zone", id))?;
    let timeline = bench.timeline(id).ok_or_else(|| Problem::not_found("zone", id))?;
    let all: Vec<(i64, Air)> = timeline.between(from_ms, to_ms).collect();
    let begins_ms = timeline.last().map_or(now_ms, |(at_ms, _)| at_ms);
    let outlook = bench.outlook(id).map_or(&[][..], |outlook| &outlook.steps);
    let expected = outlook.iter().enumerate().map(|(step, e)| (begins_ms + step as i64 * clock::STEP_MS, *e));
    let begun = bench.cures().iter().filter(|cure| cure.begun.zone.as_str() == id && cure.withdrawn.is_none());
    let marks = begun.map(|cure| (cure.begun.started_at.timestamp_millis(), cure.begun.id.to_string()));
    let (mark_ms, mark_ids) = marks.filter(|(at_ms, _)| (from_ms..=to_ms).contains(at_ms)).unzip();
    let middle = |m: &Mean| (m.from_ms + 450_000, Air { temp_c: m.temp_c[0], rh_pct: m.rh_pct[0] });
    let old = means.iter().map(middle);
    let chart = Chart {
        name: zone.name.clone(),
        zone: shop.zone,
        from_ms,
        to_ms,
        now_ms,
        recorded: old.chain(clock::thinned(&all, most)).collect(),
        expected: expected.filter(|(at_ms, _)| (from_ms..=to_ms).contains(at_ms)).collect(),
        mark_ms,
        temp_unit: shop.settings.shop.temp_unit,
        target: shop.settings.shop.band(),
        look: stretch.look,
        width_px,
    };
    Ok(Gathered { chart, mark_ids, readings: all.len(), means })
}

async fn series(shop: Shop, id: web::Path<String>, stretch: web::Query<Stretch>) -> Answer {
    let Gathered { chart, mark_ids, readings, means } = gather(&shop, &id, &stretch).await?;
    let recorded = &chart.recorded[means.len()..];
    let mean = |m: &Mean| MeanPoint {
        from: shop.rfc3339(m.from_ms),
        readings: m.n,
        temp_c: m.temp_c.map(round),
        rh_pct: m.rh_pct.map(round),
    };
    let expected = |(at_ms, e): &(i64, clock::Expected)| ExpectedPoint {
        likely: point(&shop, *at_ms, e.air),
        spread_k: round(e.spread_k),
        spread_rh_pct: round(e.spread_rh_pct),
    };
    Ok(HttpResponse::Ok().json(Series {
        zone: id.to_string(),
        readings,
        means: means.iter().map(mean).collect(),
        recorded: recorded.iter().map(|(at_ms, air)| point(&shop, *at_ms, *air)).collect(),
        expected: chart.expected.iter().map(expected).collect(),
        marks: chart
            .mark_ms
            .iter()
            .zip(mark_ids)
            .map(|(at_ms, cure)| Mark { at: shop.rfc3339(*at_ms), cure })
            .collect(),
    }))
}

async fn chart_svg(shop: Shop, id: web::Path<String>, stretch: web::Query<Stretch>) -> Answer {
    let gathered = gather(&shop, &id, &stretch).await?;
    let svg = chart::svg(&gathered.chart).map_err(|why| Problem::new(Kind::Internal, why, "the log says more"))?;
    Ok(HttpResponse::Ok().content_type("image/svg+xml").insert_header((header::CACHE_CONTROL, "no-store")).body(svg))
}
