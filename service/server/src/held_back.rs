//! Why the shop's own scripts hold a string-up back. They can hold back; they cannot let go what the rules hold.

use std::sync::Arc;

use clock::Bench;
use rules::{AirSeen, CuringSeen, InstrumentSeen};

use crate::{alerts::shop::PATIENCE, state::State};

impl State {
    /// Why the shop's own scripts hold the string-up of an instrument back; empty when they do not.
    pub(crate) async fn held_back(self: &Arc<Self>, instrument: &str) -> Vec<String> {
        let Some(seen) = self.instrument_seen(instrument).filter(|_| !self.hooks.tallies().is_empty()) else {
            return vec![];
        };
        let state = self.clone();
        let asking = tokio::task::spawn_blocking(move || state.hooks.holds(&seen));
        match tokio::time::timeout(PATIENCE, asking).await {
            Ok(Ok(reasons)) => reasons,
            _ => {
                self.hooks.set_all_aside(&["hold_string_up"], "it did not come back within its time");
                vec!["a shop script did not come back; look for yourself, and mend it".into()]
            }
        }
    }

    fn instrument_seen(&self, id: &str) -> Option<InstrumentSeen> {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let known = bench.instruments().get(id)?;
        let zone = bench.place(id).map(|(zone, _)| zone.clone());
        let air = zone.as_ref().and_then(|zone| bench.air_at(zone.as_str(), now_ms));
        let curing = bench.cures().iter().filter(|cure| cure.is_open() && cure.begun.instrument.as_str() == id);
        Some(InstrumentSeen {
            id: id.into(),
            name: known.name.clone(),
            family: known.family.clone(),
            zone: zone.map_or_else(String::new, |zone| zone.to_string()),
            air: air.map(|air| AirSeen { temp_c: air.temp_c, rh_pct: air.rh_pct }),
            curing: curing.map(|cure| curing_seen(&bench, cure, now_ms)).collect(),
        })
    }
}

fn curing_seen(bench: &Bench, cure: &clock::Cure, now_ms: i64) -> CuringSeen {
    let begun = &cure.begun;
    let reached = bench.milestones(cure, now_ms).into_iter().filter(|milestone| milestone.reached);
    CuringSeen {
        cure: begun.id.to_string(),
        kind: match begun.cure_kind {
            facts::CureKind::GlueUp => "glue_up".into(),
            facts::CureKind::Coat => "coat".into(),
        },
        material: begun.material.to_string(),
        hours: (now_ms - begun.started_at.timestamp_millis()) as f64 / 3_600_000.0,
        age_h: bench.age_h(cure, now_ms).unwrap_or(0.0),
        reached: reached.map(|milestone| milestone.target.stage.clone()).collect(),
    }
}
