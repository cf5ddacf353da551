//! A crack along the grain: how far it closes as its plate comes back, and when it may be glued.

use super::{
    Run, Target, Times,
    run::{DAY_H, inside},
};

/// Most that a plate may move, % of moisture over the coming day, for a crack in it to be glued. Common practice, no
/// source: on 400 mm of quarter-sawn spruce it is 0.12 mm, less than a good glue line takes.
pub const STILL_PCT_A_DAY: f64 = 0.2;

/// How far the two sides of a crack come together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closing {
    /// By when, ms.
    pub at_ms: i64,
    /// Mean moisture content then, the likely run, %.
    pub moisture_pct: f64,
    /// How far, mm: least, likely and most of the three runs; negative where it opens.
    pub closes_mm: [f64; 3],
}

/// When a crack may be glued.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gluing {
    /// When the window opens, ms.
    pub opens: Times<i64>,
    /// When it closes again at the first of the three runs, ms; none if it does not in the time looked at.
    pub closes_ms: Option<i64>,
}

impl Run<'_> {
    /// How far a crack has closed when the plate is back in the shop's band at every pace.
    pub fn closing_when_back(&self, target: Target) -> Option<Closing> {
        let back_ms = self.back(target).safe?;
        (0..self.ahead_pct[1].len()).find(|h| self.at_ms(*h) >= back_ms).map(|h| self.closing(h))
    }

    /// How far it will have closed at the end of the time looked at, if the instrument stays where it is.
    pub fn closing_in_the_end(&self) -> Closing {
        self.closing(self.ahead_pct[1].len() - 1)
    }

    /// When a crack may be glued: the plate is in the shop's band, stays in it for the day its glue cures, and moves no more
    /// than [`STILL_PCT_A_DAY`] in it.
    pub fn gluing(&self, target: Target) -> Gluing {
        let windows = [0, 1, 2].map(|pace| self.window(pace, target));
        let opens = Times::of(windows.map(|(opens, _)| opens.map(|h| self.at_ms(h))));
        Gluing { opens, closes_ms: windows.iter().filter_map(|(_, closes)| *closes).min().map(|h| self.at_ms(h)) }
    }

    /// Whether the window stands open now at every pace.
    pub fn may_be_glued_now(&self, target: Target) -> bool {
        self.gluing(target).opens.safe == Some(self.now_ms)
    }

    /// Hours at which the window of one run opens and closes.
    fn window(&self, pace: usize, target: Target) -> (Option<usize>, Option<usize>) {
        let (ahead, inside) = (&self.ahead_pct[pace], inside(target));
        let good = |h: &usize| {
            let day = &ahead[*h..=h + DAY_H];
            day.iter().all(|pct| inside(*pct) && (pct - day[0]).abs() <= STILL_PCT_A_DAY)
        };
        let hours = 0..ahead.len() - DAY_H;
        let opens = hours.clone().find(good);
        (opens, opens.and_then(|opens| hours.skip(opens).find(|h| !good(h))))
    }

    fn closing(&self, hours: usize) -> Closing {
        let mut closes_mm = [0, 1, 2].map(|pace| self.moves_mm(self.ahead_pct[pace][0], self.ahead_pct[pace][hours]));
        let likely_mm = closes_mm[1];
        closes_mm.sort_by(f64::total_cmp);
        Closing {
            at_ms: self.at_ms(hours),
            moisture_pct: self.ahead_pct[1][hours],
            closes_mm: [closes_mm[0], likely_mm, closes_mm[2]],
        }
    }
}
