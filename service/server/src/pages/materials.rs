//! The materials with a rule in force, their cautions, and the bottles on the shelf; what becomes of one is in
//! `materials/shelf.rs`.

mod clamps;
mod shelf;

use std::sync::PoisonError;

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use facts::{Fact, LotAdded, MaterialId};
use rules::MaterialKind;

use self::clamps::ClampRow;
use super::{
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    compose::new_id,
    now::instant,
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/materials").route(web::get().to(materials)))
        .service(web::resource("/lots").route(web::post().to(add_lot)))
        .configure(shelf::configure)
        .configure(clamps::configure);
}

struct LotRow {
    id: String,
    label: String,
    sealed: bool,
    /// In what it is counted, as far as that was said: then amounts may be in nothing else.
    units: Vec<&'static str>,
    opened: String,
    /// Past its time: why. Empty while it is good.
    stale: String,
}

struct MaterialCard {
    id: String,
    name: String,
    kind: &'static str,
    keeps: String,
    working_life: String,
    cautions: Vec<String>,
    sources: Vec<String>,
    lots: Vec<LotRow>,
}

#[derive(Template)]
#[template(path = "materials.html")]
struct MaterialsPage {
    frame: Frame,
    key: String,
    wrong: String,
    materials: Vec<MaterialCard>,
    clamps: Vec<ClampRow>,
    faults: Vec<String>,
}

async fn materials(shop: Shop) -> Answer {
    show(&shop.materials_page(String::new()), HttpResponse::Ok())
}

impl State {
    fn materials_page(&self, wrong: String) -> MaterialsPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let card = |(id, version): (&MaterialId, &facts::VersionId)| {
            let sheet = self.rulebook.rule(version).ok()?.sheet.clone();
            let on_shelf =
                |lot: &&LotAdded| bench.shelved(lot.id.as_str()).is_none_or(|shelved| shelved.closed.is_none());
            let lots = bench.lots().values().filter(|lot| lot.material == *id).filter(on_shelf);
            Some(MaterialCard {
                id: id.to_string(),
                kind: match sheet.kind {
                    MaterialKind::Adhesive => "adhesive",
                    MaterialKind::Finish => "finish",
                },
                keeps: sheet.storage_days.map_or_else(String::new, |days| format!("{days:.0} days once opened")),
                working_life: sheet.working_life_min.map_or_else(String::new, |min| format!("{min:.0} min once mixed")),
                lots: lots.map(|lot| self.lot_row(lot, sheet.storage_days, now_ms)).collect(),
                name: sheet.name,
                cautions: sheet.cautions,
                sources: sheet.sources,
            })
        };
        let faults = self.faults.read().unwrap_or_else(PoisonError::into_inner);
        MaterialsPage {
            frame: self.frame("/materials"),
            key: new_key(),
            wrong,
            clamps: self.clamp_rows(&bench, now_ms),
            materials: bench.in_force().iter().filter_map(card).collect(),
            faults: faults.values().map(|fault| format!("{fault}; {}", fault.mend)).collect(),
        }
    }

    fn lot_row(&self, lot: &LotAdded, storage_days: Option<f64>, now_ms: i64) -> LotRow {
        let best_before_ms = lot.best_before.map(|at| at.timestamp_millis());
        let open_days = lot.opened_at.map(|at| (now_ms - at.timestamp_millis()) / 86_400_000);
        let stale = match (best_before_ms, open_days, storage_days) {
            (Some(at_ms), ..) if at_ms < now_ms => format!("was good until {}", self.day_text(at_ms)),
            (_, Some(days), Some(keeps)) if days as f64 > keeps => format!("open for {days} days"),
            _ => String::new(),
        };
        LotRow {
            id: lot.id.to_string(),
            sealed: lot.opened_at.is_none(),
            units: lot.content.map_or_else(|| vec!["ml", "g"], |content| vec![content.unit()]),
            label: if lot.label.is_empty() { lot.id.to_string() } else { lot.label.clone() },
            opened: match lot.opened_at {
                Some(at) => format!("opened {}", self.day_text(at.timestamp_millis())),
                None => "not opened".into(),
            },
            stale,
        }
    }
}

async fn add_lot(shop: Shop, fields: Fields) -> Answer {
    match added(&shop, &fields).await {
        Ok(()) => see_other("/materials"),
        Err(problem) => wrong(&shop, &problem),
    }
}

/// The page with what was wrong.
fn wrong(shop: &Shop, problem: &Problem) -> Answer {
    show(&shop.materials_page(problem.to_string()), HttpResponse::build(problem.status_code()))
}

async fn added(shop: &Shop, fields: &Fields) -> Result<(), Problem> {
    let material: MaterialId = fields.id("material")?.ok_or_else(|| {
        Problem::new(Kind::Invalid, "the material is missing", "choose what is in the bottle").about("material")
    })?;
    let now_ms = shop.now().ms();
    let best_before = fields.get("best_before").map(|day| shop.end_of_day(day)).transpose()?;
    let lot = LotAdded {
        id: new_id('l'),
        material,
        label: fields.get("label").unwrap_or_default().into(),
        opened_at: fields.get("opened").map(|_| instant(now_ms)),
        best_before: best_before.map(instant),
        content: None,
        cost: None,
    };
    let kept = fields.answer("/lots", lot.id.as_str());
    shop.say_fact(Fact::LotAdded(lot), now_ms, "bench", kept).await?;
    Ok(())
}
