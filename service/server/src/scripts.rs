//! The scripts folder: read at start and whenever a file is saved; a text that passes comes in force as a fact. What other
//! instances put in force comes into it by `scripts/follow.rs`.

pub(crate) mod follow;

use std::{
    io::Write,
    path::{Path, PathBuf},
    sync::{Arc, PoisonError},
};

use facts::{Fact, MaterialId, RulePutInForce, VersionId};
use futures_util::future::join_all;
use notify::{RecursiveMode, Watcher};
use rules::{Fault, Rule};
use store::Saying;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use crate::{
    problem::{Kind, Problem},
    state::State,
};

/// A rule file: the material it is for, its name relative to the folder, and its text.
pub(crate) struct RuleFile {
    pub(crate) material: MaterialId,
    pub(crate) file: String,
    pub(crate) text: String,
}

/// What stands behind `/rules/` besides materials, on pages and over HTTP.
const TAKEN: [&str; 5] = ["check", "from-sheet", "functions", "new", "try"];
const OTHER_NAME: &str = "choose another name, like \"new-epoxy\"";

/// Whether an address of the service's own stands where this material's rule would.
fn is_taken(material: &MaterialId) -> bool {
    TAKEN.contains(&material.as_str())
}

fn taken(material: &MaterialId) -> String {
    format!("a material cannot be called \"{material}\": an address of the service is called so")
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
        if is_taken(&material) {
            return Err(fault(taken(&material), OTHER_NAME));
        }
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
    let mut agreed = state.scripts.lock().await;
    follow::catch_up(state, &mut agreed);
    let folder = state.settings.scripts.folder.clone();
    let files = match rule_files(&folder) {
        Ok(files) => files,
        Err(e) => {
            tracing::error!(folder = %folder.display(), error = %e, "the scripts folder cannot be read");
            return Ok(0);
        }
    };
    let in_force = state.bench().in_force().clone();
    let changed = files.into_iter().filter(|file| match file {
        Ok(file) => {
            let version = Rule::version_of(&file.text);
            in_force.get(&file.material) != Some(&version) && !agreed.still(&file.material, &version)
        }
        Err(_) => true,
    });
    let judged = judge(state, changed.collect()).await;
    let mut faults = std::collections::BTreeMap::new();
    let mut good = Vec::new();
    for file in judged {
        match file {
            Ok(file) => good.push(file),
            Err(fault) => {
                tracing::warn!(%fault, "a rule is not in force");
                faults.insert(fault.file.clone(), fault);
            }
        }
    }
    let changed = good.len();
    if changed > 0 {
        let rules: Vec<RulePutInForce> = good.into_iter().map(|file| fact_of(file, None)).collect();
        put_in_force(state, rules.clone(), "scripts").await?;
        rules.into_iter().for_each(|rule| agreed.on(rule.material, rule.version));
    }
    faults.extend(read_shop(state, &folder).await.into_iter().map(|fault| (fault.file.clone(), fault)));
    *state.faults.write().unwrap_or_else(PoisonError::into_inner) = faults;
    Ok(changed)
}

/// Holds every text against its contract, as many at once as the machine has processors.
async fn judge(state: &Arc<State>, files: Vec<Result<RuleFile, Fault>>) -> Vec<Result<RuleFile, Fault>> {
    let at_once = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let share = files.len().div_ceil(at_once).max(1);
    let mut files = files.into_iter();
    let shares = std::iter::from_fn(|| Some(files.by_ref().take(share).collect::<Vec<_>>()).filter(|s| !s.is_empty()));
    // A check calls the script thousands of times: not on a thread that answers requests.
    let checks = shares.map(|share| {
        let state = state.clone();
        let check = move |file: RuleFile| {
            state.shared.meters.timed("check", || state.rulebook.check(&file.file, &file.text)).map(|_| file)
        };
        tokio::task::spawn_blocking(move || share.into_iter().map(|file| file.and_then(&check)).collect::<Vec<_>>())
    });
    // A check that panics is a fault of its script already; only a stopping runtime ends one.
    join_all(checks.collect::<Vec<_>>()).await.into_iter().flatten().flatten().collect()
}

fn fact_of(RuleFile { material, file, text }: RuleFile, override_reason: Option<String>) -> RulePutInForce {
    RulePutInForce { material, version: Rule::version_of(&text), file, text, override_reason }
}

/// Says all of them in one piece.
async fn put_in_force(state: &Arc<State>, rules: Vec<RulePutInForce>, by: &str) -> Result<(), Problem> {
    let now_ms = state.now().ms();
    let mut saying = Saying { recorded_ms: now_ms, ..Saying::default() };
    for rule in rules {
        rule.override_reason.iter().for_each(|reason| state.rulebook.excuse(&rule.version, reason));
        saying.entries.extend(state.saying(Fact::RulePutInForce(rule), now_ms, by, vec![], None).entries);
    }
    state.say(saying).await.map(drop)
}

