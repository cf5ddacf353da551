//! Orders to begin with: priority rules for weighted lateness.

use crate::{FARTHEST_MIN, trial::Terms};

/// How far ahead apparent tardiness cost looks, in mean jobs.
const LOOKS_AHEAD: [f64; 6] = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0];

/// A job as the rules see it.
struct Seen<'b> {
    blocks: &'b [usize],
    /// How long it keeps what is scarcest.
    load: f64,
    /// By when it has to begin if it is not to be late.
    begin_by: f64,
    due: f64,
    weight: f64,
}

/// Orders, each with what no step starts before; as the wall has them first, then the one given.
///
/// Then whole jobs one after another by due date, by slack, by load over weight, and by apparent tardiness cost with several
/// look-aheads (Vepsalainen, Morton 1987, doi:10.1287/mnsc.33.8.1035).
pub(crate) fn orders(terms: &Terms<'_>, first: &[usize]) -> Vec<(Vec<usize>, Vec<i64>)> {
    let none = vec![i64::MIN; terms.problem.steps.len()];
    let mut all = Vec::new();
    if !terms.wall.is_empty() {
        all.push((by_wall(terms, first), terms.wall.clone()));
    }
    all.push((first.to_vec(), none.clone()));
    let jobs: Vec<Seen<'_>> = seen(terms);
    let mut by = |key: &dyn Fn(&Seen<'_>) -> f64| {
        let mut order: Vec<&Seen<'_>> = jobs.iter().collect();
        order.sort_by(|a, b| key(a).total_cmp(&key(b)));
        let order = order.iter().flat_map(|job| job.blocks).copied().collect();
        all.push((after_waits(terms, order), none.clone()));
    };
    by(&|job| job.due);
    by(&|job| job.begin_by);
    by(&|job| job.load / job.weight.max(1e-3));
    for look in LOOKS_AHEAD {
        all.push((after_waits(terms, apparent_tardiness_cost(terms, &jobs, look)), none.clone()));
    }
    all
}

/// As the wall has them, each after what it waits for.
fn by_wall(terms: &Terms<'_>, first: &[usize]) -> Vec<usize> {
    let stood = |block: usize| terms.net.blocks[block].steps.iter().map(|step| terms.wall[*step]).max();
    let mut latest = vec![None; terms.net.blocks.len()];
    for block in first {
        let before = terms.net.blocks[*block].before.iter().filter_map(|before| latest[*before]).max();
        latest[*block] = stood(*block).max(before);
    }
    let mut order = first.to_vec();
    order.sort_by_key(|block| latest[*block]);
    order
}

fn seen<'b>(terms: &'b Terms<'_>) -> Vec<Seen<'b>> {
    let net = terms.net;
    let of_job = |blocks: &'b Vec<usize>| {
        let steps = || blocks.iter().flat_map(|block| &net.blocks[*block].steps);
        let job = &terms.problem.jobs[terms.job(blocks[0])];
        let longest = steps().map(|step| terms.tails[*step]).max().unwrap_or(0);
        let due = job.due_min.unwrap_or(FARTHEST_MIN) as f64;
        Seen {
            blocks,
            load: blocks.iter().map(|block| terms.loads[*block]).sum::<f64>().max(1.0),
            begin_by: due - longest as f64,
            due,
            weight: job.weight as f64,
        }
    };
    terms.blocks_of.iter().map(of_job).collect()
}

fn apparent_tardiness_cost(terms: &Terms<'_>, jobs: &[Seen<'_>], look: f64) -> Vec<usize> {
    let mean = jobs.iter().map(|job| job.load).sum::<f64>() / jobs.len().max(1) as f64;
    let mut left: Vec<&Seen<'_>> = jobs.iter().collect();
    let mut at = terms.problem.now_min as f64;
    let mut order = Vec::new();
    while !left.is_empty() {
        let index =
            |job: &Seen<'_>| job.weight / job.load * (-(job.begin_by - at).max(0.0) / (look * mean * PACE)).exp();
        let best =
            (0..left.len()).max_by(|a, b| index(left[*a]).total_cmp(&index(left[*b])).then(b.cmp(a))).unwrap_or(0);
        let job = left.remove(best);
        at += job.load * PACE;
        order.extend(job.blocks);
    }
    order
}

/// How many minutes pass while a minute of the scarcest is worked.
const PACE: f64 = 4.0;

/// The same order, with each block after those of it that it waits for.
fn after_waits(terms: &Terms<'_>, order: Vec<usize>) -> Vec<usize> {
    let blocks = &terms.net.blocks;
    let mut open = vec![false; blocks.len()];
    order.iter().for_each(|block| open[*block] = true);
    let mut sorted = Vec::with_capacity(order.len());
    for block in order {
        let mut path = vec![block];
        while let Some(at) = path.last().copied() {
            if let Some(before) = blocks[at].before.iter().find(|before| open[**before] && open[at]) {
                path.push(*before);
                continue;
            }
            path.pop();
            if std::mem::replace(&mut open[at], false) {
                sorted.push(at);
            }
        }
    }
    sorted
}
