//! The maximum of the same likelihood, found by scipy on a committed set (`reference/make_fit.py`).

use std::collections::BTreeMap;

use rules::fit::{Share, Spell, maximum};

/// Rows of a table of `reference/` behind its source and header.
fn rows(file: &str) -> Vec<Vec<String>> {
    let path = format!("{}/reference/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    assert!(text.starts_with("# source: "), "{file} must begin with its source");
    text.lines().skip(2).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|e| panic!("{cell}: {e}"))
}

fn spells() -> Vec<Spell> {
    let mut pieces: BTreeMap<u32, Spell> = BTreeMap::new();
    for row in rows("fit_pieces.csv") {
        let share = Share { tens_k: number(&row[3]), share: number(&row[4]) };
        let stage = number(&row[1]) as usize;
        let piece = pieces.entry(number(&row[0]) as u32).or_insert(Spell { stage, not_yet: vec![], there: None });
        match row[2].as_str() {
            "not_yet" => piece.not_yet.push(share),
            _ => piece.there.get_or_insert_with(Vec::new).push(share),
        }
    }
    pieces.into_values().collect()
}

/// Four digits: the numbers agree to 1e-4 of themselves.
#[test]
fn the_maximum_and_its_curvature_are_scipys_to_four_digits() {
    let spells = spells();
    let open = spells.iter().filter(|spell| spell.there.is_none()).count();
    let begun = spells.iter().filter(|spell| spell.not_yet.is_empty()).count();
    assert!(open > 3 && begun > 3 && open + begun < spells.len(), "the set has every kind of interval");
    let found = maximum(&spells, &[0.21, 0.30], true);
    let agree = |what: &str, ours: f64, theirs: f64| {
        assert!(((ours - theirs) / theirs).abs() < 1e-4, "{what}: {ours}, scipy {theirs}");
    };
    let theirs = rows("fit_maximum.csv");
    for (i, what) in ["times_0", "times_1", "spread", "warmth"].into_iter().enumerate() {
        assert_eq!(theirs[i][0], what);
        agree(what, found.at[i], number(&theirs[i][1]));
        agree(&format!("sd of {what}"), found.sd[i], number(&theirs[i][2]));
    }
    assert_eq!(theirs[4][0], "ln_posterior");
    agree("ln_posterior", found.ln_posterior, number(&theirs[4][1]));
}
