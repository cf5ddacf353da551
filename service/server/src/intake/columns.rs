//! What a file of readings looks like: said by whoever sends it, the rest found out from its first lines.

use facts::SensorId;
use serde::{Deserialize, Serialize};

use crate::problem::{Kind, Problem};

/// What may be said about a file; all of it may be left out.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Options {
    /// Whether it is only to be looked at.
    #[serde(default)]
    pub(crate) dry_run: bool,
    /// The sensor all of it is from.
    pub(crate) sensor: Option<SensorId>,
    /// Columns, by name or by number from 1.
    pub(crate) time_column: Option<String>,
    pub(crate) date_column: Option<String>,
    pub(crate) temp_column: Option<String>,
    pub(crate) rh_column: Option<String>,
    pub(crate) sensor_column: Option<String>,
    pub(crate) temp_unit: Option<TempUnit>,
    pub(crate) rh_unit: Option<RhUnit>,
    pub(crate) delimiter: Option<Delimiter>,
    pub(crate) decimal: Option<Decimal>,
    /// IANA zone of times without an offset; the shop's when not said.
    pub(crate) time_zone: Option<String>,
    /// As strftime writes it.
    pub(crate) time_format: Option<String>,
    pub(crate) header: Option<bool>,
    /// Lines before the header.
    #[serde(default)]
    pub(crate) skip_lines: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub(crate) enum TempUnit {
    C,
    F,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum RhUnit {
    Percent,
    Fraction,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Delimiter {
    Comma,
    Semicolon,
    Tab,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Decimal {
    Point,
    Comma,
}

/// A column: its number from 1 and its name, if it has one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub(crate) struct Column {
    pub(crate) number: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) name: Option<String>,
}

/// How a file was understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub(crate) struct Layout {
    pub(crate) delimiter: Delimiter,
    pub(crate) decimal: Decimal,
    pub(crate) header: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) date: Option<Column>,
    pub(crate) time: Column,
    pub(crate) temp: Column,
    pub(crate) temp_unit: TempUnit,
    pub(crate) rh: Column,
    pub(crate) rh_unit: RhUnit,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) sensor: Option<Column>,
}

impl Delimiter {
    pub(crate) fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }

    /// A tab or a semicolon stands in no number and no time; a comma may be a decimal sign.
    pub(crate) fn of(line: &str) -> Self {
        match line {
            line if line.contains('\t') => Self::Tab,
            line if line.contains(';') => Self::Semicolon,
            _ => Self::Comma,
        }
    }
}

const DATE: [&str; 2] = ["date", "datum"];
const CLOCK: [&str; 3] = ["time", "zeit", "uhrzeit"];
const TIME: [&str; 5] = ["time", "date", "datum", "zeit", "heure"];
const TEMP: [&str; 5] = ["temp", "°c", "°f", "celsius", "fahrenheit"];
const RH: [&str; 6] = ["humid", "rh", "r.h.", "feucht", "humedad", "hygro"];
/// Loggers write the dew point beside the temperature, often as "dew point temperature".
const NOT: [&str; 3] = ["dew", "tau", "wet"];

impl Layout {
    /// Understands a file from what was said and its first records.
    ///
    /// # Errors
    /// When a column cannot be found; the mend says how to name it.
    pub(crate) fn of(options: &Options, delimiter: Delimiter, first: &[Vec<String>]) -> Result<Self, Problem> {
        let head = first.first().ok_or_else(|| {
            Problem::new(Kind::Invalid, "the file has no rows", "send a CSV with time, temperature and humidity")
        })?;
        let is_number =
            |cell: &String| number(cell, Decimal::Comma).is_some() || number(cell, Decimal::Point).is_some();
        let header = options.header.unwrap_or(!head.iter().any(is_number));
        let names: Vec<String> = if header { head.iter().map(|n| n.trim().to_lowercase()).collect() } else { vec![] };
        let find = Find { head, names: &names, header };
        let row = first.get(usize::from(header));
        let sensor = match &options.sensor_column {
            Some(said) => Some(find.said("sensor_column", said)?),
            None => names.iter().position(|name| name == "sensor").map(|i| find.column(i)),
        };
        let (date, time) = find.time(options)?;
        let temp = find.one("temp_column", options.temp_column.as_deref(), &TEMP, &NOT)?;
        let rh = find.one("rh_column", options.rh_column.as_deref(), &RH, &NOT)?;
        let decimal = options.decimal.unwrap_or_else(|| {
            let cells = [&temp, &rh].into_iter().filter_map(|column| row?.get(column.number - 1));
            let comma = delimiter != Delimiter::Comma && cells.clone().any(|cell| cell.contains(','));
            if comma { Decimal::Comma } else { Decimal::Point }
        });
        let in_f = temp.name.as_deref().is_some_and(|name| {
            let name = name.to_lowercase();
            ["°f", "(f)", "[f]", "fahrenheit"].iter().any(|f| name.contains(f)) || name.ends_with("_f")
        });
        Ok(Self {
            delimiter,
            decimal,
            header,
            date,
            time,
            temp,
            temp_unit: options.temp_unit.unwrap_or(if in_f { TempUnit::F } else { TempUnit::C }),
            rh,
            rh_unit: options.rh_unit.unwrap_or(RhUnit::Percent),
            sensor,
        })
    }

