//! What may touch a finished instrument now, and from when on, by the stages of its top coats.

use facts::Meets;

use crate::{Bench, Cure, ages::HOUR_MS};

/// What a finish meets, from the lightest to the hardest on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Touch {
    /// Hands that carry and fit.
    Hands,
    /// Cloth under its own weight, a padded bench.
    Cloth,
    /// Clamp cauls faced with cork.
    ClampCaulsWithCork,
    /// A closed case, plush under pressure.
    Case,
    /// A strap.
    Strap,
    /// The foam of a stand.
    StandFoam,
}

impl Touch {
    /// All of them, lightest first.
    pub const ALL: [Self; 6] =
        [Self::Hands, Self::Cloth, Self::ClampCaulsWithCork, Self::Case, Self::Strap, Self::StandFoam];

    /// Its name in rules and answers.
    pub fn name(self) -> &'static str {
        match self {
            Self::Hands => "hands",
            Self::Cloth => "cloth",
            Self::ClampCaulsWithCork => "clamp_cauls_with_cork",
            Self::Case => "case",
            Self::Strap => "strap",
            Self::StandFoam => "stand_foam",
        }
    }

    /// The stage it waits for. Hands by the thumb test of dry-through (ASTM D1640, from memory), cloth by print-free
    /// (ASTM D2091, from memory); the others: common practice, no source.
    pub fn stage(self) -> &'static str {
        match self {
            Self::Hands => "dry_through",
            Self::Cloth => "print_free",
            Self::ClampCaulsWithCork | Self::Case | Self::Strap | Self::StandFoam => "rub_out",
        }
    }
}

/// One coat's word on one touch.
pub struct TouchState<'a> {
    /// The coat asked.
    pub coat: &'a Cure,
    /// From when on it may, ms, at the time that does no harm; none where the expected air never gets there.
    pub from_ms: Option<i64>,
    /// Whether it may now.
    pub now: bool,
}

impl Bench {
    /// When each top coat of an instrument lets something touch it; the one that lets it last comes last.
    pub fn touched<'a>(&'a self, instrument: &'a str, touch: Touch, now_ms: i64) -> Vec<TouchState<'a>> {
        let state = |coat| {
            let from_ms = self.lets_touch_ms(coat, touch, now_ms);
            TouchState { coat, from_ms, now: from_ms.is_some_and(|ms| ms <= now_ms) }
        };
        let mut states: Vec<_> = self.top_coats(instrument).into_iter().map(state).collect();
        states.sort_by_key(|state| state.from_ms.unwrap_or(i64::MAX));
        states
    }

    /// When a coat is so far; of a rule without that stage, the first further one, else its last.
    fn lets_touch_ms(&self, coat: &Cure, touch: Touch, now_ms: i64) -> Option<i64> {
        const ORDER: [&str; 3] = ["dry_through", "print_free", "rub_out"];
        let from = ORDER.iter().position(|stage| *stage == touch.stage()).unwrap_or(0);
        let milestones = &coat.begun.milestones;
        let at = |stage: &str| milestones.iter().position(|m| m.stage == stage);
        let last = || milestones.iter().rposition(|m| m.meets == Meets::Opens);
        let m = ORDER[from..].iter().find_map(|stage| at(stage)).or_else(last)?;
        // One whose job was closed early is on no clock: its hours on the wall are all there is.
        let wall_ms = || coat.begun.started_at.timestamp_millis() + (milestones[m].safe_h * HOUR_MS) as i64;
        let safe_ms = self.milestone(coat, m, now_ms).safe_ms;
        if coat.is_open() { safe_ms } else { safe_ms.or_else(|| Some(wall_ms())) }
    }
}
