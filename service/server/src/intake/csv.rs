//! A file of readings, streamed: the body is read on a thread of its own as it arrives, cut into parts of a bounded
//! number of rows, and each part is one commit. Sending the same file again changes nothing.

use std::{
    io::{self, BufRead, BufReader, Read},
    sync::Arc,
};

use actix_web::web::{Bytes, Payload};
use chrono_tz::Tz;
use clock::Sample;
use facts::{SensorId, ZoneId};
use futures_util::StreamExt;
use serde::Serialize;
use tokio::sync::mpsc;

use super::{
    Gate, Offer, Refused, Tally,
    columns::{Delimiter, Layout, Options},
    times::Times,
};
use crate::{
    now::instant,
    problem::{Kind, Problem},
    state::State,
};

/// Rows of one commit: large enough that the flush does not count, small enough that others do not wait.
const PART: usize = 5000;
/// Rows shown of what was understood.
const SHOWN: usize = 5;
/// Bytes looked at to understand a file.
const HEAD: usize = 16 * 1024;

/// What became of a file.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Imported {
    pub(crate) dry_run: bool,
    understood: Understood,
    rows: usize,
    #[serde(flatten)]
    pub(crate) tally: Tally,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct Understood {
    #[serde(flatten)]
    layout: Layout,
    time_zone: String,
    time_format: String,
    /// The first rows, as they would be taken.
    first: Vec<Shown>,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct Shown {
    line: usize,
    at: String,
    temp_c: f64,
    rh_pct: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    sensor: Option<String>,
}

/// Some rows of a file.
#[derive(Default)]
struct Part {
    offers: Vec<Offer>,
    refused: Vec<Refused>,
}

/// Takes a file in, or only looks at it.
///
/// # Errors
/// When it cannot be understood at all, is too large, or the store failed. Parts committed before stay.
pub(crate) async fn import(
    state: &Arc<State>,
    zone: ZoneId,
    options: Options,
    body: Payload,
) -> Result<Imported, Problem> {
    let in_zone: Tz = match &options.time_zone {
        None => state.zone,
        Some(name) => name.parse().map_err(|_| {
            let detail = format!("time_zone \"{name}\" is no IANA zone");
            Problem::new(Kind::Invalid, detail, "write Europe/Paris, or UTC").about("time_zone")
        })?,
    };
    let dry_run = options.dry_run;
    let (send, receive) = mpsc::channel(4);
    let (give, parts) = mpsc::channel(2);
    let reader = state.clone();
    let read = tokio::task::spawn_blocking(move || {
        let body = Body { receive, chunk: Bytes::new() };
        Rows { zone, options, times: Times::new(in_zone, None) }.read(&reader, body, &give)
    });
    let limit_mib = state.settings.server.import_limit_mib;
    let (fed, taken) = tokio::join!(feed(body, send, limit_mib), take(state, parts, dry_run));
    let tally = taken?;
    let read = read.await;
    fed?;
    let (understood, rows) =
        read.map_err(|_| Problem::new(Kind::Internal, "reading the file failed", "the log says more"))??;
    Ok(Imported { dry_run, understood, rows, tally })
}

/// Hands the body on as it arrives, up to the limit.
async fn feed(mut body: Payload, send: mpsc::Sender<io::Result<Bytes>>, limit_mib: usize) -> Result<(), Problem> {
    let mut left = limit_mib * 1024 * 1024;
    while let Some(chunk) = body.next().await {
        let chunk =
            chunk.map_err(|e| Problem::new(Kind::Malformed, format!("the body broke off: {e}"), "send it again"));
        let chunk = chunk.and_then(|chunk| match left.checked_sub(chunk.len()) {
            Some(rest) => {
                left = rest;
                Ok(chunk)
            }
            None => Err(Problem::new(
                Kind::TooLarge,
                format!("the file is larger than {limit_mib} MiB"),
                "send it in parts, or raise server.import_limit_mib; what was read so far is kept",
            )),
        });
        let (handed, broken) = match chunk {
            Ok(chunk) => (Ok(chunk), None),
            Err(problem) => (Err(io::Error::other("the body broke off")), Some(problem)),
        };
        if send.send(handed).await.is_err() {
            // The reader has given up and says why.
            return Ok(());
        }
        if let Some(problem) = broken {
            return Err(problem);
        }
    }
    Ok(())
}

/// Takes part after part in; a dry run only sorts them.
async fn take(state: &Arc<State>, mut parts: mpsc::Receiver<Part>, dry_run: bool) -> Result<Tally, Problem> {
    let (mut gate, mut tally) = (Gate::new("csv"), Tally::default());
    while let Some(Part { offers, refused }) = parts.recv().await {
        let of_part = if dry_run {
            let mut sorted = gate.sort(state, offers);
            refused.into_iter().for_each(|refused| sorted.tally.refuse(refused));
            sorted.tally
        } else {
            state.take_in(&mut gate, offers, refused, |_| None).await?.1
        };
        tally.add(of_part);
    }
    tally.refused.sort_by_key(|refused| refused.row);
    Ok(tally)
}

/// The body as something that can be read from, on a thread that may wait.
struct Body {
    receive: mpsc::Receiver<io::Result<Bytes>>,
    chunk: Bytes,
}

impl Read for Body {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.chunk.is_empty() {
            match self.receive.blocking_recv() {
                None => return Ok(0),
                Some(chunk) => self.chunk = chunk?,
            }
        }
        let n = into.len().min(self.chunk.len());
        into[..n].copy_from_slice(&self.chunk.split_to(n));
        Ok(n)
    }
}

/// What reads rows.
struct Rows {
    zone: ZoneId,
    options: Options,
    times: Times,
}

