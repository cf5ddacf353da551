//! The laws of the bench plan, held against an exhaustive search, published solvers' figures, and the planner itself
//! asked another way. Every plan is looked at by the checker, which shares nothing with what makes plans.

mod checker;
mod designed;
mod exhaustive;
mod made_up;
mod many;
mod no_plan;
mod on_the_wall;

use bench::{instances, root};
use planner::{
    Begun, Calendar, Edge, Effort, Hold, Job, Lag, Need, NoPlan, Problem, Resource, Step, Wall, Week, Why, check,
    explain, solve,
};
use proptest::prelude::*;

fn reference(name: &str) -> String {
    std::fs::read_to_string(root().join("tests/reference/plan").join(name)).expect("a reference")
}

/// Best known, bound and what OR-tools CP-SAT 9.15 has after 10 s, from `tests/reference/plan/best_known.csv`.
fn known() -> Vec<(String, [i64; 3])> {
    let text = reference("best_known.csv");
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let row = |line: &str| {
        let words: Vec<&str> = line.split(',').collect();
        (words[0].to_string(), [1, 2, 3].map(|i| words[i].parse().expect("a figure")))
    };
    rows.map(row).collect()
}

#[test]
fn repair_benches_are_planned_between_the_proved_bound_and_a_reference_solver() {
    for (name, [_, bound, cold]) in known() {
        let problem = instances::repair_bench(&reference(&name));
        let plan = solve(&problem, Effort::schedules(1, 400)).expect("there is a plan");
        assert_eq!(check(&problem, &plan.slots), [], "{name}");
        assert!(plan.cost.total >= bound, "{name}: {} is below a proved bound", plan.cost.total);
        assert!(plan.cost.total < cold, "{name}: {} is no better than CP-SAT after 10 s, {cold}", plan.cost.total);
    }
}

#[test]
fn a_longer_effort_is_never_worse_and_the_same_seed_gives_the_same_plan() {
    let problem = instances::repair_bench(&reference("bench_20x10_s1.json"));
    let totals: Vec<i64> = [1, 50, 200, 600]
        .map(|schedules| solve(&problem, Effort::schedules(7, schedules)).expect("a plan").cost.total)
        .to_vec();
    assert!(totals.is_sorted_by(|a, b| a >= b) && totals[0] > totals[3], "{totals:?}");
    let again = || solve(&problem, Effort::schedules(7, 200)).expect("a plan");
    assert_eq!(again(), again());
}

#[test]
fn a_week_later_is_the_same_plan_a_week_later() {
    let problem = instances::repair_bench(&reference("bench_20x10_s2.json"));
    let week = 7 * 288;
    let mut later = problem.clone();
    later.now_min += week;
    for resource in &mut later.resources {
        let shifted =
            |hours: &Calendar| Calendar::new(hours.open().iter().map(|(a, b)| (a + week, b + week)).collect());
        resource.hours = resource.hours.as_ref().map(shifted);
    }
    for job in &mut later.jobs {
        job.release_min += week;
        job.due_min = job.due_min.map(|due| due + week);
    }
    let (one, two) = (solve(&problem, Effort::schedules(3, 100)), solve(&later, Effort::schedules(3, 100)));
    let (one, two) = (one.expect("a plan"), two.expect("a plan"));
    assert_eq!(one.cost, two.cost);
    for (a, b) in one.slots.iter().zip(&two.slots) {
        assert_eq!(a.start_min + week, b.start_min);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(30))]

    /// 30 × 26 plans.
    #[test]
    fn every_step_of_a_made_up_bench_is_explained(seed in any::<u64>()) {
        for more in 0..26 {
            let made_up = if more % 2 == 0 { made_up::bench } else { made_up::week };
            let problem = made_up(seed.wrapping_add(more));
            match solve(&problem, Effort::schedules(seed, 12)) {
                Ok(plan) => {
                    prop_assert_eq!(check(&problem, &plan.slots), []);
                    for told in explain(&problem, &plan) {
                        prop_assert!(told.float_min >= 0 && !told.why.is_empty());
                    }
                }
                Err(NoPlan::Flawed(flaw)) => prop_assert!(false, "{:?}", flaw),
                Err(_) => {}
            }
        }
    }
}

