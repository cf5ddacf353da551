//! Every plan of a tiny problem, minute by minute: the judge of the planner's best and of its "none".

use planner::{Cost, Problem, Slot, check};

/// Up to when steps may end.
const UNTIL_MIN: i64 = 45;

/// What the best of all plans costs; `None` if there is none.
pub(super) fn best(problem: &Problem) -> Option<i64> {
    let mut best = None;
    let mut slots = Vec::with_capacity(problem.steps.len());
    search(problem, &mut slots, &mut best);
    best
}

fn search(problem: &Problem, slots: &mut Vec<Slot>, best: &mut Option<i64>) {
    let at = slots.len();
    if at == problem.steps.len() {
        if check(problem, slots).is_empty() {
            let total = Cost::of(problem, slots).total;
            *best = Some(best.map_or(total, |best| best.min(total)));
        }
        return;
    }
    let length = problem.steps[at].length_min;
    for start_min in 0..=UNTIL_MIN - length {
        let slot = Slot { start_min, end_min: start_min + length };
        // A bare look ahead keeps it quick: the lag before it, the one pair of hands, and what is already too dear.
        let lag = problem.lags.iter().find(|lag| lag.to == at);
        let waits = |lag: &planner::Lag| start_min - slots[lag.from].end_min;
        let early = lag.is_some_and(|lag| waits(lag) < lag.least_min.unwrap_or(0));
        let late = lag.is_some_and(|lag| lag.most_min.is_some_and(|most| waits(lag) > most));
        let busy = slots.iter().any(|other| other.start_min < slot.end_min && start_min < other.end_min);
        if early || late || busy || best.is_some_and(|best| slot.end_min > best) {
            continue;
        }
        slots.push(slot);
        search(problem, slots, best);
        slots.pop();
    }
}
