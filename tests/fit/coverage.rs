//! Simulated benches with known truth: how often the stated interval holds it.

use rules::fit::{Estimate, LEVEL, Share, Spell, estimate};

/// SplitMix64 (Steele, Lea & Flood, OOPSLA 2014), and normal numbers by Box & Muller (1958): the same on every machine.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

const SHEET: [f64; 2] = [0.21, 0.25];
/// Logarithms of times of both stages, of the spread and of the response per 10 K, against the sheet.
struct Truth {
    times: [f64; 2],
    spread: f64,
    warmth: f64,
}

/// One piece: kept at a temperature, looked at every so often until it is there or nobody looks any more.
fn piece(chance: &mut Chance, truth: &Truth, stage: usize, reach_k: f64) -> Spell {
    let tens_k = chance.between(-reach_k, reach_k) / 10.0;
    let reached = (truth.times[stage] + SHEET[stage] * truth.spread.exp() * chance.normal()).exp();
    let (every, looks) = (chance.between(0.1, 0.5), 3 + (chance.uniform() * 10.0) as usize);
    let worth = (truth.warmth * tens_k).exp();
    let at = |look: usize| vec![Share { tens_k, share: look as f64 * every }];
    let there = (1..=looks).find(|look| *look as f64 * every * worth >= reached);
    match there {
        Some(look) => Spell { stage, not_yet: if look > 1 { at(look - 1) } else { vec![] }, there: Some(at(look)) },
        None => Spell { stage, not_yet: at(looks), there: None },
    }
}

/// How often each interval held the truth over 200 benches: two times, spread, warmth.
fn held(truth: &Truth, pieces: usize, seed: u64) -> [usize; 4] {
    let mut chance = Chance(seed);
    let mut held = [0; 4];
    for _ in 0..REPEATS {
        let spells: Vec<Spell> = (0..pieces).map(|n| piece(&mut chance, truth, n % 2, 8.0)).collect();
        let found = estimate(&spells, &SHEET);
        let holds = |estimate: Estimate, truth: f64| {
            let [low, _, high] = estimate.factors();
            usize::from((low..=high).contains(&truth.exp()))
        };
        held[0] += holds(found.times[0], truth.times[0]);
        held[1] += holds(found.times[1], truth.times[1]);
        held[2] += holds(found.spread, truth.spread);
        held[3] += found.warmth.map_or(0, |warmth| holds(warmth, truth.warmth));
    }
    held
}

const REPEATS: usize = 200;

/// The truth lies 30 % above the sheet in one stage and 20 % below in the other, scatters a quarter more and answers more
/// to warmth. Of 200 intervals of 90 %, 180 should hold it; three standard deviations of that count are 13.
#[test]
fn known_truth_lies_within_the_stated_interval_at_the_stated_rate() {
    let truth = Truth { times: [0.26, -0.22], spread: 0.2, warmth: 0.25 };
    let expected = LEVEL * REPEATS as f64;
    let slack = 3.0 * (REPEATS as f64 * LEVEL * (1.0 - LEVEL)).sqrt();
    for pieces in [20, 60] {
        let held = held(&truth, pieces, 20_260_302 + pieces as u64);
        for (what, held) in ["time 1", "time 2", "spread", "warmth"].iter().zip(held) {
            assert!((held as f64 - expected).abs() <= slack, "{what}: {held} of {REPEATS} with {pieces} pieces");
        }
    }
}

/// With few pieces the prior keeps the answer near the sheet, and says that the data tell little.
#[test]
fn few_pieces_at_one_temperature_cannot_tell_the_response_to_warmth() {
    let truth = Truth { times: [0.3, 0.0], spread: 0.0, warmth: 0.3 };
    let mut chance = Chance(7);
    let spells: Vec<Spell> = (0..12).map(|_| piece(&mut chance, &truth, 0, 0.5)).collect();
    let found = estimate(&spells, &SHEET);
    assert_eq!(found.warmth, None);
    assert!(found.times[0].told, "{:?}", found.times[0]);
    assert!((found.times[0].ln - 0.3).abs() < 0.2, "{:?}", found.times[0]);
    // Nobody looked at the second stage: it is the sheet's, with the sheet's own doubt.
    assert!(!found.times[1].told && found.times[1].ln.abs() < 1e-6, "{:?}", found.times[1]);
    assert!((found.times[1].sd - rules::fit::TIMES_SD).abs() < 1e-6, "{:?}", found.times[1]);
}

#[test]
fn with_nothing_seen_the_answer_is_the_sheet() {
    let found = estimate(&[], &SHEET);
    assert!(found.times.iter().all(|times| !times.told && times.ln.abs() < 1e-12));
    assert!(!found.spread.told && found.warmth.is_none());
    let one = [Spell { stage: 0, not_yet: vec![Share { tens_k: 0.0, share: 0.4 }], there: None }];
    assert!(!estimate(&one, &SHEET).times[0].told, "one early look says less than the sheet");
}
