//! The plan of a day in lines: what the digest says is to be done.

use chrono::NaiveDate;

use super::{standing::Standing, words};
use crate::{now::instant, state::State};

impl State {
    /// What is planned for a day, in order, with why; what comes next where that day has nothing; and what cannot be.
    pub(crate) fn plan_lines(&self, standing: &Standing, day: NaiveDate, now_ms: i64) -> Vec<String> {
        let local = |at_ms: i64| instant(at_ms).with_timezone(&self.zone);
        let line = |i: usize, when: String| {
            let why = match self.why(standing, i, now_ms) {
                why if why.is_empty() => why,
                why => format!(": {why}"),
            };
            format!("{when} {} ({}){why}", standing.draft.pieces[i].title, standing.job_of(i).title)
        };
        let of_day = standing.work().map(|i| (i, local(standing.times_ms(i).0)));
        let of_day = of_day.filter(|(_, at)| at.date_naive() == day);
        let mut lines: Vec<String> =
            of_day.map(|(i, at)| line(i, format!("planned {},", at.format("%H:%M")))).collect();
        if lines.is_empty() {
            let next = standing.work().next();
            lines.extend(next.map(|i| line(i, format!("next, {},", self.clock_text(standing.times_ms(i).0, now_ms)))));
        }
        lines.extend(standing.cannot.iter().map(|cannot| format!("look out: {}", words::cannot(cannot).1)));
        lines
    }
}
