//! Trying a draft from the editor's page: what it makes of some air beside the version in force, and which open glue-ups
//! and coats it would move. The page comes back with the draft still in the editor; nothing is put in force.

use std::sync::Arc;

use actix_web::{HttpResponse, ResponseError, web};
use facts::MaterialId;
use rules::{ExpectedRow, Rule};
use serde_json::{Value, json};

use super::{
    form::Fields,
    frame::show,
    moves::{MovingCure, hours_text, shift_text},
    rules::RulePage,
    trial_form::asked,
};
use crate::{
    alerts::words::{ESTIMATE, spoken},
    course_chart::{self, Trial, Width},
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        rules::{
            drafted, material,
            trying::{MOST_CURES, ended, in_force, trying},
        },
    },
    state::State,
    workshop::{Course, MovedCure, Point, StageTimes},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rules/{material}/try").route(web::post().to(attempt)));
}

/// Rows of the table of a curve, and how many points of the curve stand between two of them.
pub(super) const ROWS: usize = 12;
pub(super) const BETWEEN: usize = 8;

/// One stage, in hours from the start.
pub(super) struct StageRow {
    pub(super) stage: String,
    pub(super) draft: [String; 3],
    pub(super) beside: [String; 3],
    pub(super) by: String,
}

/// One row of the curves as numbers.
pub(super) struct PointRow {
    pub(super) after: String,
    pub(super) air: String,
    pub(super) numbers: Vec<String>,
}

/// What came of trying.
pub(super) struct Tried {
    pub(super) air: String,
    /// The draft is the text in force.
    pub(super) same: bool,
    pub(super) has_beside: bool,
    /// What its own expected values came to.
    pub(super) table: String,
    pub(super) findings: Vec<(String, String)>,
    pub(super) charts: [String; 2],
    /// Every point of the curves, for the chart to be read out.
    pub(super) read_out: String,
    pub(super) last_point: usize,
    pub(super) temp_sign: &'static str,
    pub(super) stages: Vec<StageRow>,
    pub(super) points: Vec<PointRow>,
    pub(super) looked_at: String,
    pub(super) moves: Vec<MovingCure>,
    pub(super) estimate: &'static str,
}

async fn attempt(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let material = material(&id)?;
    let tried = tried(&shop, &material, &fields).await;
    let mut page = RulePage::of_form(&shop, &material, &fields);
    match tried {
        Ok(tried) => {
            page.tried = Some(tried);
            show(&page, HttpResponse::Ok())
        }
        Err(wrong) => {
            page.wrong = wrong.to_string();
            show(&page, HttpResponse::build(wrong.status_code()))
        }
    }
}

async fn tried(shop: &Shop, material: &MaterialId, fields: &Fields) -> Result<Tried, Problem> {
    let now_ms = shop.now().ms();
    let (trying, from_ms) = trying(shop, &asked(fields, shop)?)?;
    let (draft, rows) = drafted(shop, Some(material), RulePage::text_of(fields)).await??;
    let beside = in_force(shop, material)?;
    let (state, of, hours) = (shop.get_ref().clone(), material.clone(), trying.hours);
    let run = move || {
        let (moves, looked_at, open) = state.what_moves(of.as_str(), &draft, MOST_CURES)?;
        Ok::<_, Problem>(Run {
            draft: state.course(&draft, &trying)?,
            beside: beside.as_ref().map(|rule| state.course(rule, &trying)).transpose()?,
            same: beside.is_some_and(|rule: Arc<Rule>| rule.version == draft.version),
            moves,
            looked_at,
            open,
        })
    };
    // Scripts are asked and curves are summed: not on a thread that answers requests.
    let run = tokio::task::spawn_blocking(run).await.map_err(|_| ended())??;
    let air = air_text(shop, fields, from_ms, hours, now_ms);
    shop.view(&run, hours, air, table_text(&rows))
}

/// What trying gave, before it is put into words.
struct Run {
    draft: Course,
    beside: Option<Course>,
    /// The draft is the text in force.
    same: bool,
    moves: Vec<MovedCure>,
    looked_at: usize,
    open: usize,
}

/// In what it was tried.
fn air_text(state: &State, fields: &Fields, from_ms: Option<i64>, hours: f64, now_ms: i64) -> String {
    let said = |name: &str| fields.get(name).unwrap_or_default();
    let span = format!("{hours} h");
    let Some(from_ms) = from_ms else {
        let sign = state.settings.shop.temp_unit.sign();
        return format!("constant air of {} {sign} and {} % RH, for {span}", said("temp"), said("rh_pct"));
    };
    let zone = state.bench().zone(said("zone")).map_or_else(String::new, |zone| zone.name.clone());
    let air = if from_ms == now_ms { "the forecast" } else { "the air recorded" };
    let beyond = from_ms < now_ms && from_ms as f64 + hours * 3.6e6 > now_ms as f64;
    let then = if beyond { ", from now on the forecast" } else { "" };
    format!("{air} of {zone} from {}{then}, for {span}", state.clock_text(from_ms, now_ms))
}

