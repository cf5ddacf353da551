//! One glue-up or coat: how long the assembly time lasts, when the clamps can come off, what was found, what to mind;
//! taking the clamps off, and taking it back within a minute of registering it. What is put right later is in
//! `cure/put_right.rs`.

mod put_right;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Bench, Cure};
use facts::{CureId, Fact, Level, Meets};

use super::{
    board::names,
    choice::{self, Choice},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
    looked_at::LookedAt,
    moment::Moment,
};
use crate::{
    alerts::words::{ESTIMATE, place, spoken},
    problem::{Kind, Problem},
    routes::{ABRADE, Answer, Shop},
    state::State,
    wire::state_of,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/cures/{id}").route(web::get().to(cure)))
        .service(web::resource("/cures/{id}/clamps-off").route(web::post().to(clamps_off)))
        .service(web::resource("/cures/{id}/undo").route(web::post().to(undo)))
        .configure(put_right::configure);
}

/// How long a glue-up may be taken back as if it had never been registered, ms.
const UNDO_MS: i64 = 60_000;

/// How long an assembly time that is over is still shown above all, ms: longer, and nothing can be done about it.
const ASSEMBLY_SHOWN_MS: i64 = 15 * 60_000;

struct MilestoneRow {
    stage: String,
    closes: bool,
    reached: bool,
    /// "earliest 16:40, likely 17:05", where it has such times.
    times: String,
    told: Option<Moment>,
    next: String,
}

struct FindingRow {
    level: &'static str,
    what: String,
    mend: String,
}

#[derive(Template)]
#[template(path = "cure.html")]
struct CurePage {
    frame: Frame,
    key: String,
    id: String,
    place: String,
    material: String,
    zone: String,
    started: String,
    state: &'static str,
    /// Why a stage that has not come has no time.
    never: &'static str,
    /// What to do before the next coat, once the window to recoat has closed.
    recoat: &'static str,
    assumed: bool,
    /// Until when it can be undone, while it can.
    undo_until_ms: Option<i64>,
    /// While the parts can still be moved: from the rule's assembly time.
    assembly: Option<Moment>,
    /// Minutes the mixed or opened material stays workable, where the rule says it.
    working_life_min: Option<f64>,
    /// When the clamps can come off, or the coat lets the job go on.
    release: Option<(String, Option<Moment>)>,
    milestones: Vec<MilestoneRow>,
    findings: Vec<FindingRow>,
    cautions: Vec<String>,
    clamps_on: String,
    looked_at: LookedAt,
    /// Whether it is still to come, so that it can be carried or withdrawn.
    open: bool,
    /// The light it had and the light it takes, where it waits for more.
    light: Option<(String, String)>,
    /// Where it may be carried.
    zones: Vec<Choice>,
    reasons: [&'static str; 4],
    job: Option<(String, String)>,
    /// The version of the rule it goes by, whether another is in force, and whether it can be moved.
    version: String,
    behind: bool,
    next_step: String,
    gap: String,
    estimate: &'static str,
}

async fn cure(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
    show(&shop.cure_page(&bench, cure), HttpResponse::Ok())
}

impl State {
    pub(super) fn material_name(&self, cure: &Cure) -> String {
        let rule = self.rulebook.rule(&cure.begun.rule_version);
        rule.map_or_else(|_| cure.begun.material.to_string(), |rule| rule.sheet.name.clone())
    }

    fn cure_page(&self, bench: &Bench, cure: &Cure) -> CurePage {
        let (now_ms, begun) = (self.now().ms(), &cure.begun);
        let line = bench.cure_line(cure, now_ms);
        let milestones = bench.milestones(cure, now_ms);
        let told = |m: &clock::Milestone<'_>| {
            let at_ms = if m.target.meets == Meets::Closes { m.earliest_ms } else { m.safe_ms };
            at_ms.map(|at_ms| self.moment(at_ms, now_ms))
        };
        let assembly = milestones.iter().find(|m| m.target.stage == "assembly_closes").and_then(told);
        let assembly = assembly.filter(|closes| now_ms - closes.at_ms < ASSEMBLY_SHOWN_MS);
        let release = cure.releasing().map(|m| (spoken(&milestones[m].target.stage), told(&milestones[m])));
        let sheet = self.rulebook.rule(&begun.rule_version).map(|rule| rule.sheet.clone()).ok();
        let job = begun.job.as_ref().and_then(|id| bench.jobs().get(id));
        CurePage {
            frame: self.frame("/"),
            key: new_key(),
            id: begun.id.to_string(),
            place: place(bench, cure),
            material: self.material_name(cure),
            zone: bench.zone(line.zone.as_str()).map_or_else(String::new, |zone| zone.name.clone()),
            started: self.clock_text(begun.started_at.timestamp_millis(), now_ms),
            state: if state_of(cure) == "closed" && !cure.all_told() { never(cure) } else { state_of(cure) },
            never: never(cure),
            recoat: self.abrade(bench, cure, now_ms),
            assumed: line.climate.is_assumed(),
            undo_until_ms: can_be_undone(cure, now_ms).then_some(cure.recorded_ms + UNDO_MS),
            assembly,
            working_life_min: sheet.as_ref().and_then(|sheet| sheet.working_life_min),
            release,
            findings: self.findings(bench, cure, now_ms).into_iter().map(finding_row).collect(),
            cautions: sheet.map_or_else(Vec::new, |sheet| sheet.cautions),
            clamps_on: names(bench, &cure.clamps_on),
            looked_at: self.looked_at(bench, cure, now_ms),
            version: begun.rule_version.to_string(),
            behind: bench.in_force().get(&begun.material) != Some(&begun.rule_version),
            open: cure.is_open(),
            zones: choice::zones(bench, |_| false)
                .into_iter()
                .filter(|zone| zone.value != line.zone.as_str())
                .collect(),
            reasons: put_right::REASONS,
            light: begun.coat.as_ref().filter(|_| cure.waits_for_light()).and_then(|laid| {
                let had = format!("{:.0}", laid.exposure_mj_cm2.unwrap_or(0.0));
                Some((had, format!("{:.0}", laid.wants_mj_cm2?.ceil())))
            }),
            job: job.map(|job| (job.opened.id.to_string(), job.opened.title.clone())),
            next_step: bench.step_after(cure).map_or_else(String::new, |step| step.title.clone()),
            gap: begun
                .joint
                .as_ref()
                .map_or_else(String::new, |_| self.settings.shop.length_unit.text(begun.joint_state.gap_um / 1000.0)),
            milestones: milestones.iter().map(|m| self.milestone_row(m, told(m), now_ms)).collect(),
            estimate: ESTIMATE,
        }
    }

