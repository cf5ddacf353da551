//! Answers of the service in words and tables, for a person at a terminal.

use chrono::DateTime;
use comfy_table::{Table, TableStyle};
use serde_json::Value;

fn word<'a>(value: &'a Value, field: &str) -> &'a str {
    value[field].as_str().unwrap_or_default()
}

fn each<'a>(value: &'a Value, field: &str) -> &'a [Value] {
    value[field].as_array().map_or(&[], Vec::as_slice)
}

/// A time as the service gave it, which is the shop's: "Mon 2 Mar 14:05".
fn time(value: &Value) -> String {
    let Some(text) = value.as_str() else { return "not foreseen".into() };
    DateTime::parse_from_rfc3339(text).map_or_else(|_| text.into(), |at| at.format("%a %-d %b %H:%M").to_string())
}

fn spoken(stage: &str) -> String {
    stage.replace('_', " ")
}

/// Rows under their heads, without lines; what to say when there are none.
fn table<const N: usize>(heads: [&str; N], rows: impl IntoIterator<Item = [String; N]>, none: &str) -> String {
    let mut table = Table::new();
    table.load_style(TableStyle::new()).set_header(heads);
    table.add_rows(rows);
    match table.row_count() {
        0 => format!("{none}\n"),
        _ => table.lines().map(|line| line.trim_end().to_string() + "\n").collect(),
    }
}

/// A glue-up or coat: what was found, what to look out for, and when what is expected.
pub(super) fn cure(cure: &Value) -> String {
    let on = cure["joint"]["name"].as_str().or(cure["surface"].as_str()).unwrap_or_default();
    let (material, instrument) = (word(&cure["material"], "name"), word(&cure["instrument"], "name"));
    let mut text = format!("{}: {material} on {on} of {instrument}\n", word(cure, "id"));
    for finding in each(cure, "findings") {
        let what = word(finding, "what").trim_end_matches('.');
        text += &format!("{}: {what}; {}\n", word(finding, "level"), word(finding, "mend"));
    }
    for caution in each(cure, "cautions") {
        text += &format!("take care: {}\n", caution.as_str().unwrap_or_default());
    }
    let row =
        |m: &Value| [spoken(word(m, "stage")), time(&m["earliest_at"]), time(&m["likely_at"]), time(&m["safe_at"])];
    text +=
        &table(["milestone", "earliest", "likely", "safe"], each(cure, "milestones").iter().map(row), "no milestones");
    text + word(cure, "estimate") + "\n"
}

pub(super) fn clamps(cure: &Value) -> String {
    let on: Vec<&str> = each(cure, "clamps_on").iter().filter_map(Value::as_str).collect();
    match on.as_slice() {
        [] => format!("{}: no clamps are on it\n", word(cure, "id")),
        on => format!("{}: still on it: {}\n", word(cure, "id"), on.join(", ")),
    }
}

/// What was told and waits for somebody.
pub(super) fn ready(told: &Value) -> String {
    let row = |alert: &Value| [time(&alert["due_at"]), word(alert, "title").into(), word(alert, "id").into()];
    let mut text = table(["since", "what", "alert"], each(told, "items").iter().map(row), "nothing is ready");
    if !each(told, "items").is_empty() {
        text += crate::alerts::words::ESTIMATE;
        text.push('\n');
    }
    text
}

pub(super) fn next(both: &Value) -> String {
    let row = |m: &Value| {
        let when = if m["meets"] == "closes" { "before" } else { "from" };
        [
            format!("{when} {}", time(&m["at"])),
            spoken(word(m, "stage")),
            word(m, "place").into(),
            word(m, "cure").into(),
        ]
    };
    let ahead = each(both, "milestones").iter().map(row);
    let mut text = table(["when", "milestone", "on", "cure"], ahead, "no milestone lies ahead");
    let row = |step: &Value| {
        let waits = step["waits_for"].as_str().map_or_else(String::new, |cure| format!("waits for {cure}"));
        [word(step, "title").into(), word(step, "step_title").into(), waits]
    };
    let steps = each(both, "next_steps");
    if !steps.is_empty() {
        text += "\n";
        text += &table(["job", "next step", ""], steps.iter().map(row), "");
    }
    text + crate::alerts::words::ESTIMATE + "\n"
}

