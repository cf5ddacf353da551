//! Why a step stands where it stands, and how long it could wait.

use crate::{Edge, Hold, Plan, Problem, Slot};

/// A reason for a step to be done now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// It has begun.
    Begun,
    /// It is on the wall and too near to be moved.
    Frozen,
    /// What it starts waits while the shop is closed: begun the next morning, that night would be lost.
    Overnight {
        /// The step the wait is for.
        before: usize,
    },
    /// A window opened by another step closes then; it cannot start later.
    WindowCloses {
        /// The step that opened the window.
        from: usize,
        /// The last minute to start.
        at_min: i64,
    },
    /// It starts as soon as another step lets it.
    After {
        /// That step.
        step: usize,
    },
    /// It starts as soon as enough of this is free; before, others had it.
    WaitsFor {
        /// The resource.
        resource: usize,
    },
    /// Any sooner, and a step after it would miss its window.
    FreshFor {
        /// That step.
        step: usize,
    },
    /// It starts as the hours begin.
    Opens,
    /// Its job is late, or would be if it waited.
    Due {
        /// When its job is due.
        at_min: i64,
        /// By how much it is late in this plan.
        late_min: i64,
    },
    /// Nothing before it kept it waiting: it starts now, or as its job is released.
    Ready,
    /// It could start sooner and stays where the wall has it, since moving it would not pay.
    Stands,
    /// It could start sooner if nothing else moved; in the order found to be best it comes here.
    Turn,
}

/// What can be said of one step of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Why it stands where it does, at least one reason; the first is the first to tell.
    pub why: Vec<Why>,
    /// For how many minutes it could wait if nothing else moved: no window missed, no resource short, its job no later
    /// than due or, where it is late, than planned.
    pub float_min: i64,
}

/// Tells every step of a plan made for this problem.
#[must_use]
pub fn explain(problem: &Problem, plan: &Plan) -> Vec<Told> {
    (0..problem.steps.len()).map(|step| View { problem, slots: &plan.slots }.tell(step, plan)).collect()
}

struct View<'a> {
    problem: &'a Problem,
    slots: &'a [Slot],
}

