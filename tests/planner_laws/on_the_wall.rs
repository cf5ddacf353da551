//! What becomes of the plan people have read: what is frozen, what moving costs, what comes sooner.

use super::*;

#[test]
fn the_first_hours_on_the_wall_stay_unless_they_became_impossible() {
    let mut problem = shop(vec![hands(60), Step { job: 1, ..hands(60) }], vec![]);
    // The wall has them the other way round than due dates would.
    let starts_min = vec![Some(600), Some(540)];
    problem.wall = Wall { starts_min, frozen_until_min: 700, moved_cost: 500, moved_over_min: 5, pull_over_min: 60 };
    let plan = solve(&problem, Effort::schedules(1, 50)).expect("a plan");
    assert_eq!((plan.slots[0].start_min, plan.slots[1].start_min, plan.unfrozen.len()), (600, 540, 0));
    problem.jobs[1].release_min = 580;
    let plan = solve(&problem, Effort::schedules(1, 50)).expect("a plan");
    assert_eq!((plan.slots[0].start_min, plan.unfrozen), (600, vec![1]));
}

#[test]
fn what_should_have_begun_comes_before_what_is_frozen_for_later() {
    let mut problem = shop(vec![hands(60), Step { job: 1, ..hands(60) }], vec![]);
    problem.now_min = 610;
    let starts_min = vec![Some(610), Some(660)];
    problem.wall = Wall { starts_min, frozen_until_min: 900, moved_cost: 500, moved_over_min: 5, pull_over_min: 60 };
    // Ten minutes are missing before the second: it makes room, and nobody waits for an hour.
    let plan = solve(&problem, Effort::schedules(1, 50)).expect("a plan");
    assert_eq!((plan.slots[0].start_min, plan.slots[1].start_min, plan.unfrozen), (610, 670, vec![1]));
    // Two are due at once: the second follows the first, and what is frozen comes after both.
    problem.steps.push(hands(20));
    problem.wall.starts_min = vec![Some(610), Some(660), Some(610)];
    let plan = solve(&problem, Effort::schedules(1, 50)).expect("a plan");
    assert_eq!([0, 2, 1].map(|step: usize| plan.slots[step].start_min), [610, 670, 690]);
}

#[test]
fn changing_the_wall_costs_and_is_done_only_where_it_pays() {
    let steps: Vec<Step> = (0..6).map(|i| Step { job: i % 2, ..hands(60) }).collect();
    let mut problem = shop(steps, vec![]);
    let starts = [840, 540, 600, 660, 720, 780];
    problem.wall = Wall {
        starts_min: starts.into_iter().map(Some).collect(),
        frozen_until_min: 0,
        moved_cost: 10_000,
        moved_over_min: 0,
        pull_over_min: 60,
    };
    let plan = solve(&problem, Effort::schedules(1, 200)).expect("a plan");
    assert_eq!(plan.cost.moved, 0);
    // Due before the wall has its last step: now a change pays.
    problem.jobs[0] = Job { release_min: 0, due_min: Some(780), weight: 1_000 };
    let plan = solve(&problem, Effort::schedules(1, 200)).expect("a plan");
    assert!(plan.cost.moved > 0 && plan.cost.late == 0, "{:?}", plan.cost);
}

#[test]
fn a_window_that_what_has_begun_has_opened_binds_whatever_the_wall_says() {
    let begun = Step { begun: Some(Begun { start_min: 560, end_min: 600 }), ..hands(40) };
    let mut problem = shop(vec![begun, hands(30), Step { job: 1, ..hands(60) }], vec![lag(0, 1, 60, Some(90))]);
    problem.now_min = 610;
    // The wall has the second step a day after its window has closed, and the third where it can stay.
    let starts_min = vec![None, Some(1440 + 700), Some(840)];
    problem.wall =
        Wall { starts_min, frozen_until_min: 0, moved_cost: 10_000, moved_over_min: 0, pull_over_min: 10_000 };
    let plan = solve(&problem, Effort::schedules(1, 200)).expect("a plan");
    assert_eq!(check(&problem, &plan.slots), []);
    assert_eq!((plan.cost.moved, plan.slots[1].start_min, plan.slots[2].start_min), (1, 660, 840));
}

#[test]
fn what_can_be_done_a_good_deal_sooner_is_and_no_step_comes_later_for_it() {
    let steps = vec![hands(60), Step { job: 1, ..hands(60) }, Step { job: 1, ..hands(60) }];
    let mut problem = shop(steps, vec![lag(1, 2, 0, None)]);
    // What stood at nine has been called off, so that the second may come at ten; the third stays within its hour.
    problem.now_min = 540;
    let starts_min = vec![Some(540), Some(840), Some(900)];
    problem.wall = Wall { starts_min, frozen_until_min: 0, moved_cost: 300, moved_over_min: 10, pull_over_min: 60 };
    let starts = |problem: &Problem| {
        let plan = solve(problem, Effort::schedules(1, 50)).expect("a plan");
        assert_eq!((check(problem, &plan.slots), plan.cost.moved), (vec![], 0));
        plan.slots.iter().map(|slot| slot.start_min).collect::<Vec<_>>()
    };
    assert_eq!(starts(&problem), [540, 600, 660]);
    // Less than that is not worth a change to what people have read, and what is frozen stays.
    problem.wall.starts_min = vec![Some(540), Some(650), Some(710)];
    assert_eq!(starts(&problem), [540, 650, 710]);
    problem.wall = Wall { starts_min: vec![Some(540), Some(840), Some(900)], frozen_until_min: 850, ..problem.wall };
    assert_eq!(starts(&problem), [540, 840, 900]);
}
