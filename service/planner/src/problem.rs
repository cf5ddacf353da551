//! What is to be planned: steps, waits, windows, holds, resources, hours, due dates and the plan on the wall.
//!
//! Everything is a whole number: times in minutes from an instant of the caller's choice, things by their place in the
//! lists here. Whoever asks translates; this room knows neither jobs by name nor what a glue is.

use std::borrow::Cow;

use crate::Calendar;

/// All there is to plan.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Problem {
    /// Nothing that has not begun starts before this minute.
    pub now_min: i64,
    /// People, clamps by kind, booth, warm box.
    pub resources: Vec<Resource>,
    /// What is promised to customers.
    pub jobs: Vec<Job>,
    /// The hands-on work.
    pub steps: Vec<Step>,
    /// Waits and windows between steps.
    pub lags: Vec<Lag>,
    /// What stays occupied from one step to another.
    pub holds: Vec<Hold>,
    /// The plan people have already read.
    pub wall: Wall,
    /// What a minute of the whole plan's length costs, beside a minute of lateness of weight 1.
    pub length_cost: i64,
}

/// Something of which there is only so much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resource {
    /// How many at once; 0 where all are broken.
    pub capacity: u32,
    /// When steps can use it; `None` is always. Tails and holds go on while it is closed.
    pub hours: Option<Calendar>,
}

/// A job: what its steps have in common.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// No step of it starts before.
    pub release_min: i64,
    /// When its last step should be done; `None` where nothing is promised.
    pub due_min: Option<i64>,
    /// What a minute of lateness costs; 0 or more.
    pub weight: i64,
}

/// A piece of hands-on work.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Step {
    /// Its job, by place.
    pub job: usize,
    /// Hands-on minutes; 0 or more.
    pub length_min: i64,
    /// What it occupies while it is done.
    pub needs: Vec<Need>,
    /// Whether it may go on after a break of the hours. If not, it is done within one shift. What it needs stays
    /// occupied over the break.
    pub splits: bool,
    /// When it was or is being done, if it has begun: then it is not planned but planned around.
    pub begun: Option<Begun>,
}

/// What a step occupies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// The resource, by place.
    pub resource: usize,
    /// How many of it.
    pub count: u32,
    /// How long it stays occupied after the step (a booth while a coat flashes off); 0 or more.
    pub tail_min: i64,
}

/// The real or expected times of a step that has begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Begun {
    /// When it began.
    pub start_min: i64,
    /// When it ended or will.
    pub end_min: i64,
}

/// Which end of a step a lag counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Edge {
    /// From its start.
    Start,
    /// From its end.
    End,
}

impl Edge {
    /// The minute counted from, of what starts and ends then.
    #[must_use]
    pub fn of(self, start_min: i64, end_min: i64) -> i64 {
        match self {
            Self::Start => start_min,
            Self::End => end_min,
        }
    }
}

/// How long after one step another may start: at least (a cure), at most (a recoat window), or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lag {
    /// The step counted from.
    pub from: usize,
    /// The end of it counted from.
    pub edge: Edge,
    /// The step whose start is bound.
    pub to: usize,
    /// The shortest wait; may be negative, `None` for no bound.
    pub least_min: Option<i64>,
    /// The longest wait; `None` for no bound.
    pub most_min: Option<i64>,
}

/// What stays occupied from the start of one step to the end of another: clamps from glue-up to clamp-off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hold {
    /// The resource, by place.
    pub resource: usize,
    /// How many of it.
    pub count: u32,
    /// The step at whose start it is taken.
    pub from: usize,
    /// The step at whose end it is free again.
    pub to: usize,
}

/// The plan people have already read, and what it costs to change it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wall {
    /// The start each step has on it, one for each step; empty where there is no such plan.
    pub starts_min: Vec<Option<i64>>,
    /// What stands on the wall before this minute stays there unless it became impossible. What stands there by now comes
    /// as soon as it can, before that.
    pub frozen_until_min: i64,
    /// What moving a step costs, in minutes of lateness of weight 1.
    pub moved_cost: i64,
    /// A step that moves by no more than this has not moved.
    pub moved_over_min: i64,
    /// A step that can come sooner by at least this does, which costs nothing.
    pub pull_over_min: i64,
}

