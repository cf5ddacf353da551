//! Everything the shop has said and read, for whoever wants to take it along: as lines of JSON or as tables of CSV.

use std::ops::ControlFlow;

use actix_web::{HttpResponse, http::header, web};
use store::{Database, Error};
use tokio::sync::mpsc;
use tokio_stream::{StreamExt, wrappers::ReceiverStream};

use super::{Answer, Shop};
use crate::{
    openapi::Api,
    problem::Problem,
    whole::{self, Sink, Table},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/export").route(web::get().to(lines)))
        .service(web::resource("/export/{table}.csv").route(web::get().to(table)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/export", "The whole bench, a line for each row").gives_media("application/x-ndjson");
    api.get("/export/{table}.csv", "One table: facts, readings, means or held").gives_media("text/csv");
}

async fn lines(shop: Shop) -> Answer {
    stream(&shop, "application/x-ndjson", "shop.jsonl".into(), whole::lines).await
}

async fn table(shop: Shop, name: web::Path<String>) -> Answer {
    let known = Table::ALL.into_iter().find(|table| table.name() == name.as_str());
    let table = known.ok_or_else(|| Problem::not_found("table", &name))?;
    let file = format!("{}.csv", table.name());
    stream(&shop, "text/csv; charset=utf-8", file, move |database, sink| whole::table(database, table, sink)).await
}

/// Answers with what is written, while it is written, from a connection of its own: others go on reading.
async fn stream(
    shop: &Shop,
    media: &str,
    file: String,
    write: impl FnOnce(&mut dyn Database, &mut Sink<'_>) -> Result<(), Error> + Send + 'static,
) -> Answer {
    let mut database = shop.read(|database| database.reopen()).await?;
    let (send, receive) = mpsc::channel::<Result<web::Bytes, Error>>(4);
    // Ends with its listener: nothing can be sent to one that has gone.
    let span = tracing::Span::current();
    tokio::task::spawn_blocking(move || {
        let _within = span.enter();
        let mut sink = |part: Vec<u8>| match send.blocking_send(Ok(part.into())) {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        };
        if let Err(error) = write(database.as_mut(), &mut sink) {
            tracing::error!(%error, "an export broke off");
            // The connection is cut: what came is not to be taken for the whole.
            drop(send.blocking_send(Err(error)));
        }
    });
    let stream = ReceiverStream::new(receive).map(|part| part.map_err(|e| Problem::from(&e)));
    let disposition = format!("attachment; filename=\"{file}\"");
    Ok(HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header((header::CONTENT_DISPOSITION, disposition))
        .content_type(media)
        .streaming(stream))
}
