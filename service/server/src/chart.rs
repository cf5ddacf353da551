//! The chart of a zone: temperature and dew point above, relative humidity and EMC below; what was recorded, the band
//! of what is expected, the target band, and a mark where each glue-up or coat began. Drawn by the plotters library.

use chrono_tz::Tz;
use clock::{Air, Expected};
use plotters::{coord::Shift, prelude::*};
use serde::Deserialize;

use crate::{
    now::instant,
    problem::{Kind, Problem},
    units::TempUnit,
};

/// What a chart shows.
pub(crate) struct Chart {
    pub(crate) name: String,
    pub(crate) zone: Tz,
    pub(crate) from_ms: i64,
    pub(crate) to_ms: i64,
    pub(crate) now_ms: i64,
    pub(crate) recorded: Vec<(i64, Air)>,
    pub(crate) expected: Vec<(i64, Expected)>,
    pub(crate) mark_ms: Vec<i64>,
    pub(crate) temp_unit: TempUnit,
    /// The shop's band, °C and % RH.
    pub(crate) target: [(f64, f64); 2],
    pub(crate) look: Look,
    /// Width in pixels; an SVG scales, but its letters do too.
    pub(crate) width_px: u32,
}

/// On what ground a chart is drawn.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Look {
    /// Dark on chalk.
    #[default]
    Light,
    /// Chalk on slate.
    Dark,
}

/// Where the plot begins and ends, as shares of the width: pages lay their own marks over it.
pub(crate) const PLOT: (f64, f64) = (0.07, 0.97);

/// How wide a chart is drawn, pixels.
///
/// # Errors
/// When that is less than a phone or more than a wall shows.
pub(crate) fn width_px(asked: Option<u32>) -> Result<u32, Problem> {
    let width_px = asked.unwrap_or(1000);
    if (320..=2000).contains(&width_px) {
        return Ok(width_px);
    }
    let detail = format!("width is {width_px}; it must be 320 to 2000");
    Err(Problem::new(Kind::Invalid, detail, "leave it out for 1000").about("width"))
}

/// The colours of a chart.
pub(crate) struct Palette {
    pub(crate) ground: RGBColor,
    pub(crate) ink: RGBColor,
    pub(crate) warm: RGBColor,
    pub(crate) damp: RGBColor,
    pub(crate) quiet: RGBColor,
    pub(crate) good: RGBColor,
}

impl Look {
    pub(crate) fn palette(self) -> Palette {
        match self {
            Self::Light => Palette {
                ground: RGBColor(255, 253, 248),
                ink: RGBColor(43, 33, 24),
                warm: RGBColor(154, 62, 18),
                damp: RGBColor(35, 80, 110),
                quiet: RGBColor(101, 88, 74),
                good: RGBColor(31, 92, 61),
            },
            Self::Dark => Palette {
                ground: RGBColor(42, 33, 26),
                ink: RGBColor(243, 234, 217),
                warm: RGBColor(255, 170, 120),
                damp: RGBColor(150, 200, 232),
                quiet: RGBColor(192, 177, 154),
                good: RGBColor(143, 208, 164),
            },
        }
    }
}

/// One of the two panels: what is drawn as a full and as a thin line, and the half width of the band.
struct Panel<'a> {
    caption: &'a str,
    colour: RGBColor,
    main: &'a dyn Fn(&Air) -> f64,
    thin: &'a dyn Fn(&Air) -> Option<f64>,
    spread: &'a dyn Fn(&Expected) -> f64,
    target: (f64, f64),
}

/// The chart as an SVG document.
///
/// # Errors
/// What the drawing library says; nothing is known to make it fail.
pub(crate) fn svg(chart: &Chart) -> Result<String, String> {
    let mut document = String::new();
    {
        let root = SVGBackend::with_string(&mut document, chart.size()).into_drawing_area();
        let drawn = draw(&root, chart).and_then(|()| root.present().map_err(|e| e.to_string()));
        drawn.map_err(|e| format!("drawing the chart: {e}"))?;
    }
    Ok(document)
}

impl Chart {
    /// Flat on a wide screen, nearly square on a phone.
    fn size(&self) -> (u32, u32) {
        (self.width_px, if self.width_px < 700 { self.width_px } else { self.width_px * 56 / 100 })
    }
}

