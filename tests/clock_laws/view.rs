//! The whole state of a bench as text, so that two of them can be compared and a difference can be read.

use std::fmt::Write;

use clock::{Bench, Board, Cure, CureLine, Milestone, StringUp, Target, Wait, ZoneLine};

use super::shop::hour;

/// Text for what must be the same to the letter, numbers for what may differ by rounding.
#[derive(Default)]
pub(super) struct View {
    text: String,
    numbers: Vec<f64>,
}

/// Two orders of adding the same rates differ by less than this, hours: an age by far less than a millisecond of cure,
/// a time, which is rounded up to a millisecond, by one of them.
const ROUNDING_H: f64 = 1.1 / 3.6e6;
/// The air the shop wants.
const TARGET: Target = Target { rh_low_pct: 40.0, rh_high_pct: 55.0, temp_c: 22.0 };

#[track_caller]
pub(super) fn same(one: &View, other: &View) {
    assert_eq!(one.text, other.text);
    assert_eq!(one.numbers.len(), other.numbers.len(), "numbers in\n{}", one.text);
    for (i, (a, b)) in one.numbers.iter().zip(&other.numbers).enumerate() {
        assert!((a - b).abs() <= ROUNDING_H, "#{i} is {a} in one and {b} in the other of\n{}", one.text);
    }
}

impl View {
    /// Everything a bench says of itself at an instant. What is due is asked first, because asking moves alarms whose
    /// age is reached to the wall clock.
    pub(super) fn of(bench: &mut Bench, now_ms: i64) -> Self {
        let mut view = Self::default();
        let due = bench.due(now_ms, usize::MAX);
        view.due(&due);
        // While something is due the service asks again at once, whatever instant it is called by.
        let next_wake = bench.next_wake().map(|ms| ms.max(now_ms));
        view.time("next wake", next_wake);
        view.board(&bench.board(now_ms, usize::MAX));
        for cure in bench.cures() {
            view.cure(bench, cure, now_ms);
        }
        for mix in bench.mixes().values() {
            view.line(&format!("{mix:?}"));
            let gels = bench.gels(mix, now_ms);
            view.time("gels", gels.likely_ms);
        }
        for zone in bench.zones() {
            view.line(&format!("zone {zone:?}"));
            let timeline = bench.timeline(zone.id.as_str()).expect("a zone has a timeline");
            for i in 0..timeline.len() {
                view.line(&format!("  {:?} {:?}", timeline.get(i), timeline.apart(timeline.get(i).0)));
            }
            view.line(&format!("  {:?}", bench.outlook(zone.id.as_str()).map(|outlook| &outlook.steps[17])));
        }
        for job in bench.jobs().values() {
            view.line(&format!("{job:?} {:?}", bench.steps(job)));
        }
        for alert in bench.alerts().values() {
            view.line(&format!("{alert:?}"));
        }
        view.line(&format!("{:?}", bench.observations()));
        view.line(&format!("{:?} {:?}", bench.clamps(), bench.days()));
        view.line(&format!("{:?} {:?} {:?}", bench.instruments(), bench.joints(), bench.lots()));
        view.line(&format!("{:?} {:?}", bench.in_force(), bench.plates()));
        for instrument in bench.instruments().keys() {
            view.line(&format!("{instrument} is in {:?}", bench.place(instrument.as_str())));
            view.line(&format!("  {:?}", bench.wood(instrument, now_ms)));
            view.line(&format!("  {:?}", bench.setups(instrument.as_str())));
            if let Some(up) = bench.string_up(instrument, 4.0, TARGET, now_ms) {
                view.string_up(&up);
            }
        }
        view
    }

