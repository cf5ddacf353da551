//! The whole shop as lines of JSON, which an empty shop can be filled from, and as tables of CSV, for a spreadsheet.
//!
//! Each line is one row under the name of its kind; the first says the form, the last how many rows there were, so that
//! what broke off is noticed.

use std::{io::BufRead, ops::ControlFlow};

use serde::{Deserialize, Serialize};
use store::{Database, Error, Row};

/// The form of the lines. A later one is read by later programs only.
const FORMAT: u32 = 1;
/// Bytes handed on at once.
const PART: usize = 64 * 1024;

/// What stands before and behind the rows.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Mark {
    Begin { format: u32 },
    End { rows: u64 },
}

/// What takes the text, part by part; it breaks when nobody wants more.
pub(crate) type Sink<'a> = dyn FnMut(Vec<u8>) -> ControlFlow<()> + 'a;

/// Writes everything as lines of JSON.
///
/// # Errors
/// When a row cannot be read; there is no last line then.
pub(crate) fn lines(database: &mut dyn Database, sink: &mut Sink<'_>) -> Result<(), Error> {
    let mut part = Vec::with_capacity(PART + 4096);
    line(&mut part, &Mark::Begin { format: FORMAT });
    let (mut rows, mut left) = (0, false);
    database.export(&mut |row| {
        line(&mut part, &row);
        rows += 1;
        let on = hand_on(&mut part, PART, sink);
        left |= on.is_break();
        on
    })?;
    if !left {
        line(&mut part, &Mark::End { rows });
        let _ = hand_on(&mut part, 0, sink);
    }
    Ok(())
}

fn line(part: &mut Vec<u8>, what: &impl Serialize) {
    serde_json::to_writer(&mut *part, what).expect("every row has a JSON form");
    part.push(b'\n');
}

fn hand_on(part: &mut Vec<u8>, from: usize, sink: &mut Sink<'_>) -> ControlFlow<()> {
    if part.len() < from {
        return ControlFlow::Continue(());
    }
    sink(std::mem::take(part))
}

/// Reads lines of JSON back, and finds out whether they are whole.
pub(crate) fn rows(text: impl BufRead) -> impl Iterator<Item = Result<Row, String>> {
    let mut reading = Reading { lines: text.lines(), n: 0, rows: 0, over: false };
    std::iter::from_fn(move || reading.next().transpose())
}

struct Reading<B> {
    lines: std::io::Lines<B>,
    n: usize,
    rows: u64,
    over: bool,
}

impl<B: BufRead> Reading<B> {
    fn line(&mut self) -> Result<Option<String>, String> {
        self.n += 1;
        self.lines.next().transpose().map_err(|e| format!("line {}: {e}", self.n))
    }

    fn next(&mut self) -> Result<Option<Row>, String> {
        if self.over {
            return Ok(None);
        }
        if self.n == 0 {
            self.begin()?;
        }
        let text = self.line()?.ok_or_else(|| format!("it breaks off after line {}; export it again", self.n - 1))?;
        if let Ok(Mark::End { rows }) = serde_json::from_str(&text) {
            self.over = true;
            return match self.line()? {
                Some(_) => Err(format!("line {}: there is something behind the end", self.n)),
                None if rows != self.rows => Err(format!("{rows} rows were written and {} are here", self.rows)),
                None => Ok(None),
            };
        }
        self.rows += 1;
        serde_json::from_str(&text).map(Some).map_err(|e| format!("line {}: {e}", self.n))
    }

    fn begin(&mut self) -> Result<(), String> {
        let text = self.line()?.unwrap_or_default();
        match serde_json::from_str(&text) {
            Ok(Mark::Begin { format: FORMAT }) => Ok(()),
            Ok(Mark::Begin { format }) => Err(format!("it has form {format}, this program reads {FORMAT}")),
            _ => Err("its first line is not that of an export; give a file made by `benchclock export`".into()),
        }
    }
}

/// The tables everything can be had in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, clap::ValueEnum, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Table {
    /// What was said, each with its body as JSON.
    Facts,
    /// What was read, as it came.
    Readings,
    /// What is left of old readings, by quarters of an hour.
    Means,
    /// What was not believed.
    Held,
}

