//! One project without windows, holds or hours: plans are bred. A child has a stretch of one plan in which much is in use
//! and around it the order of another (after the peak crossover of Valls, Ballestín, Quintanilla 2008; from memory), or is
//! one plan with a window of it shuffled. It is placed from the right and then forward, as plans that are bred from are seen
//! from the right (after the two populations of Debels, Vanhoucke 2007; from memory), and takes the place of the worst.

use crate::{
    Need, Problem, Resource, Slot,
    chance::Chance,
    reorder::{Made, Reorder},
    solve::Left,
};

/// Plans that are bred from, at first; so many times more after each time they had become alike; never more than so many,
/// since every child is held against all. These figures and those below were tried out on a sample of J30, J60 and J120.
const PLANS: usize = 30;
const MORE: f64 = 1.5;
const MOST_PLANS: usize = 300;
/// Plans are alike when all cost the same and so many children for each have brought nothing.
const ALIKE_AFTER: usize = 5;
/// How far the first plans stray from the order by what follows, as a share of the longest way.
const STRAY: f64 = 0.6;
/// The share of first plans in which nothing waits that could start, and how far those stray.
const UNDELAYED: f64 = 0.5;
const STRAY_UNDELAYED: f64 = 0.3;
/// A parent is the best of so many drawn.
const DRAWN: usize = 4;
/// The share of children with two parents.
const OF_TWO: f64 = 0.6;
/// The shortest stretch and the narrowest window, and by how much they may be longer, as shares of the plan.
const STRETCH: [f64; 2] = [0.1, 0.4];
const WINDOW: [f64; 2] = [0.1, 0.5];
/// Of so many stretches drawn the one with the most in use is taken.
const STRETCHES: usize = 2;
/// Each step leaves its place with this chance, by up to this share of the plan.
const LEAVES: f64 = 0.05;
const LEAVES_BY: f64 = 0.1;
/// A child that is longer than the worst by this share, placed from the right, is not worth another schedule.
const HOPELESS: f64 = 0.05;

/// Whether a problem is of that kind: any order of its steps can be built, forward and from the right.
pub(crate) fn can(problem: &Problem) -> bool {
    problem.holds.is_empty()
        && problem.resources.iter().all(|resource| resource.hours.is_none())
        && problem.steps.iter().all(|step| step.begun.is_none())
        && problem.lags.iter().all(|lag| lag.most_min.is_none() && lag.least_min.is_none_or(|least| least >= 0))
}

pub(crate) struct Breed<'a> {
    reorder: Reorder<'a>,
    /// How much of all there is each step takes.
    loads: Vec<f64>,
    /// What is bred from, with time running backwards.
    plans: Vec<Made>,
    /// How many plans there shall be.
    size: usize,
    /// Children since the best one.
    stale: usize,
}

impl<'a> Breed<'a> {
    pub(crate) fn new(reorder: Reorder<'a>) -> Self {
        let problem = reorder.problem;
        let share = |need: &Need| f64::from(need.count) / f64::from(problem.resources[need.resource].capacity.max(1));
        let loads = problem.steps.iter().map(|step| step.needs.iter().map(share).sum()).collect();
        Self { reorder, loads, plans: Vec::new(), size: PLANS, stale: 0 }
    }

    /// Looks for better plans as long as the effort lasts or until none can be; the best one found.
    pub(crate) fn run(mut self, left: &Left<'_>, chance: &mut Chance) -> Vec<Slot> {
        let shortest = self.shortest_min();
        let mut best = self.reorder.justified(self.reorder.first(), left);
        self.plans.push(best.seen_from_right());
        while best.length_min() > shortest && left.another() {
            self.stale += 1;
            let growing = self.plans.len() < self.size;
            let made = if growing { self.first_of_its_kind(left, chance) } else { self.child(left, chance) };
            let Some(made) = made else { continue };
            if made.total < best.total {
                best = made.clone();
                self.stale = 0;
            }
            if growing {
                self.plans.push(made.seen_from_right());
            } else {
                self.replace_worst(made.seen_from_right());
                self.begin_anew_if_alike();
            }
        }
        best.slots
    }

    /// No plan is shorter, in minutes: than the longest way, or than what there is to do takes all there is of something.
    fn shortest_min(&self) -> i64 {
        let problem = self.reorder.problem;
        let busy_min = |(at, of): (usize, &Resource)| {
            let needs =
                problem.steps.iter().flat_map(|step| step.needs.iter().map(move |need| (step.length_min, need)));
            let of_it = needs.filter(|(_, need)| need.resource == at);
            let work: i64 = of_it.map(|(length_min, need)| length_min * i64::from(need.count)).sum();
            let all = i64::from(of.capacity.max(1));
            (work + all - 1) / all
        };
        let busiest = problem.resources.iter().enumerate().map(busy_min).max().unwrap_or(0);
        busiest.max(self.reorder.longest() as i64)
    }

