//! Pages as finished values: what the templates show, worked out here, so that a template holds no rules.

use askama::Template;
use clock::{Bench, Cure, CureLine};
use facts::{Level, Meets};

use crate::{
    alerts::words::{self, ESTIMATE, place, spoken},
    looked_at::LookedAt,
    now::instant,
    routes::ABRADE,
    state::State,
    wire::state_of,
};

/// A moment as a page shows it: for people, and for the script that counts down to it.
pub(crate) struct Moment {
    pub(crate) text: String,
    pub(crate) at_ms: i64,
}

/// Something that can be done now.
pub(crate) struct ReadyCard {
    pub(crate) cure: String,
    pub(crate) what: String,
    pub(crate) clamps: String,
    pub(crate) spoiled: bool,
}

/// An alert nobody has answered.
pub(crate) struct AlertCard {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) body: String,
    pub(crate) when: String,
    pub(crate) late: bool,
}

/// A glue-up or coat that cures.
pub(crate) struct CureCard {
    pub(crate) id: String,
    pub(crate) place: String,
    pub(crate) material: String,
    pub(crate) zone: String,
    pub(crate) stage: String,
    pub(crate) closes: bool,
    pub(crate) when: Option<Moment>,
    pub(crate) assumed: bool,
    pub(crate) spoiled: bool,
    /// What to do before the next coat, once the window to recoat has closed.
    pub(crate) recoat: &'static str,
}

/// A step to do next.
pub(crate) struct NextCard {
    pub(crate) title: String,
    pub(crate) job: String,
    pub(crate) waits: bool,
}

/// The air of a zone.
pub(crate) struct AirCard {
    pub(crate) name: String,
    pub(crate) air: String,
    pub(crate) read: String,
}

/// The bench board.
#[derive(Template)]
#[template(path = "board.html")]
pub(crate) struct BoardPage {
    pub(crate) shop: String,
    pub(crate) now: String,
    pub(crate) ready: Vec<ReadyCard>,
    pub(crate) alerts: Vec<AlertCard>,
    pub(crate) alerts_more: usize,
    pub(crate) curing: Vec<CureCard>,
    pub(crate) next: Vec<NextCard>,
    pub(crate) airs: Vec<AirCard>,
    pub(crate) clamps_free: usize,
    pub(crate) clamps_all: usize,
    pub(crate) estimate: &'static str,
}

/// A milestone of one cure.
pub(crate) struct MilestoneRow {
    pub(crate) stage: String,
    pub(crate) closes: bool,
    pub(crate) reached: bool,
    pub(crate) earliest: String,
    pub(crate) likely: String,
    pub(crate) told: Option<Moment>,
    pub(crate) next: String,
}

/// One glue-up or coat.
#[derive(Template)]
#[template(path = "cure.html")]
pub(crate) struct CurePage {
    pub(crate) shop: String,
    pub(crate) id: String,
    pub(crate) place: String,
    pub(crate) material: String,
    pub(crate) zone: String,
    pub(crate) started: String,
    pub(crate) state: &'static str,
    pub(crate) recoat: &'static str,
    pub(crate) assumed: bool,
    pub(crate) milestones: Vec<MilestoneRow>,
    pub(crate) findings: Vec<(&'static str, String, String)>,
    pub(crate) cautions: Vec<String>,
    pub(crate) clamps_on: String,
    pub(crate) looked_at: LookedAt,
    pub(crate) next_step: String,
    pub(crate) estimate: &'static str,
}

/// A choice in a form.
pub(crate) struct Choice {
    pub(crate) value: String,
    pub(crate) text: String,
}

/// Registering a glue-up.
#[derive(Template)]
#[template(path = "glue_up.html")]
pub(crate) struct GlueUpPage {
    pub(crate) shop: String,
    pub(crate) wrong: String,
    pub(crate) steps: Vec<Choice>,
    pub(crate) joints: Vec<Choice>,
    pub(crate) materials: Vec<Choice>,
    pub(crate) zones: Vec<Choice>,
    pub(crate) clamps: Vec<Choice>,
}

/// Most cures the board shows; a wall can hold no more.
const ON_THE_WALL: usize = 200;
/// Most alerts shown whole.
const ALERTS_SHOWN: usize = 12;

impl State {
    /// An hour today, or a day and an hour.
    pub(crate) fn clock_text(&self, at_ms: i64, now_ms: i64) -> String {
        let (at, now) = (instant(at_ms).with_timezone(&self.zone), instant(now_ms).with_timezone(&self.zone));
        let format = if at.date_naive() == now.date_naive() {
            "%H:%M"
        } else if (at - now).num_days().abs() < 6 {
            "%a %H:%M"
        } else {
            "%-d %b %H:%M"
        };
        at.format(format).to_string()
    }