fn draw(root: &DrawingArea<SVGBackend<'_>, Shift>, chart: &Chart) -> Result<(), String> {
    let (palette, unit) = (chart.look.palette(), chart.temp_unit);
    root.fill(&palette.ground).map_err(|e| e.to_string())?;
    let (above, below) = root.split_vertically(chart.size().1 / 2);
    let temperature = Panel {
        caption: &format!("{}: temperature, dew point, {}", chart.name, unit.sign()),
        colour: palette.warm,
        main: &|air| unit.of(air.temp_c),
        thin: &|air| physics::air::dew_point_c(air.temp_c, air.rh_pct).ok().map(|dew_c| unit.of(dew_c)),
        spread: &|expected| unit.of_difference(expected.spread_k),
        target: (unit.of(chart.target[0].0), unit.of(chart.target[0].1)),
    };
    let humidity = Panel {
        caption: "Relative humidity, %, and EMC of wood, % MC",
        colour: palette.damp,
        main: &|air| air.rh_pct,
        thin: &|air| physics::wood::emc_pct(air.temp_c, air.rh_pct).ok(),
        spread: &|expected| expected.spread_rh_pct,
        target: chart.target[1],
    };
    panel(&above, chart, &temperature).map_err(|e| e.to_string())?;
    panel(&below, chart, &humidity).map_err(|e| e.to_string())
}

type Drawn = Result<(), Box<dyn std::error::Error>>;

fn panel(area: &DrawingArea<SVGBackend<'_>, Shift>, chart: &Chart, panel: &Panel<'_>) -> Drawn {
    let (low, high) = range(chart, panel);
    let (Palette { ink, quiet, good, .. }, width) = (chart.look.palette(), f64::from(chart.width_px));
    let hours = |at_ms: i64| (at_ms - chart.from_ms) as f64 / 3_600_000.0;
    let mut context = ChartBuilder::on(area)
        .caption(panel.caption, ("sans-serif", 17).into_font().color(&ink))
        .margin_top(8)
        .margin_right((width * (1.0 - PLOT.1)).round() as u32)
        .x_label_area_size(28)
        .y_label_area_size((width * PLOT.0).round() as u32)
        .build_cartesian_2d(0.0..hours(chart.to_ms), low..high)?;
    let label = |h: &f64| {
        let at = instant(chart.from_ms + (h * 3_600_000.0) as i64).with_timezone(&chart.zone);
        at.format("%a %H:%M").to_string()
    };
    context
        .configure_mesh()
        .x_labels(if width < 700.0 { 4 } else { 9 })
        .y_labels(6)
        .light_line_style(TRANSPARENT)
        .bold_line_style(quiet.mix(0.25))
        .axis_style(quiet)
        .label_style(("sans-serif", 14).into_font().color(&ink))
        .x_label_formatter(&label)
        .y_label_formatter(&|value| format!("{value:.0}"))
        .draw()?;
    let (least, most) = panel.target;
    let target = [(0.0, least.clamp(low, high)), (hours(chart.to_ms), most.clamp(low, high))];
    context.draw_series([Rectangle::new(target, good.mix(0.14).filled())])?;
    let edge = |side: f64| {
        let at = move |(at_ms, e): &(i64, Expected)| (hours(*at_ms), (panel.main)(&e.air) + side * (panel.spread)(e));
        chart.expected.iter().map(at)
    };
    let band: Vec<(f64, f64)> = edge(1.0).chain(edge(-1.0).collect::<Vec<_>>().into_iter().rev()).collect();
    if band.len() > 2 {
        context.draw_series([Polygon::new(band, panel.colour.mix(0.2))])?;
    }
    context.draw_series(LineSeries::new(edge(0.0), panel.colour.mix(0.6)))?;
    let thin = chart.recorded.iter().filter_map(|(at_ms, air)| Some((hours(*at_ms), (panel.thin)(air)?)));
    context.draw_series(LineSeries::new(thin, quiet))?;
    let main = chart.recorded.iter().map(|(at_ms, air)| (hours(*at_ms), (panel.main)(air)));
    context.draw_series(LineSeries::new(main, panel.colour.stroke_width(2)))?;
    let upright = |at_ms: i64| [(hours(at_ms), low), (hours(at_ms), high)];
    let marks = chart.mark_ms.iter().map(|at_ms| PathElement::new(upright(*at_ms), good.mix(0.8)));
    context.draw_series(marks)?;
    context.draw_series([PathElement::new(upright(chart.now_ms.clamp(chart.from_ms, chart.to_ms)), ink.mix(0.5))])?;
    Ok(())
}

/// Lowest and highest value to show, with a little air around.
fn range(chart: &Chart, panel: &Panel<'_>) -> (f64, f64) {
    let recorded = chart.recorded.iter().flat_map(|(_, air)| [Some((panel.main)(air)), (panel.thin)(air)]);
    let expected = chart.expected.iter().flat_map(|(_, e)| {
        let (middle, spread) = ((panel.main)(&e.air), (panel.spread)(e));
        [Some(middle - spread), Some(middle + spread)]
    });
    let values = recorded.chain(expected).flatten().chain([panel.target.0, panel.target.1]);
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (low - 1.0, high + 1.0)
}