/// A rule as it stands on disk; none where there is no such file.
///
/// # Errors
/// When it cannot be read.
pub(crate) fn on_disk(state: &State, material: &MaterialId) -> Result<Option<String>, Problem> {
    match std::fs::read_to_string(path_of(state, material)) {
        Ok(text) => Ok(Some(text)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(unwritable(&e)),
    }
}

/// A material's id has no slash and does not begin with a dot: its file lies in the folder.
fn path_of(state: &State, material: &MaterialId) -> PathBuf {
    state.settings.scripts.folder.join("materials").join(format!("{material}.rhai"))
}

fn unwritable(e: &std::io::Error) -> Problem {
    Problem::new(Kind::Unavailable, format!("the scripts folder: {e}"), "let the service read and write scripts.folder")
}

/// What somebody saves.
pub(crate) struct Saving {
    pub(crate) material: MaterialId,
    pub(crate) text: String,
    /// Version of the text it replaces, as it was read; none for a material that has no file yet.
    pub(crate) replaces: Option<VersionId>,
    pub(crate) by: String,
    pub(crate) override_reason: Option<String>,
}

/// Saves a text as its file and puts it in force, as if an editor had saved it.
///
/// # Errors
/// Nothing is written when the text has a fault, when a row of its own table fails and no reason is given, or when
/// the file is not what the sender saw.
pub(crate) async fn save(state: &Arc<State>, saving: Saving) -> Result<(), Problem> {
    let mut agreed = state.scripts.lock().await;
    if state.others.may_be() {
        // Whoever saves has seen what is in force, not what was when this instance last heard of the others.
        state.follow().await?;
        follow::catch_up(state, &mut agreed);
    }
    let Saving { material, text, replaces, by, override_reason } = saving;
    if is_taken(&material) {
        return Err(Problem::new(Kind::Invalid, taken(&material), OTHER_NAME).about("material"));
    }
    let by = name_of(&by)?;
    let stands = on_disk(state, &material)?;
    let version = Rule::version_of(&text);
    let in_force = state.bench().in_force().get(&material) == Some(&version);
    if in_force && stands.as_ref() == Some(&text) {
        return Ok(());
    }
    seen(&material, stands.as_deref(), replaces.as_ref())?;
    let file = format!("materials/{material}.rhai");
    let (with, name, source) = (state.clone(), file.clone(), text.clone());
    let excused = override_reason.is_some();
    let checked = tokio::task::spawn_blocking(move || {
        with.shared.meters.timed("check", || match with.rulebook.check(&name, &source) {
            Err(_) if excused => with.rulebook.check_over(&name, &source).map(|_| true),
            checked => checked.map(|_| false),
        })
    });
    let ended = |_| Problem::new(Kind::Internal, "the check did not end", "send it again; the log says more");
    // A reason is kept only where there is something to excuse.
    let failing = checked.await.map_err(ended)??;
    let override_reason = override_reason.filter(|_| failing);
    let (path, bytes) = (path_of(state, &material), text.clone());
    let rule = fact_of(RuleFile { material: material.clone(), file: file.clone(), text }, override_reason);
    let now_ms = state.now().ms();
    // An editor may have saved it while it was judged.
    seen(&material, on_disk(state, &material)?.as_deref(), replaces.as_ref())?;
    // What would be refused afterwards must not be a file before.
    state.bench().admit(&Fact::RulePutInForce(rule.clone()), now_ms, now_ms)?;
    let written = tokio::task::spawn_blocking(move || write_whole(&path, &bytes)).await.map_err(ended)?;
    written.map_err(|e| unwritable(&e))?;
    state.faults.write().unwrap_or_else(PoisonError::into_inner).remove(&file);
    if !in_force {
        put_in_force(state, vec![rule], &by).await?;
    }
    agreed.on(material, version);
    Ok(())
}

/// Whether the sender saw what stands there.
fn seen(material: &MaterialId, stands: Option<&str>, replaces: Option<&VersionId>) -> Result<(), Problem> {
    let stands = stands.map(Rule::version_of);
    match (stands, replaces) {
        (None, None) => Ok(()),
        (Some(stands), Some(replaces)) if stands == *replaces => Ok(()),
        (Some(stands), None) => Err(Problem::new(
            Kind::Unseen,
            format!("there is a rule of \"{material}\" already, version {stands}"),
            format!("read GET /api/v1/rules/{material} and send If-Match with its version"),
        )
        .about("If-Match")),
        (stands, Some(_)) => Err(Problem::new(
            Kind::Changed,
            match stands {
                Some(stands) => format!("the rule of \"{material}\" is now version {stands}"),
                None => format!("the rule of \"{material}\" has no file any more"),
            },
            format!("read GET /api/v1/rules/{material} again, put your changes into it, and save that"),
        )
        .about("If-Match")),
    }
}

/// Longest name of who saves a rule, in characters.
const LONGEST_NAME: usize = 100;

/// Who saves it, as it is kept.
fn name_of(by: &str) -> Result<String, Problem> {
    let by = by.trim();
    let fits = (1..=LONGEST_NAME).contains(&by.chars().count()) && !by.chars().any(char::is_control);
    let detail = || format!("\"by\" is no name: 1 to {LONGEST_NAME} characters without control characters");
    let wrong =
        || Problem::new(Kind::Invalid, detail(), "say who saves it in a word or two, or leave it out").about("by");
    fits.then(|| by.to_string()).ok_or_else(wrong)
}

/// Writes a file so that whoever reads it finds the old text or the new one, whole, also after a crash.
fn write_whole(path: &Path, text: &str) -> std::io::Result<()> {
    // Not the ending of a rule: a reader of the folder passes it by.
    let fresh = path.with_extension("rhai-new");
    let mut file = std::fs::File::create(&fresh)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    std::fs::rename(&fresh, path)?;
    match path.parent() {
        Some(folder) => std::fs::File::open(folder)?.sync_all(),
        None => Ok(()),
    }
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
