//! What is tidied away at night: old readings, means, finished deliveries, kept answers, sessions nobody uses.
//!
//! What is old is told by the clock, and a clock may be wrong by decades. So a leap over time in which nothing was written
//! down is not believed before a fortnight has been lived behind it; until then everything is as old as it was before the
//! leap, and whoever is told learns why. A shop that rested for so long is tidied a fortnight later, which does no harm.

use std::sync::Arc;

use facts::{AlertId, AlertKind, AlertRaised};
use store::Mean;

use crate::{alerts::alarm, now::instant, problem::Problem, state::State};

const DAY_MS: i64 = 24 * 3_600_000;
/// A time without a word that is longer than this may be a clock set wrong, days: a shop's summer holiday is shorter.
/// Common practice, no source.
const LEAP: i64 = 30;
/// Days lived behind a leap until it is believed: whoever sees the alert has a fortnight.
const BELIEVED: i64 = 14;
/// How long finished deliveries and kept answers stay.
pub(crate) const DELIVERIES_KEPT_MS: i64 = 14 * DAY_MS;

/// Old readings no open cure needs become quarter-hour means; older means, finished deliveries and kept answers go. Each
/// instance forgets them; the one on duty puts the means in their place.
pub(crate) async fn step(state: &Arc<State>) -> Result<(), Problem> {
    let now_ms = believed_ms(state).await?;
    let store = &state.settings.store;
    let before = |days: u32| now_ms - i64::from(days) * DAY_MS;
    let zones: Vec<_> = state.bench().zones().map(|zone| zone.id.clone()).collect();
    for zone in zones {
        let before_ms = before(store.keep_readings_days);
        let old = state.bench().readings_before(zone.as_str(), before_ms);
        let Some((stays_ms, readings)) = old else { continue };
        if state.others.on_duty() {
            let (of_zone, means) = (zone.clone(), means(&readings));
            state.act(move |database| database.thin_readings(&of_zone, stays_ms, &means)).await?;
        }
        state.shared.bench_mut().forget_readings_before(zone.as_str(), before_ms);
    }
    if !state.others.on_duty() {
        return Ok(());
    }
    let means_ms = before(store.keep_means_days);
    state.act(move |database| database.forget_means(means_ms)).await?;
    state.act(move |database| database.forget_finished(now_ms - DELIVERIES_KEPT_MS)).await
}

/// The time that what is old is told by: now, or the beginning of the last day before a leap that is not believed yet, so that
/// nothing goes that had not gone by then. The leap is told.
async fn believed_ms(state: &Arc<State>) -> Result<i64, Problem> {
    let now_ms = state.now().ms();
    let days = state.read(move |database| database.days_on_record(now_ms, BELIEVED as usize + 2)).await?;
    let Some(leapt) = leap(now_ms.div_euclid(DAY_MS), &days) else { return Ok(now_ms) };
    if state.others.on_duty() {
        tell(state, leapt, now_ms).await?;
    }
    Ok(leapt.from * DAY_MS)
}

/// Days between which nothing was written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Leap {
    from: i64,
    to: i64,
}

/// The leap that is not believed yet, if there is one; `days` on record are told the newest first.
fn leap(today: i64, days: &[i64]) -> Option<Leap> {
    let behind = std::iter::once(&today).chain(days);
    let leapt = behind.zip(days).find(|(to, from)| *to - *from > LEAP).map(|(to, from)| Leap { from: *from, to: *to });
    leapt.filter(|leapt| today - leapt.to < BELIEVED)
}

/// Tells it once.
async fn tell(state: &Arc<State>, Leap { from, to }: Leap, now_ms: i64) -> Result<(), Problem> {
    let id = AlertId::new(format!("clock-leapt:{from}:{to}")).expect("a word and two numbers make an id");
    if state.bench().alerts().contains_key(&id) {
        return Ok(());
    }
    let date = |day: i64| instant(day * DAY_MS).format("%-d %B %Y");
    let raised = AlertRaised {
        id,
        alert_kind: AlertKind::ClockLeapt,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(now_ms),
        late: false,
        title: "Is the clock of this machine right?".into(),
        body: format!(
            "Nothing was written down between {} and {}. If the clock is wrong, set it: times go by it, and what was told \
             meanwhile may be too early. Nothing old is tidied away until {}.",
            date(from),
            date(to),
            date(to + BELIEVED)
        ),
    };
    alarm::tell(state, raised, "").await
}

/// Quarter-hour means of a zone's one series: what its clocks ran on, corrected and combined.
fn means(readings: &[(i64, clock::Air)]) -> Vec<Mean> {
    const QUARTER_MS: i64 = 15 * 60_000;
    let quarter = |at_ms: i64| at_ms.div_euclid(QUARTER_MS) * QUARTER_MS;
    let of = |part: &[(i64, clock::Air)], value: fn(&clock::Air) -> f64| {
        let values = || part.iter().map(|(_, air)| value(air));
        let mean = values().sum::<f64>() / part.len() as f64;
        [mean, values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max)]
    };
    let mean = |part: &[(i64, clock::Air)]| Mean {
        from_ms: quarter(part[0].0),
        n: part.len() as u32,
        temp_c: of(part, |air| air.temp_c),
        rh_pct: of(part, |air| air.rh_pct),
    };
    readings.chunk_by(|a, b| quarter(a.0) == quarter(b.0)).map(mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leap_is_doubted_until_a_fortnight_was_lived_behind_it() {
        let at = |from: i64, to: i64| Some(Leap { from, to });
        for (today, days, leapt) in [
            (100, vec![], None),
            (100, vec![100], None),
            (100, vec![100, 99, 71, 41, 11], None),
            // Nothing on record since: today itself is behind the leap.
            (100, vec![69, 68], at(69, 100)),
            (100, vec![70, 69], None),
            (5000, vec![5000, 100, 99], at(100, 5000)),
            (5013, vec![5013, 5000, 100], at(100, 5000)),
            (5014, vec![5013, 5000, 100], None),
            // One leap behind another: the later is doubted first.
            (9005, vec![9004, 9000, 5000, 100], at(5000, 9000)),
        ] {
            assert_eq!(leap(today, &days), leapt, "on day {today} with {days:?}");
        }
    }
}