impl View<'_> {
    fn tell(&self, step: usize, plan: &Plan) -> Told {
        let work = &self.problem.steps[step];
        if work.begun.is_some() {
            return Told { why: vec![Why::Begun], float_min: 0 };
        }
        let float_min = self.float(step);
        let wall = &self.problem.wall;
        let stood = wall.starts_min.get(step).copied().flatten();
        let near = self.problem.now_min + 1..wall.frozen_until_min;
        let frozen = stood.is_some_and(|at| near.contains(&at) && !plan.unfrozen.contains(&step));
        let mut why = Vec::new();
        why.extend(self.closing(step));
        why.extend(self.overnight(step));
        if frozen {
            why.push(Why::Frozen);
        }
        why.extend(self.due(step));
        why.extend(self.waited_for(step));
        if why.is_empty() {
            why.push(self.otherwise(step));
        }
        Told { why, float_min }
    }

    fn edge(&self, step: usize, edge: Edge) -> i64 {
        edge.of(self.slots[step].start_min, self.slots[step].end_min)
    }

    /// The first window to close on a step, unless that is more than a day away.
    fn closing(&self, step: usize) -> Option<Why> {
        let into = self.problem.lags.iter().filter(|lag| lag.to == step);
        let closes = into.filter_map(|lag| Some((self.edge(lag.from, lag.edge) + lag.most_min?, lag.from)));
        let (at_min, from) = closes.min()?;
        (at_min - self.slots[step].start_min <= 24 * 60).then_some(Why::WindowCloses { from, at_min })
    }

    /// The wait after a step that goes on past the end of its shift, where what waits would come later if the step were
    /// begun as the next shift opens.
    fn overnight(&self, step: usize) -> Option<Why> {
        let hours =
            self.problem.steps[step].needs.iter().find_map(|n| self.problem.resources[n.resource].hours.as_ref())?;
        let closes = hours.closes(self.slots[step].start_min)?;
        let opens = hours.open().iter().map(|(from, _)| *from).find(|from| *from > closes)?;
        let waits = self.problem.lags.iter().filter(|lag| lag.from == step);
        let long = waits.filter(|lag| lag.least_min.is_some_and(|least| least > 0));
        let waited = |lag: &crate::Lag| self.edge(step, lag.edge) + lag.least_min.unwrap_or(0);
        let over = long.filter(|lag| {
            let next_day = opens - self.slots[step].start_min;
            waited(lag) > closes && waited(lag) + next_day > self.slots[lag.to].start_min
        });
        // A break at noon is no night.
        over.map(|lag| Why::Overnight { before: lag.to }).next().filter(|_| opens - closes >= 6 * 60)
    }

    fn job_end(&self, job: usize) -> i64 {
        let of_job = self.problem.steps.iter().zip(self.slots).filter(|(step, _)| step.job == job);
        of_job.map(|(_, slot)| slot.end_min).max().unwrap_or(i64::MIN)
    }

    fn due(&self, step: usize) -> Option<Why> {
        let job = self.problem.steps[step].job;
        let at_min = self.problem.jobs[job].due_min?;
        let late_min = (self.job_end(job) - at_min).max(0);
        (self.job_end(job) >= at_min).then_some(Why::Due { at_min, late_min })
    }

    /// What kept a step from standing a minute earlier.
    fn waited_for(&self, step: usize) -> Option<Why> {
        let slot = self.slots[step];
        let into = self.problem.lags.iter().filter(|lag| lag.to == step);
        let bound = into.filter_map(|lag| Some((self.edge(lag.from, lag.edge) + lag.least_min?, lag.from))).max();
        if let Some((at, from)) = bound.filter(|(at, _)| *at >= slot.start_min) {
            debug_assert!(at == slot.start_min);
            return Some(Why::After { step: from });
        }
        let earlier = Slot { start_min: slot.start_min - 1, end_min: slot.end_min - 1 };
        if !self.is_open(step, earlier) {
            return Some(Why::Opens);
        }
        self.fresh_for(step).or_else(|| self.short(step, earlier).map(|resource| Why::WaitsFor { resource }))
    }

    /// What would miss its window after a step that stood a minute earlier.
    fn fresh_for(&self, step: usize) -> Option<Why> {
        let after = self.problem.lags.iter().filter(|lag| lag.from == step);
        let full = |lag: &&crate::Lag| {
            lag.most_min.is_some_and(|most| self.slots[lag.to].start_min - self.edge(step, lag.edge) >= most)
        };
        after.filter(full).map(|lag| Why::FreshFor { step: lag.to }).next()
    }

    /// The reason where no other can be told.
    fn otherwise(&self, step: usize) -> Why {
        let (wall, start_min) = (&self.problem.wall, self.slots[step].start_min);
        let stood = wall.starts_min.get(step).copied().flatten();
        let first = self.problem.now_min.max(self.problem.jobs[self.problem.steps[step].job].release_min);
        match stood {
            _ if start_min <= first => Why::Ready,
            Some(stood) if (stood - start_min).abs() <= wall.moved_over_min => Why::Stands,
            _ => Why::Turn,
        }
    }

    fn is_open(&self, step: usize, slot: Slot) -> bool {
        let work = &self.problem.steps[step];
        let at = Some((slot.start_min, slot.end_min));
        self.problem.hours(step).is_none_or(|hours| hours.stretch(slot.start_min, work.length_min, work.splits) == at)
    }

    /// What a step would not get if it stood there and all others where they are.
    fn short(&self, step: usize, slot: Slot) -> Option<usize> {
        let of = |at: usize| if at == step { slot } else { self.slots[at] };
        let held = |hold: &&Hold| hold.from == step || hold.to == step;
        let needs = self.problem.steps[step].needs.iter();
        let needed = needs.map(|need| (need.resource, slot.start_min, slot.end_min + need.tail_min));
        let holds = self.problem.holds.iter().filter(held);
        let holding = holds.map(|hold| (hold.resource, of(hold.from).start_min, of(hold.to).end_min));
        // What is held from one step to another tells more than hands that are busy besides.
        let mut all = holding.chain(needed);
        all.find(|(resource, from, to)| {
            self.peak(*resource, *from, *to, &of) > self.problem.resources[*resource].capacity
        })
        .map(|(resource, ..)| resource)
    }

    /// The most that is taken of a resource at once between two minutes.
    fn peak(&self, resource: usize, from: i64, to: i64, of: &dyn Fn(usize) -> Slot) -> u32 {
        let mut changes: Vec<(i64, i64)> = Vec::new();
        let mut take = |start: i64, end: i64, count: u32| {
            if start.max(from) < end.min(to) {
                changes.extend([(start.max(from), i64::from(count)), (end.min(to), -i64::from(count))]);
            }
        };
        for (i, step) in self.problem.steps.iter().enumerate() {
            for need in step.needs.iter().filter(|need| need.resource == resource) {
                take(of(i).start_min, of(i).end_min + need.tail_min, need.count);
            }
        }
        for hold in self.problem.holds.iter().filter(|hold| hold.resource == resource) {
            take(of(hold.from).start_min, of(hold.to).end_min, hold.count);
        }
        changes.sort_unstable();
        let mut taken = 0;
        let peak = changes.into_iter().map(|(_, change)| {
            taken += change;
            taken
        });
        u32::try_from(peak.max().unwrap_or(0)).unwrap_or(u32::MAX)
    }

    /// How long a step can wait without a break: begun within its shift, in its windows, its room and by its job's date.
    fn float(&self, step: usize) -> i64 {
        let (work, slot) = (&self.problem.steps[step], self.slots[step]);
        let job_end = self.job_end(work.job);
        let mut last_end = self.problem.jobs[work.job].due_min.map_or(job_end, |due| due.max(job_end));
        let mut last_start = i64::MAX;
        for lag in &self.problem.lags {
            if lag.to == step {
                let closes = lag.most_min.map_or(i64::MAX, |wait| self.edge(lag.from, lag.edge).saturating_add(wait));
                last_start = last_start.min(closes);
            }
            if lag.from == step {
                let by = lag.least_min.map_or(i64::MAX, |least| self.slots[lag.to].start_min - least);
                match lag.edge {
                    Edge::Start => last_start = last_start.min(by),
                    Edge::End => last_end = last_end.min(by),
                }
            }
        }
        let hours = self.problem.hours(step);
        let most = hours.as_ref().map_or(last_end - slot.end_min, |hours| {
            hours.closes(slot.start_min).map_or(0, |closes| closes - slot.start_min)
        });
        let most = most.min(last_start.saturating_sub(slot.start_min)).max(0);
        let fits = |wait: i64| {
            let start = slot.start_min + wait;
            let end = match &hours {
                None => Some(slot.end_min + wait),
                Some(hours) => {
                    let at = hours.stretch(start, work.length_min, work.splits);
                    at.filter(|at| at.0 == start).map(|at| at.1)
                }
            };
            // Room only gets scarcer as a step reaches into what follows.
            end.is_some_and(|end| {
                end <= last_end && self.short(step, Slot { start_min: slot.start_min, end_min: end }).is_none()
            })
        };
        let (mut good, mut bad) = (0, most + 1);
        while bad - good > 1 {
            let middle = good + (bad - good) / 2;
            if fits(middle) { good = middle } else { bad = middle }
        }
        good
    }
}