    pub(crate) fn board_page(&self) -> BoardPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let board = bench.board(now_ms, ON_THE_WALL);
        let ready = board.cures.iter().filter(|line| line.release_clamps).map(|line| ReadyCard {
            cure: line.cure.begun.id.to_string(),
            what: place(&bench, line.cure),
            clamps: line.cure.clamps_on.iter().map(|c| c.as_str()).collect::<Vec<_>>().join(", "),
            spoiled: line.spoiled,
        });
        let mut open: Vec<_> = bench.alerts().values().filter(|alert| alert.state == clock::AlertState::Open).collect();
        open.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
        let alerts = open.iter().take(ALERTS_SHOWN).map(|alert| AlertCard {
            id: alert.raised.id.to_string(),
            title: alert.raised.title.clone(),
            body: alert.raised.body.trim_end_matches(ESTIMATE).trim_end().into(),
            when: self.clock_text(alert.raised.due_at.timestamp_millis(), now_ms),
            late: alert.raised.late,
        });
        BoardPage {
            shop: self.settings.shop.name.clone(),
            now: instant(now_ms).with_timezone(&self.zone).format("%A %-d %B, %H:%M").to_string(),
            ready: ready.collect(),
            alerts: alerts.collect(),
            alerts_more: open.len().saturating_sub(ALERTS_SHOWN),
            curing: board
                .cures
                .iter()
                .filter(|l| l.next.is_some())
                .map(|l| self.cure_card(&bench, l, now_ms))
                .collect(),
            next: board
                .next
                .iter()
                .map(|next| NextCard {
                    title: next.step.title.clone(),
                    job: next.title.into(),
                    waits: next.waits_for.is_some(),
                })
                .collect(),
            airs: board
                .zones
                .iter()
                .map(|line| AirCard {
                    name: line.name.into(),
                    air: format!("{:.1} °C  {:.0} % RH", line.air.temp_c, line.air.rh_pct),
                    read: match line.read_ms {
                        Some(ms) => format!("read {}", self.clock_text(ms, now_ms)),
                        None => "assumed: no sensor".into(),
                    },
                })
                .collect(),
            clamps_free: board.clamps.iter().filter(|clamp| clamp.on.is_none()).count(),
            clamps_all: board.clamps.len(),
            estimate: ESTIMATE,
        }
    }

    fn material_name(&self, cure: &Cure) -> String {
        let rule = self.rulebook.rule(&cure.begun.rule_version);
        rule.map_or_else(|_| cure.begun.material.to_string(), |rule| rule.sheet.name.clone())
    }

    fn cure_card(&self, bench: &Bench, line: &CureLine<'_>, now_ms: i64) -> CureCard {
        let target = line.next.map(|m| &line.cure.begun.milestones[m]);
        CureCard {
            id: line.cure.begun.id.to_string(),
            place: place(bench, line.cure),
            material: self.material_name(line.cure),
            zone: bench.zones().find(|z| z.id == *line.zone).map_or_else(String::new, |z| z.name.clone()),
            stage: target.map_or_else(String::new, |target| spoken(&target.stage)),
            closes: target.is_some_and(|target| target.meets == Meets::Closes),
            when: line.next_ms.map(|at_ms| Moment { text: self.clock_text(at_ms, now_ms), at_ms }),
            assumed: line.climate.is_assumed(),
            spoiled: line.spoiled,
            recoat: self.abrade(bench, line.cure, now_ms),
        }
    }

    /// "Abrade before recoat", if it is so.
    fn abrade(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> &'static str {
        let on_top = cure.covered_ms().is_none() && cure.withdrawn.is_none();
        let closed = on_top && matches!(bench.recoat_window(cure, now_ms), clock::RecoatWindow::Closed(_));
        if closed { ABRADE } else { "" }
    }

