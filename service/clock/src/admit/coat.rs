//! What may be said of mixes and of coats: the pot they come from, and the coat they lie on.

use facts::{CoatExposed, CureBegun, CureKind, MixMade};

use crate::{
    Bench, RecoatWindow, Refusal,
    admit::{conflict, in_order, new, unknown},
};

impl Bench {
    pub(crate) fn admit_mix(&self, made: &MixMade, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        self.not_ancient("at", at_ms, now_ms)?;
        self.known_material(made.material.as_str())?;
        self.known_zone(made.zone.as_str())?;
        for lot in &made.lots {
            if !self.lots.contains_key(lot) {
                return Err(unknown("lot", lot.as_str(), "lots"));
            }
        }
        new("mix", &made.id, self.mixes.contains_key(&made.id))
    }

    /// A glue-up or coat out of a pot must be of what is in it, and begin after it was stirred.
    pub(crate) fn admit_mixed(&self, begun: &CureBegun) -> Result<(), Refusal> {
        let Some(id) = &begun.mix else { return Ok(()) };
        let mix = self.mixes.get(id).ok_or_else(|| unknown("mix", id.as_str(), "mixes"))?;
        if mix.made.material != begun.material {
            return Err(conflict(
                format!("mix \"{id}\" is {}, not {}", mix.made.material, begun.material),
                "name a mix of this material, or leave it out",
            ));
        }
        if begun.started_at.timestamp_millis() < mix.at_ms {
            return Err(conflict(
                format!("mix \"{id}\" was stirred after this began"),
                "check started_at, or when the mix was made",
            ));
        }
        Ok(())
    }

    /// More light goes on a coat that light cures, and after it was laid or carried.
    pub(crate) fn admit_exposure(&self, exposed: &CoatExposed, at_ms: i64) -> Result<(), Refusal> {
        let cure = self.open_cure(&exposed.cure)?;
        if cure.begun.coat.as_ref().is_none_or(|laid| laid.wants_mj_cm2.is_none()) {
            return Err(conflict(
                format!("light does not cure \"{}\"", exposed.cure),
                "its milestones come without it",
            ));
        }
        in_order(exposed.cure.as_str(), cure.legs.last().map(|leg| leg.from_ms), at_ms)
    }

    /// Once its window is closed, nothing is laid on a coat without a word on whether it was abraded.
    pub(crate) fn admit_recoat(&self, begun: &CureBegun) -> Result<(), Refusal> {
        let Some(surface) = begun.surface.as_ref().filter(|_| begun.cure_kind == CureKind::Coat) else {
            return Ok(());
        };
        let at_ms = begun.started_at.timestamp_millis();
        let Some(top) = self.top_coat(&begun.instrument, surface, at_ms) else { return Ok(()) };
        let said = begun.coat.as_ref().and_then(|coat| coat.abraded).is_some();
        if said || !matches!(self.recoat_window(top, at_ms), RecoatWindow::Closed(_)) {
            return Ok(());
        }
        Err(conflict(
            format!("the window to recoat \"{}\" on \"{surface}\" had closed: abrade before recoat", top.begun.id),
            "abrade it and send \"abraded\": true; with \"abraded\": false the coat is taken and marked as likely to peel",
        ))
    }
}
