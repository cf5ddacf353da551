//! What follows from waits and windows alone: whether they contradict each other, and how long a way is left from a step.

use crate::{
    NoPlan,
    net::{Arc, Net, Way},
};

/// The longest way, in minutes, from the start of each step to the end of all, by its shortest waits and bare lengths.
///
/// # Errors
/// [`NoPlan::Contradiction`] where the bounds go round in a circle that never closes.
pub(crate) fn tails(net: &Net) -> Result<Vec<i64>, NoPlan> {
    let mut tails: Vec<i64> = net.works.iter().map(|work| work.length).collect();
    let mut next: Vec<Option<usize>> = vec![None; tails.len()];
    for block in net.blocks.iter().rev() {
        // Bellman and Ford: within a block of m steps no bound is still growing after m rounds unless in a circle.
        for round in 0..=block.steps.len() {
            let mut grew = None;
            for step in &block.steps {
                for arc in &net.out[*step] {
                    let Some(gap) = gap(net, arc) else { continue };
                    let tail = tails[arc.to] + gap;
                    if tail > tails[*step] {
                        tails[*step] = tail;
                        next[*step] = Some(arc.to);
                        grew = Some(*step);
                    }
                }
            }
            let Some(step) = grew else { break };
            if round == block.steps.len() {
                return Err(circle(net, &next, step));
            }
        }
    }
    Ok(tails)
}

/// The longest way, in minutes, from the start of each step to the end of its own job; of a problem without contradictions.
pub(crate) fn tails_within_jobs(net: &Net) -> Vec<i64> {
    let mut tails: Vec<i64> = net.works.iter().map(|work| work.length).collect();
    for block in net.blocks.iter().rev() {
        for _ in 0..block.steps.len() {
            for step in &block.steps {
                let own = net.out[*step].iter().filter(|arc| net.works[arc.to].job == net.works[*step].job);
                let longest = own.filter_map(|arc| Some(tails[arc.to] + gap(net, arc)?)).max();
                tails[*step] = tails[*step].max(longest.unwrap_or(i64::MIN));
            }
        }
    }
    tails
}

/// The gap between starts, with the step it counts from at its bare length.
fn gap(net: &Net, arc: &Arc) -> Option<i64> {
    match arc.way {
        Way::StartByStart => Some(arc.gap),
        Way::StartByEnd => Some(arc.gap + net.works[arc.from].length),
        Way::EndByStart => None,
    }
}

fn circle(net: &Net, next: &[Option<usize>], step: usize) -> NoPlan {
    let follow = |step: usize| next[step].unwrap_or(step);
    let inside = (0..next.len()).fold(step, |at, _| follow(at));
    let mut steps = vec![inside];
    let mut at = follow(inside);
    while at != inside {
        steps.push(at);
        at = follow(at);
    }
    let between = |from: usize, to: usize| {
        net.out[from].iter().filter(|arc| arc.to == to).filter_map(|arc| gap(net, arc)).max().unwrap_or(0)
    };
    let by_min = (0..steps.len()).map(|i| between(steps[i], steps[(i + 1) % steps.len()])).sum();
    NoPlan::Contradiction { steps, by_min }
}
