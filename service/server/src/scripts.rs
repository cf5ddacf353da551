//! The scripts folder: read at start and whenever a file is saved; a text that passes comes in force as a fact.

use std::{
    path::{Path, PathBuf},
    sync::{Arc, PoisonError},
};

use facts::{Fact, MaterialId, RulePutInForce};
use notify::{RecursiveMode, Watcher};
use rules::{Fault, Rule};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use crate::{problem::Problem, state::State};

/// A rule file: the material it is for, its name relative to the folder, and its text.
pub(crate) struct RuleFile {
    pub(crate) material: MaterialId,
    pub(crate) file: String,
    pub(crate) text: String,
}

/// Every rule file of a scripts folder, by name.
///
/// # Errors
/// When the folder or a file cannot be read.
pub(crate) fn rule_files(folder: &Path) -> std::io::Result<Vec<Result<RuleFile, Fault>>> {
    let materials = folder.join("materials");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(&materials)
        .map_err(|e| std::io::Error::new(e.kind(), format!("{}: {e}", materials.display())))?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()?;
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "rhai"));
    paths.sort();
    let read = |path: PathBuf| {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let file = format!("materials/{stem}.rhai");
        let fault =
            |what: String, mend: &str| Fault { file: file.clone(), line: 0, column: 0, what, mend: mend.into() };
        let material = MaterialId::new(stem).map_err(|e| fault(e.to_string(), &e.mend))?;
        let text = std::fs::read_to_string(&path)
            .map_err(|e| fault(e.to_string(), "make the file readable and save it as UTF-8"))?;
        Ok(RuleFile { material, file, text })
    };
    Ok(paths.into_iter().map(read).collect())
}

/// Every shop script of a scripts folder, by name and text. A folder without `shop` has none.
///
/// # Errors
/// When the folder cannot be read.
pub(crate) fn shop_files(folder: &Path) -> std::io::Result<Vec<Result<(String, String), Fault>>> {
    let shop = folder.join("shop");
    if !shop.is_dir() {
        return Ok(vec![]);
    }
    let mut files = Vec::new();
    for entry in std::fs::read_dir(&shop)? {
        let path = entry?.path();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if path.extension().is_none_or(|ending| ending != "rhai") {
            continue;
        }
        let file = format!("shop/{stem}.rhai");
        let fault =
            |what: String, mend: &str| Fault { file: file.clone(), line: 0, column: 0, what, mend: mend.into() };
        let plain = stem.len() <= 48 && stem.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        files.push(match std::fs::read_to_string(&path) {
            _ if !plain => Err(fault(
                "its name is no id".into(),
                "name the file with up to 48 lower case letters, digits and hyphens, like \"quiet-hours.rhai\"",
            )),
            Ok(text) => Ok((file, text)),
            Err(e) => Err(fault(e.to_string(), "make the file readable and save it as UTF-8")),
        });
    }
    Ok(files)
}

/// Takes the shop's own scripts as they stand. Gives what is wrong with those that are not asked for it.
async fn read_shop(state: &Arc<State>, folder: &Path) -> Vec<Fault> {
    let read = match shop_files(folder) {
        Ok(read) => read,
        Err(e) => {
            tracing::error!(error = %e, "the shop's scripts cannot be read");
            return vec![];
        }
    };
    let with = state.clone();
    let replaced = tokio::task::spawn_blocking(move || with.hooks.replace(read)).await;
    let faults = replaced.unwrap_or_else(|e| {
        tracing::error!(error = %e, "the shop's scripts could not be compiled");
        vec![]
    });
    for fault in &faults {
        tracing::warn!(%fault, "a shop script is not asked");
    }
    faults
}

/// Reads the folder and puts every changed text that passes in force; the others are kept as faults and leave the
/// last good version where it is. Returns how many came in force.
pub(crate) async fn read_folder(state: &Arc<State>) -> Result<usize, Problem> {
    let folder = state.settings.scripts.folder.clone();
    let files = match rule_files(&folder) {
        Ok(files) => files,
        Err(e) => {
            tracing::error!(folder = %folder.display(), error = %e, "the scripts folder cannot be read");
            return Ok(0);
        }
    };
    let mut faults = std::collections::BTreeMap::new();
    let mut changed = 0;
    for file in files {
        match put_in_force(state, file).await {
            Ok(true) => changed += 1,
            Ok(false) => {}
            Err(Refused::Fault(fault)) => {
                tracing::warn!(%fault, "a rule is not in force");
                faults.insert(fault.file.clone(), fault);
            }
            Err(Refused::Problem(problem)) => return Err(problem),
        }
    }
    faults.extend(read_shop(state, &folder).await.into_iter().map(|fault| (fault.file.clone(), fault)));
    *state.faults.write().unwrap_or_else(PoisonError::into_inner) = faults;
    Ok(changed)
}

enum Refused {
    Fault(Fault),
    Problem(Problem),
}

async fn put_in_force(state: &Arc<State>, file: Result<RuleFile, Fault>) -> Result<bool, Refused> {
    let RuleFile { material, file, text } = file.map_err(Refused::Fault)?;
    let version = Rule::version_of(&text);
    if state.bench().in_force().get(&material) == Some(&version) {
        return Ok(false);
    }
    let book = state.rulebook.clone();
    let (name, source) = (file.clone(), text.clone());
    // A check calls the script thousands of times: not on a thread that answers requests.
    let checked =
        tokio::task::spawn_blocking(move || crate::meters::timed("check", || book.check(&name, &source))).await;
    match checked {
        Ok(Ok(_)) => {}
        Ok(Err(fault)) => return Err(Refused::Fault(fault)),
        Err(_) => {
            let (what, mend) = ("the check did not end".into(), "simplify the script".into());
            return Err(Refused::Fault(Fault { file, line: 0, column: 0, what, mend }));
        }
    }
    let fact = Fact::RulePutInForce(RulePutInForce { material, version, file, text });
    state.say_fact(fact, state.now().ms(), "scripts", None).await.map_err(Refused::Problem)?;
    Ok(true)
}

/// Watches the folder until told to stop and reads it again after a change has settled.
pub(crate) async fn watch(state: Arc<State>, stop: CancellationToken) {
    let (tell, mut told) = mpsc::channel(1);
    let folder = state.settings.scripts.folder.clone();
    let watcher = notify::recommended_watcher(move |_| {
        // One waiting notice is enough: the whole folder is read again.
        let _ = tell.try_send(());
    });
    let watching = watcher.and_then(|mut w| w.watch(&folder, RecursiveMode::Recursive).map(|()| w));
    let _watcher = match watching {
        Ok(watcher) => watcher,
        Err(e) => {
            tracing::warn!(error = %e, "the scripts folder is not watched; restart after a change");
            return;
        }
    };
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            notice = told.recv() => if notice.is_none() { return },
        }
        // An editor writes in several steps; the last of them counts.
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
        while told.try_recv().is_ok() {}
        match read_folder(&state).await {
            Ok(0) => {}
            Ok(changed) => tracing::info!(changed, "rules came in force"),
            Err(problem) => tracing::error!(%problem, "rules could not be put in force"),
        }
    }
}
