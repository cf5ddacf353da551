//! Tokens: who may enter, for the owner. What a token says itself is shown once, when it is made, and kept nowhere.

use std::sync::Arc;

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::{Saying, Token};

use super::{Answer, Shop};
use crate::{
    access::{NewToken, Role, name_taken, said_by},
    body::{Body, Nothing},
    openapi::Api,
    problem::Problem,
    state::{BENCH, State},
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/tokens").route(web::get().to(list)).route(web::post().to(make)))
        .service(web::resource("/tokens/{id}").route(web::get().to(one)))
        .service(web::resource("/tokens/{id}/revoke").route(web::post().to(revoke)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/tokens", "Who may enter, and who might once").lists::<TokenWire>();
    api.post("/tokens", "Makes a token; the answer is the only place that shows it")
        .takes::<Make>(json!({"id": "mia-phone", "role": "bench"}))
        .makes::<TokenWire>();
    api.get("/tokens/{id}", "One token").gives::<TokenWire>();
    api.post("/tokens/{id}/revoke", "Takes a token away, with the sessions begun by it")
        .takes::<Nothing>(json!({}))
        .gives::<TokenWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Make {
    /// Who or what will show it: a-z, 0-9 and hyphens. Facts say by whom they are by this name; it is never given twice.
    id: String,
    role: Role,
    /// Zones a sensor may post readings of; for the role sensor only.
    #[serde(default)]
    zones: Vec<String>,
}

/// A token, without its secret.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct TokenWire {
    pub(crate) id: String,
    pub(crate) role: String,
    pub(crate) zones: Vec<String>,
    pub(crate) made_at: String,
    pub(crate) made_by: String,
    /// When it was last used, to the minute; none if never.
    pub(crate) used_at: Option<String>,
    /// When it was taken away.
    pub(crate) revoked_at: Option<String>,
    pub(crate) revoked_by: Option<String>,
    /// What is to be shown as `Authorization: Bearer ...`: only in the answer that made it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) token: Option<String>,
}

pub(crate) fn wire(state: &State, token: Token) -> TokenWire {
    let (revoked_ms, revoked_by) = token.revoked.unzip();
    TokenWire {
        id: token.name,
        role: token.role,
        zones: token.zones,
        made_at: state.rfc3339(token.made_ms),
        made_by: token.made_by,
        used_at: token.used_ms.map(|at_ms| state.rfc3339(at_ms)),
        revoked_at: revoked_ms.map(|at_ms| state.rfc3339(at_ms)),
        revoked_by,
        token: None,
    }
}

async fn found(shop: &Arc<State>, id: &str) -> Result<Option<TokenWire>, Problem> {
    let named = shop.access.tokens(shop).await?.into_iter().find(|token| token.name == id);
    Ok(named.map(|token| wire(shop, token)))
}

async fn list(shop: Shop) -> Answer {
    let tokens = shop.access.tokens(&shop).await?;
    Ok(HttpResponse::Ok().json(List::whole(tokens.into_iter().map(|token| wire(&shop, token)))))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    let found = found(&shop, &id).await?;
    Ok(HttpResponse::Ok().json(found.ok_or_else(|| Problem::not_found("token", &id))?))
}

async fn make(shop: Shop, body: Body<Make>) -> Answer {
    let answer = body.answer(&body.value.id);
    let Make { id, role, zones } = body.value;
    if let Some(there) = found(&shop, &id).await? {
        // The same request again is answered with the token as it stands; its secret is gone.
        return match repeated(&shop, answer).await? {
            true => Ok(HttpResponse::Created().json(there)),
            false => Err(name_taken(&id)),
        };
    }
    let at_ms = shop.now().ms();
    let made = NewToken { name: id, role, zones, by: said_by(BENCH), at_ms }.make()?;
    shop.say_once(Saying { answer, recorded_ms: at_ms, ..Saying::default() }).await?;
    shop.access.add(&shop, made.token.clone()).await?;
    Ok(HttpResponse::Created().json(TokenWire { token: Some(made.secret), ..wire(&shop, made.token) }))
}

/// Whether the same request came before under its key.
async fn repeated(shop: &Arc<State>, answer: Option<store::Answer>) -> Result<bool, Problem> {
    let Some(asked) = answer else { return Ok(false) };
    let key = asked.key.clone();
    let kept = shop.read(move |database| database.answers(&[&key])).await?;
    Ok(kept.iter().any(|kept| kept.fingerprint == asked.fingerprint))
}

async fn revoke(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    let Nothing {} = body.value;
    let answer = body.answer(&id);
    shop.say_once(Saying { answer, recorded_ms: shop.now().ms(), ..Saying::default() }).await?;
    shop.access.revoke(&shop, &id, said_by(BENCH)).await?;
    one(shop, id).await
}
