//! What is said where there is no plan: which window is missed and by how much, which waits go in a circle, what there is too
//! little of.

use super::*;

#[test]
fn a_window_no_shift_can_keep_is_named_with_what_it_misses() {
    // A recoat window of 9 to 10 h: longer than the day from nine to six, shorter than the night.
    let problem = shop(vec![hands(30), hands(30)], vec![lag(0, 1, 540, Some(600))]);
    let missed = solve(&problem, Effort::schedules(1, 20));
    let Err(NoPlan::Window { from: 0, to: 1, by_min }) = missed else { panic!("{missed:?}") };
    // Coated from 9:00 to 9:30 the window closes at 19:30; coated at 17:30, as late as can be, at 4:00: five
    // hours before it opens.
    assert_eq!(by_min, 300);
}

#[test]
fn the_window_that_is_named_is_one_and_not_a_wait_nor_what_is_held() {
    // Clamps come off, and four hours in one go begin within half an hour; a shift is four hours long, noon an hour.
    let hours = (0..28).flat_map(|day| [(540, 780), (840, 1080)].map(|(a, b)| (day * 1440 + a, day * 1440 + b)));
    let lags = vec![lag(0, 1, 60, None), lag(1, 2, 0, Some(30)), lag(2, 3, 0, None)];
    let mut problem = shop(vec![hands(10), hands(10), hands(240), hands(20)], lags);
    problem.resources[0].hours = Some(Calendar::new(hours.collect()));
    problem.holds.push(Hold { resource: 1, count: 2, from: 0, to: 1 });
    problem.now_min = 600;
    let missed = solve(&problem, Effort::schedules(1, 20));
    // Off by 13:00 at the latest, to be followed by 13:30; the shop opens at 14:00.
    assert_eq!(missed, Err(NoPlan::Window { from: 1, to: 2, by_min: 30 }));
    // Without that window there is a plan.
    problem.lags[1].most_min = None;
    assert!(solve(&problem, Effort::schedules(1, 20)).is_ok());
}

#[test]
fn where_pushes_go_on_for_ever_what_is_wrong_is_named_all_the_same() {
    // Ten hours have a night in them and end 25 hours after they began; the window is of twenty.
    let window = Lag { from: 0, edge: Edge::Start, to: 1, least_min: None, most_min: Some(1200) };
    let problem = shop(vec![Step { splits: true, ..hands(600) }, hands(30)], vec![window, lag(0, 1, 0, None)]);
    let missed = solve(&problem, Effort::schedules(1, 20));
    assert_eq!(missed, Err(NoPlan::Window { from: 0, to: 1, by_min: 300 }));
    // While the second is done, what is held until its end and what is held from its start are both held.
    let mut problem = shop(vec![hands(10), hands(10), hands(10)], vec![lag(0, 1, 60, None), lag(1, 2, 60, None)]);
    problem.holds.push(Hold { resource: 1, count: 2, from: 0, to: 1 });
    problem.holds.push(Hold { resource: 1, count: 3, from: 1, to: 2 });
    let missed = solve(&problem, Effort::schedules(1, 20));
    assert_eq!(missed, Err(NoPlan::Capacity { step: 1, resource: 1 }));
}

#[test]
fn waits_that_contradict_each_other_are_named_in_a_circle() {
    let lags = vec![lag(0, 1, 100, None), lag(1, 2, 100, None), lag(0, 2, 0, Some(150))];
    let missed = solve(&shop(vec![hands(10), hands(10), hands(10)], lags), Effort::schedules(1, 20));
    let Err(NoPlan::Contradiction { mut steps, by_min }) = missed else { panic!("{missed:?}") };
    steps.sort_unstable();
    // 100 + 10 + 100 minutes after the end of the first, where 150 are allowed.
    assert_eq!((steps, by_min), (vec![0, 1, 2], 60));
}

#[test]
fn more_clamps_than_there_are_is_said_so() {
    let mut problem = shop(vec![hands(10), hands(10)], vec![lag(0, 1, 60, None)]);
    problem.holds.push(Hold { resource: 1, count: 5, from: 0, to: 1 });
    let missed = solve(&problem, Effort::schedules(1, 20));
    assert_eq!(missed, Err(NoPlan::Capacity { step: 0, resource: 1 }));
}