    /// A plan that owes nothing to others.
    fn first_of_its_kind(&self, left: &Left<'_>, chance: &mut Chance) -> Option<Made> {
        let longest = self.reorder.longest();
        let made = if chance.share() < UNDELAYED {
            self.reorder.undelayed(&self.reorder.sampled(longest * STRAY_UNDELAYED, chance))
        } else {
            self.reorder.built(&self.reorder.sampled(longest * STRAY, chance))
        };
        Some(self.reorder.justified(made?, left))
    }

    /// A child is placed from the right and then, if that is hopeful, as what came of that starts: two schedules.
    fn child(&self, left: &Left<'_>, chance: &mut Chance) -> Option<Made> {
        let starts = self.reorder.pushed_right(&self.order_of_child(chance), 0)?;
        let worst = self.plans.iter().map(Made::length_min).max().unwrap_or(i64::MAX);
        // All of it stands before 0.
        let length_min = -starts.iter().min().copied().unwrap_or(0);
        let hopeful = length_min as f64 <= worst as f64 * (1.0 + HOPELESS);
        if hopeful && left.another() { self.reorder.built(&starts) } else { None }
    }

    fn has(&self, made: &Made) -> bool {
        self.plans.iter().any(|plan| plan.slots == made.slots)
    }

    fn replace_worst(&mut self, made: Made) {
        let worst = (0..self.plans.len()).max_by_key(|at| self.plans[*at].total).unwrap_or(0);
        if made.total <= self.plans[worst].total && !self.has(&made) {
            // They stand by age, and of those that cost the same the newest goes.
            self.plans.remove(worst);
            self.plans.push(made);
        }
    }

    /// Where all plans have become alike: one is kept, and more new ones than before are made beside it.
    fn begin_anew_if_alike(&mut self) {
        let alike = self.plans.iter().all(|plan| plan.total == self.plans[0].total);
        if alike && self.stale > ALIKE_AFTER * self.size {
            self.plans.truncate(1);
            self.size = ((self.size as f64 * MORE) as usize).min(MOST_PLANS);
            self.stale = 0;
        }
    }

    fn order_of_child(&self, chance: &mut Chance) -> Vec<i64> {
        let a = self.parent(chance);
        let mut rank = if chance.share() < OF_TWO {
            let b = self.parent(chance);
            self.crossed(a, b, chance)
        } else {
            a.shuffled(WINDOW, chance)
        };
        let least = rank.iter().min().copied().unwrap_or(0);
        let by = (rank.iter().max().copied().unwrap_or(0) - least) as f64 * LEAVES_BY;
        for rank in &mut rank {
            if chance.share() < LEAVES {
                *rank += ((chance.share() * 2.0 - 1.0) * by) as i64;
            }
        }
        rank
    }

    fn parent(&self, chance: &mut Chance) -> &Made {
        let mut drawn = chance.below(self.plans.len());
        for _ in 1..DRAWN {
            let other = chance.below(self.plans.len());
            if self.plans[other].total < self.plans[drawn].total {
                drawn = other;
            }
        }
        &self.plans[drawn]
    }

    /// A stretch of `a` as it is; what stands before it there, and what after, in the order of `b`.
    fn crossed(&self, a: &Made, b: &Made, chance: &mut Chance) -> Vec<i64> {
        let (from, to) = self.busy_stretch(a, chance);
        let key = |step: &usize| {
            let start = a.slots[*step].start_min;
            let part = i64::from(start >= from) + i64::from(start >= to);
            (part, if part == 1 { start } else { b.slots[*step].start_min }, *step)
        };
        let mut order: Vec<usize> = (0..a.slots.len()).collect();
        order.sort_by_key(key);
        let mut rank = vec![0; order.len()];
        for (at, step) in order.into_iter().enumerate() {
            rank[step] = at as i64;
        }
        rank
    }

    /// A stretch in which much is in use: from when to when.
    fn busy_stretch(&self, plan: &Made, chance: &mut Chance) -> (i64, i64) {
        let (begins, ends) = plan.span();
        let long = ((ends - begins) as f64 * (STRETCH[0] + STRETCH[1] * chance.share())) as i64 + 1;
        let last = (ends - begins - long).max(0) as usize + 1;
        let stretches = [(); STRETCHES].map(|()| begins + chance.below(last) as i64);
        let used = |from: &i64| -> f64 {
            let inside = |slot: &Slot| (slot.end_min.min(from + long) - slot.start_min.max(*from)).max(0);
            plan.slots.iter().zip(&self.loads).map(|(slot, load)| inside(slot) as f64 * load).sum()
        };
        let from = stretches.into_iter().max_by(|a, b| used(a).total_cmp(&used(b))).unwrap_or(begins);
        (from, from + long)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Begun, Calendar, Edge, Effort, Hold, Job, Lag, Step, board::Board, net::Net, solve};

