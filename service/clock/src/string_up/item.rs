//! One thing that must hold before strings go on, and when it will.

use super::OtherAir;
use crate::{Run, Target, Times, Wood};

/// What kind of thing it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ItemKind {
    /// A joint must have its strength.
    Joint,
    /// How the strings load a joint must be known.
    Load,
    /// A finish must not print.
    Coat,
    /// Clamps must be off.
    Clamps,
    /// The wood must be back in the shop's band.
    Wood,
    /// A step of a job must be done.
    Step,
    /// The shop's own scripts must have nothing against it.
    Shop,
}

/// What it waits for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wait {
    /// For nothing: it holds.
    Nothing,
    /// For time, ms; none where the expected air never gets there.
    Until(Times<i64>),
    /// For somebody's work or word; then only the other waits count.
    Work,
    /// It does not come by waiting at all.
    Never,
}

/// One thing that must hold. Whoever has a reason of its own to hold strings back adds one to the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// What kind of thing.
    pub kind: ItemKind,
    /// Id of the joint, coat, glue-up, plate or step.
    pub id: String,
    /// What a person calls it.
    pub name: String,
    /// What it waits for.
    pub wait: Wait,
    /// When it may be relied on at half tension, ms.
    pub half_safe_ms: Option<i64>,
    /// When it may be relied on if it is in one of [`StringUp::others`] from now on, ms.
    ///
    /// [`StringUp::others`]: super::StringUp::others
    pub elsewhere_ms: [Option<i64>; 2],
    /// Why it holds strings back, or why it does not.
    pub says: String,
    /// What to do about it; empty where nothing needs doing but waiting.
    pub mend: String,
}

impl Item {
    /// Of an item that does not answer to the air or the load.
    pub fn plain(kind: ItemKind, id: &str, name: &str, wait: Wait, says: String, mend: &str) -> Self {
        let safe_ms = if let Wait::Until(times) = wait { times.safe } else { None };
        let (id, name, mend) = (id.into(), name.into(), mend.into());
        Self { kind, id, name, wait, half_safe_ms: safe_ms, elsewhere_ms: [safe_ms; 2], says, mend }
    }

    /// Whether it holds strings back at an instant.
    pub fn holds(&self, now_ms: i64) -> bool {
        match self.wait {
            Wait::Nothing => false,
            Wait::Until(times) => times.safe.is_none_or(|safe_ms| safe_ms > now_ms),
            Wait::Work | Wait::Never => true,
        }
    }

    /// When it may be relied on, ms, as the order of items: none last.
    pub(super) fn safe_ms(&self) -> Option<i64> {
        match self.wait {
            Wait::Nothing | Wait::Work => Some(i64::MIN),
            Wait::Until(times) => times.safe,
            Wait::Never => None,
        }
    }
}

/// The later of two times, edge by edge; what never comes is later than anything.
pub(super) fn later(a: Times<i64>, b: Times<i64>) -> Times<i64> {
    let of = |a: Option<i64>, b: Option<i64>| Some(a?.max(b?));
    Times { earliest: of(a.earliest, b.earliest), likely: of(a.likely, b.likely), safe: of(a.safe, b.safe) }
}

impl Wood {
    /// What its plates hold back: each must be in the shop's band and stay there for a day, in the air expected; when that
    /// would be so in other airs is worked out besides.
    pub fn hold_back(&self, target: Target, others: &[OtherAir; 2]) -> Vec<Item> {
        let item = |run: Run<'_>| {
            let pct = run.moisture_pct()[1];
            let (low_pct, high_pct) = target.moisture_pct();
            let band = format!("{pct:.1} % moisture; the band is {low_pct:.1} to {high_pct:.1} %");
            let back = run.back(target);
            let (says, mend) = match back.safe == Some(self.now_ms) {
                true => (band, ""),
                false if run.in_band(target) => (
                    format!("{band}; in the air it is in, it may leave that within a day"),
                    "keep it in air of the shop's band: what is set up now must not move tomorrow",
                ),
                false => (
                    band,
                    "keep it in air of the shop's band; strung out of it, it is set up for a shape it will not keep",
                ),
            };
            let (id, name) = (run.plate.id.as_str(), run.plate.name.as_str());
            let mut item = Item::plain(ItemKind::Wood, id, name, Wait::Until(back), says, mend);
            item.elsewhere_ms = others.map(|other| run.held_in(other.air).back(target).safe);
            item
        };
        self.runs().map(item).collect()
    }
}