    /// "Abrade before recoat", if it is so.
    pub(super) fn abrade(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> &'static str {
        let on_top = cure.covered_ms().is_none() && cure.withdrawn.is_none();
        let closed = on_top && matches!(bench.recoat_window(cure, now_ms), clock::RecoatWindow::Closed(_));
        if closed { ABRADE } else { "" }
    }

    fn milestone_row(&self, m: &clock::Milestone<'_>, told: Option<Moment>, now_ms: i64) -> MilestoneRow {
        let text = |at_ms: i64| self.clock_text(at_ms, now_ms);
        MilestoneRow {
            stage: spoken(&m.target.stage),
            closes: m.target.meets == Meets::Closes,
            reached: m.reached,
            times: match (m.earliest_ms, m.likely_ms) {
                (None, _) => String::new(),
                (Some(earliest), None) => format!("earliest {}", text(earliest)),
                (Some(earliest), Some(likely)) => format!("earliest {}, likely {}", text(earliest), text(likely)),
            },
            told,
            next: m.target.next.clone(),
        }
    }
}

/// Why a stage of a cure that has not come has no time.
pub(super) fn never(cure: &Cure) -> &'static str {
    match state_of(cure) {
        "curing" => "not in this air",
        // One that ended by itself has told all its stages.
        "closed" => "closed with its job",
        ended => ended,
    }
}

fn finding_row(finding: facts::Finding) -> FindingRow {
    let level = match finding.level {
        Level::Note => "note",
        Level::Caution => "caution",
        Level::Defect => "defect",
    };
    FindingRow { level, what: finding.what, mend: finding.mend }
}

/// Whether a cure was registered less than a minute ago.
fn can_be_undone(cure: &Cure, now_ms: i64) -> bool {
    cure.withdrawn.is_none() && cure.is_open() && now_ms - cure.recorded_ms <= UNDO_MS
}

async fn clamps_off(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let (cure, clamps) = {
        let bench = shop.bench();
        let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
        (cure.begun.id.clone(), cure.clamps_on.clone())
    };
    let kept = fields.answer(&format!("/cures/{id}/clamps-off"), &id);
    shop.clamps_off(cure, clamps, fields.pressed_ms(shop.now().ms())?, kept).await?;
    match fields.get("from") {
        Some("cure" | "job") => back(&shop, &id, &fields),
        Some("plan") => {
            shop.follow_tick().await?;
            see_other("/plan")
        }
        _ => see_other("/"),
    }
}

/// To where a button of a cure was pressed: the page of its job, or its own.
pub(super) fn back(shop: &State, id: &str, fields: &Fields) -> Answer {
    let bench = shop.bench();
    let job = bench.cure(id).and_then(|cure| cure.begun.job.as_ref()).filter(|_| fields.get("from") == Some("job"));
    see_other(&job.map_or_else(|| format!("/cures/{id}"), |job| format!("/jobs/{job}")))
}

async fn undo(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let pressed_ms = fields.pressed_ms(shop.now().ms())?;
    let cure: CureId = {
        let bench = shop.bench();
        let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
        // A little longer than the button is shown: it was pressed in time.
        if !can_be_undone(cure, pressed_ms - 5_000) {
            let mend = "if it was a mistake, withdraw it on its page, with the reason";
            return Err(Problem::new(Kind::Conflict, "the minute to undo it is over", mend));
        }
        cure.begun.id.clone()
    };
    let fact = Fact::CureWithdrawn { cure, reason: "undone at once".into() };
    let kept = fields.answer(&format!("/cures/{id}/undo"), &id);
    shop.say_fact(fact, pressed_ms, "bench", kept).await?;
    see_other("/")
}