    /// Steps of these lengths, in any order, each taking one of two.
    fn two_hands(lengths: &[i64]) -> Problem {
        let needs = vec![Need { resource: 0, count: 1, tail_min: 0 }];
        Problem {
            resources: vec![Resource { capacity: 2, hours: None }],
            jobs: vec![Job { release_min: 0, due_min: None, weight: 0 }],
            steps: lengths.iter().map(|l| Step { length_min: *l, needs: needs.clone(), ..Step::default() }).collect(),
            length_cost: 1,
            ..Problem::default()
        }
    }

    /// Reckoned by hand: longest first takes two hands 70 minutes, 30 + 30 beside 20 + 20 + 20 takes 60, and 120 minutes of
    /// work cannot take them less.
    #[test]
    fn what_the_rule_packs_badly_is_packed_well() {
        let problem = two_hands(&[30, 30, 20, 20, 20]);
        let length = |schedules| solve(&problem, Effort::schedules(1, schedules)).expect("a plan").cost.length_min;
        assert_eq!((length(1), length(300)), (70, 60));
    }

    /// Reckoned by hand: by rank the second step takes both hands from 5 to 10, and the third, which takes 20 minutes, has to
    /// wait for it; where nothing waits that could start the third starts at once and the second at 20.
    #[test]
    fn nothing_waits_that_could_start() {
        let mut problem = two_hands(&[5, 5, 20]);
        problem.steps[1].needs[0].count = 2;
        problem.lags.push(Lag { from: 0, edge: Edge::End, to: 1, least_min: Some(0), most_min: None });
        let net = Net::new(&problem);
        let reorder = Reorder::new(&problem, &net, Board::new(&net), vec![0; 3]);
        let starts = |made: Option<Made>| made.map(|made| made.slots.iter().map(|slot| slot.start_min).collect());
        assert_eq!(starts(reorder.built(&[0, 1, 2])), Some(vec![0, 5, 10]));
        assert_eq!(starts(reorder.undelayed(&[0, 1, 2])), Some(vec![0, 20, 0]));
    }

    /// By the longest way, and by what two hands can do.
    #[test]
    fn the_search_ends_where_no_plan_can_be_shorter() {
        let mut in_a_row = two_hands(&[10, 10, 10]);
        for from in 0..2 {
            in_a_row.lags.push(Lag { from, edge: Edge::End, to: from + 1, least_min: Some(0), most_min: None });
        }
        for (problem, length_min) in [(in_a_row, 30), (two_hands(&[30, 30, 20, 20, 20]), 60)] {
            let plan = solve(&problem, Effort::schedules(1, 1_000_000)).expect("a plan");
            assert_eq!(plan.cost.length_min, length_min);
            assert!(plan.schedules < 1_000, "{} schedules", plan.schedules);
        }
    }

    #[test]
    fn more_schedules_are_never_worse_and_the_same_seed_breeds_the_same() {
        let lengths: Vec<i64> = (0..60).map(|i| 100 + i * i * 37 % 211).collect();
        let mut problem = two_hands(&lengths);
        problem.resources[0].capacity = 7;
        for i in 0..45 {
            let (from, to) = (i, i + 5 + i % 9);
            problem.lags.push(Lag { from, edge: Edge::End, to, least_min: Some(0), most_min: None });
        }
        assert!(can(&problem));
        let plan = |schedules| solve(&problem, Effort::schedules(5, schedules)).expect("a plan");
        let totals = [1, 30, 300, 3_000].map(|schedules| plan(schedules).cost.total);
        assert!(totals.is_sorted_by(|a, b| a >= b) && totals[0] > totals[3], "{totals:?}");
        assert_eq!(plan(300), plan(300));
    }

    #[test]
    fn windows_holds_hours_and_what_has_begun_are_not_bred() {
        let plain = two_hands(&[10, 10]);
        assert!(can(&plain));
        let lag = |least_min, most_min| Lag { from: 0, edge: Edge::End, to: 1, least_min, most_min };
        let changes: [fn(&mut Problem); 3] = [
            |problem| problem.holds.push(Hold { resource: 0, count: 1, from: 0, to: 1 }),
            |problem| problem.resources[0].hours = Some(Calendar::new(vec![(0, 100)])),
            |problem| problem.steps[0].begun = Some(Begun { start_min: 0, end_min: 10 }),
        ];
        for (at, change) in changes.iter().enumerate() {
            let mut problem = plain.clone();
            change(&mut problem);
            assert!(!can(&problem), "change {at}");
        }
        for (least_min, most_min, bred) in [(Some(5), None, true), (Some(-5), None, false), (Some(0), Some(9), false)] {
            let problem = Problem { lags: vec![lag(least_min, most_min)], ..plain.clone() };
            assert_eq!(can(&problem), bred, "{least_min:?} {most_min:?}");
        }
    }
}
