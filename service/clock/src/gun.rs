//! Air at the gun: whether a coat may be laid now, and the windows in the hours ahead, by the limits and the checks of its
//! rule. Each instant is judged by the air that is likely there and at the edges of the forecast band.

use facts::Limit;
use physics::surface::MIN_DEW_POINT_SPREAD_K;

use crate::{Air, Bench, Expected, Law, Retarder, STEP_MS, Surface, surface::is_broken};

/// Longest a film is taken to be at the mercy of the air, ms: in air in which it never dries it must not be looked at for ever.
const LONGEST_WET_MS: i64 = 12 * 3_600_000;

/// The middle of the band.
const LIKELY: [f64; 2] = [0.0, 0.0];
/// Its edges, in spreads of temperature and of humidity. One at a time: both at once leave the band together.
const EDGES: [[f64; 2]; 4] = [[-1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, -1.0]];

/// A finish as the air sees it while it is wet.
pub struct Gun<'a> {
    /// Airs that spoil it, each as long as it matters.
    pub limits: &'a [Limit],
    /// What its rule has against laying it in an air, beside its limits.
    pub checks: &'a dyn Fn(Air) -> Vec<String>,
    /// How fast it dries.
    pub law: Law,
    /// What retarder does for it, if it may be retarded.
    pub retarder: Option<Retarder>,
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
    /// The air then, where it is likeliest.
    pub air: Air,
    /// How far the surface is above the dew point then, K.
    pub spread_k: f64,
    /// What it says where it is likeliest.
    pub word: Word,
    /// Whether every edge of the forecast band says the same or better.
    pub sure: bool,
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
    /// The longest stretch of it that holds throughout the forecast band, from and until, ms; the rest is only likely.
    pub sure_ms: Option<(i64, i64)>,
    /// Whether only with retarder.
    pub retard: bool,
    /// The surface is never nearer its dew point in it than this, K.
    pub least_spread_k: f64,
    /// Dampest air in it, % RH.
    pub dampest_rh_pct: f64,
}

/// The air of a zone from an instant on, each quarter of an hour, with its band: as long as coats may be laid, and as long
/// as the last of them is wet.
pub struct AirAhead {
    from_ms: i64,
    expected: Vec<Expected>,
}

impl Bench {
    /// The air of a zone for the coats of so many hours from `from_ms` on; none for a zone nobody set up. It is judged apart,
    /// for that asks scripts, and nothing waits for the bench meanwhile.
    pub fn air_ahead(&self, zone: &str, from_ms: i64, hours: f64) -> Option<AirAhead> {
        let steps = ((hours * 3_600_000.0) as i64 + LONGEST_WET_MS) / STEP_MS;
        let expected = (0..=steps).map(|step| self.expected_at(zone, from_ms + step * STEP_MS));
        Some(AirAhead { from_ms, expected: expected.collect::<Option<_>>()? })
    }
}

impl AirAhead {
    /// What it says to a coat at each quarter of an hour.
    pub fn judged(&self, gun: &Gun<'_>) -> Vec<GunAir> {
        let last = self.expected.len() - (LONGEST_WET_MS / STEP_MS) as usize;
        (0..last).map(|step| self.judged_at(gun, step)).collect()
    }

    /// Judged where the air is likeliest; and whether that is sure.
    fn judged_at(&self, gun: &Gun<'_>, step: usize) -> GunAir {
        let likely = self.judged_along(gun, step, LIKELY);
        let holds = |edge| self.judged_along(gun, step, edge).word <= likely.word;
        GunAir { sure: likely.word == Word::Wait || EDGES.into_iter().all(holds), ..likely }
    }

    /// The air at one edge of the band.
    fn air_at(&self, step: usize, [warmer, damper]: [f64; 2]) -> Air {
        let expected = self.expected[step];
        let temp_c = expected.air.temp_c + warmer * expected.spread_k;
        let rh_pct = expected.air.rh_pct + damper * expected.spread_rh_pct;
        Air { temp_c, rh_pct }.held_physical()
    }

