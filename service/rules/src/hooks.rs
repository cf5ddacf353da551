//! Shop scripts: what a shop adds to events of its board. A hook gets a copy of what happened and gives back words, a
//! step, a reason or names; what it gives is checked like a rule's answers and under the same limits. Every call is timed
//! and counted; a hook that fails three times in a row is set aside until its file changes.

mod seen;
mod tally;

use std::{
    collections::BTreeMap,
    sync::{Arc, Mutex, PoisonError, RwLock},
};

use facts::{StepKind, VersionId};
use rhai::{Dynamic, serde::to_dynamic};
use serde::{Serialize, de::DeserializeOwned};

use crate::{Fault, Host, Rule, apart, contract::read, deadline, host::Compiled};

pub(crate) use seen::HOOKS;
use seen::{Adding, Wording};
pub use seen::{AirSeen, AlertSeen, AskedStep, CuringSeen, InstrumentSeen};
pub use tally::{HookTally, SET_ASIDE_AFTER};

struct ShopScript {
    version: VersionId,
    script: Compiled,
    tallies: Mutex<BTreeMap<&'static str, HookTally>>,
}

/// Every shop script, with its counters.
#[derive(Default)]
pub struct Hooks {
    host: Host,
    scripts: RwLock<BTreeMap<String, Arc<ShopScript>>>,
}

