//! Steps made ready for placing: what each occupies, and what has to be looked at to find it a place.
//!
//! Of a resource with hours there are two accounts. One says what is taken. In the other closed hours are taken too, so
//! that a step done within one shift finds its place there in one look, and a week that is full is passed as one.

use std::collections::HashMap;

use crate::{Calendar, Need, Problem};

/// A step, ready.
#[derive(Debug, Clone)]
pub(crate) struct Work {
    pub(crate) job: usize,
    pub(crate) length: i64,
    pub(crate) splits: bool,
    /// The hours of all it needs, by place.
    pub(crate) hours: Option<usize>,
    /// Whether to look there for its place, since the accounts it looks at do not tell when they are closed.
    pub(crate) by_hours: bool,
    /// What it occupies.
    pub(crate) needs: Vec<Taken>,
    /// What has to be free for it: of two accounts of a resource only what tells.
    pub(crate) looks: Vec<Taken>,
    pub(crate) earliest: i64,
    pub(crate) begun: Option<(i64, i64)>,
    pub(crate) holds: Vec<usize>,
}

/// What a step occupies: from `lead` before its start to `tail` after its end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Taken {
    /// The account, by place.
    pub(crate) supply: usize,
    pub(crate) count: i64,
    pub(crate) lead: i64,
    pub(crate) tail: i64,
}

/// An account of a resource. The first are those of what is taken, by the resource's place.
#[derive(Debug, Clone)]
pub(crate) struct Supply {
    pub(crate) resource: usize,
    pub(crate) capacity: i64,
    /// Outside these hours all of it is taken.
    pub(crate) open: Option<Calendar>,
}

/// All steps, the accounts they are entered in, and the hours they have.
pub(crate) fn ready(problem: &Problem) -> (Vec<Work>, Vec<Supply>, Vec<Calendar>) {
    let supply =
        |(resource, open)| Supply { resource, capacity: i64::from(problem.resources[resource].capacity), open };
    let mut supplies: Vec<Supply> = (0..problem.resources.len()).map(|resource| supply((resource, None))).collect();
    let with_hours = problem.resources.iter().enumerate().filter(|(_, of)| of.hours.is_some());
    supplies.extend(with_hours.map(|(resource, of)| supply((resource, of.hours.clone()))));
    let mut hours = Shared::default();
    let mut works: Vec<Work> = (0..problem.steps.len()).map(|i| work(problem, i, &supplies, &mut hours)).collect();
    // Nothing is entered where nobody looks.
    let mut looked: Vec<bool> = vec![false; supplies.len()];
    works.iter().flat_map(|work| &work.looks).for_each(|look| looked[look.supply] = true);
    problem.holds.iter().for_each(|hold| looked[hold.resource] = true);
    works.iter_mut().for_each(|work| work.needs.retain(|need| looked[need.supply]));
    (works, supplies, hours.made)
}

/// Hours made once for each set of resources.
#[derive(Default)]
struct Shared {
    made: Vec<Calendar>,
    of: HashMap<Vec<usize>, usize>,
}

fn work(problem: &Problem, i: usize, supplies: &[Supply], hours: &mut Shared) -> Work {
    let step = &problem.steps[i];
    let closing = |need: &&Need| problem.resources[need.resource].hours.is_some();
    let mut keepers: Vec<usize> = step.needs.iter().filter(closing).map(|need| need.resource).collect();
    keepers.sort_unstable();
    keepers.dedup();
    let begun = step.begun.map(|begun| (begun.start_min, begun.end_min));
    let place = (begun.is_none() && !keepers.is_empty()).then(|| {
        *hours.of.entry(keepers.clone()).or_insert_with(|| {
            let all = keepers.iter().filter_map(|resource| problem.resources[*resource].hours.as_ref());
            hours.made.extend(all.cloned().reduce(|a, b| a.and(&b)));
            hours.made.len() - 1
        })
    });
    // What takes no time or nothing at all is free where all is taken, and so does not see what is closed.
    let by_hours = step.splits || step.length_min == 0 || step.needs.iter().any(|need| need.count == 0);
    let (mut needs, mut looks) = (Vec::new(), Vec::new());
    for need in &step.needs {
        let taken = Taken { supply: need.resource, count: i64::from(need.count), lead: 0, tail: need.tail_min };
        let with_hours = supplies.iter().rposition(|supply| supply.resource == need.resource && supply.open.is_some());
        let with_hours = with_hours.map(|supply| Taken { supply, ..taken });
        needs.extend([taken].into_iter().chain(with_hours));
        match with_hours.filter(|_| !by_hours) {
            // What stays occupied after closing, or is held over night, is in the other account.
            Some(open) => {
                looks.push(Taken { tail: 0, ..open });
                if taken.tail > 0 || problem.holds.iter().any(|hold| hold.resource == need.resource) {
                    looks.push(taken);
                }
            }
            None => looks.push(taken),
        }
    }
    Work {
        job: step.job,
        length: begun.map_or(step.length_min, |(start, end)| end - start),
        splits: step.splits && place.is_some(),
        hours: place,
        by_hours,
        needs,
        looks,
        earliest: begun.map_or(problem.jobs[step.job].release_min.max(problem.now_min), |(start, _)| start),
        begun,
        holds: Vec::new(),
    }
}
