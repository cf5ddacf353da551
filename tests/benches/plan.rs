//! Quality and speed of the bench plan: `cargo bench -p bench-tests --bench plan -- [FOLDER]`.
//!
//! Without a folder the two repair benches of `tests/reference/plan` and made-up sets after the design of the published ones
//! (`EACH=10`: so many projects of each kind instead of two). `FOLDER` may hold, in folders of its own as their
//! publishers name them, `psplib_*` (`.sm`), `rcpspmax_*` (`.sch`), each with `best_known.csv` and `critical_path.csv`,
//! and `bench` with further repair benches. Seconds are seconds of processor time of one thread, since the machine may be
//! shared. The baseline in the same run is the first plan: the same rule without a search.
#![allow(missing_docs)]
#![allow(clippy::print_stdout)]

use std::{
    cell::Cell,
    fs,
    path::{Path, PathBuf},
};

use bench::{
    designed::{self, DESIGNS, Design},
    instances, root,
};
use planner::{Calendar, Effort, Hold, Lag, NoPlan, Plan, Problem, Resource, check, solve};

fn main() {
    let folder = std::env::args().skip(1).find(|word| !word.starts_with("--")).map(PathBuf::from);
    let benches = folder.as_ref().map_or(root().join("tests/reference/plan"), |folder| folder.join("bench"));
    println!("repair benches, 1 s: best known, first plan (ms), median and worst of five seeds, mean gap of 32 others");
    for (name, best) in [("20x10_s1", 5_887), ("20x10_s2", 3_117), ("60x12_s11", 88_931)] {
        if let Ok(text) = fs::read_to_string(benches.join(format!("bench_{name}.json"))) {
            let problem = instances::repair_bench(&text);
            repair_bench(name, &problem, best);
            anew(name, &problem);
        }
    }
    large();
    let each =
        std::env::var("EACH").map_or(2, |word| word.parse().expect("EACH: projects of each kind, a whole number"));
    for design in DESIGNS {
        for schedules in [1_000, 5_000] {
            designed(design, each, schedules);
        }
    }
    let Some(folder) = folder else { return };
    for set in ["psplib_j30", "psplib_j60", "psplib_j120"] {
        for (schedules, seconds) in [(1_000, 1e9), (5_000, 1e9), (u64::MAX, 1.0)] {
            published(&folder.join(set), schedules, seconds);
        }
    }
    for set in ["rcpspmax_j20", "rcpspmax_j30", "rcpspmax_ubo20", "rcpspmax_ubo50", "rcpspmax_ubo100"] {
        published(&folder.join(set), u64::MAX, 1.0);
    }
}

/// Seconds this thread had a processor.
fn processor_s() -> f64 {
    let text = fs::read_to_string("/proc/thread-self/schedstat").expect("Linux tells a thread's processor time");
    text.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).expect("nanoseconds") * 1e-9
}

/// A plan within so many schedules and seconds, and the seconds it took.
fn planned(problem: &Problem, seed: u64, schedules: u64, seconds: f64) -> (Result<Plan, NoPlan>, f64) {
    let (began, asked) = (processor_s(), Cell::new(0u32));
    let keep_going = || {
        asked.set(asked.get().wrapping_add(1));
        !asked.get().is_multiple_of(16) || processor_s() - began < seconds
    };
    let plan = solve(problem, Effort { seed, schedules, keep_going: &keep_going });
    (plan, processor_s() - began)
}

