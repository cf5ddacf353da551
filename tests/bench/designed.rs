//! Sets of made-up projects after the design of the published sets J30, J60 and J120, which themselves stay outside: as many
//! projects for every combination of how many arcs, how many resources a step needs and how scarce they are (Kolisch,
//! Sprecher, Drexl 1995, doi:10.1287/mnsc.41.10.1693; Kolisch, Sprecher 1997, doi:10.1016/S0377-2217(96)00170-1).
//!
//! Seen in forty files of those sets: three steps at each end, lengths and requests of 1 to 10, at most three neighbours on
//! each side, no arc that follows from others, the number of arcs, how needs are spread, and the capacities to the unit.
//! From memory: that every step first gets one before it, and each without any behind it one, last first. That further arcs go
//! from a step drawn among those with room was chosen of three ways, since the numbers of neighbours are then as in the files.

use std::fs;

use planner::{Edge, Job, Lag, Need, Problem, Resource, Step};

use crate::{draw::Draw, root};

/// A set: so many projects of every kind.
#[derive(Debug, Clone, Copy)]
pub struct Design {
    /// The published set it follows.
    pub name: &'static str,
    /// Steps of a project, at most 120.
    pub steps: usize,
    /// How scarce resources are, in tenths: at 0 the greatest request can just be met, at 10 no step ever waits.
    pub strengths: &'static [u32],
}

/// After J30, J60 (48 kinds each) and J120 (60 kinds).
pub const DESIGNS: [Design; 3] = [
    Design { name: "J30", steps: 30, strengths: &[2, 5, 7, 10] },
    Design { name: "J60", steps: 60, strengths: &[2, 5, 7, 10] },
    Design { name: "J120", steps: 120, strengths: &[1, 2, 3, 4, 5] },
];

/// The seed of the sets the figures are of.
pub const SEED: u64 = 1995;

/// The optima of the first projects of each kind of J30 with [`SEED`], in the order of the kinds, in minutes.
///
/// # Panics
/// Where `tests/reference/plan/designed_j30.csv`, which says how they were proved, cannot be read.
#[must_use]
pub fn optima_min() -> Vec<Vec<i64>> {
    let text = fs::read_to_string(root().join("tests/reference/plan/designed_j30.csv")).expect("the optima");
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|row| row.split(',').skip(3).map(|word| word.parse().expect("minutes")).collect()).collect()
}

/// What projects of one kind have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// Arcs for every ten steps, with one step before all and one behind all counted in: 15, 18 or 21.
    pub arcs: usize,
    /// Of four resources a step needs so many on the mean: 1 to 4.
    pub needs: usize,
    /// One of [`Design::strengths`].
    pub strength: u32,
}

const RESOURCES: usize = 4;
/// Steps at each end, and the most neighbours of a step on one side.
const ENDS: usize = 3;
const NEIGHBOURS: u32 = 3;

impl Design {
    /// The kinds, in the order in which the published sets number them.
    pub fn kinds(self) -> impl Iterator<Item = Kind> {
        let strengths = self.strengths;
        let needs = move |arcs| (1..=RESOURCES).map(move |needs| (arcs, needs));
        let all = [15, 18, 21].into_iter().flat_map(needs);
        all.flat_map(move |(arcs, needs)| {
            strengths.iter().map(move |strength| Kind { arcs, needs, strength: *strength })
        })
    }

    /// The project of a kind with this number, the same for the same seed.
    #[must_use]
    pub fn project(&self, kind: Kind, number: u64, seed: u64) -> Problem {
        let mixed = [kind.arcs as u64, kind.needs as u64, u64::from(kind.strength), self.steps as u64, number];
        let seed = mixed.iter().fold(seed, |seed, by| (seed ^ by).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(29));
        let mut draw = Draw::new(seed);
        let arcs = (kind.arcs * (self.steps + 2)).div_ceil(10) - 2 * ENDS;
        let network = loop {
            // Some have no place left for an arc before they have enough.
            if let Some(network) = Network::drawn(self.steps, arcs, &mut draw) {
                break network;
            }
        };
        let lengths: Vec<i64> = (0..self.steps).map(|_| 1 + draw.below(10)).collect();
        let requests = requests(self.steps, kind.needs, &mut draw);
        let starts = earliest(&network, &lengths);
        let capacity = |resource: usize| {
            let of: Vec<u32> = requests.iter().map(|of| of[resource]).collect();
            let (least, most) = (of.iter().max().copied().unwrap_or(0), peak(&starts, &lengths, &of));
            // Half a unit is rounded up, as the published files have it.
            (10 * least + kind.strength * (most - least) + 5) / 10
        };
        let lag = |(from, to): (usize, usize)| Lag { from, edge: Edge::End, to, least_min: Some(0), most_min: None };
        let step = |step: usize| {
            let needs = (0..RESOURCES).map(|resource| Need { resource, count: requests[step][resource], tail_min: 0 });
            Step { length_min: lengths[step], needs: needs.filter(|need| need.count > 0).collect(), ..Step::default() }
        };
        Problem {
            resources: (0..RESOURCES).map(|of| Resource { capacity: capacity(of), hours: None }).collect(),
            jobs: vec![Job { release_min: 0, due_min: None, weight: 0 }],
            steps: (0..self.steps).map(step).collect(),
            lags: network.arcs().map(lag).collect(),
            length_cost: 1,
            ..Problem::default()
        }
    }
}

