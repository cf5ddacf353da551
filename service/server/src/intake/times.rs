//! Reading the times of a file: with an offset, or in a zone of which an hour may come twice or not at all.

use chrono::{DateTime, LocalResult, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;

/// Forms tried when none is said, each unmistakable. Day and month between slashes are not among them, because half
/// the world writes them the other way round.
const FORMS: [&str; 8] = [
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%d %H:%M",
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%dT%H:%M",
    "%Y/%m/%d %H:%M:%S%.f",
    "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M:%S%.f",
    "%d.%m.%Y %H:%M",
];
/// Numbers from here on are milliseconds: as seconds it would be the year 5138.
const LEAST_MS: f64 = 1e11;
/// No calendar here goes further.
const LATEST_MS: f64 = 8.0e15;
/// Numbers below are no seconds since 1970 of this century.
const LEAST_S: f64 = 9.0e8;

/// How times of a file are written.
#[derive(Debug, Clone)]
pub(crate) struct Times {
    pub(crate) zone: Tz,
    /// As strftime writes it; none tries the usual forms.
    pub(crate) form: Option<String>,
    /// The form that fitted last: nearly always the next one too.
    last_form: usize,
    /// The instant read last, for the hour that comes twice.
    last_ms: i64,
}

impl Times {
    pub(crate) fn new(zone: Tz, form: Option<String>) -> Self {
        Self { zone, form, last_form: 0, last_ms: i64::MIN }
    }

    /// The instant a cell means, ms.
    ///
    /// # Errors
    /// A sentence, and how to mend it.
    pub(crate) fn read(&mut self, cell: &str) -> Result<i64, (String, String)> {
        let at_ms = match &self.form {
            Some(form) => self.by_form(cell, &form.clone())?,
            None => self.unsaid(cell)?,
        };
        self.last_ms = at_ms;
        Ok(at_ms)
    }

    fn by_form(&self, cell: &str, form: &str) -> Result<i64, (String, String)> {
        let with_offset = DateTime::parse_from_str(cell, form).map(|at| at.with_timezone(&Utc));
        if let Ok(at) = with_offset {
            return Ok(at.timestamp_millis());
        }
        let local = NaiveDateTime::parse_from_str(cell, form).map_err(|e| {
            (format!("\"{cell}\" does not fit time_format \"{form}\": {e}"), "correct time_format".to_string())
        })?;
        self.in_zone(local, cell)
    }

    fn unsaid(&mut self, cell: &str) -> Result<i64, (String, String)> {
        if let Ok(at) = DateTime::parse_from_rfc3339(cell) {
            return Ok(at.timestamp_millis());
        }
        if let Ok(number) = cell.parse::<f64>()
            && (LEAST_S..=LATEST_MS).contains(&number)
        {
            return Ok(if number >= LEAST_MS { number as i64 } else { (number * 1000.0) as i64 });
        }
        let order = (0..FORMS.len()).map(|i| (i + self.last_form) % FORMS.len());
        for i in order {
            if let Ok(local) = NaiveDateTime::parse_from_str(cell, FORMS[i]) {
                self.last_form = i;
                return self.in_zone(local, cell);
            }
        }
        let mend = "say how times are written, for example time_format=%d/%m/%Y %H:%M";
        Err((format!("\"{cell}\" is no time that can be read for certain"), mend.into()))
    }

    fn in_zone(&self, local: NaiveDateTime, cell: &str) -> Result<i64, (String, String)> {
        match self.zone.from_local_datetime(&local) {
            LocalResult::Single(at) => Ok(at.timestamp_millis()),
            // When clocks are set back an hour comes twice: the second time once the first has been read.
            LocalResult::Ambiguous(first, second) => {
                let (first_ms, second_ms) = (first.timestamp_millis(), second.timestamp_millis());
                Ok(if first_ms > self.last_ms { first_ms } else { second_ms })
            }
            LocalResult::None => Err((
                format!("\"{cell}\" does not exist in {}: clocks were set forward", self.zone),
                "say the logger's own zone with time_zone, for example UTC".into(),
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(zone: &str, form: Option<&str>, cells: &[&str]) -> Vec<Option<String>> {
        let mut times = Times::new(zone.parse().expect("a zone"), form.map(str::to_string));
        let utc = |at_ms| DateTime::from_timestamp_millis(at_ms).expect("an instant").format("%F %T").to_string();
        cells.iter().map(|cell| times.read(cell).ok().map(utc)).collect()
    }

    #[test]
    fn times_are_read_in_their_zone_or_by_their_offset() {
        for cell in ["2026-01-05 10:30", "2026-01-05T10:30:00", "05.01.2026 10:30:00", "2026/01/05 10:30"] {
            assert_eq!(read("Europe/Paris", None, &[cell]), [Some("2026-01-05 09:30:00".into())], "{cell}");
        }
        for cell in ["2026-01-05T10:30:00+01:00", "1767605400", "1767605400000"] {
            assert_eq!(read("America/Denver", None, &[cell]), [Some("2026-01-05 09:30:00".into())], "{cell}");
        }
        let form = Some("%m/%d/%Y %I:%M %p");
        assert_eq!(read("UTC", form, &["01/05/2026 10:30 PM"]), [Some("2026-01-05 22:30:00".into())]);
        assert_eq!(read("UTC", None, &["01/05/2026 10:30", "7", "noon"]), [None, None, None]);
    }

    #[test]
    fn the_hour_that_comes_twice_goes_on_and_the_one_that_is_left_out_is_refused() {
        let autumn =
            ["2025-10-26 01:30", "2025-10-26 02:00", "2025-10-26 02:30", "2025-10-26 02:00", "2025-10-26 02:30"];
        let utc = [
            "2025-10-25 23:30:00",
            "2025-10-26 00:00:00",
            "2025-10-26 00:30:00",
            "2025-10-26 01:00:00",
            "2025-10-26 01:30:00",
        ];
        assert_eq!(read("Europe/Paris", None, &autumn), utc.map(|at| Some(at.to_string())));
        assert_eq!(read("Europe/Paris", None, &["2026-03-29 02:30"]), [None]);
    }
}
