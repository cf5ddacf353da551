//! Reads `reference/*.csv`, and keeps the worst cell of a comparison.

/// A table of `reference/`: a source comment, a header, rows.
pub(super) struct Table {
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

pub(super) struct Row<'t> {
    columns: &'t [String],
    cells: &'t [String],
}

impl Table {
    pub(super) fn read(file: &str) -> Table {
        let path = format!("{}/reference/{file}", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
        let mut lines = text.lines();
        let source = lines.next().unwrap_or_default();
        assert!(source.starts_with("# source: "), "{file} must begin with its source");
        let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
        let columns = cells(lines.next().unwrap_or_default());
        let rows: Vec<_> = lines.map(cells).collect();
        assert!(rows.iter().all(|row| row.len() == columns.len()), "{file} has a ragged row");
        Table { columns, rows }
    }

    pub(super) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { columns: &self.columns, cells })
    }
}

impl Row<'_> {
    pub(super) fn text(&self, column: &str) -> &str {
        let place = self.columns.iter().position(|name| name == column);
        &self.cells[place.unwrap_or_else(|| panic!("no column {column}"))]
    }

    /// The number that a cell begins with ("28 d" is 28), or None for an empty cell.
    pub(super) fn given(&self, column: &str) -> Option<f64> {
        let cell = self.text(column);
        (!cell.is_empty()).then(|| leading_number(cell))
    }

    pub(super) fn number(&self, column: &str) -> f64 {
        self.given(column).unwrap_or_else(|| panic!("{column} is empty in {:?}", self.cells))
    }

    /// The number behind a label within a cell: `labelled("params", "Tr=")` in "Ea=50 Tr=20" is 20.
    pub(super) fn labelled(&self, column: &str, label: &str) -> f64 {
        let (_, rest) = self.text(column).split_once(label).unwrap_or_else(|| panic!("no {label}"));
        leading_number(rest)
    }
}

fn leading_number(text: &str) -> f64 {
    let is_part = |(place, sign): (usize, char)| sign == '.' || sign.is_ascii_digit() || (place == 0 && sign == '-');
    let end = text.char_indices().find(|at| !is_part(*at)).map_or(text.len(), |(end, _)| end);
    text[..end].parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// The largest difference seen so far, and where.
#[derive(Default)]
pub(super) struct Worst {
    difference: f64,
    cell: String,
    n_cells: usize,
}

impl Worst {
    pub(super) fn absolute(&mut self, ours: f64, theirs: f64, cell: &str) {
        self.n_cells += 1;
        let difference = (ours - theirs).abs();
        // A NaN must end up as the worst, not slip through a comparison.
        if difference > self.difference || difference.is_nan() {
            self.difference = difference;
            self.cell = format!("{cell}: {ours} here, {theirs} there");
        }
    }

    pub(super) fn relative(&mut self, ours: f64, theirs: f64, cell: &str) {
        let before = self.difference;
        self.absolute(ours / theirs, 1.0, cell);
        if self.difference != before {
            self.cell = format!("{cell}: {ours} here, {theirs} there");
        }
    }

    pub(super) fn at_most(&self, limit: f64, n_cells: usize) {
        assert_eq!(self.n_cells, n_cells, "cells compared");
        assert!(self.difference <= limit, "{} is over {limit} at {}", self.difference, self.cell);
    }
}