    /// Judged along one edge of the band.
    fn judged_along(&self, gun: &Gun<'_>, first: usize, edge: [f64; 2]) -> GunAir {
        let cold =
            |air: Air| Surface::new(air, (gun.surface_below_k > 0.0).then_some(air.temp_c - gun.surface_below_k));
        let ms_of = |step: usize| self.from_ms + step as i64 * STEP_MS;
        let (at_ms, air) = (ms_of(first), self.air_at(first, edge));
        let spread_k = cold(air).spread_k();
        let longest_h = gun.limits.iter().map(|limit| limit.until_h).fold(0.0, f64::max);
        let mut against: Vec<(String, i64, Air)> = Vec::new();
        let mut word = Word::Go;
        if spread_k < MIN_DEW_POINT_SPREAD_K {
            against.push((format!("the surface is {spread_k:.1} K above the dew point; 3 K are usual"), at_ms, air));
            word = Word::Wait;
        }
        let mut age_h = 0.0;
        for step in (first..self.expected.len()).take((LONGEST_WET_MS / STEP_MS) as usize + 1) {
            if age_h > longest_h {
                break;
            }
            let touching = cold(self.air_at(step, edge)).air();
            for limit in gun.limits.iter().filter(|limit| limit.until_h >= age_h && is_broken(limit, touching)) {
                if !against.iter().any(|(name, ..)| *name == limit.name) {
                    against.push((limit.name.clone(), ms_of(step), touching));
                }
                let helped = gun.retarder.is_some_and(|retarder| retarder.helps(limit, touching));
                word = word.max(if helped { Word::Retard } else { Word::Wait });
            }
            age_h += (gun.law)(touching) * STEP_MS as f64 / 3_600_000.0;
        }
        let touching = cold(air).air();
        let found = (gun.checks)(touching);
        if !found.is_empty() {
            let helped = gun.retarder.is_some_and(|retarder| (gun.checks)(retarder.air(touching)).is_empty());
            word = word.max(if helped { Word::Retard } else { Word::Wait });
        }
        against.extend(found.into_iter().map(|what| (what, at_ms, touching)));
        GunAir { at_ms, air, spread_k, word, sure: false, against }
    }
}

/// The stretches in which a coat may be laid, in order of time; retarded ones apart from the others.
pub fn spray_windows(judged: &[GunAir]) -> Vec<SprayWindow> {
    let ends = |run: &[GunAir]| (run[0].at_ms, run[run.len() - 1].at_ms);
    let window = |run: &[GunAir]| {
        let (from_ms, until_ms) = ends(run);
        let sure = run.chunk_by(|a, b| a.sure == b.sure).filter(|part| part[0].sure);
        SprayWindow {
            from_ms,
            until_ms,
            sure_ms: sure.max_by_key(|part| part.len()).map(ends),
            retard: run[0].word == Word::Retard,
            least_spread_k: run.iter().map(|judged| judged.spread_k).fold(f64::INFINITY, f64::min),
            dampest_rh_pct: run.iter().map(|judged| judged.air.rh_pct).fold(0.0, f64::max),
        }
    };
    judged.chunk_by(|a, b| a.word == b.word).filter(|run| run[0].word != Word::Wait).map(window).collect()
}

/// The best of them: the one that is sure for longest and needs no retarder, of like ones the longest, of those the first;
/// with retarder if there is no other.
pub fn best_window(windows: &[SprayWindow]) -> Option<SprayWindow> {
    let sure_ms = |window: &SprayWindow| window.sure_ms.map_or(-1, |(from_ms, until_ms)| until_ms - from_ms);
    let of = |retard: bool| {
        let of_kind = windows.iter().rev().filter(move |window| window.retard == retard);
        of_kind.max_by_key(|window| (sure_ms(window), window.until_ms - window.from_ms)).copied()
    };
    of(false).or_else(|| of(true))
}