fn table_text(rows: &[ExpectedRow]) -> String {
    let bad: Vec<String> = rows.iter().filter(|row| !row.met).map(|row| row.row.to_string()).collect();
    match bad.is_empty() {
        true => format!("Its own {} expected values hold.", rows.len()),
        false => {
            let row = if bad.len() == 1 { "this row fails" } else { "these rows fail" };
            format!("Of its own expected values {row}: {}. Saved so it needs a reason.", bad.join(", "))
        }
    }
}

impl State {
    fn view(&self, run: &Run, hours: f64, air: String, table: String) -> Result<Tried, Problem> {
        let (draft, beside) = (&run.draft, run.beside.as_ref());
        let moves = {
            let (bench, now_ms) = (self.bench(), self.now().ms());
            run.moves.iter().map(|moved| self.moving_cure(&bench, moved, now_ms)).collect()
        };
        let mut stages: Vec<&str> = Vec::new();
        for course in std::iter::once(draft).chain(beside) {
            let new = course.milestones.iter().map(|of| of.stage.as_str()).filter(|stage| !stages.contains(stage));
            stages.extend(new.collect::<Vec<_>>());
        }
        let trial = Trial { hours, draft, beside, stages: &stages };
        let chart =
            |width| course_chart::svg(&trial, width).map_err(|e| Problem::new(Kind::Internal, e, "the log says more"));
        let every = |course: &'_ Course, n: usize| row_numbers(&course.curve[n * BETWEEN]);
        let point = |n: usize| {
            let at = &draft.curve[n * BETWEEN];
            let mut numbers = every(draft, n).to_vec();
            numbers.extend(beside.into_iter().flat_map(|course| every(course, n)));
            let air = format!("{}, {:.0} % RH", self.settings.shop.temp_unit.text(at.temp_c), at.rh_pct);
            PointRow { after: hours_text(at.hours), air, numbers }
        };
        Ok(Tried {
            air,
            same: run.same,
            has_beside: beside.is_some(),
            table,
            findings: draft.findings.iter().map(|found| (found.what.clone(), found.mend.clone())).collect(),
            charts: [chart(Width::Wide)?, chart(Width::Phone)?],
            read_out: read_out(draft, beside),
            last_point: draft.curve.len() - 1,
            temp_sign: self.settings.shop.temp_unit.sign(),
            stages: stages.iter().map(|stage| stage_row(stage, draft, beside)).collect(),
            points: (0..=ROWS).map(point).collect(),
            looked_at: looked_at_text(run),
            moves,
            estimate: ESTIMATE,
        })
    }
}

fn looked_at_text(run: &Run) -> String {
    let Run { looked_at, open, .. } = run;
    let of = if looked_at < open { format!("the first {looked_at} of {open}") } else { format!("{open}") };
    match (open, run.moves.len()) {
        (0, _) => "No glue-up or coat of it is open.".into(),
        (_, 0) => format!("Looked at {of} open glue-ups and coats of it: no time moves."),
        (_, moves) => format!(
            "Looked at {of} open glue-ups and coats of it: times of {moves} would move if they were moved to this text. Each keeps its version until somebody moves it."
        ),
    }
}

fn stage_row(stage: &str, draft: &Course, beside: Option<&Course>) -> StageRow {
    let of = |course: &Course| -> Option<[Option<f64>; 3]> {
        let StageTimes { earliest_h, likely_h, safe_h, .. } = course.milestones.iter().find(|of| of.stage == stage)?;
        Some([*earliest_h, *likely_h, *safe_h])
    };
    let (draft, beside) = (of(draft), beside.and_then(of));
    let texts = |times: Option<[Option<f64>; 3]>| match times {
        Some(times) => times.map(|hours| hours.map_or_else(|| "not in these hours".into(), hours_text)),
        None => ["no such stage"; 3].map(str::to_string),
    };
    let by = match (draft.and_then(|times| times[1]), beside.and_then(|times| times[1])) {
        (Some(draft), Some(beside)) if (draft - beside).abs() < 1.0 / 120.0 => "the same".into(),
        (Some(draft), Some(beside)) => shift_text(draft - beside),
        _ => "–".into(),
    };
    StageRow { stage: spoken(stage), draft: texts(draft), beside: texts(beside), by }
}

/// The points of both curves as `chart.js` reads them; the two are of the same hours.
fn read_out(draft: &Course, beside: Option<&Course>) -> String {
    let course = |at: &Point| json!({"rate": at.rate, "age_h": at.age_h, "strength": at.strength});
    let point = |(n, at): (usize, &Point)| {
        let beside = beside.and_then(|course| course.curve.get(n)).map(course);
        json!({"hours": at.hours, "temp_c": at.temp_c, "rh_pct": at.rh_pct, "draft": course(at), "beside": beside})
    };
    draft.curve.iter().enumerate().map(point).collect::<Value>().to_string()
}

/// Rate, age and strength as the table has them.
fn row_numbers(point: &Point) -> [String; 3] {
    let strength = point.strength.map_or_else(|| "–".into(), |share| format!("{:.0} %", 100.0 * share));
    [format!("{:.3}", point.rate), format!("{:.2}", point.age_h), strength]
}
