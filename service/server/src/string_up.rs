//! Safe to string, as it is answered: the bench's answer with the wood run beside it, and the cautions that go with it.

use std::sync::Arc;

use clock::{Air, Item, ItemKind, OtherAir, StringUp, Target, Times, TooSoon, Wait};
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
        let target = self.settings.shop.target();
        let (up, wood) = {
            let (bench, now_ms) = (self.bench(), self.now().ms());
            let up = bench.string_up(instrument, self.settings.string_up.margin, target, now_ms);
            (up, bench.wood(instrument, now_ms))
        };
        let Some(mut up) = up else { return Ok(None) };
        if let Some(wood) = wood.filter(|wood| wood.plates().next().is_some()) {
            let others = up.others;
            let ran = tokio::task::spawn_blocking(move || wood.hold_back(target, &others)).await;
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

    /// The cautions of stringing up: what is wrong already, strings that will break, and those of every glue and finish that still cures on the instrument.
    pub(crate) fn string_up_cautions(&self, up: &StringUp) -> Vec<String> {
        let mut cautions = if up.too_soon().is_some() { vec![self.said_of(up)] } else { Vec::new() };
        cautions.extend(clock::doubts(&up.strung.fitted));
        cautions.extend(CAUTIONS.map(String::from));
        let bench = self.bench();
        let curing = bench.cures().iter().filter(|cure| cure.is_open() && cure.begun.instrument == up.instrument);
        for rule in curing.filter_map(|cure| self.rulebook.rule(&cure.begun.rule_version).ok()) {
            let new = rule.sheet.cautions.iter().filter(|caution| !cautions.contains(caution));
            cautions.extend(new.cloned().collect::<Vec<_>>());
        }
        cautions
    }

    /// The answer in a sentence.
    pub(crate) fn said_of(&self, up: &StringUp) -> String {
        let at = |ms: i64| instant(ms).with_timezone(&self.zone).format("%a %-d %b, %H:%M").to_string();
        if up.strung.stages.contains_key(&Stage::FullPitch) {
            return match up.too_soon() {
                None => "It is at pitch.".into(),
                Some(TooSoon::Item(item)) => format!(
                    "It is at pitch before {} was ready: slack it off. {}, {}: {}.{}",
                    item.name,
                    capital(word(item.kind)),
                    item.name,
                    item.says,
                    if let Wait::Until(Times { safe: Some(ms), .. }) = item.wait {
                        format!(" Ready {}.", at(ms))
                    } else {
                        String::new()
                    }
                ),
                Some(TooSoon::Hold(until_ms)) => format!(
                    "It is at pitch before its hold at half tension was over: slack it off to half tension until {}.",
                    at(until_ms)
                ),
            };
        }
        let full_ms = up.schedule().into_iter().find(|due| due.stage == Stage::FullPitch).and_then(|due| due.due_ms);
        let held = match full_ms.filter(|ms| Some(*ms) > up.times().safe) {
            Some(ms) => format!(" Full pitch {}, after the hold at half tension.", at(ms)),
            None => String::new(),
        };
        let Some((first, trails_h)) = up.limiting() else {
            return format!("As far as can be computed it is safe to string.{held}");
        };
        let trailing = trails_h
            .filter(|h| *h >= 0.1)
            .map_or_else(String::new, |h| format!(" Without it strings could go on {h:.1} h sooner."));
        let when = match (up.times().safe, up.work().count()) {
            (None, _) => "It does not come by waiting.".into(),
            (Some(safe_ms), 0) => format!("Safe from {}.", at(safe_ms)),
            (Some(safe_ms), n) if safe_ms > up.now_ms => {
                format!("Not before {}, and {n} more to be done first.", at(safe_ms))
            }
            (Some(_), _) => "As soon as that is done.".into(),
        };
        let answer = if up.not_judged() { "Not judged yet" } else { "Not yet" };
        format!("{answer}: {}, {}: {}. {when}{trailing}{held}", word(first.kind), first.name, first.says)
    }

    /// What another air from now on would change, in sentences. Of the box also what is to be done about its humidity:
    /// warmed and left to itself it would dry the wood out.
    pub(crate) fn elsewhere_said(&self, up: &StringUp) -> Vec<String> {
        let Target { rh_low_pct, rh_high_pct, .. } = self.settings.shop.target();
        let of = |of: clock::Elsewhere<'_>| {
            let OtherAir { air: Air { temp_c, rh_pct }, unkept_rh_pct } = of.other;
            let changes = match of.saves_h {
                Some(saves_h) if saves_h > 0.0 => format!("saves {saves_h:.0} h"),
                Some(saves_h) => format!("costs {:.0} h more", -saves_h),
                None if of.safe_ms.is_some() => "it would come at all".into(),
                None => of.stopped_by.map_or_else(
                    || "it would not come".into(),
                    |item| format!("it would not come, for the {}, {}", word(item.kind), item.name),
                ),
            };
            let Some(unkept_rh_pct) = unkept_rh_pct else {
                return format!("Should the room fall to {temp_c:.0} °C, {rh_pct:.0} % RH then: {changes}.");
            };
            let kept = format!(
                "In a warm box at {temp_c:.0} °C, kept at {rh_pct:.0} % RH (the shop's {rh_low_pct:.0} to {rh_high_pct:.0} %): {changes}."
            );
            match unkept_rh_pct {
                unkept if unkept < rh_low_pct => {
                    format!("{kept} Only warmed, its air would fall to {unkept:.0} % RH: too dry for the wood.")
                }
                unkept if unkept > rh_high_pct => {
                    format!("{kept} Only warmed, its air would stay at {unkept:.0} % RH: too damp for the wood.")
                }
                _ => kept,
            }
        };
        up.elsewhere().into_iter().map(of).collect()
    }
}

/// A word as it begins a sentence.
fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What kind of thing holds strings back.
pub(crate) fn word(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Joint => "joint",
        ItemKind::Load => "load",
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
