//! The string-up sheet: one page of an instrument, to look at and to print and lay beside it.

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{ItemKind, StringUp, Times, Wait};
use facts::Stage;
use physics::statics::Stress;

use super::frame::{Frame, show};
use crate::{
    alerts::words::ESTIMATE,
    now::instant,
    routes::{Answer, Shop, string_up_of},
    state::State,
    string_up::{not_judged, standing, word},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/string-up-sheet").route(web::get().to(sheet)));
}

async fn sheet(shop: Shop, id: web::Path<String>) -> Answer {
    let up = string_up_of(&shop, &id).await?;
    show(&shop.string_up_page(&up), HttpResponse::Ok())
}

/// A string of the set.
pub(super) struct StringRow {
    pub(super) note: String,
    pub(super) gauge: String,
    pub(super) pull: String,
}

/// A joint under its load.
pub(super) struct JointRow {
    pub(super) name: String,
    pub(super) load: String,
    pub(super) asked: String,
    pub(super) there: String,
    pub(super) waits: bool,
}

/// Something that must hold.
pub(super) struct ItemRow {
    pub(super) kind: &'static str,
    pub(super) name: String,
    pub(super) state: String,
    /// When it may be relied on: first, most likely, and when that does no harm; all empty where it waits for no time.
    pub(super) times: [String; 3],
    pub(super) says: String,
}

/// A stage of stringing up, with a place for a tick.
pub(super) struct StageRow {
    /// Its word in a form; empty while it may not be said.
    pub(super) value: &'static str,
    pub(super) stage: &'static str,
    pub(super) when: String,
    pub(super) done: bool,
}

/// The sheet.
#[derive(Template)]
#[template(path = "string_up_sheet.html")]
pub(super) struct StringUpSheet {
    pub(super) frame: Frame,
    pub(super) id: String,
    pub(super) instrument: String,
    pub(super) printed: String,
    pub(super) says: String,
    /// At pitch, and what bears the strings is not ready.
    pub(super) slack_off: bool,
    /// When everything that only takes time is there; all empty once it is.
    pub(super) times: [String; 3],
    /// Strings that are likely to break.
    pub(super) doubts: Vec<String>,
    pub(super) elsewhere: Vec<String>,
    pub(super) strings: Vec<StringRow>,
    pub(super) total: String,
    pub(super) margin: String,
    pub(super) joints: Vec<JointRow>,
    pub(super) curves: bool,
    pub(super) items: Vec<ItemRow>,
    pub(super) stages: Vec<StageRow>,
    /// The air it lies in now; empty where nobody said where it is.
    pub(super) air: String,
    pub(super) not_judged: Vec<String>,
    pub(super) cautions: Vec<String>,
    pub(super) estimate: &'static str,
}

impl State {
    fn air_of(&self, up: &StringUp) -> String {
        let bench = self.bench();
        let Some((zone, _)) = bench.place(up.instrument.as_str()) else { return String::new() };
        let air = bench.air_at(zone.as_str(), up.now_ms);
        let name = bench.zone(zone.as_str()).map_or_else(|| zone.to_string(), |set| set.name.clone());
        air.map_or_else(String::new, |air| {
            format!("{name}: {}, {:.0} % RH", self.settings.shop.temp_unit.text(air.temp_c), air.rh_pct)
        })
    }

    /// What the sheet says of an answer.
    pub(super) fn string_up_page(&self, up: &StringUp) -> StringUpSheet {
        let day = |ms: i64| instant(ms).with_timezone(&self.zone).format("%a %-d %b, %H:%M").to_string();
        let when = |ms: Option<i64>| ms.map_or_else(|| "not in this air".into(), day);
        let all_of = |times: Times<i64>| match times.safe.is_some_and(|ms| ms <= up.now_ms) {
            true => Default::default(),
            false => [times.earliest, times.likely, times.safe].map(when),
        };
        let fitted = &up.strung.fitted;
        let string = |(string, n): (&facts::StringFitted, &f64)| StringRow {
            note: string.note.to_string(),
            gauge: format!(
                "{:.2} mm ({:.0}){}",
                string.gauge_mm,
                string.gauge_mm / 0.0254,
                if string.wound { ", wound" } else { "" }
            ),
            pull: format!("{n:.0} N"),
        };
        let joint = |joint: &clock::JointStanding| JointRow {
            name: joint.joint.name.clone(),
            load: joint.stress.zip(joint.bound).map_or_else(
                || if joint.load.is_some() { "no string pull" } else { "nobody said how" }.into(),
                |(stress, bound)| {
                    let Stress { shear_mpa, peel_mpa } = stress;
                    format!(
                        "shear {shear_mpa:.2} of {:.1} MPa, peel {peel_mpa:.2} of {:.1} MPa ({})",
                        bound.shear_mpa, bound.peel_mpa, bound.species
                    )
                },
            ),
            asked: match joint.load {
                Some(_) => format!("{:.0} %", joint.required * 100.0),
                None => "not said".into(),
            },
            there: format!("{:.0} %", joint.developed * 100.0),
            waits: joint.item.holds(up.now_ms),
        };
        let item = |item: &clock::Item| ItemRow {
            kind: word(item.kind),
            name: item.name.clone(),
            state: standing(item, up.now_ms).replace('_', " "),
            times: if let Wait::Until(times) = item.wait { all_of(times) } else { Default::default() },
            says: item.says.clone(),
        };
        let stage = |due: &clock::StageDue| StageRow {
            value: if due.reached_ms.is_none() && up.may_be_done(due) { due.stage.word() } else { "" },
            stage: match due.stage {
                Stage::HalfTension => "half tension",
                Stage::FullPitch => "full pitch",
                Stage::Rechecked => "looked at again after a day",
            },
            when: due.reached_ms.map_or_else(|| format!("from {}", when(due.due_ms)), |ms| format!("done {}", day(ms))),
            done: due.reached_ms.is_some(),
        };
        let others = up.items.iter().filter(|item| item.kind != ItemKind::Joint || item.holds(up.now_ms));
        StringUpSheet {
            frame: self.frame("/instruments"),
            id: up.instrument.to_string(),
            instrument: self.bench().instruments().get(&up.instrument).map_or_else(String::new, |i| i.name.clone()),
            printed: instant(up.now_ms).with_timezone(&self.zone).format("%a %-d %b %Y, %H:%M").to_string(),
            says: self.said_of(up),
            slack_off: up.too_soon().is_some(),
            times: if up.strung.stages.contains_key(&Stage::FullPitch) {
                Default::default()
            } else {
                all_of(up.times())
            },
            doubts: clock::doubts(fitted),
            elsewhere: self.elsewhere_said(up),
            strings: fitted.strings.iter().zip(&up.pulls.each_n).map(string).collect(),
            total: format!("{:.0} N on {:.1} mm, A4 = {:.0} Hz", up.pulls.total_n(), fitted.scale_mm, fitted.a4_hz),
            margin: format!("{:.1}", up.margin),
            joints: up.joints.iter().map(joint).collect(),
            curves: up.joints.iter().any(|joint| !joint.curve.is_empty()),
            items: others.map(item).collect(),
            stages: up.schedule().iter().map(stage).collect(),
            air: self.air_of(up),
            not_judged: not_judged(up),
            cautions: self.string_up_cautions(up),
            estimate: ESTIMATE,
        }
    }
}
