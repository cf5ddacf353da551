//! Climate alerts: air out of the shop's band for longer than the delay is told once, with what it touches and what
//! to do. An excursion is named by when it began, so that looking again tells nothing twice.

use std::sync::Arc;

use clock::{AirWatch, Bench, Excursion, Trouble};
use facts::{AlertId, AlertKind, AlertRaised};

use crate::{
    alerts::{alarm, words},
    now::instant,
    problem::Problem,
    state::State,
};

/// Tells every excursion that has not been told.
///
/// # Errors
/// When the store failed; what was not told is looked at again.
pub(crate) async fn step(state: &Arc<State>) -> Result<(), Problem> {
    let now_ms = state.now().ms();
    let watch = state.settings.shop.watch();
    let raised: Vec<AlertRaised> = {
        let bench = state.bench();
        let excursions = bench.excursions(now_ms, &watch);
        let told = |raised: &AlertRaised| bench.alerts().contains_key(&raised.id);
        excursions.iter().map(|e| alert(state, &bench, e, &watch)).filter(|raised| !told(raised)).collect()
    };
    for raised in raised {
        alarm::tell(state, raised, "").await?;
    }
    Ok(())
}

fn alert(state: &State, bench: &Bench, excursion: &Excursion, watch: &AirWatch) -> AlertRaised {
    let Excursion { zone, trouble, since_ms, air } = excursion;
    let name = bench.zone(zone.as_str()).map_or(zone.as_str(), |set| &set.name);
    let (slug, what, mend) = words_of(*trouble);
    let id = format!("climate-{zone}-{slug}-{}", since_ms / 1000);
    let since = instant(*since_ms).with_timezone(&state.zone).format("%a %H:%M");
    let touched: Vec<String> = bench.cures_in(zone.as_str()).map(|cure| words::place(bench, cure)).collect();
    let touches = match touched.as_slice() {
        [] => "Nothing is curing there.".into(),
        touched => format!("Curing there: {}.", touched.join("; ")),
    };
    let waiting: Vec<&str> = bench.instruments_in(zone).map(|instrument| instrument.name.as_str()).collect();
    let waits = if waiting.is_empty() { String::new() } else { format!(" Instruments there: {}.", waiting.join("; ")) };
    let unit = state.settings.shop.temp_unit;
    AlertRaised {
        id: AlertId::new(id).expect("a zone, a word and a number make an alert id"),
        alert_kind: AlertKind::Climate,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(since_ms + watch.delay_ms),
        late: false,
        title: format!("{what}: {name}, {} and {:.0} % RH", unit.text(air.temp_c), air.rh_pct),
        body: format!(
            "Since {since}. The band is {:.0} to {:.0} {} and {:.0} to {:.0} % RH. {touches}{waits} {mend}",
            unit.of(watch.temp_c.0),
            unit.of(watch.temp_c.1),
            unit.sign(),
            watch.rh_pct.0,
            watch.rh_pct.1
        ),
    }
}

/// A word for the id, what is wrong, and what to do. Common practice, no source.
fn words_of(trouble: Trouble) -> (&'static str, &'static str, &'static str) {
    match trouble {
        Trouble::Cold => {
            ("cold", "Too cold", "Warm the room before the next glue-up; look at what cures for findings.")
        }
        Trouble::Warm => ("warm", "Too warm", "Open times are short; shade and air the room."),
        Trouble::Dry => ("dry", "Too dry", "Humidify, and put instruments in their cases: dry air opens cracks."),
        Trouble::Damp => ("damp", "Too damp", "Dehumidify; lay no solvent finish, it may blush."),
        Trouble::Cooling => ("cooling", "Cooling fast", "Close doors and windows; cover instruments and wet finish."),
        Trouble::Drying => ("drying", "Drying fast", "Close doors and windows; put instruments in their cases."),
        Trouble::DewPoint => (
            "dew-point",
            "Near the dew point over a wet coat",
            "Warm the piece or dry the air; water on a wet film leaves it dull. ISO 8502-4 guidance: stay 3 °C above.",
        ),
    }
}
