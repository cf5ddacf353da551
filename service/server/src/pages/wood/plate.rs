//! A plate on the page of the wood: what it holds now, when it is back in the shop's band, what the air does to it.

use clock::{Run, Start, Target, Times};
use facts::{Cut, FacesOpen, PlateAdded};

use crate::{pages::choice::WOODS, routes::moisture::waits_badly, state::State};

/// A plate as it is now and what comes.
pub(super) struct PlateCard {
    pub(super) name: String,
    pub(super) made: String,
    pub(super) moisture: String,
    pub(super) state: String,
    pub(super) in_band: bool,
    pub(super) back: String,
    pub(super) boxed: String,
    /// What the air does to it, if it waits badly.
    pub(super) warning: String,
}

/// The measures of a plate, in words.
fn made(plate: &PlateAdded) -> String {
    let wood = WOODS.iter().find(|(_, of)| *of == plate.species).map_or("", |(word, _)| word);
    let cut = if plate.cut == Cut::Quarter { "quarter-sawn" } else { "flat-sawn" };
    let faces = if plate.faces_open == FacesOpen::One { "one face open" } else { "both faces open" };
    format!("{wood}, {cut}, {} mm thick, {} mm across, {faces}", plate.thickness_mm, plate.width_mm)
}

/// A plate of an instrument nobody has put anywhere: it cannot be run.
pub(super) fn unplaced(plate: &PlateAdded) -> PlateCard {
    let (moisture, back, boxed, warning) = Default::default();
    let state = "not followed: nobody said where the instrument is".into();
    PlateCard { name: plate.name.clone(), made: made(plate), state, in_band: false, moisture, back, boxed, warning }
}

/// The three times of a run, in words.
pub(super) fn times<T: Copy>(times: Times<T>, text: impl Fn(T) -> String) -> String {
    let said = |time: Option<T>| time.map_or_else(|| "not in this air".into(), &text);
    match (times.earliest, times.likely) {
        (None, None) => "not in this air".into(),
        _ => format!("earliest {}, likely {}, safe {}", said(times.earliest), said(times.likely), said(times.safe)),
    }
}

impl State {
    pub(super) fn plate_card(&self, run: &Run<'_>, target: Target, now_ms: i64) -> PlateCard {
        let [low, likely, high] = run.moisture_pct();
        let in_band = run.in_band(target);
        let begun = match run.start {
            Start::Measured => "from its measured moisture",
            Start::Assumed => "taken to have been in balance with the first air it was in",
            Start::Forgotten => "what it held at first counts no more",
        };
        let back = times(run.back(target), |ms| self.clock_text(ms, now_ms));
        let boxed = times(run.back_in_target_air(target), |hours| format!("{hours:.0} h"));
        PlateCard {
            name: run.plate.name.clone(),
            made: made(run.plate),
            moisture: format!("{likely:.1} % of moisture ({low:.1} to {high:.1})"),
            state: format!(
                "as in air of {:.0} % RH: {} the shop's band; {begun}",
                target.equivalent_rh_pct(likely),
                if in_band { "in" } else { "out of" }
            ),
            in_band,
            back: if in_band { String::new() } else { format!("Back in the band where it is: {back}.") },
            boxed: if in_band { String::new() } else { format!("In a box in the middle of the band: {boxed}.") },
            warning: run.waiting(target).map_or_else(String::new, |waiting| waits_badly(run, waiting)),
        }
    }
}
