//! On paper: the job card that lies with the instrument, and the label for a clamp or the case. The code on both opens
//! the job's page on a phone.

use actix_web::{HttpRequest, HttpResponse, http::header, web};
use askama::Template;
use qrcode::{EcLevel, QrCode, render::svg};

use super::{
    choice::Cautions,
    cure::never,
    frame::{Frame, base_url, show},
    job::StepRow,
    jobs::instrument_name,
};
use crate::{
    alerts::words::{ESTIMATE, place},
    problem::{Kind, Problem},
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/jobs/{id}/card").route(web::get().to(card)))
        .service(web::resource("/jobs/{id}/label").route(web::get().to(label)))
        .service(web::resource("/jobs/{id}/code.svg").route(web::get().to(code)));
}

struct CureRow {
    what: String,
    material: String,
    begun: String,
    free: String,
    cautions: Vec<String>,
}

#[derive(Template)]
#[template(path = "card.html")]
struct CardPage {
    frame: Frame,
    id: String,
    title: String,
    instrument: String,
    due: String,
    printed: String,
    steps: Vec<StepRow>,
    cures: Vec<CureRow>,
    /// Cautions of what is still to be used.
    minded: Vec<Cautions>,
    notes: Vec<String>,
    estimate: &'static str,
}

#[derive(Template)]
#[template(path = "label.html")]
struct LabelPage {
    frame: Frame,
    id: String,
    title: String,
    instrument: String,
    due: String,
}

async fn card(shop: Shop, id: web::Path<String>) -> Answer {
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let job = bench.jobs().get(id.as_str()).ok_or_else(|| Problem::not_found("job", &id))?;
    let cure_row = |cure: &clock::Cure| {
        let free = cure.releasing().and_then(|m| bench.milestones(cure, now_ms).into_iter().nth(m));
        CureRow {
            what: place(&bench, cure),
            material: shop.material_name(cure),
            begun: shop.clock_text(cure.begun.started_at.timestamp_millis(), now_ms),
            free: free.map_or_else(String::new, |m| {
                let stage = crate::alerts::words::spoken(&m.target.stage);
                match m.safe_ms {
                    Some(ms) => format!("{stage} {}", shop.clock_text(ms, now_ms)),
                    None => format!("{stage}: {}", never(cure)),
                }
            }),
            cautions: shop
                .rulebook
                .rule(&cure.begun.rule_version)
                .map_or_else(|_| vec![], |r| r.sheet.cautions.clone()),
        }
    };
    let cures = job.cures.iter().filter_map(|id| bench.cure(id.as_str())).filter(|c| c.withdrawn.is_none());
    let page = CardPage {
        frame: shop.frame("/jobs"),
        id: job.opened.id.to_string(),
        title: job.opened.title.clone(),
        instrument: instrument_name(&bench, &job.opened.instrument),
        due: job.opened.due_at.map_or_else(String::new, |due| shop.day_text(due.timestamp_millis())),
        printed: shop.long_text(now_ms),
        steps: shop.step_rows(&bench, job, now_ms),
        cures: cures.map(cure_row).collect(),
        minded: shop.cautions_ahead(&bench, job),
        notes: job.notes.iter().map(|note| note.text.clone()).collect(),
        estimate: ESTIMATE,
    };
    show(&page, HttpResponse::Ok())
}

async fn label(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let job = bench.jobs().get(id.as_str()).ok_or_else(|| Problem::not_found("job", &id))?;
    let page = LabelPage {
        frame: shop.frame("/jobs"),
        id: job.opened.id.to_string(),
        title: job.opened.title.clone(),
        instrument: instrument_name(&bench, &job.opened.instrument),
        due: job.opened.due_at.map_or_else(String::new, |due| shop.day_text(due.timestamp_millis())),
    };
    show(&page, HttpResponse::Ok())
}

/// The address of a job's page as a code (ISO/IEC 18004, level M, with its quiet zone of four modules).
async fn code(shop: Shop, id: web::Path<String>, request: HttpRequest) -> Answer {
    let known = shop.bench().jobs().contains_key(id.as_str());
    if !known {
        return Err(Problem::not_found("job", &id));
    }
    let base = base_url(&request, &shop.settings);
    let code = QrCode::with_error_correction_level(format!("{base}/jobs/{id}"), EcLevel::M)
        .map_err(|e| Problem::new(Kind::Invalid, e.to_string(), "set a shorter server.public_url"))?;
    let picture = code.render::<svg::Color<'_>>().min_dimensions(200, 200).quiet_zone(true).build();
    Ok(HttpResponse::Ok()
        .content_type("image/svg+xml")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(picture))
}
