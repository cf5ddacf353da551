//! Finish schedules: named stacks of coats in `scripts/schedules/*.toml`, unfolded into the steps of a job.

use std::path::Path;

use facts::{CoatPlan, MaterialId, Step, StepId, StepKind, Work};
use serde::{Deserialize, Serialize};

use crate::problem::{Kind, Problem};

/// A schedule as its file has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Schedule {
    /// What the shop calls it.
    pub(crate) name: String,
    /// Where its numbers come from, or "common practice, no source".
    pub(crate) source: String,
    /// What to do, in order.
    pub(crate) steps: Vec<Line>,
}

/// One line of a schedule: one step, or several alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Line {
    /// Word its steps are named by: `build` becomes `build-1`, `build-2`.
    pub(crate) id: StepId,
    #[schema(value_type = crate::twins::StepKind)]
    pub(crate) kind: StepKind,
    pub(crate) title: String,
    /// What a coat is of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) material: Option<MaterialId>,
    /// What each of its steps asks of the shop.
    #[serde(default, skip_serializing_if = "Work::is_usual")]
    #[schema(value_type = crate::twins::Work)]
    pub(crate) work: Work,
    /// How each coat is meant to be laid: proposed where it is registered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<crate::twins::CoatPlan>)]
    pub(crate) lay: Option<CoatPlan>,
    /// How many times, 1 to 30.
    #[serde(default = "once")]
    pub(crate) times: usize,
}

fn once() -> usize {
    1
}

/// Most times a line is done.
const MOST_TIMES: usize = 30;

impl Schedule {
    fn read(file: &str, text: &str) -> Result<Self, Problem> {
        let wrong = |what: String| {
            let detail = format!("schedules/{file}.toml: {what}");
            Problem::new(Kind::RuleFault, detail, "correct the file; the schedules beside it show the form")
        };
        let schedule: Self = toml::from_str(text).map_err(|e| wrong(e.message().into()))?;
        for line in &schedule.steps {
            if !(1..=MOST_TIMES).contains(&line.times) {
                return Err(wrong(format!(
                    "\"{}\" is done {} times; 1 to {MOST_TIMES} are taken",
                    line.id, line.times
                )));
            }
            line.work.check().map_err(|e| wrong(format!("\"{}\": {e}", line.id)))?;
            line.lay.map_or(Ok(()), |lay| lay.check()).map_err(|e| wrong(format!("\"{}\": {e}", line.id)))?;
            if line.lay.is_some() && line.kind != StepKind::Coat {
                return Err(wrong(format!("\"{}\": a coat says how it is laid, and nothing else does", line.id)));
            }
            if (line.kind == StepKind::Coat) != line.material.is_some() {
                return Err(wrong(format!("\"{}\": a coat names its material, and nothing else does", line.id)));
            }
        }
        Ok(schedule)
    }

    /// The steps of a job by this schedule, each after the one before it.
    pub(crate) fn unfolded(&self) -> Vec<Step> {
        let of_line = |line: &Line| {
            let step = |n: usize| {
                let (id, title) = match line.times {
                    1 => (line.id.to_string(), line.title.clone()),
                    times => (format!("{}-{n}", line.id), format!("{}, {n} of {times}", line.title)),
                };
                Some(Step {
                    id: StepId::new(id).ok()?,
                    kind: line.kind,
                    title,
                    follows: vec![],
                    joint: None,
                    material: line.material.clone(),
                    before_strings: false,
                    lay: line.lay,
                    work: line.work.clone(),
                })
            };
            (1..=line.times).filter_map(step).collect::<Vec<_>>()
        };
        self.steps.iter().flat_map(of_line).collect()
    }
}

impl Schedule {
    /// Its steps as they are laid onto a job that has steps already: each with an id that is not taken there and with the
    /// surface in its title, the first after the step named, else after the last one there.
    pub(crate) fn laid(&self, there: &[Step], surface: &str, after: Option<&StepId>) -> Vec<Step> {
        let taken = |id: &str| there.iter().any(|step| step.id.as_str() == id);
        let steps = self.unfolded();
        // A schedule laid a second time keeps its words, with one number behind them all.
        let behind = |n: usize| if n == 1 { String::new() } else { format!("-{n}") };
        let free = |n: &usize| steps.iter().all(|step| !taken(&format!("{}{}", step.id, behind(*n))));
        let behind = behind((1..).find(free).unwrap_or(1));
        let laid = |(i, step): (usize, Step)| {
            let follows = after.filter(|_| i == 0).cloned().into_iter().collect();
            let title = if surface.is_empty() { step.title } else { format!("{}: {surface}", step.title) };
            Some(Step { id: StepId::new(format!("{}{behind}", step.id)).ok()?, title, follows, ..step })
        };
        steps.into_iter().enumerate().filter_map(laid).collect()
    }
}

/// Every schedule of a scripts folder, by the name of its file.
///
/// # Errors
/// Names the file that cannot be read, and why.
pub(crate) fn schedules(folder: &Path) -> Result<Vec<(String, Schedule)>, Problem> {
    let Ok(files) = std::fs::read_dir(folder.join("schedules")) else { return Ok(vec![]) };
    let mut paths: Vec<_> = files.filter_map(|file| Some(file.ok()?.path())).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    paths.sort();
    let read = |path: std::path::PathBuf| {
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&path).map_err(|e| {
            Problem::new(Kind::RuleFault, format!("schedules/{name}.toml: {e}"), "make the file readable, as UTF-8")
        })?;
        Ok((name.clone(), Schedule::read(&name, &text)?))
    };
    paths.into_iter().map(read).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_done_several_times_becomes_as_many_steps() {
        let text = r#"
            name = "two coats"
            source = "common practice, no source"
            [[steps]]
            id = "build"
            kind = "coat"
            title = "Build coat"
            material = "shellac"
            times = 2
            [[steps]]
            id = "rest"
            kind = "wait"
            title = "Let it harden"
        "#;
        let steps = Schedule::read("two", text).expect("a good schedule").unfolded();
        let ids: Vec<&str> = steps.iter().map(|step| step.id.as_str()).collect();
        assert_eq!(ids, ["build-1", "build-2", "rest"]);
        assert_eq!(steps[1].title, "Build coat, 2 of 2");
    }

    #[test]
    fn what_cannot_be_names_the_file_and_the_line() {
        for (line, says) in [
            ("kind = \"coat\"", "names its material"),
            ("kind = \"wait\"\ntimes = 0", "is done 0 times"),
            ("kind = \"rest\"", "unknown variant"),
        ] {
            let text = format!("name = \"x\"\nsource = \"x\"\n[[steps]]\nid = \"a\"\ntitle = \"A\"\n{line}\n");
            let problem = Schedule::read("bad", &text).expect_err(line);
            assert!(problem.detail.contains("schedules/bad.toml") && problem.detail.contains(says), "{problem:?}");
        }
    }
}