    pub(crate) fn cure_page(&self, bench: &Bench, cure: &Cure) -> CurePage {
        let now_ms = self.now().ms();
        let line = bench.cure_line(cure, now_ms);
        let text =
            |at_ms: Option<i64>| at_ms.map_or_else(|| "not in this air".into(), |ms| self.clock_text(ms, now_ms));
        let row = |m: clock::Milestone<'_>| {
            let closes = m.target.meets == Meets::Closes;
            let told_ms = if closes { m.earliest_ms } else { m.safe_ms };
            MilestoneRow {
                stage: spoken(&m.target.stage),
                closes,
                reached: m.reached,
                earliest: text(m.earliest_ms),
                likely: text(m.likely_ms),
                told: told_ms.map(|at_ms| Moment { text: self.clock_text(at_ms, now_ms), at_ms }),
                next: m.target.next.clone(),
            }
        };
        let level = |level| match level {
            Level::Note => "note",
            Level::Caution => "caution",
            Level::Defect => "defect",
        };
        CurePage {
            shop: self.settings.shop.name.clone(),
            id: cure.begun.id.to_string(),
            place: place(bench, cure),
            material: self.material_name(cure),
            zone: bench.zones().find(|z| z.id == *line.zone).map_or_else(String::new, |z| z.name.clone()),
            started: self.clock_text(cure.begun.started_at.timestamp_millis(), now_ms),
            state: state_of(cure),
            recoat: self.abrade(bench, cure, now_ms),
            assumed: line.climate.is_assumed(),
            milestones: bench.milestones(cure, now_ms).into_iter().map(row).collect(),
            findings: self
                .findings(bench, cure, now_ms)
                .into_iter()
                .map(|f| (level(f.level), f.what, f.mend))
                .collect(),
            cautions: self
                .rulebook
                .rule(&cure.begun.rule_version)
                .map_or_else(|_| vec![], |r| r.sheet.cautions.clone()),
            clamps_on: cure.clamps_on.iter().map(|c| c.as_str()).collect::<Vec<_>>().join(", "),
            looked_at: self.looked_at(bench, cure, now_ms),
            next_step: bench.step_after(cure).map_or_else(String::new, |step| step.title.clone()),
            estimate: words::ESTIMATE,
        }
    }

    pub(crate) fn glue_up_page(&self, wrong: String) -> GlueUpPage {
        let bench = self.bench();
        let instrument =
            |id: &facts::InstrumentId| bench.instruments().get(id).map_or_else(|| id.to_string(), |i| i.name.clone());
        let mut steps = Vec::new();
        for job in bench.jobs().values().filter(|job| !job.closed) {
            let ready = bench
                .steps(job)
                .into_iter()
                .filter(|(step, state, _)| step.kind == facts::StepKind::GlueUp && *state == clock::StepState::Ready);
            steps.extend(ready.map(|(step, ..)| Choice {
                value: format!("{} {}", job.opened.id, step.id),
                text: format!("{}: {}", job.opened.title, step.title),
            }));
        }
        let materials = bench.in_force().iter().filter_map(|(id, version)| {
            let rule = self.rulebook.rule(version).ok()?;
            (rule.sheet.kind == rules::MaterialKind::Adhesive)
                .then(|| Choice { value: id.to_string(), text: rule.sheet.name.clone() })
        });
        GlueUpPage {
            shop: self.settings.shop.name.clone(),
            wrong,
            steps,
            joints: bench
                .joints()
                .values()
                .map(|joint| Choice {
                    value: joint.id.to_string(),
                    text: format!("{}, {}", instrument(&joint.instrument), joint.name),
                })
                .collect(),
            materials: materials.collect(),
            zones: bench.zones().map(|zone| Choice { value: zone.id.to_string(), text: zone.name.clone() }).collect(),
            clamps: bench
                .clamps()
                .values()
                .filter(|clamp| clamp.on.is_none())
                .map(|clamp| Choice { value: clamp.added.id.to_string(), text: clamp.added.name.clone() })
                .collect(),
        }
    }
}