/// The length of the longest way through a project whose steps stand after those they wait for, in minutes.
#[must_use]
pub fn critical_path_min(problem: &Problem) -> i64 {
    let mut ends: Vec<i64> = problem.steps.iter().map(|step| step.length_min).collect();
    for to in 0..ends.len() {
        let before = problem.lags.iter().filter(|lag| lag.to == to).map(|lag| ends[lag.from]).max();
        ends[to] += before.unwrap_or(0);
    }
    ends.into_iter().max().unwrap_or(0)
}

/// Which steps wait for which, as bits: next to each, and all the way.
struct Network {
    next: Vec<u128>,
    behind: Vec<u128>,
    before: Vec<u128>,
    /// How many wait for each, and for how many it waits.
    out: Vec<u32>,
    into: Vec<u32>,
}

impl Network {
    /// `None` where there is no place for so many arcs.
    fn drawn(steps: usize, arcs: usize, draw: &mut Draw) -> Option<Self> {
        let none = vec![0; steps];
        let mut network =
            Self { next: none.clone(), behind: none.clone(), before: none, out: vec![0; steps], into: vec![0; steps] };
        let ends = steps - ENDS;
        for to in ENDS..steps {
            network.add_one((0..to.min(ends)).map(|from| (from, to)), draw)?;
        }
        for from in (0..ends).rev() {
            if network.out[from] == 0 {
                network.add_one((ENDS.max(from + 1)..steps).map(|to| (from, to)), draw)?;
            }
        }
        let mut open: Vec<usize> = (0..ends).collect();
        while network.arcs().count() < arcs {
            let from = draw.one(&open)?;
            if network.add_one((ENDS.max(from + 1)..steps).map(|to| (from, to)), draw).is_none() {
                open.retain(|step| *step != from);
            }
        }
        Some(network)
    }

    fn add_one(&mut self, of: impl Iterator<Item = (usize, usize)>, draw: &mut Draw) -> Option<()> {
        let can: Vec<_> = of.filter(|(from, to)| self.has_place(*from, *to)).collect();
        let (from, to) = draw.one(&can)?;
        self.next[from] |= 1 << to;
        self.out[from] += 1;
        self.into[to] += 1;
        let (left, right) = (self.before[from] | 1 << from, self.behind[to] | 1 << to);
        for step in 0..self.next.len() {
            self.behind[step] |= if left >> step & 1 == 1 { right } else { 0 };
            self.before[step] |= if right >> step & 1 == 1 { left } else { 0 };
        }
        Some(())
    }

    /// Whether an arc neither follows from others nor makes another follow, and both its steps have room.
    fn has_place(&self, from: usize, to: usize) -> bool {
        let (left, right) = (self.before[from] | 1 << from, self.behind[to] | 1 << to);
        let across = |step: usize| left >> step & 1 == 1 && self.next[step] & right != 0;
        self.out[from] < NEIGHBOURS
            && self.into[to] < NEIGHBOURS
            && self.behind[from] >> to & 1 == 0
            && !(0..=from).any(across)
    }

    fn arcs(&self) -> impl Iterator<Item = (usize, usize)> {
        let steps = self.next.len();
        (0..steps)
            .flat_map(move |from| (from + 1..steps).map(move |to| (from, to)))
            .filter(|(a, b)| self.next[*a] >> b & 1 == 1)
    }
}

/// What each step needs of each resource: one of each step, then at random until there are as many needs as there shall be.
fn requests(steps: usize, needs: usize, draw: &mut Draw) -> Vec<[u32; RESOURCES]> {
    let mut all = vec![[0; RESOURCES]; steps];
    let amount = |draw: &mut Draw| 1 + draw.below(10) as u32;
    for of in &mut all {
        of[draw.below(RESOURCES as i64) as usize] = amount(draw);
    }
    for _ in steps..steps * needs {
        let free: Vec<(usize, usize)> = (0..steps * RESOURCES)
            .map(|at| (at / RESOURCES, at % RESOURCES))
            .filter(|(step, resource)| all[*step][*resource] == 0)
            .collect();
        if let Some((step, resource)) = draw.one(&free) {
            all[step][resource] = amount(draw);
        }
    }
    all
}

/// When each step starts at the earliest.
fn earliest(network: &Network, lengths: &[i64]) -> Vec<i64> {
    let mut starts = vec![0; lengths.len()];
    for (from, to) in network.arcs() {
        starts[to] = starts[to].max(starts[from] + lengths[from]);
    }
    starts
}

/// The most that is needed at once where each step starts at the earliest.
fn peak(starts: &[i64], lengths: &[i64], requests: &[u32]) -> u32 {
    let at = |time: &i64| -> u32 {
        let under_way = |step: &usize| (starts[*step]..starts[*step] + lengths[*step]).contains(time);
        (0..starts.len()).filter(under_way).map(|step| requests[step]).sum()
    };
    starts.iter().map(at).max().unwrap_or(0)
}
