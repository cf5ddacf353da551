//! Alerts about sensors: one that fell silent, and a hygrometer whose calibration is old. Each is told once: its id
//! names the silence, or the year.

use std::sync::{Arc, atomic::Ordering};

use facts::{AlertId, AlertKind, AlertRaised, SensorId};

use crate::{
    alerts::{alarm, words},
    now::instant,
    problem::Problem,
    state::State,
};

const DAY_MS: i64 = 24 * 3_600_000;

/// Tells every sensor that has fallen silent. Returns how many were told.
///
/// # Errors
/// When the store failed; what was not told is told by the next step.
pub(crate) async fn silence(state: &Arc<State>) -> Result<usize, Problem> {
    let now_ms = state.now().ms();
    let silent_ms = i64::from(state.settings.sensors.silent_minutes) * 60_000;
    // While the service was down nobody could hear them.
    if now_ms - state.working_since_ms.load(Ordering::SeqCst) < silent_ms {
        return Ok(0);
    }
    let alerts: Vec<AlertRaised> = {
        let bench = state.bench();
        let mut alerts = Vec::new();
        for zone in bench.zones() {
            for (sensor, track) in bench.sensors(zone.id.as_str()) {
                let Some(since_ms) = clock::silent_since(track, silent_ms, now_ms) else { continue };
                let named = sensor.map_or("unnamed", |sensor| sensor.as_str());
                let id = AlertId::new(format!("silent:{}:{named}:{}", zone.id, since_ms / 1000));
                let Ok(id) = id else { continue };
                if !bench.alerts().contains_key(&id) {
                    alerts.push(silent(state, &bench, zone, sensor, since_ms, id));
                }
            }
        }
        alerts
    };
    let told = alerts.len();
    for raised in alerts {
        alarm::tell(state, raised, "").await?;
    }
    Ok(told)
}

fn silent(
    state: &State,
    bench: &clock::Bench,
    zone: &facts::ZoneSet,
    sensor: Option<&SensorId>,
    since_ms: i64,
    id: AlertId,
) -> AlertRaised {
    let now_ms = state.now().ms();
    let local = |ms: i64| instant(ms).with_timezone(&state.zone).format("%a %H:%M").to_string();
    let who = sensor.map_or_else(|| "the sensor".to_string(), |sensor| format!("sensor \"{sensor}\""));
    let mut body = format!("{who} in {} has given no usable reading since {}. ", zone.name, local(since_ms));
    let silent_ms = i64::from(state.settings.sensors.silent_minutes) * 60_000;
    let others: Vec<&str> = bench
        .sensors(zone.id.as_str())
        .into_iter()
        .filter(|(other, track)| *other != sensor && track.last().is_some_and(|(ms, _)| now_ms - ms < silent_ms))
        .map(|(other, _)| other.map_or("an unnamed sensor", |other| other.as_str()))
        .collect();
    let resting: Vec<String> = bench
        .cures_in(zone.id.as_str())
        .map(|cure| format!("{} ({})", words::place(bench, cure), cure.begun.id))
        .collect();
    body.push_str(&match (others.as_slice(), resting.is_empty()) {
        ([], true) => "Nothing is curing there. ".to_string(),
        ([], false) => format!("On it rest {}; their times count as assumed. ", resting.join(", ")),
        (others, true) => format!("{} still speaks there. ", others.join(", ")),
        (others, false) => format!("{} still speaks; by it go {}. ", others.join(", "), resting.join(", ")),
    });
    let held = state.intake.notes().get(&(zone.id.clone(), sensor.cloned())).is_some_and(|note| !note.held.is_empty());
    if held {
        body.push_str(&format!("Some of its readings are held: GET /api/v1/zones/{}/quarantine. ", zone.id));
    }
    body.push_str(&format!(
        "Look at its battery, its place and the way to the service; until it speaks, read a dial and send it with POST \
         /api/v1/zones/{}/readings.",
        zone.id
    ));
    AlertRaised {
        id,
        alert_kind: AlertKind::SensorSilent,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(since_ms + silent_ms),
        late: false,
        title: format!("Silent since {}: {who} in {}", local(since_ms), zone.name),
        body,
    }
}

/// Reminds of every hygrometer whose calibration is old, once a year. Returns how many were told.
///
/// # Errors
/// When the store failed.
pub(crate) async fn calibrations(state: &Arc<State>) -> Result<usize, Problem> {
    let (now_ms, good_ms) = (state.now().ms(), i64::from(state.settings.sensors.calibrate_days) * DAY_MS);
    let due: Vec<AlertRaised> = {
        let bench = state.bench();
        let of_sensor = |(sensor, all): (&SensorId, &Vec<clock::Calibration>)| {
            let last = all.last()?;
            let times = (now_ms - last.from_ms) / good_ms;
            let day = instant(last.from_ms).with_timezone(&state.zone).date_naive();
            let id = AlertId::new(format!("calibrate:{sensor}:{day}:{times}")).ok()?;
            (times > 0 && !bench.alerts().contains_key(&id)).then(|| AlertRaised {
                id,
                alert_kind: AlertKind::CalibrationDue,
                cure: None,
                instrument: None,
                stage: String::new(),
                due_at: instant(last.from_ms + times * good_ms),
                late: false,
                title: format!("Calibrate sensor \"{sensor}\""),
                body: format!(
                    "It was last held against salts on {day}. Let it stand half a day in a closed box over wet table \
                     salt, then over wet magnesium chloride, and send what it read with POST \
                     /api/v1/sensors/{sensor}/calibrations; until then its readings are corrected as before."
                ),
            })
        };
        bench.calibrations().iter().filter_map(of_sensor).collect()
    };
    let told = due.len();
    for raised in due {
        alarm::tell(state, raised, "").await?;
    }
    Ok(told)
}
