//! The shop's own scripts: how each hook stands.

use std::sync::PoisonError;

use actix_web::{HttpResponse, web};
use askama::Template;

use super::frame::{Frame, show};
use crate::{
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/hooks").route(web::get().to(hooks)));
}

async fn hooks(shop: Shop) -> Answer {
    show(&shop.hooks_page(), HttpResponse::Ok())
}

/// How one hook stands.
struct HookCard {
    hook: &'static str,
    file: String,
    set_aside: bool,
    counts: String,
    times: String,
    fault: String,
    mend: String,
}

/// Every hook, and the files that are not asked because of a fault.
#[derive(Template)]
#[template(path = "hooks.html")]
struct HooksPage {
    frame: Frame,
    hooks: Vec<HookCard>,
    faults: Vec<(String, String)>,
}

impl State {
    fn hooks_page(&self) -> HooksPage {
        let card = |tally: rules::HookTally| HookCard {
            hook: tally.hook,
            set_aside: tally.set_aside,
            counts: format!("asked {} times, failed {} times", tally.calls, tally.failures),
            times: match u32::try_from(tally.calls) {
                Ok(calls) if calls > 0 => format!(
                    "{:.2} ms in the mean, {:.2} ms at most",
                    (tally.total / calls).as_secs_f64() * 1e3,
                    tally.longest.as_secs_f64() * 1e3
                ),
                _ => String::new(),
            },
            fault: tally.last_fault.as_ref().map_or_else(String::new, ToString::to_string),
            mend: tally.last_fault.map_or_else(String::new, |fault| fault.mend),
            file: tally.file,
        };
        let faults = self.faults.read().unwrap_or_else(PoisonError::into_inner);
        let of_shop = faults.values().filter(|fault| fault.file.starts_with("shop/"));
        HooksPage {
            frame: self.frame("/rules"),
            hooks: self.hooks.tallies().into_iter().map(card).collect(),
            faults: of_shop.map(|fault| (fault.to_string(), fault.mend.clone())).collect(),
        }
    }
}
