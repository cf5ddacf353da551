//! The chart of set-ups: the saddle to spare with its line and band, if three days foretell one, and beneath it relief,
//! action and saddle as they were measured. Drawn by the plotters library.

use chrono_tz::Tz;
use clock::{Setup, Wanted, spares};
use facts::SetupMeasured;
use physics::line::{band_80, weighted};
use plotters::{coord::Shift, prelude::*};

use crate::{
    chart::{Look, PLOT},
    now::instant,
    units::LengthUnit,
};

/// What a chart of set-ups shows.
pub(crate) struct SetupChart<'a> {
    pub(crate) setups: &'a [Setup],
    /// None where no saddle foretells anything.
    pub(crate) wanted: Option<Wanted>,
    pub(crate) zone: Tz,
    pub(crate) unit: LengthUnit,
    pub(crate) look: Look,
    /// Width in pixels; an SVG scales, but its letters do too.
    pub(crate) width_px: u32,
}

const YEAR_MS: f64 = 365.25 * 86_400_000.0;
/// How far past the last set-up the line is drawn, as a share of the time measured and at least, years.
const ONWARD: (f64, f64) = (0.75, 2.0);

/// The saddle to spare over time: points, line and band, in the unit of the chart.
struct Spare {
    points: Vec<(f64, f64)>,
    /// Year, low edge, line, high edge.
    line: Vec<(f64, [f64; 3])>,
}

type Drawn = Result<(), Box<dyn std::error::Error>>;

/// The chart as an SVG document; a line of words where nothing was measured.
///
/// # Errors
/// What the drawing library says; nothing is known to make it fail.
pub(crate) fn svg(chart: &SetupChart<'_>) -> Result<String, String> {
    let spare = chart.spare();
    let panel_px = if chart.width_px < 700 { chart.width_px * 6 / 10 } else { chart.width_px * 28 / 100 };
    let panels = if spare.is_some() { 2 } else { 1 };
    let mut document = String::new();
    {
        let root = SVGBackend::with_string(&mut document, (chart.width_px, panel_px * panels)).into_drawing_area();
        let drawn = chart.draw(&root, spare.as_ref()).and_then(|()| Ok(root.present()?));
        drawn.map_err(|e| format!("drawing the chart: {e}"))?;
    }
    Ok(document)
}

