//! What becomes of a bottle on the shelf: it is opened, something is taken from it, or it is off the shelf.

use actix_web::{HttpResponse, ResponseError, web};
use facts::{Amount, Fact, LotClosed, LotId, LotUsed};

use crate::{
    compose::missing,
    pages::{
        form::Fields,
        frame::{see_other, show},
    },
    problem::{Kind, Problem},
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/lots/{id}/open").route(web::post().to(open)))
        .service(web::resource("/lots/{id}/use").route(web::post().to(take_from)))
        .service(web::resource("/lots/{id}/close").route(web::post().to(close)));
}

fn known(shop: &Shop, id: &str) -> Result<LotId, Problem> {
    let bench = shop.bench();
    bench.lots().get_key_value(id).map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("lot", id))
}

/// An amount of a form in the unit the bottle is counted in.
fn amount(fields: &Fields) -> Result<Option<Amount>, Problem> {
    let Some(number) = fields.number("amount")? else { return Ok(None) };
    match fields.get("unit") {
        Some("ml") => Ok(Some(Amount::Ml(number))),
        Some("g") => Ok(Some(Amount::G(number))),
        _ => Err(Problem::new(Kind::Invalid, "the unit is missing", "choose ml or g").about("unit")),
    }
}

/// Says it, and goes back to the shelf: with what was wrong, if anything was.
async fn say(shop: &Shop, path: &str, fields: &Fields, fact: Result<Fact, Problem>) -> Answer {
    let said = async {
        let at_ms = fields.pressed_ms(shop.now().ms())?;
        shop.say_fact(fact?, at_ms, "bench", fields.answer(path, "lot")).await
    };
    match said.await {
        Ok(_) => see_other("/materials"),
        Err(wrong) => show(&shop.materials_page(wrong.to_string()), HttpResponse::build(wrong.status_code())),
    }
}

async fn open(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let lot = known(&shop, &id)?;
    say(&shop, &format!("/lots/{id}/open"), &fields, Ok(Fact::LotOpened { lot })).await
}

async fn take_from(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let lot = known(&shop, &id)?;
    let used = amount(&fields).and_then(|amount| amount.ok_or_else(|| missing("amount")));
    let fact = used.map(|amount| Fact::LotUsed(LotUsed { lot, cure: None, amount }));
    say(&shop, &format!("/lots/{id}/use"), &fields, fact).await
}

async fn close(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let lot = known(&shop, &id)?;
    let reason = fields.get("reason").unwrap_or_default().to_string();
    let fact = amount(&fields).map(|left| Fact::LotClosed(LotClosed { lot, left, reason }));
    say(&shop, &format!("/lots/{id}/close"), &fields, fact).await
}
