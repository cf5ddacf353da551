//! Work that should be under way by the plan. Nobody says that a step is begun; it is ticked when it is done. If it were
//! planned anew meanwhile, what is frozen after it would push it out of the hour in which somebody is working on it.

use planner::{Begun, Problem};

use super::{chance::HANDS_PCT, draft::Draft, places::Places};

/// Takes work as begun whose time by the plan before has come, as long as nothing speaks against it: what it follows is
/// done, and what it needs is not taken by what has begun besides. Where its time is over it is taken to be done any minute;
/// if nobody has ticked it when it took as long as work hardly ever does, it was not done, and is planned anew.
pub(super) fn presume(draft: &mut Draft, before: &Places) {
    let problem = &mut draft.problem;
    let stood = |i: usize| Some((*before.get(&draft.pieces[i].key)?, i));
    let open = (0..problem.steps.len()).filter(|i| problem.steps[*i].begun.is_none());
    let mut come: Vec<(i64, usize)> = open.filter_map(stood).filter(|(at, _)| *at < problem.now_min).collect();
    come.sort_unstable();
    for (at_min, i) in come {
        let length_min = problem.steps[i].length_min;
        let longer_min = length_min * (HANDS_PCT[2] - 100) / 100;
        let end_min = end(problem, i, at_min).filter(|end| length_min > 0 && end + longer_min > problem.now_min);
        let end_min = end_min.map(|end| end.max(problem.now_min));
        if let Some(end_min) = end_min.filter(|_| may_start(problem, i, at_min) && has_room(problem, i)) {
            problem.steps[i].begun = Some(Begun { start_min: at_min, end_min });
            draft.pieces[i].under_way = true;
        }
    }
}

/// When a step that began then ends by the hours of all it needs; none where they do not let it begin then.
fn end(problem: &Problem, i: usize, at_min: i64) -> Option<i64> {
    let step = &problem.steps[i];
    let Some(hours) = problem.hours(i) else { return Some(at_min + step.length_min) };
    hours.stretch(at_min, step.length_min, step.splits).filter(|(from, _)| *from == at_min).map(|(_, to)| to)
}

/// Whether all it follows has begun, long enough before.
fn may_start(problem: &Problem, i: usize, at_min: i64) -> bool {
    problem.lags.iter().filter(|lag| lag.to == i).all(|lag| {
        let from = problem.steps[lag.from].begun.map(|begun| lag.edge.of(begun.start_min, begun.end_min));
        from.is_some_and(|from| lag.least_min.is_none_or(|least| from + least <= at_min))
    })
}

/// Whether what it needs and holds is there beside all that has begun.
fn has_room(problem: &Problem, i: usize) -> bool {
    let needs = problem.steps[i].needs.iter().map(|need| (need.resource, need.count));
    let holds = problem.holds.iter().filter(|hold| hold.from == i).map(|hold| (hold.resource, hold.count));
    needs.chain(holds).all(|(resource, count)| taken(problem, resource) + count <= problem.resources[resource].capacity)
}

/// How much of a resource is taken now by what has begun, or would be if that were done a minute later.
fn taken(problem: &Problem, resource: usize) -> u32 {
    let now_min = problem.now_min;
    let needs = problem.steps.iter().filter_map(|step| {
        let begun = step.begun?;
        let own = step.needs.iter().filter(|need| need.resource == resource);
        Some(own.filter(|need| begun.end_min + need.tail_min >= now_min).map(|need| need.count).sum::<u32>())
    });
    let holds = problem.holds.iter().filter(|hold| {
        let is_off = problem.steps[hold.to].begun.is_some_and(|begun| begun.end_min <= now_min);
        hold.resource == resource && problem.steps[hold.from].begun.is_some() && !is_off
    });
    needs.sum::<u32>() + holds.map(|hold| hold.count).sum::<u32>()
}
