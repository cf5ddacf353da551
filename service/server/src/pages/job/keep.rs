//! What is recorded on a job's page: a step done, a stack of coats laid onto it, a note, a photo, the job closed or
//! opened again.

use actix_multipart::Multipart;
use actix_web::{HttpResponse, http::header, web};
use facts::{Fact, JobId, NoteMade, PhotoAdded, PhotoId, StepId};
use futures_util::TryStreamExt;

use super::super::{form::Fields, frame::see_other};
use crate::{
    photos,
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        schedules::{Laying, laid},
    },
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/jobs/{id}/steps/{step}/done").route(web::post().to(done)))
        .service(web::resource("/jobs/{id}/schedules").route(web::post().to(lay)))
        .service(web::resource("/jobs/{id}/notes").route(web::post().to(note)))
        .service(web::resource("/jobs/{id}/photos").route(web::post().to(photo)))
        .service(web::resource("/jobs/{id}/close").route(web::post().to(close)))
        .service(web::resource("/jobs/{id}/reopen").route(web::post().to(reopen)))
        .service(web::resource("/photos/{id}.jpg").route(web::get().to(picture)));
}

fn known(shop: &Shop, id: &str) -> Result<JobId, Problem> {
    let bench = shop.bench();
    bench.jobs().get_key_value(id).map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("job", id))
}

async fn done(shop: Shop, path: web::Path<(String, String)>, fields: Fields) -> Answer {
    let (id, step) = path.into_inner();
    let fact = Fact::StepDone { job: known(&shop, &id)?, step: StepId::new(step.clone())? };
    let at_ms = fields.pressed_ms(shop.now().ms())?;
    let kept = fields.answer(&format!("/jobs/{id}/steps/{step}/done"), &id);
    shop.say_fact(fact, at_ms, "bench", kept).await?;
    if fields.get("from") == Some("plan") {
        shop.follow_tick().await?;
        return see_other("/plan");
    }
    see_other(&format!("/jobs/{id}"))
}

async fn lay(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let said = |name: &str| fields.get(name).unwrap_or_default().to_string();
    let asked = Laying { schedule: said("schedule"), surface: said("surface"), after: fields.id("after")? };
    let kept = fields.answer(&format!("/jobs/{id}/schedules"), &id);
    shop.say_once(laid(&shop, &id, &asked, kept)?).await?;
    see_other(&format!("/jobs/{id}"))
}

async fn note(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let text = fields.get("text").unwrap_or_default().to_string();
    let fact = Fact::NoteMade(NoteMade { job: known(&shop, &id)?, text });
    let at_ms = fields.pressed_ms(shop.now().ms())?;
    shop.say_fact(fact, at_ms, "bench", fields.answer(&format!("/jobs/{id}/notes"), &id)).await?;
    see_other(&format!("/jobs/{id}#notes"))
}

/// What still cures ends with its job, and that is asked for by itself: one tap too many would cost a night's alert.
async fn close(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let fact = Fact::JobClosed { job: known(&shop, &id)? };
    let cures_on = {
        let bench = shop.bench();
        bench.jobs().get(id.as_str()).map_or_else(Vec::new, |job| shop.cures_on(&bench, job, shop.now().ms()))
    };
    if !cures_on.is_empty() && fields.get("ends_cures").is_none() {
        let detail = format!("it still cures here: {}", cures_on.join("; "));
        let mend = "wait for it, or tick on the job's page that its alerts stop, and close the job then";
        return Err(Problem::new(Kind::Conflict, detail, mend).about("ends_cures"));
    }
    let kept = fields.answer(&format!("/jobs/{id}/close"), &id);
    shop.say_fact(fact, fields.pressed_ms(shop.now().ms())?, "bench", kept).await?;
    see_other(&format!("/jobs/{id}"))
}

async fn reopen(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let fact = Fact::JobReopened { job: known(&shop, &id)? };
    let kept = fields.answer(&format!("/jobs/{id}/reopen"), &id);
    shop.say_fact(fact, fields.pressed_ms(shop.now().ms())?, "bench", kept).await?;
    see_other(&format!("/jobs/{id}"))
}

/// What a form with a photo holds.
#[derive(Default)]
struct Sent {
    picture: Vec<u8>,
    shows: String,
}

async fn photo(shop: Shop, id: web::Path<String>, form: Multipart) -> Answer {
    let job = known(&shop, &id)?;
    let sent = read(form, shop.settings.store.photo_limit_mib).await?;
    let fit = web::block(move || photos::fit(&sent.picture)).await;
    let fit = fit.map_err(|_| Problem::new(Kind::Internal, "the photo was not kept", "send it again"))??;
    let photos::Fit { photo, jpeg, width_px, height_px } = fit;
    let name = photos::name(&photo);
    // On disk before it is spoken of. Sent again it is there already.
    shop.act(move |database| database.keep_file(&name, &jpeg)).await?;
    let fact = Fact::PhotoAdded(PhotoAdded { job, photo, shows: sent.shows, width_px, height_px });
    shop.say_fact(fact, shop.now().ms(), "bench", None).await?;
    see_other(&format!("/jobs/{id}#photos"))
}

async fn read(mut form: Multipart, limit_mib: usize) -> Result<Sent, Problem> {
    let broken = |e: actix_multipart::MultipartError| {
        Problem::new(Kind::Malformed, format!("the form broke off: {e}"), "send it again").about("photo")
    };
    let mut sent = Sent::default();
    while let Some(mut field) = form.try_next().await.map_err(broken)? {
        let name = field.name().unwrap_or_default().to_string();
        let limit = if name == "photo" { limit_mib * 1024 * 1024 } else { 4096 };
        let mut bytes = Vec::new();
        while let Some(part) = field.try_next().await.map_err(broken)? {
            if bytes.len() + part.len() > limit {
                let detail = format!("the photo is larger than {limit_mib} MiB");
                let mend = "send a smaller one, or raise store.photo_limit_mib";
                return Err(Problem::new(Kind::TooLarge, detail, mend).about("photo"));
            }
            bytes.extend_from_slice(&part);
        }
        match name.as_str() {
            "photo" => sent.picture = bytes,
            "shows" => sent.shows = String::from_utf8_lossy(&bytes).trim().into(),
            _ => {}
        }
    }
    Ok(sent)
}

async fn picture(shop: Shop, id: web::Path<String>) -> Answer {
    let not_there = || Problem::not_found("photo", &id);
    let photo = PhotoId::new(id.as_str()).map_err(|_| not_there())?;
    let known = shop.bench().jobs().values().any(|job| job.photos.iter().any(|p| p.added.photo == photo));
    let name = photos::name(&photo);
    let kept = if known { shop.read(move |database| database.file(&name)).await? } else { None };
    let jpeg = kept.ok_or_else(not_there)?;
    Ok(HttpResponse::Ok()
        .content_type("image/jpeg")
        .insert_header((header::CACHE_CONTROL, "private, max-age=31536000, immutable"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(jpeg))
}
