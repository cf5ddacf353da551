//! Who may enter: the owner's page, where a token is made, shown once, and taken away.

use actix_web::{HttpResponse, web};
use askama::Template;
use serde_json::json;
use store::Token;

use super::{
    form::Fields,
    frame::{Frame, see_other, show},
};
use crate::{
    access::{NewToken, Role, said_by},
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::BENCH,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/access").route(web::get().to(all)).route(web::post().to(make)))
        .service(web::resource("/access/{id}/revoke").route(web::post().to(revoke)));
}

/// A token in words.
struct TokenRow {
    id: String,
    /// "sensor of bench"
    may: String,
    made: String,
    used: String,
    /// When and by whom it was taken away, if it was.
    revoked: Option<String>,
}

fn row(shop: &Shop, token: Token, now_ms: i64) -> TokenRow {
    let at = |at_ms| shop.clock_text(at_ms, now_ms);
    TokenRow {
        may: match token.zones.as_slice() {
            [] => token.role,
            zones => format!("{} of {}", token.role, zones.join(", ")),
        },
        made: format!("made {} by {}", at(token.made_ms), token.made_by),
        used: token.used_ms.map_or_else(|| "never used".into(), |used_ms| format!("last used {}", at(used_ms))),
        revoked: token.revoked.map(|(revoked_ms, by)| format!("{} by {by}", at(revoked_ms))),
        id: token.name,
    }
}

#[derive(Template)]
#[template(path = "access.html")]
struct AccessPage {
    frame: Frame,
    tokens: Vec<TokenRow>,
    /// Word, what it may, whether it is chosen.
    roles: [(&'static str, &'static str, bool); 4],
    /// Zones a sensor may be bound to: id, name.
    zones: Vec<(String, String)>,
    name: String,
    /// The token that was made just now.
    made: String,
    wrong: String,
}

async fn page(shop: &Shop, fields: Option<&Fields>, made: String, wrong: String) -> Result<AccessPage, Problem> {
    let said = |name| fields.and_then(|fields| fields.get(name)).unwrap_or_default().to_string();
    let (chosen, name) = (said("role"), if made.is_empty() { said("id") } else { String::new() });
    let tokens = shop.access.tokens(shop).await?;
    let role = |(role, may): (Role, &'static str)| (role.word(), may, role.word() == chosen);
    let bench = shop.bench();
    Ok(AccessPage {
        frame: shop.frame("/access"),
        tokens: tokens.into_iter().map(|token| row(shop, token, shop.now().ms())).collect(),
        roles: [
            (Role::Bench, "works at the bench"),
            (Role::Viewer, "looks, changes nothing"),
            (Role::Sensor, "a device that posts readings of its zones"),
            (Role::Owner, "everything: tokens, rules, taking the shop along"),
        ]
        .map(role),
        zones: bench.zones().map(|zone| (zone.id.to_string(), zone.name.clone())).collect(),
        name,
        made,
        wrong,
    })
}

async fn all(shop: Shop) -> Answer {
    show(&page(&shop, None, String::new(), String::new()).await?, HttpResponse::Ok())
}

async fn make(shop: Shop, fields: Fields) -> Answer {
    let made = async {
        let role = serde_json::from_value(json!(fields.get("role").unwrap_or_default()))
            .map_err(|_| Problem::new(Kind::Invalid, "no role is chosen", "choose one").about("role"))?;
        // The form shows zones whatever the role; they count for a sensor.
        let zones = fields.all("zone").filter(|_| role == Role::Sensor).map(str::to_string).collect();
        let name = fields.get("id").unwrap_or_default().to_string();
        let made = NewToken { name, role, zones, by: said_by(BENCH), at_ms: shop.now().ms() }.make()?;
        shop.access.add(&shop, made.token).await?;
        Ok::<_, Problem>(made.secret)
    };
    match made.await {
        Ok(secret) => show(&page(&shop, Some(&fields), secret, String::new()).await?, HttpResponse::Created()),
        Err(problem) => {
            let wrong = problem.to_string();
            show(&page(&shop, Some(&fields), String::new(), wrong).await?, HttpResponse::UnprocessableEntity())
        }
    }
}

/// What is taken away is gone for good, and somebody with it: it takes a tick and a button.
async fn revoke(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    if fields.get("sure").is_none() {
        let mend = "tick that it is meant: a token that is taken away does not come back";
        return Err(Problem::new(Kind::Invalid, format!("\"{id}\" was not taken away"), mend).about("sure"));
    }
    shop.access.revoke(&shop, &id, said_by(BENCH)).await?;
    see_other("/access")
}
