//! Words of a script for highlighting, from the interpreter's own lexer, so that no second grammar can disagree with it.

use rhai::{InputStream, Position, Token, TokenizeState, get_next_token};
use serde::Serialize;

use crate::host::LIMITS;

/// What a stretch of a script is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    /// A comment.
    Comment,
    /// Text in quotes.
    Text,
    /// A number, `true` or `false`.
    Number,
    /// A word of the language.
    Keyword,
    /// A name.
    Name,
    /// An operator, a bracket, a comma.
    Mark,
    /// What the lexer cannot read.
    Fault,
}

/// A stretch of a script, counted in characters from its beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Span {
    /// First character.
    pub from: usize,
    /// The character behind the last.
    pub to: usize,
    /// What it is.
    pub word: Word,
}

/// Characters of a script, counted as they are taken.
struct Letters<'a> {
    text: std::iter::Peekable<std::str::Chars<'a>>,
    back: Option<char>,
    taken: usize,
}

impl InputStream for Letters<'_> {
    fn unget(&mut self, ch: char) {
        self.back = Some(ch);
        self.taken -= 1;
    }

    fn get_next(&mut self) -> Option<char> {
        let next = self.back.take().or_else(|| self.text.next());
        self.taken += usize::from(next.is_some());
        next
    }

    fn peek_next(&mut self) -> Option<char> {
        self.back.or_else(|| self.text.peek().copied())
    }
}

/// The words of a script in order; white space lies between them. A source too long to be read has none.
pub fn spans(text: &str) -> Vec<Span> {
    if text.len() > LIMITS.source_bytes {
        return Vec::new();
    }
    let starts = line_starts(text);
    let mut letters = Letters { text: text.chars().peekable(), back: None, taken: 0 };
    let mut state = TokenizeState { include_comments: true, ..TokenizeState::default() };
    let mut place = Position::new(1, 0);
    // Braces open in each text in backticks that is not closed yet; the first of them is that of its `${`.
    let mut within: Vec<usize> = Vec::new();
    let mut spans: Vec<Span> = Vec::new();
    loop {
        let begun = letters.taken;
        let (token, at) = get_next_token(&mut letters, &mut state, &mut place);
        if token == Token::EOF || letters.taken == begun {
            return spans;
        }
        match token {
            Token::InterpolatedString(_) => within.push(0),
            // A map's opening mark ends with a brace too.
            Token::LeftBrace | Token::MapStart => within.iter_mut().last().into_iter().for_each(|open| *open += 1),
            Token::RightBrace => {
                within.iter_mut().last().into_iter().for_each(|open| *open -= 1);
                if within.last() == Some(&0) {
                    within.pop();
                    state.is_within_text_terminated_by = Some("`".into());
                }
            }
            _ => {}
        }
        let from = at
            .line()
            .and_then(|line| starts.get(line - 1))
            .map_or(begun, |start| start + at.position().unwrap_or(1).saturating_sub(1));
        // A lexer's fault may stand anywhere in what it read; text goes on where the brace before it ended.
        let from = if (begun..letters.taken).contains(&from) { from } else { begun };
        spans.push(Span { from, to: letters.taken, word: word(&token) });
    }
}

/// Where each line begins, in characters.
fn line_starts(text: &str) -> Vec<usize> {
    let ends = text.chars().enumerate().filter(|(_, c)| *c == '\n').map(|(i, _)| i + 1);
    std::iter::once(0).chain(ends).collect()
}

fn word(token: &Token) -> Word {
    match token {
        Token::Comment(_) => Word::Comment,
        Token::StringConstant(_) | Token::InterpolatedString(_) | Token::CharConstant(_) => Word::Text,
        Token::IntegerConstant(_) | Token::FloatConstant(_) | Token::True | Token::False => Word::Number,
        Token::Identifier(_) => Word::Name,
        Token::LexError(_) => Word::Fault,
        token if token.is_standard_keyword() || matches!(token, Token::Reserved(_)) => Word::Keyword,
        _ => Word::Mark,
    }
}
