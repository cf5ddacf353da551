//! A rule fitted to what was seen at the bench: the fitted times beside the sheet's, what they rest on, and a draft to
//! look at before it is saved.

use actix_web::{HttpResponse, web};
use askama::Template;
use rules::fit::Fitted;

use super::frame::{Frame, show};
use crate::{
    alerts::words::spoken,
    routes::{Answer, Shop, fits::report_of, rules::material},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rules/{material}/fit").route(web::get().to(fit)));
}

struct StageRow {
    stage: String,
    rests_on: String,
    sheet: String,
    in_force: String,
    fitted: String,
    told: bool,
}

/// What somebody saw.
struct SeenRow {
    cure: String,
    says: String,
    withdrawn: bool,
}

#[derive(Template)]
#[template(path = "rule_fit.html")]
struct FitPage {
    frame: Frame,
    material: String,
    version: String,
    rests_on: String,
    stages: Vec<StageRow>,
    also: Vec<String>,
    cannot_tell: Vec<String>,
    left_out: Vec<String>,
    draft: Option<String>,
    seen: Vec<SeenRow>,
    estimate: &'static str,
}

fn interval(of: Fitted, unit: &str) -> String {
    format!("{:.3} ({:.3} to {:.3}){unit}", of.likely, of.low, of.high)
}

async fn fit(shop: Shop, id: web::Path<String>) -> Answer {
    let material = material(&id)?;
    let report = report_of(&shop, material.as_str()).await?;
    let stage = |of: &rules::fit::StageFit| StageRow {
        stage: spoken(&of.stage),
        rests_on: format!("{} seen on {}", of.observations, of.pieces),
        sheet: format!("{:.3} h", of.sheet_h),
        in_force: format!("{:.3} h", of.in_force_h),
        fitted: interval(of.fitted_h, " h"),
        told: of.told,
    };
    let mut also = Vec::new();
    if report.observations > 0 {
        also.push(format!("Its spread is {} times the sheet's.", interval(report.spread_times, "")));
    }
    also.extend(report.per_10_k.map(|of| format!("It goes {} times faster 10 K warmer.", interval(of, ""))));
    if report.air_assumed > 0 {
        also.push(format!("Part of the air of {} of them was assumed, not measured.", report.air_assumed));
    }
    let seen = {
        let (bench, now_ms) = (shop.bench(), shop.now().ms());
        let of_material = |seen: &&clock::Observation| {
            bench.cure(seen.made.cure.as_str()).is_some_and(|cure| cure.begun.material == material)
        };
        let mut all: Vec<_> = bench.observations().values().filter(of_material).collect();
        all.sort_by_key(|seen| std::cmp::Reverse(seen.at_ms));
        let row = |seen: &clock::Observation| SeenRow {
            cure: seen.made.cure.to_string(),
            says: format!(
                "{}: {} at {}",
                spoken(&seen.made.stage),
                if seen.made.reached { "there" } else { "not yet" },
                shop.clock_text(seen.at_ms, now_ms)
            ),
            withdrawn: seen.withdrawn.is_some(),
        };
        all.into_iter().map(row).collect()
    };
    let page = FitPage {
        frame: shop.frame("/rules"),
        material: material.to_string(),
        version: report.rule_version.to_string(),
        rests_on: format!(
            "{} observations of {} glue-ups or coats; every interval holds {:.0} %.",
            report.observations,
            report.pieces,
            report.level * 100.0
        ),
        stages: report.stages.iter().map(stage).collect(),
        also,
        cannot_tell: report.cannot_tell,
        left_out: report
            .left_out
            .iter()
            .map(|left| format!("{}, {}: {}", left.cure, spoken(&left.stage), left.why))
            .collect(),
        draft: report.draft,
        seen,
        estimate: report.estimate,
    };
    show(&page, HttpResponse::Ok())
}