impl Table {
    pub(crate) const ALL: [Self; 4] = [Self::Facts, Self::Readings, Self::Means, Self::Held];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Facts => "facts",
            Self::Readings => "readings",
            Self::Means => "means",
            Self::Held => "held",
        }
    }

    fn head(self) -> &'static [&'static str] {
        match self {
            Self::Facts => &["seq", "happened_at", "recorded_at", "by", "kind", "body"],
            Self::Readings => &["zone", "sensor", "at", "recorded_at", "temp_c", "rh_pct"],
            Self::Means => {
                &["zone", "from", "n", "temp_c", "temp_min_c", "temp_max_c", "rh_pct", "rh_min_pct", "rh_max_pct"]
            }
            Self::Held => &[
                "id",
                "zone",
                "sensor",
                "at",
                "recorded_at",
                "temp_c",
                "rh_pct",
                "by",
                "reason",
                "detail",
                "mend",
                "state",
            ],
        }
    }

    /// A row of this table; none for a row of another.
    fn cells(self, row: &Row) -> Option<Vec<String>> {
        let stamp = |at: chrono::DateTime<chrono::Utc>| at.to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true);
        let of_ms = |at_ms: i64| stamp(crate::now::instant(at_ms));
        match (self, row) {
            (Self::Facts, Row::Fact(fact)) => {
                let body = serde_json::to_value(&fact.fact).expect("every fact has a JSON form");
                let kind = body["kind"].as_str().unwrap_or_default().to_string();
                let (happened, recorded) = (stamp(fact.happened_at), stamp(fact.recorded_at));
                Some(vec![fact.seq.to_string(), happened, recorded, text(&fact.by), kind, body.to_string()])
            }
            (Self::Readings, Row::Reading { recorded_at, reading }) => Some(vec![
                reading.zone.to_string(),
                reading.sensor.as_ref().map(ToString::to_string).unwrap_or_default(),
                stamp(reading.at),
                stamp(*recorded_at),
                reading.temp_c.get().to_string(),
                reading.rh_pct.get().to_string(),
            ]),
            (Self::Means, Row::Mean { zone, mean }) => {
                let mut cells = vec![zone.to_string(), of_ms(mean.from_ms), mean.n.to_string()];
                cells.extend(mean.temp_c.iter().chain(&mean.rh_pct).map(ToString::to_string));
                Some(cells)
            }
            (Self::Held, Row::Held(held)) => Some(vec![
                held.id.to_string(),
                held.key.zone.to_string(),
                held.key.sensor.as_ref().map(ToString::to_string).unwrap_or_default(),
                of_ms(held.key.at_ms),
                of_ms(held.recorded_ms),
                held.key.temp_c.to_string(),
                held.key.rh_pct.to_string(),
                text(&held.by),
                text(&held.reason),
                text(&held.detail),
                text(&held.mend),
                format!("{:?}", held.state).to_lowercase(),
            ]),
            _ => None,
        }
    }
}

/// Words as a cell of CSV. A spreadsheet takes what begins with one of these for a formula and runs it; an apostrophe
/// before it makes it words (OWASP, CSV Injection).
fn text(words: &str) -> String {
    match words.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        true => format!("'{words}"),
        false => words.into(),
    }
}

/// Writes one table as CSV (RFC 4180), with a line of names.
///
/// # Errors
/// When a row cannot be read.
pub(crate) fn table(database: &mut dyn Database, table: Table, sink: &mut Sink<'_>) -> Result<(), Error> {
    let mut part = Vec::with_capacity(PART + 4096);
    record(&mut part, table.head().iter().map(ToString::to_string));
    let mut left = false;
    database.export(&mut |row| {
        if let Some(cells) = table.cells(&row) {
            record(&mut part, cells.into_iter());
        }
        let on = hand_on(&mut part, PART, sink);
        left |= on.is_break();
        on
    })?;
    if !left {
        let _ = hand_on(&mut part, 0, sink);
    }
    Ok(())
}

fn record(part: &mut Vec<u8>, cells: impl Iterator<Item = String>) {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(part);
    writer.write_record(cells).expect("memory takes what is written");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_a_spreadsheet_would_run_are_made_words() {
        for (words, cell) in [
            ("=HYPERLINK(\"http://x\")", "'=HYPERLINK(\"http://x\")"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("@SUM(1)", "'@SUM(1)"),
            ("\t=1", "'\t=1"),
            ("bench", "bench"),
            ("a=b", "a=b"),
        ] {
            assert_eq!(text(words), cell);
        }
    }

    #[test]
    fn lines_that_are_not_whole_are_refused_with_the_line() {
        let begin = "{\"begin\":{\"format\":1}}\n";
        let end = |n: u64| format!("{{\"end\":{{\"rows\":{n}}}}}\n");
        let reading = "{\"reading\":{\"recorded_at\":\"2026-03-02T08:00:00Z\",\"zone\":\"bench\",\
                       \"at\":\"2026-03-02T08:00:00Z\",\"temp_c\":20.1,\"rh_pct\":50.0}}\n";
        let read = |text: String| rows(text.as_bytes()).collect::<Result<Vec<_>, _>>();
        assert_eq!(read(format!("{begin}{reading}{}", end(1))).map(|rows| rows.len()), Ok(1));
        for (text, why) in [
            (String::new(), "first line"),
            ("{\"begin\":{\"format\":2}}\n".into(), "form 2"),
            (format!("{begin}{reading}"), "breaks off after line 2"),
            (format!("{begin}{reading}{}", end(2)), "2 rows were written and 1 are here"),
            (format!("{begin}{}{reading}", end(0)), "line 3: there is something behind the end"),
            (format!("{begin}{{\"reading\":{{}}}}\n{}", end(1)), "line 2: missing field"),
        ] {
            let said = read(text.clone()).expect_err(&text);
            assert!(said.contains(why), "{said}");
        }
    }
}
