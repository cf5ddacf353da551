//! Air at the gun: whether a coat may be laid now, and the windows in the hours ahead, by the limits of its rule.

use facts::{Bound, Limit};
use physics::surface::MIN_DEW_POINT_SPREAD_K;

use crate::{Air, Bench, Law, STEP_MS, Surface, surface::is_broken};

/// Longest a film is taken to be at the mercy of the air, ms: in air in which it never dries it must not be looked at for ever.
const LONGEST_WET_MS: i64 = 12 * 3_600_000;

/// A finish as the air sees it while it is wet.
pub struct Gun<'a> {
    /// Airs that spoil it, each as long as it matters.
    pub limits: &'a [Limit],
    /// How fast it dries.
    pub law: Law,
    /// Dampest air in which retarder still keeps it from blushing, % RH, if it may be retarded.
    pub retarder_rh_pct: Option<f64>,
    /// How much colder than the air the surface is, K.
    pub surface_below_k: f64,
}

/// What the air says to a coat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Word {
    /// Lay it.
    Go,
    /// Lay it with retarder.
    Retard,
    /// Wait.
    Wait,
}

/// What the air of one instant, and of the hours a film laid then is wet, says to a coat.
#[derive(Debug, Clone, PartialEq)]
pub struct GunAir {
    /// When the coat would be laid, ms.
    pub at_ms: i64,
    /// The air then.
    pub air: Air,
    /// How far the surface is above the dew point then, K.
    pub spread_k: f64,
    /// What it says.
    pub word: Word,
    /// What stands against it: what of, when first, ms, in which air.
    pub against: Vec<(String, i64, Air)>,
}

/// A stretch in which a coat may be laid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SprayWindow {
    /// From, ms.
    pub from_ms: i64,
    /// Until, ms: the last quarter of an hour in which it may.
    pub until_ms: i64,
    /// Whether only with retarder.
    pub retard: bool,
    /// The surface is never nearer its dew point in it than this, K.
    pub least_spread_k: f64,
    /// Dampest air in it, % RH.
    pub dampest_rh_pct: f64,
}

impl Bench {
    /// What the air says to a coat at each quarter of an hour from `from_ms` on.
    pub fn at_the_gun(&self, zone: &str, gun: &Gun<'_>, from_ms: i64, hours: f64) -> Option<Vec<GunAir>> {
        let steps = (hours * 3_600_000.0) as i64 / STEP_MS;
        let at = |step: i64| from_ms + step * STEP_MS;
        self.zone(zone)?;
        Some((0..=steps).filter_map(|step| self.judged(zone, gun, at(step))).collect())
    }

    fn judged(&self, zone: &str, gun: &Gun<'_>, at_ms: i64) -> Option<GunAir> {
        let cold =
            |air: Air| Surface::new(air, (gun.surface_below_k > 0.0).then_some(air.temp_c - gun.surface_below_k));
        let air = self.air_at(zone, at_ms)?;
        let spread_k = cold(air).spread_k();
        let longest_h = gun.limits.iter().map(|limit| limit.until_h).fold(0.0, f64::max);
        let mut against: Vec<(String, i64, Air)> = Vec::new();
        let mut word = Word::Go;
        if spread_k < MIN_DEW_POINT_SPREAD_K {
            against.push((format!("the surface is {spread_k:.1} K above the dew point; 3 K are usual"), at_ms, air));
            word = Word::Wait;
        }
        let (mut age_h, mut wet_ms) = (0.0, 0);
        while age_h <= longest_h && wet_ms <= LONGEST_WET_MS {
            let then_ms = at_ms + wet_ms;
            let room = self.air_at(zone, then_ms)?;
            let touching = cold(room).air();
            for limit in gun.limits.iter().filter(|limit| limit.until_h >= age_h && is_broken(limit, touching)) {
                if !against.iter().any(|(name, ..)| *name == limit.name) {
                    against.push((limit.name.clone(), then_ms, touching));
                }
                word = word.max(helped(limit, touching, gun.retarder_rh_pct));
            }
            age_h += (gun.law)(touching) * STEP_MS as f64 / 3_600_000.0;
            wet_ms += STEP_MS;
        }
        Some(GunAir { at_ms, air, spread_k, word, against })
    }
}

/// Retarder helps against blush, and against nothing else.
fn helped(limit: &Limit, air: Air, retarder_rh_pct: Option<f64>) -> Word {
    let damp = limit.name == "blush" && matches!(limit.bound, Bound::AboveRhPct(_));
    match retarder_rh_pct {
        Some(up_to) if damp && air.rh_pct <= up_to => Word::Retard,
        _ => Word::Wait,
    }
}

/// The stretches in which a coat may be laid, in order of time; retarded ones apart from the others.
pub fn spray_windows(judged: &[GunAir]) -> Vec<SprayWindow> {
    let runs = judged.chunk_by(|a, b| a.word == b.word).filter(|run| run[0].word != Word::Wait);
    runs.map(|run| SprayWindow {
        from_ms: run[0].at_ms,
        until_ms: run[run.len() - 1].at_ms,
        retard: run[0].word == Word::Retard,
        least_spread_k: run.iter().map(|judged| judged.spread_k).fold(f64::INFINITY, f64::min),
        dampest_rh_pct: run.iter().map(|judged| judged.air.rh_pct).fold(0.0, f64::max),
    })
    .collect()
}

/// The best of them: the longest that needs no retarder, of like ones the first; with retarder if there is no other.
pub fn best_window(windows: &[SprayWindow]) -> Option<SprayWindow> {
    let of = |retard: bool| {
        let of_kind = windows.iter().rev().filter(move |window| window.retard == retard);
        of_kind.max_by_key(|window| window.until_ms - window.from_ms).copied()
    };
    of(false).or_else(|| of(true))
}
