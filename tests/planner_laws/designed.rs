//! The made-up sets held against the published design, and plans of them against optima that another solver proved.

use bench::designed::{DESIGNS, Design, Kind, SEED, critical_path_min, optima_min};
use planner::{Effort, Problem, check, solve};

/// A project of each kind of each set.
fn all() -> impl Iterator<Item = (Design, Kind, Problem)> {
    let of = |design: Design| design.kinds().map(move |kind| (design, kind, design.project(kind, 0, 7)));
    DESIGNS.into_iter().flat_map(of)
}

/// Which steps come behind each, however far.
fn behind(problem: &Problem) -> Vec<Vec<bool>> {
    let steps = problem.steps.len();
    let mut behind = vec![vec![false; steps]; steps];
    for from in (0..steps).rev() {
        for lag in problem.lags.iter().filter(|lag| lag.from == from) {
            let further = behind[lag.to].clone();
            behind[from].iter_mut().zip(further).for_each(|(is, also)| *is |= also);
            behind[from][lag.to] = true;
        }
    }
    behind
}

#[test]
fn every_kind_has_its_arcs_its_needs_and_no_more_neighbours_than_three() {
    for (design, kind, problem) in all() {
        let name = format!("{} {kind:?}", design.name);
        let steps = problem.steps.len();
        // With one step before all and one behind all, which have three arcs each.
        let complexity = (problem.lags.len() + 6) as f64 / (steps + 2) as f64;
        assert!((complexity - kind.arcs as f64 / 10.0).abs() < 1.0 / steps as f64, "{name}: {complexity}");
        let needs: usize = problem.steps.iter().map(|step| step.needs.len()).sum();
        assert_eq!(needs, kind.needs * steps, "{name}");
        for (at, step) in problem.steps.iter().enumerate() {
            assert!((1..=10).contains(&step.length_min), "{name}: {step:?}");
            assert!(
                !step.needs.is_empty() && step.needs.iter().all(|n| (1..=10).contains(&n.count)),
                "{name}: {step:?}"
            );
            let into = problem.lags.iter().filter(|lag| lag.to == at).count();
            let out = problem.lags.iter().filter(|lag| lag.from == at).count();
            let (first, last) = (at < 3, at >= steps - 3);
            assert!(into <= 3 && out <= 3 && (into == 0) == first && (out == 0) == last, "{name}: step {at}");
        }
    }
}

#[test]
fn no_arc_follows_from_others() {
    for (design, kind, problem) in all() {
        let behind = behind(&problem);
        for lag in &problem.lags {
            let round = problem.lags.iter().find(|by| by.from == lag.from && behind[by.to][lag.to]);
            assert_eq!(round, None, "{} {kind:?}: {lag:?}", design.name);
        }
    }
}

#[test]
fn the_greatest_request_can_be_met_and_plenty_delays_nothing() {
    for (design, kind, problem) in all() {
        let plan = solve(&problem, Effort::schedules(1, 1)).expect("there is a plan");
        assert_eq!(check(&problem, &plan.slots), [], "{} {kind:?}", design.name);
        if kind.strength == 10 {
            assert_eq!(plan.cost.length_min, critical_path_min(&problem), "{} {kind:?}", design.name);
        }
    }
}

#[test]
fn scarcer_is_less_and_another_seed_another_project() {
    let design = DESIGNS[1];
    let of = |strength, number, seed| design.project(Kind { arcs: 18, needs: 3, strength }, number, seed);
    assert_eq!(of(5, 1, 2), of(5, 1, 2));
    assert!(of(5, 1, 2) != of(5, 2, 2) && of(5, 1, 2) != of(5, 1, 3));
    let mean = |strength| -> u32 { (0..20).flat_map(|n| of(strength, n, 2).resources).map(|r| r.capacity).sum() };
    let means = [2, 5, 7, 10].map(mean);
    assert!(means.is_sorted_by(|a, b| a < b), "{means:?}");
}

/// The optima were proved by OR-tools CP-SAT 9.15.
#[test]
fn no_plan_is_shorter_than_a_proved_optimum_and_most_come_up_to_it() {
    let (mut over, mut of) = (0, 0);
    for (kind, optima) in DESIGNS[0].kinds().zip(optima_min()) {
        for (number, optimum) in (0..).zip(optima) {
            let problem = DESIGNS[0].project(kind, number, SEED);
            let plan = solve(&problem, Effort::schedules(1, 60)).expect("there is a plan");
            assert!(plan.cost.length_min >= optimum, "{kind:?} {number}: {} < {optimum}", plan.cost.length_min);
            over += plan.cost.length_min - optimum;
            of += optimum;
        }
    }
    // By the first plan alone it is 5 %.
    assert!(over * 100 < of * 2, "{over} of {of} minutes");
}
