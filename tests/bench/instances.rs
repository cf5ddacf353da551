//! Published and made-up planning instances, read as the planner's own problems.

use std::{fs, path::Path};

use planner::{Calendar, Edge, Hold, Job, Lag, Need, Problem, Resource, Step};
use serde_json::Value;

/// A repair bench as `tests/reference/plan` has it: jobs as chains of steps, times in units of five minutes.
///
/// # Panics
/// Where the text is not such an instance.
#[must_use]
pub fn repair_bench(text: &str) -> Problem {
    let all: Value = serde_json::from_str(text).expect("JSON");
    let names: Vec<&String> = all["resources"].as_object().expect("resources").keys().collect();
    let resource = |name: &String| {
        let of = &all["resources"][name];
        let open = |hours: &Vec<Value>| Calendar::new(hours.iter().map(|h| (int(&h[0]), int(&h[1]))).collect());
        Resource { capacity: int(&of["capacity"]) as u32, hours: of["calendar"].as_array().map(open) }
    };
    let counts = |of: &Value| -> Vec<(usize, u32)> {
        let place = |name: &String| names.iter().position(|other| *other == name).expect("a resource");
        of.as_object().expect("counts").iter().map(|(name, n)| (place(name), int(n) as u32)).collect()
    };
    let mut problem =
        Problem { resources: names.iter().map(|name| resource(name)).collect(), length_cost: 1, ..Problem::default() };
    for (j, job) in all["jobs"].as_array().expect("jobs").iter().enumerate() {
        let (release_min, due_min) = (int(&job["release"]), Some(int(&job["due"])));
        problem.jobs.push(Job { release_min, due_min, weight: int(&job["weight"]) });
        let steps = job["steps"].as_array().expect("steps");
        for (k, step) in steps.iter().enumerate() {
            let at = problem.steps.len();
            let tail = |resource: usize| step["tail"].get(names[resource]).map_or(0, int);
            let needs = counts(&step["req"]);
            let needs = needs.into_iter().map(|(resource, count)| Need { resource, count, tail_min: tail(resource) });
            problem.steps.push(Step {
                job: j,
                length_min: int(&step["dur"]),
                needs: needs.collect(),
                ..Step::default()
            });
            if k + 1 < steps.len() {
                let (least_min, most_min) = (Some(int(&step["min_lag"])), step["max_lag"].as_i64());
                problem.lags.push(Lag { from: at, edge: Edge::End, to: at + 1, least_min, most_min });
                let held = counts(&step["hold_to_next"]).into_iter();
                problem.holds.extend(held.map(|(resource, count)| Hold { resource, count, from: at, to: at + 1 }));
            }
        }
    }
    problem
}

fn int(value: &Value) -> i64 {
    value.as_i64().expect("a whole number")
}

/// A project of PSPLIB (`.sm`; Kolisch, Sprecher 1997, doi:10.1016/S0377-2217(96)00170-1).
///
/// # Panics
/// Where the text is not such an instance.
#[must_use]
pub fn psplib(text: &str) -> Problem {
    let lines: Vec<&str> = text.lines().collect();
    let section = |name: &str, skip: usize| -> Vec<Vec<i64>> {
        let from = lines.iter().position(|line| line.starts_with(name)).expect("a section") + skip;
        let rows = lines[from..].iter().take_while(|line| !line.starts_with('*'));
        rows.map(|line| line.split_whitespace().map(|word| word.parse().expect("a number")).collect()).collect()
    };
    let capacity = section("RESOURCEAVAILABILITIES", 2).remove(0);
    let mut problem = project(&capacity);
    for row in section("REQUESTS/DURATIONS", 3) {
        problem.steps.push(work(row[2], &row[3..]));
    }
    for row in section("PRECEDENCE RELATIONS", 2) {
        for to in &row[3..] {
            problem.lags.push(Lag {
                from: row[0] as usize - 1,
                edge: Edge::End,
                to: *to as usize - 1,
                least_min: Some(0),
                most_min: None,
            });
        }
    }
    problem
}

/// A project with windows of ProGen/max (`.sch`): lags from start to start, negative ones bounding the other way.
///
/// # Panics
/// Where the text is not such an instance.
#[must_use]
pub fn progen_max(text: &str) -> Problem {
    let clean = text.replace(['[', ']'], " ");
    let rows: Vec<Vec<i64>> = clean
        .lines()
        .map(|line| line.split_whitespace().map(|word| word.parse().expect("a number")).collect())
        .filter(|row: &Vec<i64>| !row.is_empty())
        .collect();
    let count = rows[0][0] as usize + 2;
    let mut problem = project(rows.last().expect("capacities"));
    for row in &rows[1 + count..1 + 2 * count] {
        problem.steps.push(work(row[2], &row[3..]));
    }
    for row in &rows[1..=count] {
        let successors = row[2] as usize;
        for k in 0..successors {
            let (from, to, gap) = (row[0] as usize, row[3 + k] as usize, row[3 + successors + k]);
            let lag = |from, to, least_min, most_min| Lag { from, edge: Edge::Start, to, least_min, most_min };
            problem.lags.push(if gap >= 0 { lag(from, to, Some(gap), None) } else { lag(to, from, None, Some(-gap)) });
        }
    }
    problem
}

fn project(capacity: &[i64]) -> Problem {
    Problem {
        resources: capacity.iter().map(|c| Resource { capacity: *c as u32, hours: None }).collect(),
        jobs: vec![Job { release_min: 0, due_min: None, weight: 0 }],
        length_cost: 1,
        ..Problem::default()
    }
}

fn work(length_min: i64, counts: &[i64]) -> Step {
    let taken = counts.iter().enumerate().filter(|(_, count)| **count > 0);
    let needs = taken.map(|(resource, count)| Need { resource, count: *count as u32, tail_min: 0 }).collect();
    Step { length_min, needs, ..Step::default() }
}

/// The rows of a `best_known.csv` or such, without the first.
///
/// # Panics
/// Where the file cannot be read.
#[must_use]
pub fn rows(path: &Path) -> Vec<Vec<String>> {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines().skip(1).map(|line| line.split(',').map(str::to_string).collect()).collect()
}