impl Rows {
    /// Reads a file to its end and gives its parts; how it was understood and how many rows it had.
    fn read(mut self, state: &State, body: Body, give: &mpsc::Sender<Part>) -> Result<(Understood, usize), Problem> {
        let broken = |e: io::Error| Problem::new(Kind::Malformed, e.to_string(), "send the file again");
        let mut body = BufReader::with_capacity(HEAD, body);
        let mut skipped = Vec::new();
        for _ in 0..self.options.skip_lines {
            body.read_until(b'\n', &mut skipped).map_err(broken)?;
        }
        let head = head(&mut body).map_err(broken)?;
        if head.starts_with(&[0xff, 0xfe]) || head.starts_with(&[0xfe, 0xff]) {
            let detail = "the file is in UTF-16";
            return Err(Problem::new(Kind::Malformed, detail, "save it as UTF-8 and send it again"));
        }
        let text = String::from_utf8_lossy(&head);
        let first_line = text.trim_start_matches('\u{feff}').lines().find(|line| !line.starts_with('#'));
        let delimiter = self.options.delimiter.unwrap_or_else(|| Delimiter::of(first_line.unwrap_or_default()));
        let first = records(delimiter, &head[..])
            .take(2)
            .filter_map(Result::ok)
            .map(|record| cells(&record))
            .collect::<Vec<_>>();
        let layout = Layout::of(&self.options, delimiter, &first)?;
        self.times = Times::new(self.times.zone, self.options.time_format.clone());
        let (mut part, mut shown, mut rows) = (Part::default(), Vec::new(), 0);
        let all = io::Cursor::new(head.clone()).chain(body);
        for record in records(delimiter, all).skip(usize::from(layout.header)) {
            let record = record.map_err(|e| Problem::new(Kind::Malformed, e.to_string(), "send the file again"))?;
            if record.iter().all(|cell| cell.trim_ascii().is_empty()) {
                continue;
            }
            rows += 1;
            let line = self.options.skip_lines + record.position().map_or(0, |at| at.line() as usize);
            match self.offer(&layout, &record, line) {
                Ok(offer) => {
                    if shown.len() < SHOWN {
                        shown.push(show(state, &offer));
                    }
                    part.offers.push(offer);
                }
                Err(problem) => part.refused.push(Refused::of(line, problem)),
            }
            if part.offers.len() + part.refused.len() >= PART && give.blocking_send(std::mem::take(&mut part)).is_err()
            {
                // Whoever takes them in has failed and says why.
                break;
            }
        }
        drop(give.blocking_send(part));
        let time_format = self.times.form.clone().unwrap_or_else(|| "found out row by row".into());
        Ok((Understood { layout, time_zone: self.times.zone.to_string(), time_format, first: shown }, rows))
    }

    fn offer(&mut self, layout: &Layout, record: &csv::ByteRecord, line: usize) -> Result<Offer, Problem> {
        let cell = |number: usize, field: &str| {
            let cell = record.get(number - 1).map(|cell| String::from_utf8_lossy(cell.trim_ascii()));
            cell.ok_or_else(|| wrong(field, format!("line {line} has no column {number}")))
        };
        let temp_c = layout.temp_c(&cell(layout.temp.number, "temp")?).map_err(|what| wrong("temp", what))?;
        let rh_pct = layout.rh_pct(&cell(layout.rh.number, "rh")?).map_err(|what| wrong("rh", what))?;
        let clock = cell(layout.time.number, "time")?;
        let at_ms = match &layout.date {
            None => self.times.read(&clock),
            Some(date) => self.times.read(&format!("{} {clock}", cell(date.number, "date")?)),
        };
        let at_ms = at_ms.map_err(|(what, mend)| Problem::new(Kind::Invalid, what, mend).about("time"))?;
        let sensor = match (&self.options.sensor, &layout.sensor) {
            (Some(sensor), _) => Some(sensor.clone()),
            (None, None) => None,
            (None, Some(column)) => match cell(column.number, "sensor")?.to_lowercase() {
                empty if empty.is_empty() => None,
                named => Some(SensorId::new(named).map_err(|e| Problem::from(e).about("sensor"))?),
            },
        };
        let sample = Sample { at_ms, temp_c, rh_pct };
        Ok(Offer { row: line, source: (self.zone.clone(), sensor), sample, stamped: true })
    }
}

fn wrong(field: &str, what: String) -> Problem {
    let mend =
        "correct the row, or say the units, the decimal sign or the column; dry_run=true shows what is understood";
    Problem::new(Kind::Invalid, what, mend).about(field)
}

fn show(state: &State, offer: &Offer) -> Shown {
    let Sample { at_ms, temp_c, rh_pct } = offer.sample;
    let secs = chrono::SecondsFormat::Secs;
    Shown {
        line: offer.row,
        at: instant(at_ms).with_timezone(&state.zone).to_rfc3339_opts(secs, false),
        temp_c,
        rh_pct,
        sensor: offer.source.1.as_ref().map(ToString::to_string),
    }
}

/// The first bytes of a file, at least its first two lines if it has them.
fn head(body: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::with_capacity(HEAD);
    body.take(HEAD as u64).read_to_end(&mut head)?;
    if head.starts_with(b"\xef\xbb\xbf") {
        head.drain(..3);
    }
    Ok(head)
}

fn records<R: Read>(delimiter: Delimiter, from: R) -> csv::ByteRecordsIntoIter<R> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter.byte())
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(from)
        .into_byte_records()
}

fn cells(record: &csv::ByteRecord) -> Vec<String> {
    record.iter().map(|cell| String::from_utf8_lossy(cell).into_owned()).collect()
}