    /// The number in a cell, with or without a unit behind it; the unit must be the column's.
    ///
    /// # Errors
    /// A sentence about the cell.
    pub(crate) fn temp_c(&self, cell: &str) -> Result<f64, String> {
        let (text, unit) = match cell.trim().trim_end_matches('°').trim_end() {
            cell if cell.ends_with(['C', 'c']) => (&cell[..cell.len() - 1], Some(TempUnit::C)),
            cell if cell.ends_with(['F', 'f']) => (&cell[..cell.len() - 1], Some(TempUnit::F)),
            cell => (cell, None),
        };
        let text = text.trim_end().trim_end_matches('°').trim();
        let value = number(text, self.decimal).ok_or_else(|| format!("\"{cell}\" is no temperature"))?;
        if let Some(unit) = unit.filter(|unit| *unit != self.temp_unit) {
            return Err(format!("\"{cell}\" says °{unit:?} and the column is in °{:?}", self.temp_unit));
        }
        Ok(match self.temp_unit {
            TempUnit::C => value,
            // To a hundredth, or 68 °F would be 20.000000000000004 °C.
            TempUnit::F => ((value - 32.0) / 1.8 * 100.0).round() / 100.0,
        })
    }

    /// The relative humidity in a cell, %.
    ///
    /// # Errors
    /// A sentence about the cell.
    pub(crate) fn rh_pct(&self, cell: &str) -> Result<f64, String> {
        let (text, percent) = match cell.trim().strip_suffix('%') {
            Some(text) => (text.trim(), true),
            None => (cell.trim(), false),
        };
        let value = number(text, self.decimal).ok_or_else(|| format!("\"{cell}\" is no relative humidity"))?;
        match self.rh_unit {
            RhUnit::Fraction if percent => Err(format!("\"{cell}\" says % and the column is a fraction")),
            RhUnit::Fraction => Ok((value * 1e4).round() / 100.0),
            RhUnit::Percent => Ok(value),
        }
    }
}

fn number(cell: &str, decimal: Decimal) -> Option<f64> {
    let cell = cell.trim();
    let finite = |value: f64| value.is_finite().then_some(value);
    match decimal {
        Decimal::Point => cell.parse().ok().and_then(finite),
        Decimal::Comma => cell.replace(',', ".").parse().ok().and_then(finite),
    }
}

/// Finding columns of a file.
struct Find<'a> {
    head: &'a [String],
    /// Lower case; empty without a header.
    names: &'a [String],
    header: bool,
}

impl Find<'_> {
    fn column(&self, i: usize) -> Column {
        Column { number: i + 1, name: self.header.then(|| self.head[i].trim().to_string()) }
    }

    /// A column by what was said of it.
    fn said(&self, option: &str, said: &str) -> Result<Column, Problem> {
        let by_name = self.names.iter().position(|name| *name == said.trim().to_lowercase());
        let by_number =
            || said.trim().parse::<usize>().ok().filter(|n| (1..=self.head.len()).contains(n)).map(|n| n - 1);
        by_name
            .or_else(by_number)
            .map(|i| self.column(i))
            .ok_or_else(|| self.missing(option, &format!("there is no column \"{said}\"")))
    }

    /// A column as it was said, or the only one whose name has one of these words.
    fn one(&self, option: &str, said: Option<&str>, words: &[&str], not: &[&str]) -> Result<Column, Problem> {
        if let Some(said) = said {
            return self.said(option, said);
        }
        let fits = |name: &&(usize, &String)| {
            words.iter().any(|word| name.1.contains(word)) && !not.iter().any(|word| name.1.contains(word))
        };
        let found: Vec<(usize, &String)> = self.names.iter().enumerate().collect();
        let found: Vec<_> = found.iter().filter(fits).collect();
        match found.as_slice() {
            [(i, _)] => Ok(self.column(*i)),
            [] => Err(self.missing(option, "the file does not say which column it is")),
            several => Err(self.missing(option, &format!("{} columns could be it", several.len()))),
        }
    }

    /// The column of the time, or those of the day and the time of day.
    fn time(&self, options: &Options) -> Result<(Option<Column>, Column), Problem> {
        let exactly = |words: &[&str]| self.names.iter().position(|name| words.contains(&name.as_str()));
        let date = match &options.date_column {
            Some(said) => Some(self.said("date_column", said)?),
            None if options.time_column.is_none() => {
                exactly(&DATE).filter(|_| exactly(&CLOCK).is_some()).map(|i| self.column(i))
            }
            None => None,
        };
        let time = match (&options.time_column, &date) {
            (None, Some(_)) if exactly(&CLOCK).is_some() => self.column(exactly(&CLOCK).unwrap_or_default()),
            (said, _) => self.one("time_column", said.as_deref(), &TIME, &[])?,
        };
        Ok((date, time))
    }

    fn missing(&self, option: &str, what: &str) -> Problem {
        let names = if self.names.is_empty() { "no names".into() } else { self.head.join(" | ") };
        let mend = format!("say {option}=NAME or its number from 1; the {} columns have {names}", self.head.len());
        Problem::new(Kind::Invalid, format!("{option}: {what}"), mend).about(option)
    }
}

#[cfg(test)]
mod tests;
