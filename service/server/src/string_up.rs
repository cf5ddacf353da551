//! Safe to string, as it is answered: the bench's answer with the wood run beside it, and the cautions that go with it.

use std::sync::Arc;

use clock::{Item, ItemKind, StringUp, Wait};
use facts::{InstrumentId, Stage};

use crate::{
    now::instant,
    problem::{Kind, Problem},
    state::State,
};

/// Said with every answer about strings, before those of what still cures. Common practice, no source.
pub(crate) const CAUTIONS: [&str; 5] = [
    "Wear eye protection: a string or a joint that lets go under tension whips.",
    "Bring strings up slowly and evenly, look at every joint on the way, and slack off at the first creak or gap.",
    "Computed from simple statics, a rule of thumb for the glue and the strength of clear wood: it is not a guarantee.",
    "The data sheet of the adhesive and its safety data sheet stand above every time given here.",
    "Refer a structural doubt to an experienced luthier; a joint nobody has tested is not proved by a date.",
];

impl State {
    /// Whether an instrument may be strung now; none while nobody has said which strings it is to have.
    ///
    /// # Errors
    /// When the plates could not be run.
    pub(crate) async fn string_up(self: &Arc<Self>, instrument: &InstrumentId) -> Result<Option<StringUp>, Problem> {
        let (up, wood) = {
            let (bench, now_ms) = (self.bench(), self.now().ms());
            let up = bench.string_up(instrument, self.settings.string_up.margin, now_ms);
            (up, bench.wood(instrument, now_ms))
        };
        let Some(mut up) = up else { return Ok(None) };
        if let Some(wood) = wood.filter(|wood| wood.plates().next().is_some()) {
            let target = self.settings.shop.target();
            let ran = tokio::task::spawn_blocking(move || wood.hold_back(target)).await;
            let failed = |_| Problem::new(Kind::Internal, "running the plates failed", "try again; the log says more");
            up.items.extend(ran.map_err(failed)?);
        }
        let of_shop = |says: String| {
            let mend = "see to it; scripts/shop says when it holds strings back";
            Item::plain(ItemKind::Shop, "shop", "the shop's own rule", Wait::Work, says, mend)
        };
        up.items.extend(self.held_back(instrument.as_str()).await.into_iter().map(of_shop));
        Ok(Some(up))
    }

    /// The cautions of stringing up, and of every glue and finish that still cures on the instrument.
    pub(crate) fn string_up_cautions(&self, instrument: &InstrumentId) -> Vec<String> {
        let mut cautions: Vec<String> = CAUTIONS.map(String::from).into();
        let bench = self.bench();
        let curing = bench.cures().iter().filter(|cure| cure.is_open() && cure.begun.instrument == *instrument);
        for rule in curing.filter_map(|cure| self.rulebook.rule(&cure.begun.rule_version).ok()) {
            let new = rule.sheet.cautions.iter().filter(|caution| !cautions.contains(caution));
            cautions.extend(new.cloned().collect::<Vec<_>>());
        }
        cautions
    }

    /// The answer in a sentence.
    pub(crate) fn said_of(&self, up: &StringUp) -> String {
        if up.strung.stages.contains_key(&Stage::FullPitch) {
            return "It is at pitch.".into();
        }
        let Some((first, trails_h)) = up.limiting() else {
            return "As far as can be computed it is safe to string.".into();
        };
        let trailing = trails_h
            .filter(|h| *h >= 0.1)
            .map_or_else(String::new, |h| format!(" Without it strings could go on {h:.1} h sooner."));
        let at = |ms: i64| instant(ms).with_timezone(&self.zone).format("%a %-d %b, %H:%M").to_string();
        let when = match (up.times().safe, up.work().count()) {
            (None, _) => "It does not come by waiting.".into(),
            (Some(safe_ms), 0) => format!("Safe from {}.", at(safe_ms)),
            (Some(safe_ms), n) if safe_ms > up.now_ms => {
                format!("Not before {}, and {n} more to be done first.", at(safe_ms))
            }
            (Some(_), _) => "As soon as that is done.".into(),
        };
        format!("Not yet: {}, {}: {}. {when}{trailing}", word(first.kind), first.name, first.says)
    }

    /// What another temperature from now on would change, in sentences.
    pub(crate) fn elsewhere_said(&self, up: &StringUp) -> Vec<String> {
        let of = |other: clock::Elsewhere| {
            let air = if other.temp_c > 25.0 { "In a warm box at" } else { "Should the room fall to" };
            let changes = match other.saves_h {
                Some(saves_h) if saves_h > 0.0 => format!("saves {saves_h:.0} h"),
                Some(saves_h) => format!("costs {:.0} h more", -saves_h),
                None if other.safe_ms.is_some() => "it would come at all".into(),
                None => "it would not come".into(),
            };
            format!("{air} {:.0} °C: {changes}.", other.temp_c)
        };
        up.elsewhere().into_iter().map(of).collect()
    }
}

/// What kind of thing holds strings back.
pub(crate) fn word(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Joint => "joint",
        ItemKind::Coat => "coat",
        ItemKind::Clamps => "clamps",
        ItemKind::Wood => "wood",
        ItemKind::Step => "step",
        ItemKind::Shop => "shop",
    }
}

/// How an item stands, in a word.
pub(crate) fn standing(item: &Item, now_ms: i64) -> &'static str {
    match item.wait {
        _ if !item.holds(now_ms) => "holds",
        Wait::Nothing | Wait::Until(_) => "waits",
        Wait::Work => "to_do",
        Wait::Never => "never",
    }
}

/// What nobody said, and is therefore not judged.
pub(crate) fn not_judged(up: &StringUp) -> Vec<String> {
    let mut open = Vec::new();
    if !up.items.iter().any(|item| item.kind == ItemKind::Wood) {
        open.push("the moisture of the body: name its plates, and the zone it is in".into());
    }
    for standing in up.joints.iter().filter(|standing| standing.load.is_none()) {
        let what = "nobody said how the strings load it; only the least wait of its rule is kept";
        open.push(format!("{}: {what} (POST /api/v1/joints/{}/load)", standing.joint.name, standing.joint.id));
    }
    open
}
