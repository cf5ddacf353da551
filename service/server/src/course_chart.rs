//! The chart of a trial: rate, age, strength and milestones of a draft beside those of the version in force, over the hours
//! from the start. The draft is a thick line, the version in force a thin dashed one, so that the two are told apart without
//! colour. It stands in the page itself, for there is nothing on disk it could be fetched from; its colours are the tokens
//! of the style sheet. Drawn by the plotters library.

use plotters::{coord::Shift, element::DashedPathElement, prelude::*};

use crate::workshop::{Course, Point, StageTimes};

/// Colours stand for tokens of the style sheet: the drawing knows only red, green and blue.
const TOKENS: [(RGBColor, &str); 4] = [(INK, "--ink"), (DRAFT, "--brass"), (QUIET, "--quiet"), (GROUND, "--card")];
const INK: RGBColor = RGBColor(1, 2, 3);
const DRAFT: RGBColor = RGBColor(1, 2, 4);
const QUIET: RGBColor = RGBColor(1, 2, 5);
const GROUND: RGBColor = RGBColor(1, 2, 6);

/// Height of a panel and of a row of milestones, pixels.
const PANEL_PX: u32 = 170;
const ROW_PX: u32 = 34;
/// What stands left and right of the hours, pixels: whoever reads the chart out lays a mark over it.
const LEFT_PX: u32 = 52;
const RIGHT_PX: u32 = 18;

/// How wide a chart is drawn: an SVG scales, but its letters do too.
#[derive(Clone, Copy)]
pub(crate) enum Width {
    Phone,
    Wide,
}

impl Width {
    fn px(self) -> u32 {
        match self {
            Self::Phone => 420,
            Self::Wide => 1000,
        }
    }

    /// Its class in the style sheet, which shows one of the two.
    fn class(self) -> &'static str {
        match self {
            Self::Phone => "chart slim",
            Self::Wide => "chart wide",
        }
    }
}

/// What is drawn: the draft, the version in force if there is one, and every stage of either in the order of the table.
pub(crate) struct Trial<'a> {
    pub(crate) hours: f64,
    pub(crate) draft: &'a Course,
    pub(crate) beside: Option<&'a Course>,
    pub(crate) stages: &'a [&'a str],
}

/// What of a point a panel draws.
type Value = fn(&Point) -> Option<f64>;
type Drawn = Result<(), Box<dyn std::error::Error>>;
type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// The chart as an SVG element for a page. No word in it is anybody's but ours.
///
/// # Errors
/// What the drawing library says; nothing is known to make it fail.
pub(crate) fn svg(trial: &Trial<'_>, width: Width) -> Result<String, String> {
    let panels = if trial.bears_load() { 3 } else { 2 };
    let rows_px = 70 + ROW_PX * trial.stages.len() as u32;
    let size = (width.px(), PANEL_PX * panels + rows_px);
    let mut document = String::new();
    {
        let root = SVGBackend::with_string(&mut document, size).into_drawing_area();
        let done = draw(&root, trial, panels).and_then(|()| Ok(root.present()?));
        done.map_err(|e| format!("drawing the chart: {e}"))?;
    }
    let says = "Rate, age, strength and milestones of the draft beside the version in force; the tables say the same";
    let px = f64::from(width.px());
    let (left, right) = (f64::from(LEFT_PX) / px, 1.0 - f64::from(RIGHT_PX) / px);
    let head = format!(
        "<svg class=\"{}\" role=\"img\" aria-label=\"{says}\" data-left=\"{left:.4}\" data-right=\"{right:.4}\" ",
        width.class()
    );
    document = document.replacen("<svg ", &head, 1);
    for (RGBColor(r, g, b), token) in TOKENS {
        document = document.replace(&format!("\"#{r:02X}{g:02X}{b:02X}\""), &format!("\"var({token})\""));
    }
    Ok(document)
}

impl Trial<'_> {
    fn bears_load(&self) -> bool {
        std::iter::once(self.draft).chain(self.beside).any(|c| c.curve.iter().any(|p| p.strength.is_some()))
    }
}

fn draw(root: &Area<'_>, trial: &Trial<'_>, panels: u32) -> Drawn {
    root.fill(&GROUND)?;
    let (curves, rows) = root.split_vertically(PANEL_PX * panels);
    let values: [(&str, Value); 3] = [
        ("Rate, reference hours per hour", |point| Some(point.rate)),
        ("Age, reference hours", |point| Some(point.age_h)),
        ("Strength, share of full", |point| point.strength),
    ];
    for (area, (caption, value)) in curves.split_evenly((panels as usize, 1)).iter().zip(values) {
        curve(area, trial, caption, value)?;
    }
    milestones(&rows, trial)
}

