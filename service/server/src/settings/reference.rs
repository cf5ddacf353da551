//! The settings file that shows every key: made from the fields themselves, so that it cannot say anything else than they do.

use serde_json::Value as Schema;
use toml::{Table, Value};

use super::{
    Hours, NamedShop, Person, Place, Plan, Settings, Webhook,
    ranges::{part, said, schema, written},
};

const HEAD: &str = "\
# Settings of benchclock: every key with its default. Leave out what you do not change.
# An environment variable stands above the file: BENCHCLOCK_SERVER_LISTEN is server.listen.
# `benchclock check --config FILE` says which key is wrong and how to mend it.
# Made by `benchclock settings` from the program's own fields.
";
/// Longest line of a comment.
const WIDTH: usize = 118;

/// Settings as a file, each key under what it means and its range. Secrets are not shown; sections that may be repeated
/// and are not there are shown by an example behind `#`.
pub(crate) fn reference(settings: &Settings) -> String {
    let (Value::Table(values), Value::Table(samples)) = (written(settings), written(&samples())) else {
        return HEAD.into();
    };
    let mut page = Page(HEAD.into());
    page.table("", "", &schema(), &values, &samples);
    page.0
}

/// One of each section that may be repeated.
fn samples() -> Settings {
    let text = |all: &[&str]| all.iter().map(ToString::to_string).collect::<Vec<_>>();
    let mia = Person {
        name: "mia".into(),
        email: "mia@example.org".into(),
        quiet: "22:00-07:00".into(),
        wake_for: text(&["closing"]),
        then: "ben".into(),
        tell: [("else".into(), text(&["push", "email"])), ("digest".into(), text(&["email"]))].into(),
    };
    let wall = Webhook {
        name: "wall".into(),
        url: "https://example.org/told".into(),
        secret: "at least sixteen characters".into(),
        secret_file: Some("/run/secrets/wall".into()),
        secret_before: "the secret it had before this".into(),
    };
    let booth = Place { zone: "booth".into(), holds: 1, hours: Some(Hours::default()) };
    let plan = Plan { places: vec![booth], ..Plan::default() };
    let north = NamedShop {
        name: "north".into(),
        hosts: text(&["north.guild.example"]),
        settings: "/etc/benchclock/north.toml".into(),
    };
    Settings { people: vec![mia], webhooks: vec![wall], shops: vec![north], plan, ..Settings::default() }
}

struct Page(String);

impl Page {
    fn line(&mut self, margin: &str, text: &str) {
        self.0.push_str(format!("{margin}{text}").trim_end());
        self.0.push('\n');
    }

    /// What a key means, its range and its choices.
    fn means(&mut self, margin: &str, schema: &Schema) {
        let text = schema["description"].as_str().unwrap_or_default().replace('`', "");
        let mut text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let choices = part(schema, "enum").as_array().into_iter().flatten().map(Schema::to_string).collect::<Vec<_>>();
        for more in [said(schema), choices.join(" or ")].iter().filter(|more| !more.is_empty()) {
            text.push_str(&format!(" [{more}]"));
        }
        let mut row = String::from("#");
        for word in text.split(' ') {
            if margin.len() + row.chars().count() + 1 + word.chars().count() > WIDTH {
                self.line(margin, &row);
                row = "#".into();
            }
            row.push_str(&format!(" {word}"));
        }
        self.line(margin, &row);
    }

    /// A section: its keys first, then the sections within it.
    fn table(&mut self, margin: &str, path: &str, schema: &Schema, values: &Table, samples: &Table) {
        let (sections, keys): (Vec<_>, Vec<_>) =
            values.iter().partition(|(name, _)| is_section(&part(schema, "properties")[name.as_str()]));
        for (name, value) in keys {
            let schema = &part(schema, "properties")[name.as_str()];
            self.means(margin, schema);
            let hidden = schema["format"] == "password" && margin.is_empty() && value.as_str() != Some("");
            let value = if hidden { "\"(not shown)\"".into() } else { value.to_string() };
            self.line(margin, &format!("{name} = {value}"));
        }
        let none = Table::new();
        for (name, value) in sections {
            let schema = &part(schema, "properties")[name.as_str()];
            let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            self.line(margin, "");
            self.means(margin, schema);
            match (value, samples.get(name)) {
                (Value::Table(values), samples) => {
                    self.line(margin, &format!("[{path}]"));
                    self.table(margin, &path, schema, values, samples.and_then(Value::as_table).unwrap_or(&none));
                }
                (Value::Array(all), Some(Value::Array(samples))) if all.is_empty() => {
                    self.each("# ", &path, schema, samples);
                }
                (Value::Array(all), _) => self.each(margin, &path, schema, all),
                _ => {}
            }
        }
    }

