//! Readings that could not be believed: each waits on the page of the climate until somebody takes it, put right where it
//! was wrong, or discards it.

use actix_web::web;
use facts::ZoneId;
use store::{Held, HeldState};

use super::back;
use crate::{
    pages::form::Fields,
    problem::Problem,
    routes::{
        Answer, Shop,
        quarantine::{Release, discard_held, release_held},
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/climate/{zone}/held/{held}/take").route(web::post().to(take)))
        .service(web::resource("/climate/{zone}/held/{held}/discard").route(web::post().to(discard)));
}

/// How many of a zone are shown; the next come when these are decided.
const SHOWN: usize = 10;

/// One that waits.
pub(super) struct HeldRow {
    pub(super) id: i64,
    /// What it says: when, who, what.
    pub(super) says: String,
    /// Why it waits.
    pub(super) why: String,
    pub(super) temp: String,
    pub(super) rh_pct: String,
}

/// What waits in a zone, and whether there is more than is shown.
pub(super) async fn of_zone(shop: &Shop, zone: ZoneId) -> Result<(Vec<HeldRow>, bool), Problem> {
    let mut held = shop.read(move |database| database.held(&zone, HeldState::Held, 0, SHOWN + 1)).await?;
    let more = held.len() > SHOWN;
    held.truncate(SHOWN);
    Ok((held.iter().map(|held| shop.held_row(held)).collect(), more))
}

impl State {
    fn held_row(&self, held: &Held) -> HeldRow {
        let (key, unit) = (&held.key, self.settings.shop.temp_unit);
        let when = self.clock_text(key.at_ms, self.now().ms());
        let sensor = key.sensor.as_ref().map_or_else(|| "a sensor without a name".into(), ToString::to_string);
        HeldRow {
            id: held.id,
            says: format!("{when}, {sensor}: {}, {:.1} % RH", unit.text(key.temp_c), key.rh_pct),
            why: held.detail.clone(),
            temp: format!("{:.1}", unit.of(key.temp_c)),
            rh_pct: format!("{:.1}", key.rh_pct),
        }
    }

    /// What is put right in a held reading; a number that was left as it stood is taken as it was read.
    fn instead(&self, fields: &Fields) -> Result<Release, Problem> {
        let changed = |name: &str, shown: &str| {
            let stands = fields.get(name) == fields.get(shown);
            if stands { Ok(None) } else { fields.number(name) }
        };
        let temp_c = changed("temp", "temp_was")?.map(|shown| self.settings.shop.temp_unit.celsius(shown));
        Ok(Release { temp_c, rh_pct: changed("rh_pct", "rh_was")?, ..Release::default() })
    }
}

async fn take(shop: Shop, path: web::Path<(String, i64)>, fields: Fields) -> Answer {
    let done = async {
        let kept = fields.answer(&format!("/climate/{}/held/{}/take", path.0, path.1), &path.1.to_string());
        release_held(&shop, &path, &shop.instead(&fields)?, kept).await
    };
    let done = done.await;
    back(&shop, &path.0, fields, done).await
}

async fn discard(shop: Shop, path: web::Path<(String, i64)>, fields: Fields) -> Answer {
    let kept = fields.answer(&format!("/climate/{}/held/{}/discard", path.0, path.1), &path.1.to_string());
    let done = discard_held(&shop, &path, kept).await;
    back(&shop, &path.0, fields, done).await
}
