//! The problem made ready for placing: every wait and window is a lower bound one step sets for another, and steps that
//! must be placed together are one block.

use crate::{
    Calendar, Edge, Hold, Problem,
    parts::strongly_connected,
    work::{Supply, Work, ready},
};

/// What an arc bounds by what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// The start of `to` by the start of `from`.
    StartByStart,
    /// The start of `to` by the end of `from`, whose length depends on where it stands.
    StartByEnd,
    /// The end of `to`, whose length depends on where it stands, by the start of `from`.
    EndByStart,
}

/// A lower bound.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Arc {
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) gap: i64,
    pub(crate) way: Way,
    /// It keeps a window: `from` may not stand too long after `to`.
    pub(crate) closes: bool,
}

/// Steps that are placed together: a chain of windows, a glue-up with its clamp-off.
#[derive(Debug, Clone, Default)]
pub(crate) struct Block {
    pub(crate) steps: Vec<usize>,
    pub(crate) before: Vec<usize>,
    pub(crate) after: Vec<usize>,
    /// How much later than each of its steps each other starts at the least, row by row; empty where a length that
    /// depends on where a step stands comes into it, and for blocks of very many steps.
    gaps: Vec<i64>,
}

/// Of blocks of no more steps it is reckoned once how they bind each other.
const FEW: usize = 12;
/// No bound; far enough from the least number to be added to.
const NONE: i64 = i64::MIN / 4;

/// The whole problem, ready.
#[derive(Debug, Clone)]
pub(crate) struct Net {
    pub(crate) works: Vec<Work>,
    pub(crate) out: Vec<Vec<Arc>>,
    pub(crate) into: Vec<Vec<Arc>>,
    /// Of those out of a step what leads to its own block, of those into it what comes from another.
    pub(crate) within: Vec<Vec<Arc>>,
    pub(crate) outside: Vec<Vec<Arc>>,
    pub(crate) holds: Vec<Hold>,
    pub(crate) supplies: Vec<Supply>,
    pub(crate) hours: Vec<Calendar>,
    pub(crate) blocks: Vec<Block>,
    pub(crate) block_of: Vec<usize>,
}

impl Net {
    pub(crate) fn new(problem: &Problem) -> Self {
        let (works, supplies, hours) = ready(problem);
        let mut net = Self {
            out: vec![Vec::new(); works.len()],
            into: vec![Vec::new(); works.len()],
            within: Vec::new(),
            outside: Vec::new(),
            works,
            holds: problem.holds.clone(),
            supplies,
            hours,
            blocks: Vec::new(),
            block_of: Vec::new(),
        };
        for (at, hold) in problem.holds.iter().enumerate() {
            net.works[hold.from].holds.push(at);
            if hold.to != hold.from {
                net.works[hold.to].holds.push(at);
            }
        }
        for arc in arcs(problem) {
            net.out[arc.from].push(arc);
            net.into[arc.to].push(arc);
        }
        net.tie();
        net.sort_arcs();
        net.measure();
        net
    }

    /// How the steps of each block bind each other (Floyd, Warshall).
    fn measure(&mut self) {
        for block in &mut self.blocks {
            let n = block.steps.len();
            let arcs = || block.steps.iter().flat_map(|step| &self.within[*step]);
            block.gaps.clear();
            if n == 1 || n > FEW || arcs().any(|arc| arc.way != Way::StartByStart) {
                continue;
            }
            let place = |step: usize| block.steps.iter().position(|other| *other == step).unwrap_or(0);
            let mut gaps = vec![NONE; n * n];
            for arc in arcs() {
                let gap = &mut gaps[place(arc.from) * n + place(arc.to)];
                *gap = arc.gap.max(*gap);
            }
            for by in 0..n {
                for (from, to) in (0..n * n).map(|i| (i / n, i % n)) {
                    let way = gaps[from * n + by] + gaps[by * n + to];
                    gaps[from * n + to] = gaps[from * n + to].max(way).max(NONE);
                }
            }
            block.gaps = gaps;
        }
    }

    /// Spreads the bound of `step` in `low`, or of all steps, through a block. No time beyond what is reckoned is reached
    /// unless the bounds go round in a circle; then the step is told that goes beyond.
    pub(crate) fn spread(
        &self,
        block: usize,
        step: Option<usize>,
        low: &mut [i64],
        queue: &mut Vec<usize>,
    ) -> Result<(), usize> {
        let Block { steps, gaps, .. } = &self.blocks[block];
        if !gaps.is_empty() {
            for (from, gaps) in steps.iter().zip(gaps.chunks_exact(steps.len())) {
                if step.is_none_or(|step| step == *from) {
                    let start = low[*from];
                    for (to, gap) in steps.iter().zip(gaps) {
                        low[*to] = low[*to].max(start + gap);
                    }
                }
            }
            return Ok(());
        }
        match step {
            Some(step) => queue.push(step),
            None => queue.extend(steps.iter().rev()),
        }
        while let Some(step) = queue.pop() {
            let start = low[step];
            if start > crate::FARTHEST_MIN * 4 {
                queue.clear();
                return Err(step);
            }
            for arc in &self.within[step] {
                let end = match arc.way {
                    Way::StartByEnd => self.stretch(step, start).map(|(_, end)| end),
                    _ => Some(start),
                };
                let Some(bound) = end.and_then(|end| self.bound(arc, start, end)) else {
                    queue.clear();
                    return Err(step);
                };
                if bound > low[arc.to] {
                    low[arc.to] = bound;
                    queue.push(arc.to);
                }
            }
        }
        Ok(())
    }

