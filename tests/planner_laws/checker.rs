//! The checker itself: of each thing a plan can break there is one that breaks it, and it says which and by how much.

use super::*;
use planner::{Broken, Slot};

fn slot(start_min: i64, end_min: i64) -> Slot {
    Slot { start_min, end_min }
}

/// A glue-up of half an hour, its three clamps off an hour to two hours later, and other work of half an hour.
fn glued() -> Problem {
    let mut problem = shop(vec![hands(30), hands(10), hands(30)], vec![lag(0, 1, 60, Some(120))]);
    problem.now_min = 560;
    problem.holds = vec![Hold { resource: 1, count: 3, from: 0, to: 1 }];
    problem
}

/// What is broken when these steps of `glued` stand elsewhere than in a plan that keeps everything.
fn broken(moved: &[(usize, Slot)]) -> Vec<Broken> {
    let mut slots = vec![slot(570, 600), slot(660, 670), slot(600, 630)];
    assert_eq!(check(&glued(), &slots), []);
    moved.iter().for_each(|(step, to)| slots[*step] = *to);
    check(&glued(), &slots)
}

#[test]
fn every_way_to_break_a_plan_is_found_and_named() {
    assert_eq!(broken(&[(2, slot(550, 580)), (0, slot(580, 610))])[0], Broken::Start { step: 2 }, "before now");
    assert_eq!(broken(&[(2, slot(1070, 1100))]), [Broken::Hours { step: 2 }], "into the evening");
    assert_eq!(
        broken(&[(2, slot(1070, 1440 + 560))]),
        [Broken::Hours { step: 2 }],
        "over the night, and it does not split"
    );
    assert_eq!(broken(&[(2, slot(600, 620))]), [Broken::Hours { step: 2 }], "shorter than it is");
    assert_eq!(broken(&[(1, slot(655, 665))]), [Broken::Lag { lag: 0, by_min: 5 }], "the wait is cut short");
    assert_eq!(broken(&[(1, slot(723, 733))]), [Broken::Lag { lag: 0, by_min: 3 }], "the window is missed");
    let hands_short = Broken::Capacity { resource: 0, at_min: 665, over: 1 };
    assert_eq!(broken(&[(2, slot(665, 695))]), [hands_short], "two things at once");
    assert_eq!(check(&glued(), &[slot(570, 600)]), [Broken::Count]);
}

#[test]
fn what_is_held_and_what_flashes_off_is_counted_to_its_end() {
    // A second joint with two clamps while three of the four are still on the first.
    let mut problem = glued();
    problem.steps.push(hands(10));
    problem.holds.push(Hold { resource: 1, count: 2, from: 2, to: 3 });
    let slots =
        |second: i64| vec![slot(570, 600), slot(660, 670), slot(second, second + 30), slot(second + 30, second + 40)];
    assert_eq!(check(&problem, &slots(670)), []);
    assert_eq!(check(&problem, &slots(620)), [Broken::Capacity { resource: 1, at_min: 620, over: 1 }]);
    // A coat goes on flashing off in a booth for one after nobody works on it.
    let mut problem = shop(vec![hands(20), hands(20)], vec![]);
    problem.resources.push(Resource { capacity: 1, hours: None });
    for step in &mut problem.steps {
        step.needs.push(planner::Need { resource: 2, count: 1, tail_min: 45 });
    }
    assert_eq!(check(&problem, &[slot(540, 560), slot(605, 625)]), []);
    let over = Broken::Capacity { resource: 2, at_min: 604, over: 1 };
    assert_eq!(check(&problem, &[slot(540, 560), slot(604, 624)]), [over]);
}

#[test]
fn what_has_begun_stands_where_it_is_and_is_nobodys_to_mend() {
    let begun = |start_min, end_min| Step { begun: Some(Begun { start_min, end_min }), ..hands(40) };
    // Two begun at once with one pair of hands, and a window between them that was missed: no plan can help it.
    let mut problem = shop(vec![begun(540, 580), begun(560, 600), hands(10)], vec![lag(0, 1, 60, Some(90))]);
    problem.now_min = 570;
    assert_eq!(check(&problem, &[slot(540, 580), slot(560, 600), slot(600, 610)]), []);
    assert_eq!(check(&problem, &[slot(540, 580), slot(561, 601), slot(610, 620)]), [Broken::Start { step: 1 }]);
    let busy = check(&problem, &[slot(540, 580), slot(560, 600), slot(590, 600)]);
    assert_eq!(busy, [Broken::Capacity { resource: 0, at_min: 590, over: 1 }]);
}
