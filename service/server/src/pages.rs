//! The pages, served by the same binary: one page, one file with what it shows and what its buttons do, and one template
//! in `templates/` that holds no rules. They work without a script; with one they count down, follow the event stream,
//! and keep what could not be sent. A new page is a file here, a template, a line in `configure`, and a line in
//! `frame::NAV` if it is to be found from everywhere.

mod access;
mod alerts;
mod api;
mod assets;
mod board;
mod choice;
mod climate;
mod coat;
mod coats;
mod cure;
mod cure_rule;
mod form;
mod frame;
mod glue_up;
mod guard;
mod hooks;
mod instruments;
mod job;
mod jobs;
mod login;
mod looked_at;
mod materials;
mod mix;
mod moment;
mod moves;
mod plan;
mod print;
mod rule_fit;
mod rule_sheet;
mod rule_try;
mod rule_versions;
mod rules;
mod setups;
mod span;
mod string_up;
mod strings;
mod trial_form;
mod wood;

pub(crate) use guard::as_page;

use actix_web::{ResponseError, error::UrlencodedError, middleware::Compress, web};

use crate::{
    problem::{Kind, Problem},
    routes::nowhere,
};

/// Longest form that is read: the longest rule the host takes, 32 KiB, with every byte of it escaped.
const FORM_BYTES: usize = 128 * 1024;

pub(crate) fn configure(config: &mut web::ServiceConfig) {
    let fields = web::FormConfig::default().limit(FORM_BYTES).error_handler(|e: UrlencodedError, _| {
        let kind = Kind::of_status(e.status_code());
        Problem::new(kind, format!("the form: {e}"), "send it as the form on the page does").into()
    });
    config.service(
        web::scope("")
            .app_data(fields)
            .wrap(Compress::default())
            .configure(board::configure)
            .configure(cure::configure)
            .configure(glue_up::configure)
            .configure(coats::configure)
            .configure(coat::configure)
            .configure(mix::configure)
            .configure(jobs::configure)
            .configure(job::configure)
            .configure(plan::configure)
            .configure(climate::configure)
            .configure(materials::configure)
            .configure(alerts::configure)
            .configure(looked_at::configure)
            .configure(hooks::configure)
            .configure(api::configure)
            .configure(rule_sheet::configure)
            .configure(rules::configure)
            .configure(rule_try::configure)
            .configure(rule_versions::configure)
            .configure(cure_rule::configure)
            .configure(print::configure)
            .configure(string_up::configure)
            .configure(instruments::configure)
            .configure(strings::configure)
            .configure(setups::configure)
            .configure(wood::configure)
            .configure(rule_fit::configure)
            .configure(login::configure)
            .configure(access::configure)
            .configure(assets::configure)
            .default_service(web::to(nowhere)),
    );
}