    fn string_up(&mut self, up: &StringUp) {
        self.line(&format!("  strung {:?} {:?}", up.strung, up.pulls));
        for item in &up.items {
            self.line(&format!("  {:?} {} {}", item.kind, item.id, item.mend));
            let times = match item.wait {
                Wait::Until(times) => [times.earliest, times.likely, times.safe],
                Wait::Nothing => [Some(0), None, None],
                Wait::Work => [None, Some(0), None],
                Wait::Never => [None, None, Some(0)],
            };
            times.into_iter().chain([item.half_safe_ms]).for_each(|at_ms| self.time("    wait", at_ms));
        }
        for stage in up.schedule() {
            self.time(&format!("  {:?} {:?}", stage.stage, stage.reached_ms), stage.due_ms);
        }
        self.numbers.extend(up.joints.iter().flat_map(|joint| [joint.required, joint.developed]));
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn time(&mut self, what: &str, at_ms: Option<i64>) {
        writeln!(self.text, "{what} {}", if at_ms.is_some() { "at" } else { "never" }).expect("text grows");
        self.numbers.extend(at_ms.map(hour));
    }

    fn due(&mut self, due: &[clock::Due]) {
        let mut lines: Vec<_> = due
            .iter()
            .map(|due| match due {
                clock::Due::Reached { cure, milestone, alert, due_ms, late } => {
                    (format!("due {cure} {milestone} {alert} {late}"), Some(*due_ms))
                }
                clock::Due::Gelling { mix, alert, due_ms, late } => {
                    (format!("gelling {mix} {alert} {late}"), Some(*due_ms))
                }
                clock::Due::Again { alert } => (format!("again {alert}"), None),
                clock::Due::Untrue { alert, now_due_ms } => (format!("untrue {alert}"), *now_due_ms),
            })
            .collect();
        lines.sort();
        lines.iter().for_each(|(line, at_ms)| self.time(line, *at_ms));
    }

    fn board(&mut self, board: &Board<'_>) {
        let Board { cures, next, zones, clamps, alerts_open } = board;
        self.line(&format!("board with {alerts_open} open alerts"));
        let mut lines: Vec<_> = cures.iter().collect();
        // Two milestones a rounding apart may stand either way round.
        lines.sort_by_key(|line| &line.cure.begun.id);
        for CureLine { cure, zone, next, next_ms, release_clamps, climate, broken } in lines {
            let id = &cure.begun.id;
            self.line(&format!("{id} in {zone}: {next:?} {release_clamps} {climate:?} {}", !broken.is_empty()));
            self.time("  next", *next_ms);
        }
        for next in next {
            self.line(&format!("next {} {} {:?}", next.job, next.step.id, next.waits_for));
        }
        for ZoneLine { zone, name, air, read_ms } in zones {
            self.line(&format!("{zone} {name} {air:?} {read_ms:?}"));
        }
        for clamp in clamps {
            self.line(&format!("{} {:?}", clamp.clamp, clamp.on));
            self.time("  free", clamp.free_ms);
        }
    }

    fn cure(&mut self, bench: &Bench, cure: &Cure, now_ms: i64) {
        let Cure { begun, recorded_ms, clamps_on, clamps_off_ms, withdrawn, broken, .. } = cure;
        self.line(&format!("cure {begun:?} {recorded_ms} {clamps_on:?} {clamps_off_ms:?} {withdrawn:?} {broken:?}"));
        self.line(&format!(
            "  open {} step done {} {:?} {:?}",
            cure.is_open(),
            cure.step_done(),
            bench.step_after(cure),
            cure.covered_ms()
        ));
        self.line(&format!("  {:?}", bench.climate(cure, now_ms)));
        self.line(&format!("  {:?}", bench.broken_limits(cure, now_ms)));
        self.numbers.extend(bench.age_h(cure, now_ms));
        for (m, milestone) in bench.milestones(cure, now_ms).into_iter().enumerate() {
            let Milestone { target, earliest_ms, likely_ms, safe_ms, reached } = milestone;
            self.line(&format!("  {} {reached} {:?}", target.stage, cure.told(m)));
            self.time("    earliest", earliest_ms);
            self.time("    likely", likely_ms);
            self.time("    safe", safe_ms);
        }
    }
}
