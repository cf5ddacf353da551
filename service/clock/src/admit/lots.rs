//! What may be said of bottles.

use facts::{Amount, LotAdded, LotClosed, LotId, LotUsed};

use super::{conflict, new, unknown};
use crate::{Bench, Refusal};

impl Bench {
    pub(super) fn admit_lot(&self, lot: &LotAdded, now_ms: i64) -> Result<(), Refusal> {
        self.known_material(lot.material.as_str())?;
        if let Some(opened) = lot.opened_at {
            self.not_ahead("opened_at", opened.timestamp_millis(), now_ms)?;
        }
        lot.content.map_or(Ok(()), |content| content.check("content", 0.1).map(drop))?;
        let mend = "what was paid for the whole bottle, as a number";
        facts::within("cost", lot.cost.unwrap_or_default(), 0.0, 1e6, "", mend)?;
        new("lot", &lot.id, self.lots.contains_key(&lot.id))
    }

    pub(super) fn admit_lot_opened(&self, lot: &LotId) -> Result<(), Refusal> {
        match self.shelved_lot(lot)?.opened_at {
            None => Ok(()),
            Some(at) => {
                let what = format!("lot \"{lot}\" was opened on {}", at.date_naive());
                Err(conflict(what, "nothing needs recording"))
            }
        }
    }

    pub(super) fn admit_lot_used(&self, used: &LotUsed) -> Result<(), Refusal> {
        self.admit_amount(&used.lot, used.amount)?;
        let lot = self.shelved_lot(&used.lot)?;
        let Some(cure) = &used.cure else { return Ok(()) };
        match self.known_cure(cure)?.begun.material == lot.material {
            true => Ok(()),
            false => Err(conflict(
                format!("\"{cure}\" does not cure by {}, which is in lot \"{}\"", lot.material, lot.id),
                "name the bottle it came from",
            )),
        }
    }

    /// Whether so much can have been taken from a lot.
    pub(super) fn admit_amount(&self, lot: &LotId, amount: Amount) -> Result<(), Refusal> {
        let lot = self.shelved_lot(lot)?;
        amount.check("used", 0.0)?;
        same_unit(lot, amount)
    }

    pub(super) fn admit_lot_closed(&self, closed: &LotClosed) -> Result<(), Refusal> {
        let lot = self.shelved_lot(&closed.lot)?;
        let Some(left) = closed.left else { return Ok(()) };
        same_unit(lot, left.check("left", 0.0)?)?;
        match lot.content.filter(|content| left.get() > content.get()) {
            None => Ok(()),
            Some(content) => Err(conflict(
                format!("more is left of lot \"{}\" than the {} {} it held", lot.id, content.get(), content.unit()),
                "say what was thrown out, not what was used",
            )),
        }
    }

    /// A lot that stands on the shelf.
    fn shelved_lot(&self, id: &LotId) -> Result<&LotAdded, Refusal> {
        let lot = self.lots.get(id).ok_or_else(|| unknown("lot", id.as_str(), "lots"))?;
        match self.shelf.get(id).and_then(|shelved| shelved.closed.as_ref()) {
            None => Ok(lot),
            Some(_) => Err(conflict(format!("lot \"{id}\" has left the shelf"), "name the bottle you have in hand")),
        }
    }
}

/// A bottle that is sold by volume is used by volume.
fn same_unit(lot: &LotAdded, amount: Amount) -> Result<(), Refusal> {
    match lot.content.filter(|content| content.unit() != amount.unit()) {
        None => Ok(()),
        Some(content) => Err(conflict(
            format!("lot \"{}\" is counted in {}, not in {}", lot.id, content.unit(), amount.unit()),
            format!("send the amount as {{\"{}\": 5}}", content.unit()),
        )),
    }
}