impl SetupChart<'_> {
    /// Years since the first set-up.
    fn year(&self, at_ms: i64) -> f64 {
        self.setups.first().map_or(0.0, |first| (at_ms - first.at_ms) as f64 / YEAR_MS)
    }

    /// Years that are shown: all that was measured, and some more for the line.
    fn years(&self) -> (f64, f64) {
        let last = self.setups.last().map_or(0.0, |last| self.year(last.at_ms));
        (last, last + (ONWARD.0 * last).max(ONWARD.1))
    }

    /// None where fewer than three days foretell nothing.
    fn spare(&self) -> Option<Spare> {
        clock::neck_angle(self.setups, self.wanted?)?;
        let spares = spares(self.setups, self.wanted?);
        let points: Vec<_> = spares.iter().map(|of| (self.year(of.at_ms), of.spare_mm, of.sigma_mm)).collect();
        let line = weighted(&points).ok()?;
        let (band, (_, end)) = (band_80(line.n_free), self.years());
        let at = |step: i32| {
            let year = end * f64::from(step) / 60.0;
            let (mm, se_mm) = line.at(year);
            (year, [-1.0, 0.0, 1.0].map(|edge| self.unit.of(mm + edge * band * se_mm)))
        };
        let points = points.iter().map(|(year, mm, _)| (*year, self.unit.of(*mm))).collect();
        Some(Spare { points, line: (0..=60).map(at).collect() })
    }

    fn draw(&self, root: &DrawingArea<SVGBackend<'_>, Shift>, spare: Option<&Spare>) -> Drawn {
        let palette = self.look.palette();
        root.fill(&palette.ground)?;
        if self.setups.is_empty() {
            let style = ("sans-serif", 18).into_font().color(&palette.ink);
            root.draw_text("No set-up was measured.", &style, (20, 30))?;
            return Ok(());
        }
        let areas = root.split_evenly((if spare.is_some() { 2 } else { 1 }, 1));
        if let (Some(spare), [above, ..]) = (spare, areas.as_slice()) {
            self.draw_spare(above, spare)?;
        }
        if let Some(below) = areas.last() {
            self.draw_measures(below)?;
        }
        Ok(())
    }

    fn draw_spare(&self, area: &DrawingArea<SVGBackend<'_>, Shift>, spare: &Spare) -> Drawn {
        let palette = self.look.palette();
        let caption = format!("Saddle to spare, {}: line with its 80 % band", self.unit.sign());
        let shown = spare.points.iter().map(|(_, of)| *of).chain(spare.line.iter().flat_map(|(_, edges)| *edges));
        let mut context = self.context(area, &caption, shown.chain([0.0]))?;
        let edge = |i: usize| spare.line.iter().map(move |(year, edges)| (*year, edges[i]));
        let band: Vec<_> = edge(0).chain(edge(2).collect::<Vec<_>>().into_iter().rev()).collect();
        context.draw_series([Polygon::new(band, palette.damp.mix(0.2))])?;
        // Straight: two points, where every step between would be rounded to a pixel.
        context.draw_series(LineSeries::new(edge(1).step_by(60), palette.damp.stroke_width(2)))?;
        context.draw_series([PathElement::new([(0.0, 0.0), (self.years().1, 0.0)], palette.warm.stroke_width(2))])?;
        let dots = spare.points.iter().map(|at| Circle::new(*at, 5, palette.damp.filled()));
        context.draw_series(dots)?;
        Ok(())
    }

    fn draw_measures(&self, area: &DrawingArea<SVGBackend<'_>, Shift>) -> Drawn {
        type Measure = fn(&SetupMeasured) -> Option<f64>;
        let palette = self.look.palette();
        let measures: [(Measure, RGBColor); 3] =
            [(|of| of.action_mm, palette.warm), (|of| of.saddle_mm, palette.damp), (|of| of.relief_mm, palette.good)];
        let points = |of: Measure| -> Vec<(f64, f64)> {
            let point = |setup: &Setup| Some((self.year(setup.at_ms), self.unit.of(of(&setup.measured)?)));
            self.setups.iter().filter_map(point).collect()
        };
        let shown = measures.iter().flat_map(|(of, _)| points(*of)).map(|(_, value)| value);
        let caption = format!("Measured, {}: action (triangle), saddle (disc), relief (cross)", self.unit.sign());
        let mut context = self.context(area, &caption, shown.chain([0.0]))?;
        for (i, (of, colour)) in measures.into_iter().enumerate() {
            let points = points(of);
            context.draw_series(LineSeries::new(points.iter().copied(), colour.mix(0.6)))?;
            // Told apart by shape, not by colour alone.
            match i {
                0 => drop(context.draw_series(points.iter().map(|at| TriangleMarker::new(*at, 7, colour.filled())))?),
                1 => drop(context.draw_series(points.iter().map(|at| Circle::new(*at, 5, colour.filled())))?),
                _ => drop(context.draw_series(points.iter().map(|at| Cross::new(*at, 5, colour.stroke_width(2))))?),
            }
        }
        Ok(())
    }

    /// A panel with its axes: years below, lengths at the side, as far as what is shown reaches.
    fn context<'b>(
        &self,
        area: &DrawingArea<SVGBackend<'b>, Shift>,
        caption: &str,
        shown: impl Iterator<Item = f64>,
    ) -> Result<Panel<'b>, Box<dyn std::error::Error>> {
        let (palette, width) = (self.look.palette(), f64::from(self.width_px));
        let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let air = ((high - low) * 0.1).max(self.unit.of(0.2));
        let end = self.years().1;
        let mut context = ChartBuilder::on(area)
            .caption(caption, ("sans-serif", 17).into_font().color(&palette.ink))
            .margin_top(8)
            .margin_right((width * (1.0 - PLOT.1)).round() as u32)
            .x_label_area_size(28)
            .y_label_area_size((width * PLOT.0).round().max(36.0) as u32)
            .build_cartesian_2d(0.0..end, (low - air)..(high + air))?;
        let first_ms = self.setups.first().map_or(0, |first| first.at_ms);
        let label = |year: &f64| {
            let at = instant(first_ms + (year * YEAR_MS) as i64).with_timezone(&self.zone);
            at.format(if end > 4.0 { "%Y" } else { "%b %Y" }).to_string()
        };
        let places = if self.unit == LengthUnit::In { 2 } else { 0 };
        context
            .configure_mesh()
            .x_labels(if width < 700.0 { 4 } else { 8 })
            .y_labels(6)
            .light_line_style(TRANSPARENT)
            .bold_line_style(palette.quiet.mix(0.25))
            .axis_style(palette.quiet)
            .label_style(("sans-serif", 14).into_font().color(&palette.ink))
            .x_label_formatter(&label)
            .y_label_formatter(&|value| format!("{value:.places$}"))
            .draw()?;
        Ok(context)
    }
}

type Panel<'b> = ChartContext<
    'b,
    SVGBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;