/// The same problem `by` minutes later.
fn later(problem: &Problem, by: i64) -> Problem {
    let mut later = problem.clone();
    later.now_min += by;
    for hours in later.resources.iter_mut().filter_map(|resource| resource.hours.as_mut()) {
        *hours = Calendar::new(hours.open().iter().map(|(from, to)| (from + by, to + by)).collect());
    }
    for job in &mut later.jobs {
        job.release_min += by;
        job.due_min = job.due_min.map(|due| due + by);
    }
    for begun in later.steps.iter_mut().filter_map(|step| step.begun.as_mut()) {
        *begun = Begun { start_min: begun.start_min + by, end_min: begun.end_min + by };
    }
    later.wall.frozen_until_min += by;
    later.wall.starts_min.iter_mut().flatten().for_each(|start| *start += by);
    later
}

/// The same problem with its resources the other way round.
fn relabelled(problem: &Problem) -> Problem {
    let mut other = problem.clone();
    let last = other.resources.len() - 1;
    other.resources.reverse();
    other.steps.iter_mut().flat_map(|step| &mut step.needs).for_each(|need| need.resource = last - need.resource);
    other.holds.iter_mut().for_each(|hold| hold.resource = last - hold.resource);
    other
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn seven_days_later_every_plan_is_the_same_seven_days_later(seed in any::<u64>(), busy in any::<bool>()) {
        let (problem, week) = (if busy { made_up::week(seed) } else { made_up::bench(seed) }, 7 * 1440);
        let effort = Effort::schedules(seed, 12);
        match (solve(&problem, effort), solve(&later(&problem, week), effort)) {
            (Ok(now), Ok(then)) => {
                prop_assert_eq!(now.cost, then.cost);
                let starts = |slots: &[planner::Slot]| slots.iter().map(|slot| slot.start_min).collect::<Vec<_>>();
                prop_assert_eq!(starts(&now.slots).into_iter().map(|at| at + week).collect::<Vec<_>>(), starts(&then.slots));
            }
            (now, then) => prop_assert_eq!(now, then),
        }
    }

    #[test]
    fn other_names_for_what_there_is_change_no_plan(seed in any::<u64>(), busy in any::<bool>()) {
        let problem = if busy { made_up::week(seed) } else { made_up::bench(seed) };
        let effort = Effort::schedules(seed, 12);
        match (solve(&problem, effort), solve(&relabelled(&problem), effort)) {
            (Ok(one), Ok(other)) => prop_assert_eq!(one, other),
            (one, other) => prop_assert_eq!(one.is_ok(), other.is_ok()),
        }
    }
}

proptest! {
    // Every minute of every step is tried: few of these go a long way.
    #![proptest_config(ProptestConfig::with_cases(8))]

    /// The exhaustive search is the judge.
    #[test]
    fn tiny_problems_are_solved_as_an_exhaustive_search_solves_them(seed in any::<u64>()) {
        let problem = made_up::tiny(seed);
        let best = exhaustive::best(&problem);
        match (solve(&problem, Effort::schedules(seed, 2000)), best) {
            (Ok(plan), Some(best)) => {
                prop_assert_eq!(check(&problem, &plan.slots), []);
                prop_assert!(plan.cost.total >= best, "{} is better than the best, {}", plan.cost.total, best);
                // A search by chance on four steps: nearly always there (233 of 238 of these), else near.
                prop_assert!(plan.cost.total <= best * 3 / 2 + 5, "{} where {} can be had", plan.cost.total, best);
            }
            (Err(NoPlan::Contradiction { .. } | NoPlan::Capacity { .. }), found) => prop_assert_eq!(found, None),
            (Err(_), Some(best)) => prop_assert!(false, "none found where {} can be had", best),
            (Ok(_), None) => prop_assert!(false, "a plan where there is none"),
            (Err(_), None) => {}
        }
    }
}

