//! What is wrong with a script, with file, line and column, in words a luthier can act on.

use std::fmt;

use rhai::{EvalAltResult, ParseError, Position};

/// A script that cannot be used, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// File name relative to the scripts folder.
    pub file: String,
    /// Line, from 1; 0 when the fault has no place.
    pub line: usize,
    /// Column, from 1; 0 when the fault has no place.
    pub column: usize,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

/// Longest text of what an engine or script says is wrong, characters.
const LONGEST_SAID: usize = 400;

impl Fault {
    /// A fault of the script as a whole.
    pub(crate) fn whole(file: &str, what: impl Into<String>, mend: impl Into<String>) -> Self {
        Self { file: file.into(), line: 0, column: 0, what: what.into(), mend: mend.into() }
    }

    /// The same fault, with the function it came from.
    pub(crate) fn inside(self, function: &str) -> Self {
        Self { what: format!("in fn {function}: {}", self.what), ..self }
    }

    pub(crate) fn at(file: &str, position: Position, what: String, mend: &str) -> Self {
        Self {
            file: file.into(),
            line: position.line().unwrap_or(0),
            column: position.position().unwrap_or(0),
            what,
            mend: mend.into(),
        }
    }

    pub(crate) fn of_parse(file: &str, error: &ParseError) -> Self {
        let what = error.err_type().to_string();
        Self::at(file, error.position(), what, "scripts/README.md lists the functions and their arguments")
    }

    pub(crate) fn of_run(file: &str, error: &EvalAltResult) -> Self {
        // The innermost error holds the place in the script; the outer ones only say through which calls it came.
        let mut inner = error;
        while let EvalAltResult::ErrorInFunctionCall(_, _, cause, _) = inner {
            inner = cause;
        }
        let mend = match inner {
            EvalAltResult::ErrorTooManyOperations(_) | EvalAltResult::ErrorTerminated(..) => {
                "the script ran past its limit; look for a loop that does not end"
            }
            EvalAltResult::ErrorDataTooLarge(..) | EvalAltResult::ErrorStackOverflow(_) => {
                "the script grew past its limit; a rule needs only a few numbers"
            }
            EvalAltResult::ErrorFunctionNotFound(..) => "scripts/README.md lists the functions and their arguments",
            _ => "correct the script and save it; the last good version stays in force until then",
        };
        let position = inner.position();
        let mut bare = inner.to_string();
        if let Some(cut) = bare.rfind(" (line ") {
            bare.truncate(cut);
        }
        // A script may throw a value whose text is megabytes.
        if let Some((cut, _)) = bare.char_indices().nth(LONGEST_SAID) {
            bare.truncate(cut);
            bare.push_str(" ...");
        }
        Self::at(file, position, bare, mend)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => write!(f, "{}: {}", self.file, self.what),
            line => write!(f, "{}:{line}:{}: {}", self.file, self.column, self.what),
        }
    }
}

impl std::error::Error for Fault {}
