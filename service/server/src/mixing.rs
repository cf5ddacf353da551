//! Mixes: how much of each component a wanted volume takes, whether what was measured is in its ratio, and what to say of
//! something that comes out of a pot.

use clock::{Bench, Mix, MixState};
use facts::{CureBegun, Finding, Level, Meets, MixPart, TargetAge};
use rules::{By, MixSheet, PartSheet, Rule};

use crate::state::State;

/// Density of thinner, g/ml: what most lacquer thinners weigh. Common practice, no source.
const THINNER_G_ML: f64 = 0.87;
/// Share of its working life before which a mix is told to gel, and the least minutes. Common practice, no source.
const WARN: (f64, f64) = (0.15, 5.0);

/// The components of a wanted volume, thinner last.
pub(crate) fn amounts(sheet: &MixSheet, wanted_ml: f64, thinner_pct: f64) -> Vec<MixPart> {
    let volume = |part: &PartSheet| match sheet.by {
        By::Volume => part.parts,
        By::Weight => part.parts / part.density_g_ml,
    };
    let whole: f64 = sheet.parts.iter().map(volume).sum();
    let (thinner_ml, finish_ml) = (wanted_ml * thinner_pct / 100.0, wanted_ml * (1.0 - thinner_pct / 100.0));
    let part = |part: &PartSheet| {
        let ml = finish_ml * volume(part) / whole;
        MixPart { name: part.name.clone(), ml: round(ml), g: round(ml * part.density_g_ml) }
    };
    let thinner = MixPart { name: "thinner".into(), ml: round(thinner_ml), g: round(thinner_ml * THINNER_G_ML) };
    let thinner = (thinner_ml > 0.0).then_some(thinner);
    sheet.parts.iter().map(part).chain(thinner).collect()
}

/// To a hundredth: no scale or syringe of the bench shows more.
fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// Whether what was measured is in the rule's ratio; amounts in the unit of the rule, in its order.
pub(crate) fn off_ratio(sheet: &MixSheet, measured: &[f64]) -> Vec<Finding> {
    let first = sheet.parts[0].parts;
    let off = |(part, amount): (&PartSheet, &f64)| {
        let wanted = measured[0] * part.parts / first;
        let off_pct = 100.0 * (amount / wanted - 1.0);
        let level = match off_pct.abs() / sheet.tolerance_pct {
            ..=1.0 => return None,
            ..=2.0 => Level::Caution,
            _ => Level::Defect,
        };
        let unit = if sheet.by == By::Volume { "ml" } else { "g" };
        let (first, name) = (&sheet.parts[0].name, &part.name);
        Some(Finding {
            level,
            what: format!(
                "{amount} {unit} of {name} to {} {unit} of {first} is {:.0} % too {}; its part is {:.2} {unit}.",
                measured[0],
                off_pct.abs(),
                if off_pct > 0.0 { "much" } else { "little" },
                wanted
            ),
            mend: "measure again; out of its ratio it may never harden, and more hardener does not make it faster"
                .into(),
        })
    };
    sheet.parts.iter().zip(measured).skip(1).filter_map(off).collect()
}

/// The components as they were measured, in both units.
pub(crate) fn measured_parts(sheet: &MixSheet, measured: &[f64], thinner_ml: f64) -> Vec<MixPart> {
    let part = |(part, amount): (&PartSheet, &f64)| {
        let ml = if sheet.by == By::Volume { *amount } else { amount / part.density_g_ml };
        MixPart { name: part.name.clone(), ml: round(ml), g: round(ml * part.density_g_ml) }
    };
    let thinner = MixPart { name: "thinner".into(), ml: thinner_ml, g: round(thinner_ml * THINNER_G_ML) };
    sheet.parts.iter().zip(measured).map(part).chain((thinner_ml > 0.0).then_some(thinner)).collect()
}

/// The end of its working life as a target age; `ahead_h` is filled in by who knows the air.
pub(crate) fn life(sheet: &MixSheet, working_life_min: f64) -> TargetAge {
    let likely_h = working_life_min / 60.0;
    TargetAge {
        stage: "gels".into(),
        earliest_h: likely_h * sheet.life_spread.0,
        likely_h,
        safe_h: likely_h * sheet.life_spread.1,
        floor_h: 0.0,
        meets: Meets::Closes,
        ahead_h: 0.0,
        next: "Use up what is in the pot and clean gun, brush and cup. A setting pot heats itself: leave the rest spread thin, away from what burns; its safety data sheet decides.".into(),
    }
}

/// Minutes before it may gel at which a mix is told of, if nobody says.
pub(crate) fn warn_min(working_life_min: f64) -> f64 {
    (WARN.0 * working_life_min).max(WARN.1).min(0.5 * working_life_min)
}

impl State {
    /// What to say of a glue-up or coat that came out of a pot, or should have: whether it was gelling, and what was found
    /// when it was stirred.
    pub(crate) fn out_of_pot(&self, begun: &CureBegun, rule: &Rule) -> Vec<Finding> {
        let bench = self.bench();
        let Some(mix) = begun.mix.as_ref().and_then(|id| bench.mixes().get(id)) else {
            let mixed = rule.sheet.mix.is_some() && begun.mix.is_none();
            let unmixed = mixed.then(|| Finding {
                level: Level::Note,
                what: "It is mixed before use and no mix was named: its working life is not watched.".into(),
                mend: "POST /api/v1/mixes when you stir it, and send its id as \"mix\"".into(),
            });
            return unmixed.into_iter().collect();
        };
        let stirred = |finding: &Finding| Finding {
            what: format!("Mix \"{}\", when it was stirred: {}", mix.made.id, finding.what),
            mend: match finding.level {
                Level::Defect => "test a drop of it; where it stays soft take it off, and mix afresh".into(),
                _ => finding.mend.clone(),
            },
            ..finding.clone()
        };
        let found = mix.made.findings.iter().filter(|finding| finding.level != Level::Note);
        self.gelling(&bench, begun, mix).into_iter().chain(found.map(stirred)).collect()
    }

    /// Whether a pot was gelling when something came out of it.
    fn gelling(&self, bench: &Bench, begun: &CureBegun, mix: &Mix) -> Option<Finding> {
        let at_ms = begun.started_at.timestamp_millis();
        let likely = bench.gels(mix, at_ms).likely_ms.map_or_else(|| "never".into(), |ms| self.rfc3339(ms));
        let (level, what) = match bench.mix_state(mix, at_ms) {
            MixState::Live => return None,
            MixState::Doubtful => (Level::Caution, "may have begun to gel"),
            MixState::Gelled => (Level::Defect, "had gelled"),
        };
        Some(Finding {
            level,
            what: format!("Mix \"{}\" {what} by then (likely {likely}).", mix.made.id),
            mend: "what has begun to gel flows and holds badly: test it, take it off while you can, mix afresh".into(),
        })
    }
}