fn hands(length_min: i64) -> Step {
    Step { length_min, needs: vec![Need { resource: 0, count: 1, tail_min: 0 }], ..Step::default() }
}

fn lag(from: usize, to: usize, least_min: i64, most_min: Option<i64>) -> Lag {
    Lag { from, edge: Edge::End, to, least_min: Some(least_min), most_min }
}

/// One pair of hands from 9 to 18 h every day for four weeks, four clamps, one job.
fn shop(steps: Vec<Step>, lags: Vec<Lag>) -> Problem {
    let hours = Calendar::new((0..28).map(|day| (day * 1440 + 540, day * 1440 + 1080)).collect());
    Problem {
        resources: vec![Resource { capacity: 1, hours: Some(hours) }, Resource { capacity: 4, hours: None }],
        jobs: vec![
            Job { release_min: 0, due_min: Some(5000), weight: 1 },
            Job { release_min: 0, due_min: None, weight: 0 },
        ],
        steps,
        lags,
        length_cost: 1,
        ..Problem::default()
    }
}

#[test]
fn nothing_is_glued_at_ten_to_six_whose_open_time_ends_after_closing() {
    // Spread for 10 minutes, close within 15: at 17:50 the second step would lie after closing.
    let mut problem = shop(vec![hands(10), hands(30)], vec![lag(0, 1, 0, Some(15))]);
    problem.now_min = 1070;
    let plan = solve(&problem, Effort::schedules(1, 20)).expect("tomorrow");
    assert_eq!(plan.slots[0].start_min, 1440 + 540);
}

#[test]
fn clamps_over_night_and_closing_windows_are_the_reasons_told() {
    let mut problem = shop(vec![hands(30), hands(10), hands(20)], vec![lag(0, 1, 720, None), lag(1, 2, 60, Some(120))]);
    problem.holds.push(Hold { resource: 1, count: 2, from: 0, to: 1 });
    problem.now_min = 1000;
    let plan = solve(&problem, Effort::schedules(1, 20)).expect("a plan");
    let told = explain(&problem, &plan);
    assert_eq!(plan.slots[0].start_min, 1000);
    assert!(told[0].why.contains(&Why::Overnight { before: 1 }), "{told:?}");
    let closes = Why::WindowCloses { from: 1, at_min: plan.slots[1].end_min + 120 };
    assert_eq!(told[2].why.first(), Some(&closes));
    assert_eq!(told[2].float_min, 60);
}

#[test]
fn a_night_that_nothing_waits_for_is_no_reason() {
    // Off an hour and a half after; what waits for the full strength, a day, comes on the third day because of other work.
    let lags = vec![lag(0, 1, 90, None), lag(0, 3, 1440, None), lag(2, 3, 0, None)];
    let mut problem = shop(vec![hands(30), hands(10), hands(540), hands(10)], lags);
    problem.resources[0].capacity = 2;
    problem.jobs[0].release_min = 600;
    problem.steps[2].begun = Some(Begun { start_min: 2 * 1440 + 600, end_min: 2 * 1440 + 660 });
    let plan = solve(&problem, Effort::schedules(1, 20)).expect("a plan");
    assert!(plan.slots[1].end_min < 1080, "its clamps are off the same day: {:?}", plan.slots);
    let told = explain(&problem, &plan);
    assert!(!told[0].why.iter().any(|why| matches!(why, Why::Overnight { .. })), "{told:?}");
}

#[test]
fn a_step_that_splits_goes_on_the_next_morning_and_one_that_does_not_begins_then() {
    let long = Step { splits: true, ..hands(120) };
    let mut problem = shop(vec![long, Step { job: 1, ..hands(120) }], vec![lag(0, 1, 0, None)]);
    problem.now_min = 1020;
    let plan = solve(&problem, Effort::schedules(1, 20)).expect("a plan");
    assert_eq!((plan.slots[0].start_min, plan.slots[0].end_min), (1020, 1440 + 600));
    assert_eq!(plan.slots[1].start_min, 1440 + 600);
}

