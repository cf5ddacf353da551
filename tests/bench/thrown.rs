//! Whatever may be thrown at a reader, and what must come of it: a reading, a rule, a settings file, or a sentence that says
//! what is wrong and how to mend it. The same checks stand behind the seeded run of every day and the fuzzers of
//! `tests/fuzz`.

use std::sync::{Arc, LazyLock};

use benchclock::{Problem, Settings, doors};
use rules::{Host, Rule};

use crate::{Answer, Bench};

/// When a thrown message comes, ms since 1970 UTC.
const CAME_MS: i64 = 1_772_438_400_000;

fn told(problem: &Problem) {
    assert!(!problem.detail.is_empty() && !problem.mend.is_empty(), "{problem:?}");
}

/// A message of a broker: its topic in the first line, and its payload. Whether it was a reading.
///
/// # Panics
/// When it is neither a reading nor refused with a sentence.
pub fn message(input: &[u8]) -> bool {
    static SETTINGS: LazyLock<Settings> = LazyLock::new(Settings::default);
    let cut = input.iter().position(|byte| *byte == b'\n').unwrap_or(input.len());
    let (topic, payload) = (String::from_utf8_lossy(&input[..cut]), &input[(cut + 1).min(input.len())..]);
    match doors::message(&SETTINGS, &topic, payload, CAME_MS) {
        Ok((_, _, sample)) => assert!(sample.temp_c.is_finite() && sample.rh_pct.is_finite(), "{sample:?}"),
        Err(problem) => {
            told(&problem);
            return false;
        }
    }
    true
}

/// A settings file. Whether it was one.
///
/// # Panics
/// When it is neither one nor refused with the key that is wrong.
pub fn settings(input: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(input) else { return false };
    match Settings::read(text, std::iter::empty()) {
        Ok(settings) => settings.zone().is_ok() && settings.digest_at().is_ok(),
        Err(e) => {
            assert!(!e.key.is_empty() && !e.what.is_empty() && !e.mend.is_empty(), "{e:?}");
            false
        }
    }
}

/// A script. Whether it was a rule.
///
/// # Panics
/// When it is neither one nor refused with a place and a sentence, or its words are out of order.
pub fn script(text: &str) -> bool {
    static HOST: LazyLock<Arc<Host>> = LazyLock::new(|| Arc::new(Host::new()));
    let checked = Rule::check(&HOST, "materials/thrown.rhai", text);
    if let Err(fault) = &checked {
        assert!(!fault.what.is_empty() && !fault.mend.is_empty(), "{fault:?}");
        assert!(fault.line <= text.lines().count() + 1, "{fault:?}");
    }
    let mut at = 0;
    for span in rules::spans(text) {
        assert!(at <= span.from && span.from < span.to, "{span:?} after {at}");
        at = span.to;
    }
    checked.is_ok()
}

/// A summary in a calendar; the calendar as it is written. What a reader makes of it is for the caller to see.
///
/// # Panics
/// When a line is longer than 75 octets, or ends otherwise than RFC 5545 section 3.1 has it.
pub fn calendar(texts: &[String]) -> String {
    let written = doors::calendar(texts, CAME_MS);
    assert!(written.ends_with("\r\n"));
    for line in written.split("\r\n") {
        assert!(line.len() <= 75 && !line.contains(['\n', '\r']), "{line:?}");
    }
    written
}

/// What a request came to: a success, or a whole problem that is the sender's to mend.
///
/// # Panics
/// When it is neither, above all when the service failed.
pub fn answered(answer: &Answer) -> bool {
    if (200..300).contains(&answer.status) {
        return true;
    }
    assert!((400..500).contains(&answer.status), "{} {}", answer.status, answer.text);
    assert_eq!(answer.media, "application/problem+json", "{}", answer.text);
    for part in ["type", "title", "detail", "mend"] {
        assert!(answer.json[part].as_str().is_some_and(|text| !text.is_empty()), "no {part}: {}", answer.text);
    }
    false
}

/// A body for an address: the address in the first line, and the body.
///
/// # Panics
/// As [`answered`].
pub async fn body(bench: &Bench, input: &[u8], media: &str) -> bool {
    let cut = input.iter().position(|byte| *byte == b'\n').unwrap_or(input.len());
    let Ok(address) = std::str::from_utf8(&input[..cut]) else { return false };
    // What is no path would be asked of another host or port, or of none.
    let Some(Ok(url)) = address.starts_with('/').then(|| reqwest::Url::parse(&bench.url(address))) else {
        return false;
    };
    let request = bench.http().post(url).header("content-type", media);
    answered(&bench.send(request.body(input[(cut + 1).min(input.len())..].to_vec())).await)
}

/// A file of readings, or a pack of them, for an address: every row of it ends somewhere.
///
/// # Panics
/// As [`answered`], or when a row of a file is not accounted for.
pub async fn readings(bench: &Bench, address: &str, media: &str, input: &[u8]) -> bool {
    let request = bench.http().post(bench.url(address)).header("content-type", media);
    let answer = bench.send(request.body(input.to_vec())).await;
    let good = answered(&answer);
    if let (true, Some(rows)) = (good, answer.json["rows"].as_u64()) {
        let n = |field: &str| answer.json[field].as_u64().unwrap_or(0);
        let refused = answer.json["refused"].as_array().map_or(0, Vec::len) as u64 + n("refused_more");
        assert_eq!(rows, n("taken") + n("known") + refused, "{}", answer.text);
    }
    good
}
