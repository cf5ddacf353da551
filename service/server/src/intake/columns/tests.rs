//! Files as loggers write them, and what is understood of their heads.

use super::*;

fn layout(options: Options, lines: &[&str]) -> Result<Layout, Problem> {
    let delimiter = options.delimiter.unwrap_or_else(|| Delimiter::of(lines[0]));
    let split = |line: &&str| line.split(delimiter.byte() as char).map(str::to_string).collect();
    Layout::of(&options, delimiter, &lines.iter().map(split).collect::<Vec<_>>())
}

#[track_caller]
fn check(
    lines: &[&str],
    (delimiter, decimal, header): (Delimiter, Decimal, bool),
    columns: [usize; 3],
    unit: TempUnit,
) {
    let found = layout(Options::default(), lines).expect("it is understood");
    assert_eq!((found.delimiter, found.decimal, found.header), (delimiter, decimal, header));
    assert_eq!([found.time.number, found.temp.number, found.rh.number], columns);
    assert_eq!(found.temp_unit, unit);
}

#[test]
fn heads_of_common_loggers_are_understood() {
    use {Decimal as D, Delimiter as S, TempUnit::*};
    check(&["time,temp_c,rh_pct", "2026-01-05 10:30,20.1,50"], (S::Comma, D::Point, true), [1, 2, 3], C);
    check(
        &["Datum;Temperatur °C;Feuchte %", "05.01.2026 10:30;20,1;50,2"],
        (S::Semicolon, D::Comma, true),
        [1, 2, 3],
        C,
    );
    check(
        &["No\tTimestamp\tTemperature (°F)\tHumidity\tDew Point Temperature", "1\t2026-01-05 10:30\t68\t50\t48"],
        (S::Tab, D::Point, true),
        [2, 3, 4],
        F,
    );
    check(&["timestamp,temp_f,rh", "1767605400,68,50"], (S::Comma, D::Point, true), [1, 2, 3], F);
}

#[test]
fn a_day_and_a_time_of_day_are_one_time() {
    let found = layout(Options::default(), &["Date,Time,Temp,RH", "2026-01-05,10:30,20,50"]).expect("understood");
    assert_eq!((found.date.map(|c| c.number), found.time.number), (Some(1), 2));
}

#[test]
fn a_file_without_names_needs_its_columns_said() {
    let lines = ["2026-01-05 10:30,20.1,50"];
    let problem = layout(Options::default(), &lines).expect_err("which is which?");
    assert_eq!(problem.field.as_deref(), Some("time_column"));
    let said = |n: &str| Some(n.to_string());
    let options =
        Options { time_column: said("1"), temp_column: said("2"), rh_column: said("3"), ..Options::default() };
    assert!(!layout(options, &lines).expect("said").header);
    let options = Options { temp_column: said("warmth"), ..Options::default() };
    let problem = layout(options, &["time,temp,rh", "x,1,2"]).expect_err("there is none");
    assert!(problem.mend.contains("time | temp | rh"), "{problem}");
}

#[test]
fn two_columns_that_could_be_it_are_asked_about() {
    let problem = layout(Options::default(), &["time,temp in,temp out,rh", "x,1,2,3"]).expect_err("two");
    assert_eq!(problem.field.as_deref(), Some("temp_column"));
}

#[test]
fn cells_are_read_in_the_columns_unit_and_another_is_refused() {
    let layout = |unit, decimal| {
        let options = Options { temp_unit: Some(unit), decimal: Some(decimal), ..Options::default() };
        layout(options, &["time,temp,rh", "x,1,2"]).expect("understood")
    };
    let in_c = layout(TempUnit::C, Decimal::Point);
    for (cell, expected) in [("20.5", 20.5), (" 20.5 °C ", 20.5), ("-3", -3.0), ("20.5C", 20.5)] {
        assert_eq!(in_c.temp_c(cell), Ok(expected), "{cell}");
    }
    for cell in ["68 °F", "20,5", "", "NaN", "inf", "n/a"] {
        assert!(in_c.temp_c(cell).is_err(), "{cell}");
    }
    assert_eq!(layout(TempUnit::F, Decimal::Point).temp_c("68"), Ok(20.0));
    assert_eq!(layout(TempUnit::C, Decimal::Comma).temp_c("20,5"), Ok(20.5));
    assert_eq!(in_c.rh_pct("50.5 %"), Ok(50.5));
    let fraction = Layout { rh_unit: RhUnit::Fraction, ..in_c };
    assert_eq!((fraction.rh_pct("0.505"), fraction.rh_pct("50%").is_err()), (Ok(50.5), true));
}