#[test]
fn what_has_begun_stays_and_its_windows_bind_what_is_left() {
    let begun = Step { begun: Some(Begun { start_min: 560, end_min: 600 }), ..hands(40) };
    let mut problem = shop(vec![begun, hands(30), hands(300)], vec![lag(0, 1, 60, Some(90))]);
    problem.now_min = 610;
    let plan = solve(&problem, Effort::schedules(1, 50)).expect("a plan");
    assert_eq!(plan.slots[0].start_min, 560);
    assert!((660..=690).contains(&plan.slots[1].start_min), "{:?}", plan.slots[1]);
    problem.now_min = 800;
    let missed = solve(&problem, Effort::schedules(1, 50));
    let Err(NoPlan::Window { to: 1, by_min, .. }) = missed else { panic!("{missed:?}") };
    assert_eq!(by_min, 800 - 690);
}

#[test]
fn work_with_a_break_in_it_is_begun_so_late_that_its_window_can_be_kept() {
    // Eight hours may be split; what comes within twenty hours of their start comes after their end. Hands are free at
    // half past ten: with a night in it the work would take 23 hours, so it is begun the next morning.
    let busy = Step { job: 1, begun: Some(Begun { start_min: 540, end_min: 630 }), ..hands(90) };
    let steps = vec![Step { splits: true, ..hands(480) }, hands(30), busy];
    let window = Lag { from: 0, edge: Edge::Start, to: 1, least_min: None, most_min: Some(1200) };
    let mut problem = shop(steps, vec![window, lag(0, 1, 0, None)]);
    problem.now_min = 540;
    let plan = solve(&problem, Effort::schedules(1, 1)).expect("a plan");
    assert_eq!(check(&problem, &plan.slots), []);
    assert_eq!((plan.slots[0].start_min, plan.slots[1].start_min), (1440 + 540, 1440 + 1020));
}

#[test]
fn a_week_with_a_change_of_the_clocks_keeps_waits_in_real_minutes() {
    // Sunday is day 2; its clocks go forward at 2:00, so that nine o'clock is an hour nearer from then on.
    let week = Week { hours: std::array::from_fn(|_| vec![(540, 1080)]), exceptions: vec![] };
    let minute_of =
        |day: i64, minute: i64| day * 1440 + minute - if day * 1440 + minute >= 2 * 1440 + 120 { 60 } else { 0 };
    let hours = Calendar::weekly(&week, 0, 4, 14, minute_of);
    let mut problem = shop(vec![hands(30), hands(10)], vec![lag(0, 1, 15 * 60 + 30, None)]);
    problem.resources[0].hours = Some(hours);
    problem.now_min = 1440 + 1050;
    let plan = solve(&problem, Effort::schedules(1, 20)).expect("a plan");
    // From 18:00 by the clock, 15.5 real hours are 10:30 by the changed clock: 2 × 1440 + 630 − 60.
    assert_eq!(plan.slots[1].start_min - plan.slots[0].end_min, 930);
    assert_eq!(plan.slots[1].start_min, minute_of(2, 630));
}

#[test]
fn the_hours_of_a_week_have_exceptions() {
    let week = Week {
        hours: std::array::from_fn(|day| if day < 5 { vec![(540, 780), (840, 1080)] } else { vec![] }),
        exceptions: vec![(1, vec![]), (5, vec![(600, 720)])],
    };
    let hours = Calendar::weekly(&week, 0, 0, 7, |day, minute| day * 1440 + minute);
    let days: Vec<i64> = hours.open().iter().map(|(from, _)| from / 1440).collect();
    assert_eq!(days, [0, 0, 2, 2, 3, 3, 4, 4, 5]);
}

#[test]
fn a_problem_put_badly_is_refused_with_the_place() {
    let problem = shop(vec![hands(10)], vec![lag(0, 3, 0, None)]);
    let refused = solve(&problem, Effort::schedules(1, 1));
    let flaw = planner::Flaw::Unknown { in_list: ("lags", 0), names: ("steps", 3) };
    assert_eq!(refused, Err(NoPlan::Flawed(flaw)));
}
