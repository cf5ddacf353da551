//! Inputs made from a corpus by chance, the same on every run.

use std::path::Path;

use crate::crash::Chance;

/// What readers stumble over, whatever they read.
const WORDS: [&[u8]; 30] = [
    b"",
    b"0",
    b"-0",
    b"-1",
    b"1e999",
    b"9223372036854775808",
    b"NaN",
    b"1.7976931348623157e308",
    b"null",
    b"true",
    b"{}",
    b"[]",
    b"\"\"",
    b"\\u0000",
    b"\\ud800",
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    "é".as_bytes(),
    "🎻".as_bytes(),
    b"\r\n",
    b"\n",
    b"\t",
    b",",
    b";",
    b"\"",
    b"2026-02-30T25:61:61Z",
    b"-999999-01-01T00:00:00Z",
    b"../../etc/passwd",
    b"[[[[[[[[[[[[[[[[",
];

/// The files of a corpus, and what is made of them.
pub(super) struct Seeds {
    seeds: Vec<Vec<u8>>,
    chance: Chance,
    /// How much at the beginning of each stays as it is: an address, which is no part of what is read.
    kept: fn(&[u8]) -> usize,
}

impl Seeds {
    pub(super) fn of(folder: &str) -> Self {
        let folder = bench::root().join("tests/fuzz/corpus").join(folder);
        Self::at(&folder, |_| 0)
    }

    /// The same, whose first line stays.
    pub(super) fn addressed(folder: &str) -> Self {
        let kept = |seed: &[u8]| seed.iter().position(|byte| *byte == b'\n').map_or(0, |at| at + 1);
        Self { kept, ..Self::of(folder) }
    }

    fn at(folder: &Path, kept: fn(&[u8]) -> usize) -> Self {
        let entries = std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
        let mut paths: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
        paths.sort();
        let seeds: Vec<_> = paths.iter().map(|path| std::fs::read(path).unwrap()).collect();
        assert!(!seeds.is_empty(), "nothing in {}", folder.display());
        Self { seeds, chance: Chance(0xba5e_ba11), kept }
    }

    /// Adds a file that stands elsewhere.
    pub(super) fn and(mut self, path: &str) -> Self {
        self.seeds.push(std::fs::read(bench::root().join(path)).unwrap());
        self
    }

    fn below(&mut self, n: usize) -> usize {
        self.chance.below(n.max(1) as u64) as usize
    }

    /// The next input: one of the corpus as it is now and then, and mostly with one to four changes.
    pub(super) fn next(&mut self) -> Vec<u8> {
        let one = self.below(self.seeds.len());
        let seed = self.seeds[one].clone();
        let (head, rest) = seed.split_at((self.kept)(&seed));
        let mut input = rest.to_vec();
        for _ in 0..self.below(5) {
            self.change(&mut input);
        }
        [head, &input].concat()
    }

    fn change(&mut self, input: &mut Vec<u8>) {
        let (from, length) = (self.below(input.len() + 1), self.below(12));
        let to = (from + length).min(input.len());
        match self.below(8) {
            0 => drop(input.drain(from..to)),
            1 => {
                let part = input[from..to].to_vec();
                input.splice(from..from, part);
            }
            2 => input.truncate(from),
            3 if !input.is_empty() => {
                let at = self.below(input.len());
                input[at] ^= 1 << self.below(8);
            }
            4 => {
                let word = WORDS[self.below(WORDS.len())];
                input.splice(from..to, word.iter().copied());
            }
            5 => self.number(input, from),
            6 => {
                let other = self.below(self.seeds.len());
                let other = self.seeds[other].clone();
                let at = self.below(other.len());
                let part = other[at..(at + self.below(40)).min(other.len())].to_vec();
                input.splice(from..from, part);
            }
            _ => {
                let word = WORDS[self.below(WORDS.len())];
                input.splice(from..from, word.iter().copied());
            }
        }
    }

    /// The first number from a place on becomes another word, so that the rest is read as it was.
    fn number(&mut self, input: &mut Vec<u8>, from: usize) {
        let Some(at) = input[from..].iter().position(u8::is_ascii_digit).map(|at| from + at) else { return };
        let length = input[at..].iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
        let word = WORDS[1 + self.below(9)];
        input.splice(at..at + length, word.iter().copied());
    }
}
