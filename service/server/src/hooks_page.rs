//! The page of the shop's own scripts, as a finished value.

use std::sync::PoisonError;

use askama::Template;

use crate::state::State;

/// How one hook stands.
pub(crate) struct HookCard {
    pub(crate) hook: &'static str,
    pub(crate) file: String,
    pub(crate) set_aside: bool,
    pub(crate) counts: String,
    pub(crate) times: String,
    pub(crate) fault: String,
    pub(crate) mend: String,
}

/// Every hook, and the files that are not asked because of a fault.
#[derive(Template)]
#[template(path = "hooks.html")]
pub(crate) struct HooksPage {
    pub(crate) shop: String,
    pub(crate) hooks: Vec<HookCard>,
    pub(crate) faults: Vec<(String, String)>,
}

impl State {
    pub(crate) fn hooks_page(&self) -> HooksPage {
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
            shop: self.settings.shop.name.clone(),
            hooks: self.hooks.tallies().into_iter().map(card).collect(),
            faults: of_shop.map(|fault| (fault.to_string(), fault.mend.clone())).collect(),
        }
    }
}
