//! A crack asked about on the page of the wood: how far it closes where the instrument is, and when to glue it.

use clock::{Closing, Run, Wood};

use super::plate::times;
use crate::{
    pages::form::Fields,
    problem::Problem,
    routes::{
        Shop,
        moisture::{CRACK_SAYS, glue_rule, place, run, width},
    },
    state::State,
};

/// What becomes of it.
pub(super) struct CrackCard {
    pub(super) says: String,
    pub(super) lines: Vec<String>,
    pub(super) basis: Vec<String>,
}

/// The answer to what the form asks.
pub(super) async fn asked(shop: &Shop, wood: &Wood, fields: &Fields, id: &str) -> Result<CrackCard, Problem> {
    let (plate, width_mm) = (place(wood, fields.get("plate"), id)?, width(fields.number("crack_mm")?)?);
    let wood = wood.clone();
    run(shop, wood, move |state, wood| state.crack_card(&wood.run(plate), wood.now_ms, width_mm)).await
}

impl State {
    fn crack_card(&self, run: &Run<'_>, now_ms: i64, width_mm: f64) -> CrackCard {
        let target = self.settings.shop.target();
        let text = |ms: i64| self.clock_text(ms, now_ms);
        let glue = run.gluing(target);
        let when = if run.may_be_glued_now(target) {
            "It may be glued now".into()
        } else {
            format!("May be glued from: {}", times(glue.opens, text))
        };
        let until = glue.closes_ms.map_or_else(String::new, |ms| format!(", before {}", text(ms)));
        let may = |mm: f64| if mm < 0.0 { format!("open {:.2}", -mm) } else { format!("close {mm:.2}") };
        let closing = |what: &str, of: Closing| {
            let [least_mm, likely_mm, most_mm] = of.closes_mm;
            format!(
                "{what} ({}) it will likely {} mm (it may {}, or {}), and {:.2} mm stay open.",
                text(of.at_ms),
                may(likely_mm),
                may(least_mm),
                may(most_mm),
                (width_mm - likely_mm).max(0.0)
            )
        };
        let back = run.closing_when_back(target).map(|of| closing("When the plate is back in the shop's band", of));
        let end = closing("After 60 days where it is", run.closing_in_the_end());
        CrackCard {
            says: format!("{when}{until}."),
            lines: back.into_iter().chain([end]).collect(),
            basis: vec![glue_rule(), CRACK_SAYS.into()],
        }
    }
}