fn curve(area: &Area<'_>, trial: &Trial<'_>, caption: &str, value: Value) -> Drawn {
    let line = |course: &Course| -> Vec<(f64, f64)> {
        course.curve.iter().filter_map(|point| Some((point.hours, value(point)?))).collect()
    };
    let (draft, beside) = (line(trial.draft), trial.beside.map(line).unwrap_or_default());
    let most = draft.iter().chain(&beside).map(|(_, value)| *value).fold(0.0_f64, f64::max);
    let mut context = ChartBuilder::on(area)
        .caption(caption, ("sans-serif", 16).into_font().color(&INK))
        .margin_top(6)
        .margin_right(RIGHT_PX)
        .x_label_area_size(22)
        .y_label_area_size(LEFT_PX)
        .build_cartesian_2d(0.0..trial.hours, 0.0..(most * 1.08).max(1e-3))?;
    context
        .configure_mesh()
        .x_labels(6)
        .x_label_formatter(&|h| hours_label(*h, trial.hours))
        .y_labels(4)
        .light_line_style(TRANSPARENT)
        .bold_line_style(QUIET.mix(0.3))
        .axis_style(QUIET)
        .label_style(("sans-serif", 14).into_font().color(&INK))
        .draw()?;
    context.draw_series(LineSeries::new(draft, DRAFT.stroke_width(4)))?;
    context.draw_series(DashedLineSeries::new(beside, 7, 5, INK.stroke_width(2)))?;
    Ok(())
}

/// Whole hours, unless the chart shows but a few.
fn hours_label(hours: f64, of: f64) -> String {
    if of >= 6.0 { format!("{hours:.0}") } else { format!("{hours:.1}") }
}

/// For each stage a row: a line from earliest to safe with a mark at likely; beneath it the same of the version in force.
fn milestones(area: &Area<'_>, trial: &Trial<'_>) -> Drawn {
    let rows = trial.stages.len() as f64;
    let mut context = ChartBuilder::on(area)
        .caption("Milestones by number, hours from the start", ("sans-serif", 16).into_font().color(&INK))
        .margin_top(6)
        .margin_right(RIGHT_PX)
        .x_label_area_size(28)
        .y_label_area_size(LEFT_PX)
        .build_cartesian_2d(0.0..trial.hours, 0.0..rows)?;
    let labels = ("sans-serif", 14).into_font().color(&INK);
    context
        .configure_mesh()
        .x_labels(6)
        .x_label_formatter(&|h| hours_label(*h, trial.hours))
        .disable_y_mesh()
        .y_labels(0)
        .light_line_style(TRANSPARENT)
        .bold_line_style(QUIET.mix(0.3))
        .axis_style(QUIET)
        .label_style(labels.clone())
        .draw()?;
    for (n, stage) in trial.stages.iter().enumerate() {
        let y = rows - n as f64;
        let number = Text::new(format!("{}", n + 1), (-22, -7), &labels);
        context.draw_series([EmptyElement::at((0.0, y - 0.5)) + number])?;
        if let Some((from, to, likely)) = of_stage(trial.draft, stage, trial.hours) {
            let path = [(from, y - 0.32), (to, y - 0.32)];
            context.draw_series([PathElement::new(path, DRAFT.stroke_width(4))])?;
            context.draw_series(likely.map(|likely| Circle::new((likely, y - 0.32), 6, DRAFT.filled())))?;
        }
        let beside = trial.beside.and_then(|course| of_stage(course, stage, trial.hours));
        if let Some((from, to, likely)) = beside {
            let path = [(from, y - 0.7), (to, y - 0.7)];
            context.draw_series([DashedPathElement::new(path, 7, 5, INK.stroke_width(2))])?;
            context.draw_series(likely.map(|likely| Circle::new((likely, y - 0.7), 6, INK.stroke_width(2))))?;
        }
    }
    Ok(())
}

/// From where to where a stage is drawn, and where its likely time lies; what comes after the hours tried is drawn to their end.
fn of_stage(course: &Course, stage: &str, hours: f64) -> Option<(f64, f64, Option<f64>)> {
    let StageTimes { earliest_h, likely_h, safe_h, .. } = course.milestones.iter().find(|of| of.stage == stage)?;
    Some(((*earliest_h)?, safe_h.unwrap_or(hours), *likely_h))
}
