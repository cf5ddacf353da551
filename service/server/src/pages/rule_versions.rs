//! Every version of a rule that was in force: since when and by whom, what differs between any two, a way to bring one back
//! to the editor, and the open glue-ups and coats with the version each goes by.

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::Cure;
use facts::{MaterialId, RulePutInForce, VersionId};
use similar::{ChangeTag, TextDiff};

use super::{
    choice::Choice,
    frame::{Frame, show},
};
use crate::{
    alerts::words::place,
    routes::{
        Answer, Shop,
        rules::{
            asked,
            versions::{Between, History, history},
        },
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rules/{material}/versions").route(web::get().to(versions)));
}

/// One time a version was in force.
struct VersionRow {
    version: String,
    when: String,
    by: String,
    reason: String,
    open_cures: usize,
    in_force: bool,
}

/// A line of a diff: "+", "-", " ", or "…" between two places; its number in the text it stands in.
struct DiffLine {
    mark: &'static str,
    number: String,
    text: String,
}

/// An open glue-up or coat.
struct OpenCure {
    id: String,
    place: String,
    version: String,
    behind: bool,
}

#[derive(Template)]
#[template(path = "rule_versions.html")]
struct VersionsPage {
    frame: Frame,
    material: String,
    versions: Vec<VersionRow>,
    from: Vec<Choice>,
    to: Vec<Choice>,
    diff: Vec<DiffLine>,
    open: Vec<OpenCure>,
}

async fn versions(shop: Shop, id: web::Path<String>, between: web::Query<Between>) -> Answer {
    let material = asked(&id)?;
    let history = history(&shop, &material).await?;
    let [from, to] = between.of(&history)?;
    let page = VersionsPage {
        frame: shop.frame("/rules"),
        material: material.to_string(),
        from: shop.version_choices(&history, &from.version),
        to: shop.version_choices(&history, &to.version),
        diff: diff(&from.text, &to.text),
        open: shop.open_cures(&material),
        versions: shop.version_rows(&history),
    };
    show(&page, HttpResponse::Ok())
}

impl State {
    fn version_rows(&self, history: &History) -> Vec<VersionRow> {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let open = |rule: &RulePutInForce| {
            let goes_by = |cure: &&Cure| {
                cure.is_open() && cure.begun.material == rule.material && cure.begun.rule_version == rule.version
            };
            bench.cures().iter().filter(goes_by).count()
        };
        let untils = history.iter().skip(1).map(|(from_ms, ..)| Some(*from_ms)).chain([None]);
        let row = |((from_ms, by, rule), until_ms): (&(i64, String, RulePutInForce), Option<i64>)| {
            let from = self.long_text(*from_ms);
            VersionRow {
                version: rule.version.to_string(),
                when: match until_ms {
                    Some(until_ms) => format!("from {from} to {}", self.clock_text(until_ms, now_ms)),
                    None => format!("since {from}"),
                },
                by: by.clone(),
                reason: rule.override_reason.clone().unwrap_or_default(),
                open_cures: open(rule),
                in_force: until_ms.is_none(),
            }
        };
        let mut rows: Vec<_> = history.iter().zip(untils).map(row).collect();
        rows.reverse();
        rows
    }

    /// Every version once, newest first.
    pub(super) fn version_choices(&self, history: &History, chosen: &VersionId) -> Vec<Choice> {
        let mut choices: Vec<Choice> = Vec::new();
        for (from_ms, by, rule) in history.iter().rev() {
            let (version, day) = (rule.version.as_str(), self.clock_text(*from_ms, self.now().ms()));
            if !choices.iter().any(|choice| choice.value == version) {
                choices.push(Choice::new(version, format!("{version}, {by}, {day}"), version == chosen.as_str()));
            }
        }
        choices
    }

    fn open_cures(&self, material: &MaterialId) -> Vec<OpenCure> {
        let bench = self.bench();
        let in_force = bench.in_force().get(material);
        let of_material = bench.cures().iter().filter(|cure| cure.is_open() && cure.begun.material == *material);
        let row = |cure: &Cure| OpenCure {
            id: cure.begun.id.to_string(),
            place: place(&bench, cure),
            version: cure.begun.rule_version.to_string(),
            behind: in_force != Some(&cure.begun.rule_version),
        };
        of_material.map(row).collect()
    }
}

/// What differs, with three lines around it.
fn diff(from: &str, to: &str) -> Vec<DiffLine> {
    let changes = TextDiff::from_lines(from, to);
    let mut lines = Vec::new();
    for group in changes.grouped_ops(3) {
        if !lines.is_empty() {
            lines.push(DiffLine { mark: "…", number: String::new(), text: String::new() });
        }
        for change in group.iter().flat_map(|op| changes.iter_changes(op)) {
            let (mark, index) = match change.tag() {
                ChangeTag::Delete => ("-", change.old_index()),
                ChangeTag::Insert => ("+", change.new_index()),
                ChangeTag::Equal => (" ", change.new_index()),
            };
            let number = index.map_or_else(String::new, |index| (index + 1).to_string());
            lines.push(DiffLine { mark, number, text: change.value().trim_end_matches('\n').into() });
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::diff;

    /// Marks and numbers as `diff -u` gives them for the same two texts: `@@ -1,3 +1,3 @@`, ` a`, `-b`, `+B`, ` c`.
    #[test]
    fn a_changed_line_is_one_gone_and_one_come() {
        let lines: Vec<_> = diff("a\nb\nc\n", "a\nB\nc\n").into_iter().map(|l| (l.mark, l.number, l.text)).collect();
        let line = |mark, number: &str, text: &str| (mark, number.to_string(), text.to_string());
        assert_eq!(lines, [line(" ", "1", "a"), line("-", "2", "b"), line("+", "2", "B"), line(" ", "3", "c")]);
        assert!(diff("a\n", "a\n").is_empty());
    }
}
