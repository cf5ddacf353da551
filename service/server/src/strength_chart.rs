//! The chart of strength: for each joint that still cures what it has developed against what the strings ask, from when it
//! was glued to some way past the time it is enough. Drawn by the plotters library.

use clock::{JointStanding, StringUp};
use plotters::{coord::Shift, prelude::*};

/// Height of one joint's panel, in pixels; an SVG scales.
const PANEL_PX: u32 = 230;
/// Narrower than this there is no room to say in the heading what each line is.
const NARROW_PX: u32 = 700;
/// Most joints drawn: a page holds no more.
const DRAWN: usize = 6;
const SURE: RGBColor = RGBColor(11, 92, 70);
const ASKED: RGBColor = RGBColor(154, 62, 18);
const QUIET: RGBColor = RGBColor(110, 118, 120);

/// The chart as an SVG document, so many pixels wide; a line of words where no joint cures.
///
/// # Errors
/// What the drawing library says; nothing is known to make it fail.
pub(crate) fn svg(up: &StringUp, width_px: u32) -> Result<String, String> {
    let drawn: Vec<&JointStanding> = up.joints.iter().filter(|joint| !joint.curve.is_empty()).take(DRAWN).collect();
    let size = (width_px, PANEL_PX * drawn.len().max(1) as u32);
    let mut document = String::new();
    {
        let root = SVGBackend::with_string(&mut document, size).into_drawing_area();
        let done = draw(&root, &drawn, up.now_ms).and_then(|()| Ok(root.present()?));
        done.map_err(|e| format!("drawing the chart: {e}"))?;
    }
    Ok(document)
}

type Drawn = Result<(), Box<dyn std::error::Error>>;

fn draw(root: &DrawingArea<SVGBackend<'_>, Shift>, joints: &[&JointStanding], now_ms: i64) -> Drawn {
    root.fill(&WHITE)?;
    if joints.is_empty() {
        root.draw_text("No joint cures: there is no curve.", &("sans-serif", 20).into_text_style(root), (30, 40))?;
        return Ok(());
    }
    for (area, joint) in root.split_evenly((joints.len(), 1)).iter().zip(joints) {
        panel(area, joint, now_ms)?;
    }
    Ok(())
}

fn panel(area: &DrawingArea<SVGBackend<'_>, Shift>, joint: &JointStanding, now_ms: i64) -> Drawn {
    let (first, last) = (joint.curve[0], joint.curve[joint.curve.len() - 1]);
    let hours = |at_ms: i64| (at_ms - first.at_ms) as f64 / 3_600_000.0;
    let name = &joint.joint.name;
    let caption = match area.dim_in_pixel().0 {
        ..NARROW_PX => format!("{name}: share of full strength"),
        _ => format!("{name}: share of full strength, safe (thick), likely (thin), asked (line across)"),
    };
    let mut context = ChartBuilder::on(area)
        .caption(caption, ("sans-serif", 18))
        .margin(8)
        // Room for the ticks and, beneath them, for what they are.
        .x_label_area_size(46)
        .y_label_area_size(48)
        .build_cartesian_2d(0.0..hours(last.at_ms), 0.0..1.05)?;
    context
        .configure_mesh()
        .x_desc("hours since it was glued")
        .y_labels(5)
        .light_line_style(TRANSPARENT)
        .bold_line_style(QUIET.mix(0.2))
        .axis_style(QUIET)
        .label_style(("sans-serif", 14))
        .draw()?;
    let of =
        |share: fn(&clock::CurvePoint) -> f64| joint.curve.iter().map(move |point| (hours(point.at_ms), share(point)));
    context.draw_series(LineSeries::new(of(|point| point.likely), QUIET))?;
    context.draw_series(LineSeries::new(of(|point| point.safe), SURE.stroke_width(3)))?;
    let across = [(0.0, joint.required), (hours(last.at_ms), joint.required)];
    context.draw_series([PathElement::new(across, ASKED.stroke_width(2))])?;
    let now = hours(now_ms.clamp(first.at_ms, last.at_ms));
    context.draw_series([PathElement::new([(now, 0.0), (now, 1.05)], BLACK.mix(0.4))])?;
    Ok(())
}
