//! What somebody will make of a zone's air ("booth at 28 °C until ten"), said and called off on the page of the climate.

use actix_web::web;
use chrono::NaiveDateTime;
use facts::{AirPlanned, Fact, RhPct, TempC};

use super::{back, zone};
use crate::{
    compose::new_id,
    now::instant,
    pages::form::Fields,
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
    wall,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/climate/{zone}/plans").route(web::post().to(plan)))
        .service(web::resource("/climate/{zone}/plans/{plan}/cancel").route(web::post().to(cancel)));
}

/// A plan that stands.
pub(super) struct PlanRow {
    pub(super) id: String,
    pub(super) says: String,
}

impl State {
    /// The plans of a zone that are not over, the next first.
    pub(super) fn plan_rows(&self, bench: &clock::Bench, zone: &str, now_ms: i64) -> Vec<PlanRow> {
        let standing = |plan: &&clock::Planned| {
            plan.said.zone.as_str() == zone && plan.cancelled_ms.is_none() && plan.until_ms() > now_ms
        };
        let mut standing: Vec<_> = bench.plans().values().filter(standing).collect();
        standing.sort_by_key(|plan| plan.from_ms());
        let row = |plan: &clock::Planned| {
            let air = self.settings.shop.temp_unit.text(plan.said.temp_c.get());
            let rh = plan.said.rh_pct.map_or_else(String::new, |rh| format!(" and {:.0} % RH", rh.get()));
            let [from, until] = [plan.from_ms(), plan.until_ms()].map(|at_ms| self.clock_text(at_ms, now_ms));
            PlanRow { id: plan.id().to_string(), says: format!("{air}{rh} from {from} to {until}") }
        };
        standing.into_iter().map(row).collect()
    }

    /// A date and time of the wall's clock as a form sends it, ms; none where it was left empty.
    fn wall_ms(&self, fields: &Fields, name: &str) -> Result<Option<i64>, Problem> {
        let Some(said) = fields.get(name) else { return Ok(None) };
        let shown = NaiveDateTime::parse_from_str(said, "%Y-%m-%dT%H:%M").map_err(|_| {
            let mend = "write it as 2026-03-02T18:00, by the clock on the wall";
            Problem::new(Kind::Invalid, format!("\"{said}\" is no date and time"), mend).about(name)
        })?;
        Ok(Some(wall::first_ms(self.zone, shown)))
    }
}

async fn plan(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let zone = zone(&shop, &id)?;
        let now_ms = shop.now().ms();
        let from_ms = match shop.wall_ms(&fields, "from")? {
            Some(from_ms) => from_ms,
            None => fields.pressed_ms(now_ms)?,
        };
        let until_ms = shop.wall_ms(&fields, "until")?.ok_or_else(|| {
            Problem::new(Kind::Invalid, "until is missing", "say until when the air is to be so").about("until")
        })?;
        let temp = fields.needed("temp")?;
        let plan = new_id('p');
        let kept = fields.answer(&format!("/climate/{id}/plans"), plan.as_str());
        let fact = Fact::AirPlanned(AirPlanned {
            id: plan,
            zone,
            from: instant(from_ms),
            until: instant(until_ms),
            temp_c: TempC::new(shop.settings.shop.temp_unit.celsius(temp))?,
            rh_pct: fields.number("rh_pct")?.map(RhPct::new).transpose()?,
        });
        shop.say_fact(fact, now_ms, "bench", kept).await.map(drop)
    };
    let done = done.await;
    back(&shop, &id, fields, done).await
}

async fn cancel(shop: Shop, path: web::Path<(String, String)>, fields: Fields) -> Answer {
    let (id, plan) = path.into_inner();
    let done = async {
        let known = {
            let bench = shop.bench();
            let known = bench.plans().get_key_value(plan.as_str()).filter(|(_, of)| of.said.zone.as_str() == id);
            known.map(|(plan, _)| plan.clone()).ok_or_else(|| Problem::not_found("plan", &plan))?
        };
        let at_ms = fields.pressed_ms(shop.now().ms())?;
        let kept = fields.answer(&format!("/climate/{id}/plans/{plan}/cancel"), &plan);
        shop.say_fact(Fact::PlanCancelled { plan: known }, at_ms, "bench", kept).await.map(drop)
    };
    let done = done.await;
    back(&shop, &id, fields, done).await
}
