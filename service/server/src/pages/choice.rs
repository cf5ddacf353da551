//! Choices of a form: what may be chosen, and what is. They are the same wherever something is registered.

use clock::Bench;
use facts::{Family, SpeciesGroup};
use rules::MaterialKind;

use crate::state::State;

/// A choice in a form.
pub(super) struct Choice {
    pub(super) value: String,
    pub(super) text: String,
    pub(super) chosen: bool,
}

impl Choice {
    pub(super) fn new(value: impl Into<String>, text: impl Into<String>, chosen: bool) -> Self {
        Self { value: value.into(), text: text.into(), chosen }
    }
}

/// When something began, as minutes ago; the last stands for an hour of the clock.
const STARTED: [(&str, &str); 4] = [("0", "now"), ("5", "5 min ago"), ("15", "15 min ago"), ("at", "at")];

/// When it began.
pub(super) fn started(chosen: impl Fn(&str) -> bool) -> Vec<Choice> {
    STARTED.map(|(value, text)| Choice::new(value, text, chosen(value))).into()
}

/// The zones of the shop.
pub(super) fn zones(bench: &Bench, chosen: impl Fn(&str) -> bool) -> Vec<Choice> {
    bench.zones().map(|zone| Choice::new(zone.id.as_str(), &zone.name, chosen(zone.id.as_str()))).collect()
}

/// The bottles on the shelf.
pub(super) fn lots(bench: &Bench, chosen: impl Fn(&str) -> bool) -> Vec<Choice> {
    let lot = |lot: &facts::LotAdded| {
        let label = if lot.label.is_empty() { lot.id.as_str() } else { &lot.label };
        Choice::new(lot.id.as_str(), format!("{label} ({})", lot.material), chosen(lot.id.as_str()))
    };
    bench.lots().values().map(lot).collect()
}

/// What is to be minded with a material before it is used.
pub(super) struct Cautions {
    pub(super) material: String,
    pub(super) cautions: Vec<String>,
}

impl State {
    /// The cautions of materials by their rules in force, each material once.
    pub(super) fn cautions<'a>(&self, bench: &Bench, of: impl Iterator<Item = &'a facts::MaterialId>) -> Vec<Cautions> {
        let of: std::collections::BTreeSet<_> = of.collect();
        let of_material = |id: &facts::MaterialId| {
            let rule = self.rulebook.rule(bench.in_force().get(id)?).ok()?;
            Some(Cautions { material: rule.sheet.name.clone(), cautions: rule.sheet.cautions.clone() })
        };
        of.into_iter().filter_map(of_material).collect()
    }

    /// The cautions of what the steps of a job that are still to be done are done with.
    pub(super) fn cautions_ahead(&self, bench: &Bench, job: &clock::Job) -> Vec<Cautions> {
        let steps = bench.steps(job).into_iter().filter(|(_, state, _)| *state != clock::StepState::Done);
        self.cautions(bench, steps.filter_map(|(step, ..)| step.material.as_ref()))
    }

    /// The materials of a kind with a rule in force.
    pub(super) fn materials(&self, bench: &Bench, kind: MaterialKind, chosen: impl Fn(&str) -> bool) -> Vec<Choice> {
        let of_kind = |(id, version): (&facts::MaterialId, &facts::VersionId)| {
            let rule = self.rulebook.rule(version).ok()?;
            (rule.sheet.kind == kind).then(|| Choice::new(id.as_str(), &rule.sheet.name, chosen(id.as_str())))
        };
        bench.in_force().iter().filter_map(of_kind).collect()
    }
}

/// What there is to say of one instrument: where, and the word for it.
pub(super) const PARTS: [(&str, &str); 3] = [("strings", "Strings"), ("setups", "Set-up"), ("wood", "Wood")];

/// How much of an adhesive or a finish the wood takes up, as a form sends it.
pub(super) const POROSITIES: [(&str, &str); 4] =
    [("sealed", "nothing"), ("dense", "little: close, oily wood"), ("normal", "as usual"), ("open", "much: end grain")];

/// Families of instruments, as a form sends them.
pub(super) const FAMILIES: [(&str, Family); 11] = [
    ("steel_string_guitar", Family::SteelStringGuitar),
    ("classical_guitar", Family::ClassicalGuitar),
    ("twelve_string_guitar", Family::TwelveStringGuitar),
    ("mandolin", Family::Mandolin),
    ("ukulele", Family::Ukulele),
    ("banjo", Family::Banjo),
    ("violin", Family::Violin),
    ("viola", Family::Viola),
    ("cello", Family::Cello),
    ("double_bass", Family::DoubleBass),
    ("bass_guitar", Family::BassGuitar),
];

/// Woods that move and hold alike, as a form sends them.
pub(super) const WOODS: [(&str, SpeciesGroup); 9] = [
    ("spruce", SpeciesGroup::Spruce),
    ("cedar", SpeciesGroup::Cedar),
    ("maple", SpeciesGroup::Maple),
    ("mahogany", SpeciesGroup::Mahogany),
    ("rosewood", SpeciesGroup::Rosewood),
    ("walnut", SpeciesGroup::Walnut),
    ("cherry", SpeciesGroup::Cherry),
    ("birch", SpeciesGroup::Birch),
    ("ash", SpeciesGroup::Ash),
];