/// What is wrong with a problem as it was put.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Flaw {
    /// A step, lag or hold names something that is not in the list.
    Unknown {
        /// Which list holds the one that names it, and where: `("lags", 3)`.
        in_list: (&'static str, usize),
        /// What is named.
        names: (&'static str, usize),
    },
    /// A length, weight, cost or tail is negative, an end lies before its start, or a time is beyond what is reckoned.
    OutOfRange {
        /// Which list and where.
        in_list: (&'static str, usize),
    },
    /// The wall names another number of steps than there are.
    WallLength {
        /// How many starts the wall has.
        has: usize,
        /// How many steps there are.
        wants: usize,
    },
}

/// No time or length may be further from zero than this: some 2,000 years.
pub const FARTHEST_MIN: i64 = 1 << 30;

impl Problem {
    /// When all that a step needs is open; none where nothing of it has hours.
    #[must_use]
    pub fn hours(&self, step: usize) -> Option<Cow<'_, Calendar>> {
        let needs = self.steps[step].needs.iter();
        let hours = needs.filter_map(|need| self.resources[need.resource].hours.as_ref()).map(Cow::Borrowed);
        hours.reduce(|a, b| Cow::Owned(a.and(&b)))
    }

    /// Whether everything named is there and everything reckoned is in range.
    ///
    /// # Errors
    /// The first [`Flaw`] found.
    pub fn checked(&self) -> Result<(), Flaw> {
        let there = |in_list, names: (&'static str, usize), count: usize| {
            if names.1 < count { Ok(()) } else { Err(Flaw::Unknown { in_list, names }) }
        };
        let range = |in_list, ok: bool| if ok { Ok(()) } else { Err(Flaw::OutOfRange { in_list }) };
        let time = |at: i64| (-FARTHEST_MIN..=FARTHEST_MIN).contains(&at);
        let length = |of: i64| (0..=FARTHEST_MIN).contains(&of);
        range(("problem", 0), time(self.now_min) && length(self.length_cost) && length(self.wall.moved_cost))?;
        let over = length(self.wall.moved_over_min) && length(self.wall.pull_over_min);
        range(("problem", 0), over && time(self.wall.frozen_until_min))?;
        for (i, resource) in self.resources.iter().enumerate() {
            let hours = resource.hours.iter().flat_map(|hours| hours.open());
            range(("resources", i), hours.fold(resource.capacity < 1 << 30, |ok, h| ok && time(h.0) && time(h.1)))?;
        }
        for (i, job) in self.jobs.iter().enumerate() {
            let due = job.due_min.is_none_or(time);
            range(("jobs", i), due && time(job.release_min) && length(job.weight))?;
        }
        for (i, step) in self.steps.iter().enumerate() {
            there(("steps", i), ("jobs", step.job), self.jobs.len())?;
            let begun = step.begun.is_none_or(|b| time(b.start_min) && time(b.end_min) && b.start_min <= b.end_min);
            range(("steps", i), begun && length(step.length_min))?;
            for need in &step.needs {
                there(("steps", i), ("resources", need.resource), self.resources.len())?;
                range(("steps", i), length(need.tail_min) && need.count < 1 << 30)?;
            }
        }
        for (i, lag) in self.lags.iter().enumerate() {
            for step in [lag.from, lag.to] {
                there(("lags", i), ("steps", step), self.steps.len())?;
            }
            range(("lags", i), lag.least_min.is_none_or(time) && lag.most_min.is_none_or(time))?;
        }
        for (i, hold) in self.holds.iter().enumerate() {
            there(("holds", i), ("resources", hold.resource), self.resources.len())?;
            range(("holds", i), hold.count < 1 << 30)?;
            for step in [hold.from, hold.to] {
                there(("holds", i), ("steps", step), self.steps.len())?;
            }
        }
        let (has, wants) = (self.wall.starts_min.len(), self.steps.len());
        for (i, start) in self.wall.starts_min.iter().enumerate() {
            range(("wall", i), start.is_none_or(time))?;
        }
        if has == 0 || has == wants { Ok(()) } else { Err(Flaw::WallLength { has, wants }) }
    }
}
