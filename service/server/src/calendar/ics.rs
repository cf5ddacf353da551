//! Writing iCalendar (RFC 5545): content lines folded at 75 octets, escaped text, instants in UTC.

use crate::now::instant;

/// A calendar being written.
pub(crate) struct Ics(String);

impl Ics {
    pub(crate) fn new() -> Self {
        Self(String::new())
    }

    pub(crate) fn text(self) -> String {
        self.0
    }

    /// A component with what stands inside it.
    pub(crate) fn within(&mut self, component: &str, inside: impl FnOnce(&mut Self)) {
        self.line(&format!("BEGIN:{component}"));
        inside(self);
        self.line(&format!("END:{component}"));
    }

    /// A property as it stands.
    pub(crate) fn put(&mut self, property: &str, value: &str) {
        self.line(&format!("{property}:{value}"));
    }

    /// A property of free text, escaped (section 3.3.11).
    pub(crate) fn say(&mut self, property: &str, text: &str) {
        let mut escaped = String::with_capacity(text.len());
        for c in text.chars() {
            match c {
                '\\' | ';' | ',' => escaped.extend(['\\', c]),
                '\n' => escaped.push_str("\\n"),
                c if c.is_control() => {}
                c => escaped.push(c),
            }
        }
        self.put(property, &escaped);
    }

    /// A property that is an instant, in UTC (section 3.3.5, form 2).
    pub(crate) fn at(&mut self, property: &str, at_ms: i64) {
        self.put(property, &instant(at_ms).format("%Y%m%dT%H%M%SZ").to_string());
    }

    /// One content line: no more than 75 octets in a row, and no character is cut (section 3.1).
    fn line(&mut self, line: &str) {
        let mut room = 75;
        for c in line.chars() {
            if c.len_utf8() > room {
                self.0.push_str("\r\n ");
                room = 74;
            }
            room -= c.len_utf8();
            self.0.push(c);
        }
        self.0.push_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_by_octets_and_unfold_to_what_they_were() {
        let text =
            "Lack, zweite Schicht auf der Decke des Gitarrenkörpers; fühlt sich trocken an – ist es nicht 🎻".repeat(3);
        let mut ics = Ics::new();
        ics.say("SUMMARY", &text);
        let written = ics.text();
        assert!(written.split("\r\n").all(|line| line.len() <= 75), "{written}");
        let unfolded = written.replace("\r\n ", "");
        assert_eq!(unfolded.trim_end(), format!("SUMMARY:{}", text.replace(',', "\\,").replace(';', "\\;")));
    }

    /// The example of RFC 5545 section 3.3.11.
    #[test]
    fn text_is_escaped_as_published() {
        let mut ics = Ics::new();
        ics.say("DESCRIPTION", "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.");
        let expected = "DESCRIPTION:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.\r\n";
        assert_eq!(ics.text().replace("\r\n ", ""), expected);
    }
}
