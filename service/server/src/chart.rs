//! The chart of a zone: temperature and dew point above, relative humidity and EMC below; what was recorded, the band
//! of what is expected, the target band, and a mark where each glue-up or coat began. Drawn by the plotters library.

use chrono_tz::Tz;
use clock::{Air, Expected};
use plotters::{coord::Shift, prelude::*};

use crate::now::instant;

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
}

/// Size in pixels; an SVG scales.
const SIZE: (u32, u32) = (1000, 560);
/// The usual band of a workshop: common practice, no source; within the 40 to 55 % RH of the ASHRAE handbook's advice.
const TARGET: [(f64, f64); 2] = [(18.0, 26.0), (40.0, 55.0)];
const WARM: RGBColor = RGBColor(154, 62, 18);
const DAMP: RGBColor = RGBColor(35, 80, 110);
const QUIET: RGBColor = RGBColor(110, 118, 120);
const GOOD: RGBColor = RGBColor(11, 92, 70);

/// One of the two panels: what is drawn as a full and as a thin line, and the half width of the band.
struct Panel<'a> {
    caption: &'a str,
    colour: RGBColor,
    main: fn(&Air) -> f64,
    thin: fn(&Air) -> Option<f64>,
    spread: fn(&Expected) -> f64,
    target: (f64, f64),
}

/// The chart as an SVG document.
///
/// # Errors
/// What the drawing library says; nothing is known to make it fail.
pub(crate) fn svg(chart: &Chart) -> Result<String, String> {
    let mut document = String::new();
    {
        let root = SVGBackend::with_string(&mut document, SIZE).into_drawing_area();
        let drawn = draw(&root, chart).and_then(|()| root.present().map_err(|e| e.to_string()));
        drawn.map_err(|e| format!("drawing the chart: {e}"))?;
    }
    Ok(document)
}

fn draw(root: &DrawingArea<SVGBackend<'_>, Shift>, chart: &Chart) -> Result<(), String> {
    root.fill(&WHITE).map_err(|e| e.to_string())?;
    let title = format!("{}: temperature and dew point, °C", chart.name);
    let (above, below) = root.split_vertically(SIZE.1 / 2);
    let temperature = Panel {
        caption: &title,
        colour: WARM,
        main: |air| air.temp_c,
        thin: |air| physics::air::dew_point_c(air.temp_c, air.rh_pct).ok(),
        spread: |expected| expected.spread_k,
        target: TARGET[0],
    };
    let humidity = Panel {
        caption: "Relative humidity, %, and equilibrium moisture content of wood, % MC",
        colour: DAMP,
        main: |air| air.rh_pct,
        thin: |air| physics::wood::emc_pct(air.temp_c, air.rh_pct).ok(),
        spread: |expected| expected.spread_rh_pct,
        target: TARGET[1],
    };
    panel(&above, chart, &temperature).map_err(|e| e.to_string())?;
    panel(&below, chart, &humidity).map_err(|e| e.to_string())
}

type Drawn = Result<(), Box<dyn std::error::Error>>;

fn panel(area: &DrawingArea<SVGBackend<'_>, Shift>, chart: &Chart, panel: &Panel<'_>) -> Drawn {
    let (low, high) = range(chart, panel);
    let hours = |at_ms: i64| (at_ms - chart.from_ms) as f64 / 3_600_000.0;
    let mut context = ChartBuilder::on(area)
        .caption(panel.caption, ("sans-serif", 18))
        .margin(8)
        .margin_right(40)
        .x_label_area_size(28)
        .y_label_area_size(44)
        .build_cartesian_2d(0.0..hours(chart.to_ms), low..high)?;
    let label = |h: &f64| {
        let at = instant(chart.from_ms + (h * 3_600_000.0) as i64).with_timezone(&chart.zone);
        at.format("%a %H:%M").to_string()
    };
    context
        .configure_mesh()
        .x_labels(9)
        .y_labels(6)
        .light_line_style(TRANSPARENT)
        .bold_line_style(QUIET.mix(0.2))
        .axis_style(QUIET)
        .label_style(("sans-serif", 14))
        .x_label_formatter(&label)
        .draw()?;
    let (least, most) = panel.target;
    let target = [(0.0, least.clamp(low, high)), (hours(chart.to_ms), most.clamp(low, high))];
    context.draw_series([Rectangle::new(target, GOOD.mix(0.1).filled())])?;
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
    context.draw_series(LineSeries::new(thin, QUIET))?;
    let main = chart.recorded.iter().map(|(at_ms, air)| (hours(*at_ms), (panel.main)(air)));
    context.draw_series(LineSeries::new(main, panel.colour.stroke_width(2)))?;
    let upright = |at_ms: i64| [(hours(at_ms), low), (hours(at_ms), high)];
    let marks = chart.mark_ms.iter().map(|at_ms| PathElement::new(upright(*at_ms), GOOD.mix(0.8)));
    context.draw_series(marks)?;
    context.draw_series([PathElement::new(upright(chart.now_ms.clamp(chart.from_ms, chart.to_ms)), BLACK.mix(0.4))])?;
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