fn repair_bench(name: &str, problem: &Problem, best: i64) {
    // Many first plans, since the clock of the processor only ticks now and then.
    let began = processor_s();
    let first: Vec<Plan> = (0..200).map(|seed| planned(problem, seed, 1, 1.0).0.expect("a plan")).collect();
    let first_ms = (processor_s() - began) * 1e3 / 200.0;
    let of_seeds = |seeds: std::ops::RangeInclusive<u64>| -> Vec<i64> {
        let total = |seed| {
            let plan = planned(problem, seed, u64::MAX, 1.0).0.expect("a plan");
            assert_eq!(check(problem, &plan.slots), []);
            plan.cost.total
        };
        let mut totals: Vec<i64> = seeds.map(total).collect();
        totals.sort_unstable();
        totals
    };
    let (five, many) = (of_seeds(1..=5), of_seeds(101..=132));
    // Five seeds tell little of the mean: one in ten is a fifth over.
    let gaps: Vec<f64> = many.iter().map(|total| (*total as f64 / best as f64 - 1.0) * 100.0).collect();
    let mean = gaps.iter().sum::<f64>() / gaps.len() as f64;
    let variance = gaps.iter().map(|gap| (gap - mean).powi(2)).sum::<f64>() / (gaps.len() - 1) as f64;
    let error = (variance / gaps.len() as f64).sqrt();
    let first = first[0].cost.total;
    println!("{name}: {best}, {first} ({first_ms:.2} ms), {}, {}, {mean:.1} ± {error:.1} %", five[2], five[4]);
}

/// 2,000 jobs: ten benches, each with ten times the jobs of the smaller repair bench and its weeks over and over.
fn large() {
    let text = fs::read_to_string(root().join("tests/reference/plan/bench_20x10_s1.json")).expect("a reference");
    let one = instances::repair_bench(&text);
    let weeks = 12 * 7 * 288;
    let longer = |hours: &Calendar| {
        let again = (0..12).flat_map(|k| hours.open().iter().map(move |(from, to)| (from + k * weeks, to + k * weeks)));
        Calendar::new(again.collect())
    };
    let mut all = Problem { length_cost: 1, ..Problem::default() };
    for copy in 0..100 {
        if copy % 10 == 0 {
            let hours = |of: &Resource| Resource { hours: of.hours.as_ref().map(longer), ..of.clone() };
            all.resources.extend(one.resources.iter().map(hours));
        }
        let (resources, jobs, steps) = (all.resources.len() - one.resources.len(), all.jobs.len(), all.steps.len());
        all.jobs.extend(one.jobs.clone());
        all.steps.extend(one.steps.iter().cloned().map(|mut step| {
            step.job += jobs;
            step.needs.iter_mut().for_each(|need| need.resource += resources);
            step
        }));
        all.lags.extend(one.lags.iter().map(|lag| Lag { from: lag.from + steps, to: lag.to + steps, ..*lag }));
        let hold = |hold: &Hold| Hold {
            resource: hold.resource + resources,
            from: hold.from + steps,
            to: hold.to + steps,
            ..*hold
        };
        all.holds.extend(one.holds.iter().map(hold));
    }
    let (plan, seconds) = planned(&all, 1, 1, 60.0);
    let plan = plan.expect("a plan");
    assert_eq!(check(&all, &plan.slots), []);
    println!("2,000 jobs over ten benches, 20,000 steps: first plan in {seconds:.2} s, {}", plan.cost.total);
}

/// Planned anew, from the plan on the wall, after each of forty facts.
fn anew(name: &str, problem: &Problem) {
    let wall = solve(problem, Effort::schedules(1, 50)).expect("a plan");
    let mut took: Vec<f64> = (0..40).map(|fact| after_a_fact(problem, &wall, fact)).collect();
    took.sort_by(f64::total_cmp);
    println!(
        "{name} planned anew after a fact, 200 schedules: p50 {:.1} ms, p95 {:.1} ms",
        took[20] * 1e3,
        took[37] * 1e3
    );
}

/// The plan on the wall is planned anew when a wait has become a quarter longer.
fn after_a_fact(problem: &Problem, wall: &Plan, fact: usize) -> f64 {
    let mut problem = problem.clone();
    problem.wall = planner::Wall {
        starts_min: wall.slots.iter().map(|slot| Some(slot.start_min)).collect(),
        frozen_until_min: 0,
        moved_cost: 10,
        moved_over_min: 3,
        pull_over_min: 12,
    };
    let lag = fact % problem.lags.len();
    let longer = problem.lags[lag].least_min.map(|least| least + least / 4);
    problem.lags[lag].least_min = longer;
    problem.lags[lag].most_min = problem.lags[lag].most_min.map(|most| most + most / 4);
    let (plan, seconds) = planned(&problem, 1, 200, 10.0);
    assert_eq!(check(&problem, &plan.expect("a plan").slots), []);
    seconds
}

