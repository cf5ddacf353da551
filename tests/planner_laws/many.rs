//! Laws over many plans: none breaks anything, more effort is never worse, names change nothing, without news the plan
//! on the wall stays.

use super::*;
use planner::{Cost, Plan};

/// How many plans: `PLANS=100000 cargo test --release -p bench-tests --test all -- planner_laws::many` is the long form.
fn many(usual: u64) -> u64 {
    std::env::var("PLANS").map_or(usual, |plans| plans.parse().expect("PLANS is a number of plans"))
}

fn planned(problem: &Problem, seed: u64, schedules: u64) -> Option<Plan> {
    solve(problem, Effort::schedules(seed, schedules)).ok()
}

/// The checker shares nothing with what makes plans.
fn nothing_is_broken(made_up: fn(u64) -> Problem, plans: u64) {
    let mut made = 0;
    for seed in 0..plans {
        let problem = made_up(seed * 7919 + 13);
        let plan = solve(&problem, Effort::schedules(seed, 30));
        if let Err(NoPlan::Window { from, to, by_min }) = plan {
            let window = |lag: &Lag| lag.from == from && lag.to == to && lag.most_min.is_some();
            assert!(by_min > 0 && problem.lags.iter().any(window), "made-up {seed}: {from} to {to} is no window");
        }
        if let Ok(plan) = plan {
            assert_eq!(check(&problem, &plan.slots), [], "made-up {seed}");
            assert_eq!(plan.cost, Cost::of(&problem, &plan.slots), "made-up {seed}");
            what_is_frozen_stays_or_is_said(&problem, &plan, seed);
            made += 1;
        }
    }
    assert!(made > plans / 2, "{made} plans of {plans} problems");
}

fn what_is_frozen_stays_or_is_said(problem: &Problem, plan: &Plan, seed: u64) {
    let wall = &problem.wall;
    for (i, start) in wall.starts_min.iter().enumerate() {
        let near = problem.now_min + 1..wall.frozen_until_min;
        let Some(start) = start.filter(|start| near.contains(start) && problem.steps[i].begun.is_none()) else {
            continue;
        };
        let moved = (plan.slots[i].start_min - start).abs() > wall.moved_over_min;
        assert!(!moved || plan.unfrozen.contains(&i), "made-up {seed}: step {i} stood at {start}, {:?}", plan.slots[i]);
    }
}

#[test]
fn an_independent_checker_finds_no_violation() {
    nothing_is_broken(made_up::bench, many(2_000));
}

#[test]
fn nor_does_it_in_shops_in_the_middle_of_their_week() {
    nothing_is_broken(made_up::week, many(2_000));
}

/// Seconds of a clock that ticks with each schedule, so that the test is the same on every machine.
fn planned_in(problem: &Problem, seed: u64, seconds: u64) -> Option<i64> {
    let ticks = std::cell::Cell::new(0);
    let keep_going = || {
        ticks.set(ticks.get() + 1);
        ticks.get() < seconds * 25
    };
    let plan = solve(problem, Effort { seed, schedules: u64::MAX, keep_going: &keep_going });
    Some(plan.ok()?.cost.total)
}

#[test]
fn ten_seconds_are_never_worse_than_one() {
    let (mut better, mut same) = (0, 0);
    for seed in 0..many(300) / 3 {
        let made_up = if seed % 2 == 0 { made_up::bench } else { made_up::week };
        let problem = made_up(seed * 7919 + 13);
        // Where none is found in one second, one may be in ten.
        let Some(one) = planned_in(&problem, seed, 1) else { continue };
        let ten = planned_in(&problem, seed, 10).expect("what is found in one second is found in ten");
        assert!(ten <= one, "made-up bench {seed}: {ten} after {one}");
        if ten < one { better += 1 } else { same += 1 }
    }
    assert!(better > 0 && same > 0, "{better} better, {same} the same");
}

/// The plan of a problem hung on the wall.
fn hung(problem: &Problem, plan: &Plan) -> Problem {
    let starts_min = plan.slots.iter().map(|slot| Some(slot.start_min)).collect();
    let wall = Wall {
        starts_min,
        frozen_until_min: problem.now_min + 240,
        moved_cost: 300,
        moved_over_min: 10,
        pull_over_min: 60,
    };
    Problem { wall, ..problem.clone() }
}

#[test]
fn without_news_the_plan_on_the_wall_stays_to_the_minute() {
    let (mut stays, mut leaves) = (0, 0);
    // The plans of the last three cannot be built again block by block.
    for seed in (0..many(200)).chain([342, 356, 555]) {
        let problem = made_up::bench(seed * 7919 + 13);
        let problem = Problem { wall: Wall::default(), length_cost: 1, ..problem };
        let Some(plan) = planned(&problem, seed, 300) else { continue };
        let walled = hung(&problem, &plan);
        let again = planned(&walled, seed, 300).expect("the plan on the wall is one");
        if again.slots == plan.slots {
            stays += 1;
        } else {
            let saved = Cost::of(&walled, &plan.slots).total - again.cost.total;
            assert!(saved > walled.wall.moved_cost, "made-up bench {seed}: moved to save {saved}");
            leaves += 1;
        }
    }
    assert!(stays > 20 * leaves, "{stays} stay, {leaves} leave");
}

/// The same jobs the other way round.
fn turned_round(problem: &Problem) -> Problem {
    let (jobs, steps) = (problem.jobs.len(), problem.steps.len());
    let mut other = problem.clone();
    other.jobs.reverse();
    let mut order: Vec<usize> = (0..steps).collect();
    order.sort_by_key(|step| (jobs - problem.steps[*step].job, *step));
    let mut place = vec![0; steps];
    order.iter().enumerate().for_each(|(at, step)| place[*step] = at);
    other.steps = order.iter().map(|step| problem.steps[*step].clone()).collect();
    other.steps.iter_mut().for_each(|step| step.job = jobs - 1 - step.job);
    for lag in &mut other.lags {
        (lag.from, lag.to) = (place[lag.from], place[lag.to]);
    }
    for hold in &mut other.holds {
        (hold.from, hold.to) = (place[hold.from], place[hold.to]);
    }
    other
}

#[test]
fn what_jobs_are_called_changes_nothing() {
    let problem = instances::repair_bench(&reference("bench_20x10_s1.json"));
    for schedules in [1, 100, 300] {
        let cost = |problem: &Problem| planned(problem, 5, schedules).expect("a plan").cost;
        assert_eq!(cost(&problem), cost(&turned_round(&problem)), "after {schedules} schedules");
    }
}

#[test]
fn nor_does_it_where_jobs_have_begun_unless_two_are_equally_urgent() {
    let (mut same, mut differ) = (0, 0);
    for seed in 0..many(300) {
        let problem = Problem { wall: Wall::default(), ..made_up::week(seed * 7919 + 13) };
        let cost = |problem: &Problem| planned(problem, 5, 60).map(|plan| plan.cost);
        if cost(&problem) == cost(&turned_round(&problem)) { same += 1 } else { differ += 1 }
    }
    // Which of two equally urgent comes first is left to their places.
    assert!(same > 99 * differ, "{same} are the same, {differ} differ");
}