impl Hooks {
    /// Takes the files of the shop's folder, by name and text, in place of those before. A file that has not changed keeps
    /// its counters; one with a fault, found here or before, leaves its last good text in place, and the fault is given
    /// back.
    pub fn replace(&self, mut files: Vec<Result<(String, String), Fault>>) -> Vec<Fault> {
        let name = |file: &Result<(String, String), Fault>| match file {
            Ok((file, _)) => file.clone(),
            Err(fault) => fault.file.clone(),
        };
        files.sort_by_cached_key(name);
        let before = self.scripts.read().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut scripts, mut faults) = (BTreeMap::new(), Vec::new());
        for read in files {
            let file = name(&read);
            let known = before.get(&file).cloned();
            match read.and_then(|(file, text)| self.compiled(&file, &text, known.as_ref())) {
                Ok(script) => drop(scripts.insert(file, script)),
                Err(fault) => {
                    faults.push(fault);
                    scripts.extend(known.map(|known| (file, known)));
                }
            }
        }
        *self.scripts.write().unwrap_or_else(PoisonError::into_inner) = scripts;
        faults
    }

    fn compiled(&self, file: &str, text: &str, known: Option<&Arc<ShopScript>>) -> Result<Arc<ShopScript>, Fault> {
        let version = Rule::version_of(text);
        if let Some(same) = known.filter(|known| known.version == version) {
            return Ok(same.clone());
        }
        let script = self.host.compile(file, text)?;
        let of_file = HOOKS.iter().filter(|hook| script.functions.contains_key(hook.name));
        let mut tallies = BTreeMap::new();
        for hook in of_file {
            if script.functions[hook.name] != 1 {
                let what = format!("fn {} takes one argument: {}", hook.name, hook.argument);
                return Err(Fault::whole(file, what, "scripts/README.md shows the hooks"));
            }
            tallies.insert(hook.name, HookTally::new(file, &version, hook.name));
        }
        if tallies.is_empty() {
            let names: Vec<&str> = HOOKS.iter().map(|hook| hook.name).collect();
            let what = format!("it has none of the hooks {}", names.join(", "));
            return Err(Fault::whole(file, what, "scripts/README.md shows the hooks"));
        }
        Ok(Arc::new(ShopScript { version, script, tallies: Mutex::new(tallies) }))
    }

    /// Whether any file has a hook of this name that is still asked.
    pub fn any(&self, hook: &str) -> bool {
        self.tallies().iter().any(|tally| tally.hook == hook && !tally.set_aside)
    }

    /// Every hook of every file, in order of file and name.
    pub fn tallies(&self) -> Vec<HookTally> {
        let scripts = self.scripts.read().unwrap_or_else(PoisonError::into_inner);
        let of = |script: &Arc<ShopScript>| script.tallies().values().cloned().collect::<Vec<_>>();
        scripts.values().flat_map(of).collect()
    }

    /// Sets every hook of a name aside: a call did not come back at all.
    pub fn set_all_aside(&self, hooks: &[&str], what: &str) {
        for script in self.scripts.read().unwrap_or_else(PoisonError::into_inner).values() {
            for tally in script.tallies().values_mut().filter(|tally| hooks.contains(&tally.hook)) {
                tally.set_aside = true;
                tally.failures += 1;
                tally.last_fault = Some(Fault::whole(&tally.file, what, "simplify the script and save it"));
            }
        }
    }

    /// The alert's title and body as the shop words them; each file gets what the one before made of them.
    pub fn word_alert(&self, alert: &AlertSeen) -> (String, String) {
        let mut seen = alert.clone();
        self.each("word_alert", |script| {
            let said: Option<Wording> = self.ask(script, "word_alert", &seen, |said: &Wording| {
                said.title.iter().try_for_each(|title| words("title", title, 1, 200))?;
                said.body.iter().try_for_each(|body| words("body", body, 0, 2000))
            });
            if let Some(Wording { title, body }) = said {
                seen.title = title.unwrap_or(std::mem::take(&mut seen.title));
                seen.body = body.unwrap_or(std::mem::take(&mut seen.body));
            }
        });
        (seen.title, seen.body)
    }

    /// Steps the shop adds after an alert.
    pub fn next_steps(&self, alert: &AlertSeen) -> Vec<AskedStep> {
        let mut steps = Vec::new();
        self.each("next_step", |script| {
            let said: Option<Adding> = self.ask(script, "next_step", alert, |said: &Adding| match said {
                Adding::Step { kind: StepKind::GlueUp | StepKind::Coat, .. } => {
                    Err("a step a script adds is hands_on, wait or check".into())
                }
                Adding::Title(title) | Adding::Step { title, .. } => words("title", title, 1, 200),
            });
            let Some(said) = said else { return };
            let (title, kind) = match said {
                Adding::Title(title) => (title, StepKind::HandsOn),
                Adding::Step { title, kind } => (title, kind),
            };
            steps.push(AskedStep { file: script.script.file.clone(), kind, title });
        });
        steps
    }

    /// Who is to be told, of the receivers there are: what the first file with an opinion says; none for everybody.
    pub fn receivers(&self, alert: &AlertSeen, there_are: &[&str]) -> Option<Vec<String>> {
        let mut chosen: Option<Vec<String>> = None;
        self.each("tell", |script| {
            if chosen.is_some() {
                return;
            }
            chosen = self.ask(script, "tell", alert, |said: &Vec<String>| {
                match said.iter().find(|name| !there_are.contains(&name.as_str())) {
                    Some(name) => Err(format!("there is no receiver \"{name}\"; there are: {}", there_are.join(", "))),
                    None => Ok(()),
                }
            });
        });
        chosen
    }

    /// Why a string-up is held back, with the file that says so. A hook that fails holds back too, since nobody knows what
    /// it would have said.
    pub fn holds(&self, instrument: &InstrumentSeen) -> Vec<String> {
        let mut reasons = Vec::new();
        let name = "hold_string_up";
        for script in self.scripts.read().unwrap_or_else(PoisonError::into_inner).clone().values() {
            let Some(before) = script.tallies().get(name).cloned() else { continue };
            let said: Option<String> = match before.set_aside {
                true => None,
                false => self.ask(script, name, instrument, |said: &String| words("the reason", said, 1, 200)),
            };
            let failed = script.tallies()[name].failures > before.failures || before.set_aside;
            let file = &script.script.file;
            match said {
                Some(reason) => reasons.push(format!("{reason} ({file})")),
                None if failed => reasons.push(format!("{file} failed and cannot say; look for yourself, and mend it")),
                None => {}
            }
        }
        reasons
    }

    fn each(&self, hook: &str, mut with: impl FnMut(&ShopScript)) {
        let scripts = self.scripts.read().unwrap_or_else(PoisonError::into_inner).clone();
        for script in scripts.values() {
            let asked = script.tallies().get(hook).is_some_and(|tally| !tally.set_aside);
            if asked {
                with(script);
            }
        }
    }

    /// Calls one hook, reads and checks its answer, and counts. Nothing said and a failure are both none.
    fn ask<T: DeserializeOwned + Send>(
        &self,
        script: &ShopScript,
        hook: &'static str,
        about: &(impl Serialize + Sync),
        check: impl Fn(&T) -> Result<(), String> + Send,
    ) -> Option<T> {
        let file = &script.script.file;
        let fault =
            |what: String| Fault::whole(file, format!("in fn {hook}: {what}"), "scripts/README.md shows the hooks");
        // Reading and dropping an answer goes as deep as the script made it: apart too, not only the call.
        let asked = || {
            let argument: Dynamic = to_dynamic(about).map_err(|e| fault(e.to_string()))?;
            let answer = self.host.call(&script.script, hook, vec![argument])?;
            let said: Option<T> = read(&answer).map_err(|what| fault(format!("answered in another shape: {what}")))?;
            said.iter().try_for_each(check).map_err(fault)?;
            Ok(said)
        };
        let (answer, took) = deadline::timed(|| apart::run(file, asked));
        if let Some(tally) = script.tallies().get_mut(hook) {
            tally.count(took, answer.as_ref().err());
        }
        answer.ok().flatten()
    }
}

impl ShopScript {
    fn tallies(&self) -> std::sync::MutexGuard<'_, BTreeMap<&'static str, HookTally>> {
        self.tallies.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn words(what: &str, text: &str, least: usize, most: usize) -> Result<(), String> {
    let length = text.trim().chars().count();
    if (least..=most).contains(&length) && !text.chars().any(|c| c.is_control() && c != '\n') {
        return Ok(());
    }
    Err(format!("{what} has {length} characters; {least} to {most} without control characters"))
}