/// A made-up set: how far over the critical path, and over the optimum where it is known; with the standard error of what
/// another such set would show.
fn designed(design: Design, each: u64, schedules: u64) {
    let optima = if design.name == "J30" { designed::optima_min() } else { Vec::new() };
    let (mut over_path, mut over_optimum, mut took) = (Vec::new(), Vec::new(), 0.0);
    for (at, kind) in design.kinds().enumerate() {
        let mut of_kind = Vec::new();
        for number in 0..each {
            let problem = design.project(kind, number, designed::SEED);
            let (plan, s) = planned(&problem, 1, schedules, 1e9);
            let plan = plan.expect("a plan");
            assert_eq!(check(&problem, &plan.slots), [], "{} {kind:?} {number}", design.name);
            let over = |least_min: i64| (plan.cost.length_min as f64 / least_min as f64 - 1.0) * 100.0;
            of_kind.push(over(designed::critical_path_min(&problem)));
            let optimum = optima.get(at).and_then(|of_kind| of_kind.get(number as usize));
            over_optimum.extend(optimum.map(|optimum| over(*optimum)));
            took += s;
        }
        over_path.push(of_kind);
    }
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
    let spread = |all: &Vec<f64>| all.iter().map(|x| (x - mean(all)).powi(2)).sum::<f64>() / (all.len() as f64 - 1.0);
    // Kinds are not drawn, only the projects of each.
    let variances: Vec<f64> = over_path.iter().map(spread).collect();
    let (kinds, projects) = (over_path.len() as f64, over_path.len() as f64 * each as f64);
    let error = (mean(&variances) / projects).sqrt();
    let means: Vec<f64> = over_path.iter().map(|of_kind| mean(of_kind)).collect();
    let of_optimum = match over_optimum.len() {
        0 => String::new(),
        known => format!(", {:.2} % over optimum ({known} known)", mean(&over_optimum)),
    };
    println!(
        "{} as designed, {kinds} kinds, {each} of each, {schedules} schedules: {:.2} ± {error:.2} % over critical \
         path{of_optimum}; {:.3} s each",
        design.name,
        mean(&means),
        took / projects
    );
}

/// One published set: how far over the best known and the critical path, and what was found to have no plan.
fn published(folder: &Path, schedules: u64, seconds: f64) {
    let set = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let paths = instances::rows(&folder.join("critical_path.csv"));
    let (mut solved, mut over_best, mut over_path, mut took) = (0, 0.0, 0.0, 0.0);
    let (mut none_rightly, mut missed) = (0, Vec::new());
    for row in instances::rows(&folder.join("best_known.csv")) {
        let Ok(text) = fs::read_to_string(folder.join(&row[0])) else { continue };
        let problem = if set.starts_with("psplib") { instances::psplib(&text) } else { instances::progen_max(&text) };
        let (plan, s) = planned(&problem, 1, schedules, seconds);
        took += s;
        match plan {
            Ok(plan) => {
                assert_eq!(check(&problem, &plan.slots), [], "{}", row[0]);
                assert_ne!(row[1], "infeasible", "{}", row[0]);
                let path = paths.iter().find(|path| path[0] == row[0]).expect("a critical path");
                let number = |word: &String| word.parse::<f64>().expect("a number");
                over_best += plan.cost.length_min as f64 / number(&row[3]) - 1.0;
                over_path += plan.cost.length_min as f64 / number(&path[1]) - 1.0;
                solved += 1;
            }
            // What cannot be is said with the waits and windows that contradict each other, or the window that was missed.
            Err(NoPlan::Contradiction { .. } | NoPlan::Window { .. }) if row[1] == "infeasible" => none_rightly += 1,
            Err(why) => missed.push((row[0].clone(), why)),
        }
    }
    let (n, all) = (f64::from(solved), f64::from(solved) + f64::from(none_rightly));
    let limit = if schedules == u64::MAX { format!("{seconds} s") } else { format!("{schedules} schedules") };
    println!(
        "{set}, {limit}: {solved} planned, {:.2} % over best known, {:.2} % over critical path; {none_rightly} rightly none; \
         missed {missed:?}; {:.3} s each",
        over_best / n * 100.0,
        over_path / n * 100.0,
        took / all
    );
}
