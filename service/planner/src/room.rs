//! What is taken of everything, and the first room a step finds in it.

use crate::{board::Miss, net::Net, profile::Profile, work::{Supply, Taken}};

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
    pub(crate) fn first(&mut self, step: usize, mut from: i64) -> Result<(i64, i64), Miss> {
        let net = self.net;
        let work = &net.works[step];
        'later: loop {
            let (start, end) = match work.hours.filter(|_| work.by_hours) {
                None => (from, from + work.length),
                Some(hours) => {
                    let stretch = net.hours[hours].stretch(from, work.length, work.splits);
                    stretch.ok_or(Miss::Hours { step })?
                }
            };
            for look in &work.looks {
                let (from_min, length) = (start - look.lead, end - start + look.lead + look.tail);
                let left = self.left(look);
                let free = self.profiles[look.supply].first(from_min, length, left);
                let free = free.ok_or_else(|| self.never(step, look))?;
                if free > from_min {
                    from = free + look.lead;
                    continue 'later;
                }
            }
            return Ok((start, end));
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
