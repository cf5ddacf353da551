//! The words of a script as they are shown in colour: none is lost, none is invented, and none lies over another.

use rules::{Span, Word, spans};

/// The words of a text with what they are.
fn words(text: &str) -> Vec<(String, Word)> {
    let letters: Vec<char> = text.chars().collect();
    spans(text).into_iter().map(|Span { from, to, word }| (letters[from..to].iter().collect(), word)).collect()
}

/// Between the words there is white space alone.
fn whole(text: &str) {
    let letters: Vec<char> = text.chars().collect();
    let mut at = 0;
    for Span { from, to, .. } in spans(text) {
        assert!(at <= from && from < to && to <= letters.len(), "{at} {from} {to} in\n{text}");
        assert!(letters[at..from].iter().all(|c| c.is_whitespace()), "{:?} is no word", &letters[at..from]);
        at = to;
    }
    assert!(letters[at..].iter().all(|c| c.is_whitespace()), "{:?} is no word", &letters[at..]);
}

#[test]
fn each_shipped_rule_is_words_from_end_to_end() {
    for entry in std::fs::read_dir(bench::root().join("scripts/materials")).expect("the rules") {
        let text = std::fs::read_to_string(entry.expect("a rule").path()).expect("text");
        whole(&text);
        assert!(words(&text).iter().all(|(_, word)| *word != Word::Fault));
    }
}

#[test]
fn a_word_is_what_the_language_takes_it_for() {
    let text = "const A = 0.75; // µm\nfn rate(air) { if air.x < -2 { \"a \\\" b\" } else { true } } /* c\n d */";
    whole(text);
    let of = |kind: Word| -> Vec<String> {
        words(text).into_iter().filter(|(_, word)| *word == kind).map(|(text, _)| text.trim_end().to_string()).collect()
    };
    assert_eq!(of(Word::Keyword), ["const", "fn", "if", "else"]);
    assert_eq!(of(Word::Name), ["A", "rate", "air", "air", "x"]);
    assert_eq!(of(Word::Number), ["0.75", "-2", "true"]);
    assert_eq!(of(Word::Text), [r#""a \" b""#]);
    assert_eq!(of(Word::Comment), ["// µm", "/* c\n d */"]);
}

#[test]
fn text_in_backticks_goes_on_after_its_braces() {
    let text = "let t = `a ${ #{ b: 1 }.b } c ${2} d`; t";
    let words = words(text);
    let all: Vec<&str> = words.iter().map(|(text, _)| text.as_str()).collect();
    assert!(
        all.last() == Some(&"t") && words.iter().any(|(text, word)| text == "let" && *word == Word::Keyword),
        "{all:?}"
    );
    assert_eq!(words.iter().filter(|(_, word)| *word == Word::Text).count(), 3, "{words:?}");
}

#[test]
fn half_a_text_is_coloured_as_far_as_it_goes() {
    for text in ["fn rate(air) { \"abc", "/* never closed", "`a ${", "let x = 1 $ 2", "'ab'", "0xzz", ""] {
        for Span { from, to, .. } in spans(text) {
            assert!(from < to && to <= text.chars().count(), "{text}");
        }
    }
}