/// The bench plan so many hours ahead: what is to be done, what cannot be kept, and which jobs would be late.
pub(super) fn plan(plan: &Value, within_h: f64) -> String {
    let at = |value: &Value| DateTime::parse_from_rfc3339(value.as_str()?).ok();
    let far = |step: &Value| {
        at(&step["start_at"])
            .zip(at(&plan["made_at"]))
            .is_some_and(|(start, made)| (start - made).as_seconds_f64() > within_h * 3600.0)
    };
    let row = |step: &Value| {
        let why: Vec<&str> = each(step, "why").iter().map(|why| word(why, "says")).collect();
        let float = crate::plan::length(step["float_min"].as_i64().unwrap_or_default());
        [time(&step["start_at"]), word(step, "title").into(), word(step, "job_title").into(), why.join(", "), float]
    };
    let steps = each(plan, "steps").iter().filter(|step| !far(step)).map(row);
    let mut text = table(["when", "what", "job", "why", "can wait"], steps, "nothing is planned in that time");
    for cannot in each(plan, "cannot") {
        text += &format!("look out: {}; {}\n", word(cannot, "says").trim_end_matches('.'), word(cannot, "mend"));
    }
    for job in each(plan, "jobs").iter().filter(|job| job["late_min"].as_i64().is_some_and(|late| late > 0)) {
        text +=
            &format!("late: {}: done {}, due {}\n", word(job, "title"), time(&job["done_at"]), time(&job["due_at"]));
    }
    text + word(plan, "estimate") + "\n"
}

/// What became of readings.
pub(super) fn tally(tally: &Value) -> String {
    let count = |field: &str| tally[field].as_u64().unwrap_or_default();
    let mut text = format!("{} taken, {} known already", count("taken"), count("known"));
    for field in ["held", "refused"] {
        let n = tally[field].as_array().map_or_else(|| count(field), |rows| rows.len() as u64);
        if n > 0 {
            text += &format!(", {n} {field}");
        }
    }
    if tally["dry_run"] == true {
        text += "; a dry run, nothing was changed";
    }
    text + "\n"
}

/// The shelf: bottles that stand on it, then what to buy and what was thrown out.
pub(super) fn stock(stock: &Value) -> String {
    let lots = each(stock, "lots").iter().filter(|lot| lot["state"] != "closed");
    let row = |lot: &Value| {
        let keeps = match &lot["keeps_until"] {
            Value::Null => "not known".into(),
            until => format!("{}{}", if lot["state"] == "stale" { "over: " } else { "" }, day(until)),
        };
        [word(lot, "id").into(), word(lot, "material").into(), keeps, amount(&lot["left"])]
    };
    let mut text = table(["lot", "material", "keeps until", "left"], lots.map(row), "no bottle is on the shelf");
    let buy = each(stock, "materials").iter().filter(|material| material["buy_soon"].is_string());
    for material in buy {
        text += &format!("buy soon: {}: {}\n", word(material, "material"), word(material, "buy_soon"));
    }
    for material in each(stock, "materials") {
        let waste = &material["waste"];
        let Some(pct) = waste["wasted_pct"].as_f64() else { continue };
        text += &format!("thrown out: {}: {pct:.0} % of what was bought", word(material, "material"));
        if let Some(paid) = waste["paid_per_used"].as_f64() {
            let unit = word(material, "unit");
            text += &format!("; a smaller container pays up to {paid:.4} a {unit}");
        }
        text.push('\n');
    }
    text + word(stock, "note") + "\n"
}

/// One bottle, after something was said of it.
pub(super) fn lot(lot: &Value) -> String {
    let left = if lot["state"] == "closed" { "off the shelf; thrown out" } else { "left" };
    format!("{}: {left}: {}\n", word(lot, "id"), amount(&lot["left"]))
}

fn day(value: &Value) -> String {
    value.as_str().and_then(|text| text.split('T').next()).unwrap_or_default().into()
}

fn amount(value: &Value) -> String {
    let of = |unit: &str| value[unit].as_f64().map(|amount| format!("{amount} {unit}"));
    of("ml").or_else(|| of("g")).unwrap_or_else(|| "not said".into())
}