    /// Sorts the arcs into those within a block and those between two.
    fn sort_arcs(&mut self) {
        let same = |arc: &&Arc| self.block_of[arc.from] == self.block_of[arc.to];
        let within = |all: &Vec<Arc>| all.iter().filter(same).copied().collect();
        let outside = |all: &Vec<Arc>| all.iter().filter(|arc| !same(arc)).copied().collect();
        (self.within, self.outside) = (self.out.iter().map(within).collect(), self.into.iter().map(outside).collect());
    }

    /// The same problem with time running backwards, for finding how late everything can be.
    pub(crate) fn mirrored(&self) -> Self {
        let mut net = self.clone();
        for work in &mut net.works {
            work.begun = work.begun.map(|(start, end)| (-end, -start));
            work.earliest = i64::MIN / 4;
            for need in work.needs.iter_mut().chain(&mut work.looks) {
                (need.lead, need.tail) = (need.tail, need.lead);
            }
        }
        for supply in &mut net.supplies {
            supply.open = supply.open.as_ref().map(Calendar::mirrored);
        }
        let turn = |arc: &Arc| {
            // A start seen backwards is an end. A step that splits is taken at its bare length: a mirrored plan only
            // gives an order.
            let (of_from, of_to) = (self.works[arc.from].length, self.works[arc.to].length);
            let gap = match arc.way {
                Way::StartByStart => arc.gap + of_to - of_from,
                Way::StartByEnd => arc.gap + of_to,
                Way::EndByStart => arc.gap - of_from,
            };
            Arc { from: arc.to, to: arc.from, gap, way: Way::StartByStart, closes: arc.closes }
        };
        net.out = self.into.iter().map(|all| all.iter().map(turn).collect()).collect();
        net.into = self.out.iter().map(|all| all.iter().map(turn).collect()).collect();
        net.hours = self.hours.iter().map(Calendar::mirrored).collect();
        for hold in &mut net.holds {
            (hold.from, hold.to) = (hold.to, hold.from);
        }
        for block in &mut net.blocks {
            std::mem::swap(&mut block.before, &mut block.after);
            block.steps.reverse();
        }
        net.sort_arcs();
        net.measure();
        net
    }

    /// Where a step stands if it starts no earlier than `from`, resources aside.
    pub(crate) fn stretch(&self, step: usize, from: i64) -> Option<(i64, i64)> {
        let work = &self.works[step];
        match work.hours {
            None => Some((from, from + work.length)),
            Some(hours) => self.hours[hours].stretch(from, work.length, work.splits),
        }
    }

    /// The bound `arc` sets while its first step stands at `start`..`end`; `None` past the last hours.
    pub(crate) fn bound(&self, arc: &Arc, start: i64, end: i64) -> Option<i64> {
        match arc.way {
            Way::StartByStart => Some(start + arc.gap),
            Way::StartByEnd => Some(end + arc.gap),
            Way::EndByStart => {
                let work = &self.works[arc.to];
                let by = start + arc.gap;
                let last = work.hours.and_then(|hours| self.hours[hours].last_start(by, work.length, true));
                // From the last start it ends too early or just in time; any earlier one ends too early.
                Some(last.map_or(i64::MIN / 4, |last| match self.stretch(arc.to, last) {
                    Some((_, end)) if end < by => last + 1,
                    _ => last,
                }))
            }
        }
    }

    /// Finds the blocks, each with its steps in order, and orders them so that none stands before one it waits for.
    fn tie(&mut self) {
        let n = self.works.len();
        let mut out: Vec<Vec<usize>> = self.out.iter().map(|all| all.iter().map(|arc| arc.to).collect()).collect();
        for hold in &self.holds {
            out[hold.from].push(hold.to);
            out[hold.to].push(hold.from);
        }
        let found = strongly_connected(&out);
        self.block_of = vec![0; n];
        for (block, steps) in found.iter().enumerate() {
            for step in steps {
                self.block_of[*step] = block;
            }
        }
        self.blocks = found.into_iter().map(|steps| Block { steps, ..Block::default() }).collect();
        for (from, tos) in out.iter().enumerate() {
            for to in tos {
                let (a, b) = (self.block_of[from], self.block_of[*to]);
                if a != b && !self.blocks[a].after.contains(&b) {
                    self.blocks[a].after.push(b);
                    self.blocks[b].before.push(a);
                }
            }
        }
    }
}

/// Each lag as lower bounds. What lies between two steps that have both begun is no longer anybody's to keep.
fn arcs(problem: &Problem) -> Vec<Arc> {
    let mut arcs = Vec::new();
    for lag in &problem.lags {
        let (from, to) = (&problem.steps[lag.from], &problem.steps[lag.to]);
        if from.begun.is_some() && to.begun.is_some() {
            continue;
        }
        let length = from.begun.map_or(from.length_min, |begun| begun.end_min - begun.start_min);
        let (counted, floats) = match lag.edge {
            Edge::Start => (0, false),
            Edge::End if from.splits && from.begun.is_none() => (0, true),
            Edge::End => (length, false),
        };
        if let Some(least) = lag.least_min {
            let way = if floats { Way::StartByEnd } else { Way::StartByStart };
            arcs.push(Arc { from: lag.from, to: lag.to, gap: counted + least, way, closes: false });
        }
        if let Some(most) = lag.most_min {
            let way = if floats { Way::EndByStart } else { Way::StartByStart };
            arcs.push(Arc { from: lag.to, to: lag.from, gap: -counted - most, way, closes: true });
        }
    }
    arcs
}
