//! What is taken of everything, and the first room a step finds in it.

use crate::{
    board::Miss,
    net::Net,
    profile::Profile,
    work::{Supply, Taken},
};

/// What steps and holds take of the resources.
#[derive(Debug, Clone)]
pub(crate) struct Room<'a> {
    net: &'a Net,
    profiles: Vec<Profile<'a>>,
    held: Vec<bool>,
}

impl<'a> Room<'a> {
    pub(crate) fn new(net: &'a Net) -> Self {
        let of = |supply: &'a Supply| match &supply.open {
            Some(open) => Profile::within(open.open(), supply.capacity),
            None => Profile::new(),
        };
        Self { net, profiles: net.supplies.iter().map(of).collect(), held: vec![false; net.holds.len()] }
    }

    /// The same, into one that is there already.
    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.held.copy_from_slice(&other.held);
        for (profile, of) in self.profiles.iter_mut().zip(&other.profiles) {
            profile.copy_from(of);
        }
    }

    /// The first place from `from` on in which a step gets all it needs.
    pub(crate) fn first(&mut self, step: usize, from: i64) -> Result<(i64, i64), Miss> {
        let work = &self.net.works[step];
        let mut at = self.open(step, from)?;
        // Who finds no room moves the step on, and is content; then the others are asked again.
        let mut content = 0;
        for look in work.looks.iter().cycle() {
            if content == work.looks.len() {
                break;
            }
            let (from, length) = (at.0 - look.lead, at.1 - at.0 + look.lead + look.tail);
            let left = self.left(look);
            let free = self.profiles[look.supply].first(from, length, left).ok_or_else(|| self.never(step, look))?;
            content += 1;
            if free > from {
                at = self.open(step, free + look.lead)?;
                content = usize::from(!work.by_hours);
            }
        }
        Ok(at)
    }

    /// Where a step stands from `from` on by the hours its accounts do not tell.
    fn open(&self, step: usize, from: i64) -> Result<(i64, i64), Miss> {
        let work = &self.net.works[step];
        match work.hours.filter(|_| work.by_hours) {
            None => Ok((from, from + work.length)),
            Some(hours) => {
                let stretch = self.net.hours[hours].stretch(from, work.length, work.splits);
                stretch.ok_or(Miss::Hours { step })
            }
        }
    }

    /// Whether a step gets all it needs at `start`..`end`.
    pub(crate) fn has(&mut self, step: usize, (start, end): (i64, i64)) -> bool {
        self.net.works[step].looks.iter().all(|look| {
            let left = self.left(look);
            self.profiles[look.supply].clash(start - look.lead, end + look.tail, left).is_none()
        })
    }

    /// How much others may take beside `look`.
    fn left(&self, look: &Taken) -> i64 {
        self.net.supplies[look.supply].capacity - look.count
    }

    /// Why a step finds no place whatever the time.
    fn never(&self, step: usize, look: &Taken) -> Miss {
        if self.left(look) < 0 {
            Miss::Capacity { step, resource: self.net.supplies[look.supply].resource }
        } else {
            Miss::Hours { step }
        }
    }

    /// A step takes what it needs.
    pub(crate) fn put(&mut self, step: usize, (start, end): (i64, i64)) {
        for need in &self.net.works[step].needs {
            self.profiles[need.supply].add(start - need.lead, end + need.tail, need.count);
        }
    }

    /// A step gives back what it needs.
    pub(crate) fn take(&mut self, step: usize, (start, end): (i64, i64)) {
        for need in &self.net.works[step].needs {
            self.profiles[need.supply].add(start - need.lead, end + need.tail, -need.count);
        }
    }

    /// Takes one hold between steps that stand so, if it is not taken; fails with the time it is free again.
    pub(crate) fn hold(&mut self, at: usize, from: i64, to: i64) -> Result<(), i64> {
        if self.held[at] {
            return Ok(());
        }
        let hold = &self.net.holds[at];
        let count = i64::from(hold.count);
        let left = self.net.supplies[hold.resource].capacity - count;
        // What is held since before is a fact, however much there is.
        let begun = self.net.works[hold.from].begun.is_some();
        if let (false, Some(free)) = (begun, self.profiles[hold.resource].clash(from, to, left)) {
            return Err(free);
        }
        self.keep(at, from, to);
        Ok(())
    }

    /// Takes one hold for which there is room, if it is not taken.
    pub(crate) fn keep(&mut self, at: usize, from: i64, to: i64) {
        if !std::mem::replace(&mut self.held[at], true) {
            let hold = &self.net.holds[at];
            self.profiles[hold.resource].add(from, to, i64::from(hold.count));
        }
    }

    /// Gives one hold back if it is taken.
    pub(crate) fn let_go(&mut self, at: usize, from: i64, to: i64) {
        if std::mem::replace(&mut self.held[at], false) {
            let hold = &self.net.holds[at];
            self.profiles[hold.resource].add(from, to, -i64::from(hold.count));
        }
    }
}