    /// A section that may be repeated.
    fn each(&mut self, margin: &str, path: &str, schema: &Schema, all: &[Value]) {
        for values in all.iter().filter_map(Value::as_table) {
            self.line(margin, &format!("[[{path}]]"));
            self.table(margin, path, part(schema, "items"), values, &Table::new());
        }
    }
}

/// Whether a key stands as a section of its own: it has keys itself, or may be repeated and each has.
fn is_section(schema: &Schema) -> bool {
    part(schema, "properties").is_object() || part(part(schema, "items"), "properties").is_object()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Settings, super::super::SettingsError> {
        Settings::read(text, std::iter::empty())
    }

    #[test]
    fn the_file_says_the_defaults_and_its_examples_are_good_when_the_marks_are_taken_off() {
        let file = reference(&Settings::default());
        let shown = read(&file).expect("it is good");
        assert_eq!(format!("{shown:?}"), format!("{:?}", Settings::default()));
        // What is left when the comments' own mark is taken off the examples, and what they lean on.
        let mut within = false;
        let examples = file.lines().filter_map(|line| {
            within = line.starts_with("# [[") || within && line.starts_with('#');
            // A file with a secret is not there.
            let bare = line.strip_prefix("# ").unwrap_or_default();
            (within && !bare.starts_with("secret_file")).then(|| bare.to_string())
        });
        let leans = "[email]\nurl = \"smtp://x\"\nfrom = \"a@example.org\"\n[[people]]\nname = \"ben\"\ntell = { else = [\"page\"] }\n";
        let examples = examples.collect::<Vec<_>>().join("\n");
        // People are told by their own shop, so that where several are named they stand in other files.
        let (told, shops) = examples.split_once("[[shops]]").expect("an example of each");
        let shown = read(&format!("{leans}{told}")).unwrap_or_else(|e| panic!("{e}\n{told}"));
        assert_eq!((shown.people.len(), shown.webhooks.len(), shown.plan.places.len()), (2, 1, 1));
        assert_eq!(read(&format!("[[shops]]{shops}")).expect(shops).shops.len(), 1);
    }

    /// Each key is printed under a comment of its own, and lines are not too long to read.
    #[test]
    fn every_key_says_what_it_means() {
        let file = reference(&Settings::default());
        let mut before = "";
        for line in file.lines() {
            let bare = line.strip_prefix("# ").unwrap_or(line);
            let is_key =
                bare.split_once(" = ").is_some_and(|(key, _)| key.chars().all(|c| c.is_ascii_lowercase() || c == '_'));
            assert!(!is_key || before.starts_with("# "), "{line} says nothing of itself");
            assert!(!line.starts_with('#') || line.chars().count() <= WIDTH, "{line}");
            before = if is_key { "" } else { line };
        }
    }

    #[test]
    fn what_is_in_force_is_shown_without_secrets() {
        let hook =
            "[[webhooks]]\nname = \"a\"\nurl = \"https://bell.example.org/\"\nsecret = \"sixteen and more characters\"";
        let shown =
            read(&format!("[mqtt]\npassword = \"hunter2\"\n[server]\nworkers = 3\n{hook}")).expect("it is good");
        let shown = reference(&shown);
        assert!(shown.contains("\nworkers = 3\n") && shown.contains("\n[[webhooks]]\n"), "{shown}");
        assert_eq!(shown.matches("\"(not shown)\"").count(), 2, "{shown}");
        assert!(!shown.contains("hunter2") && !shown.contains("sixteen and more"), "{shown}");
    }
}
