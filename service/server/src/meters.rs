//! What is measured of the service itself, as Prometheus reads it: one list of names with what each means.

use metrics::{Unit, describe_counter, describe_gauge, describe_histogram, with_local_recorder};
use metrics_exporter_prometheus::{Matcher, PrometheusBuilder, PrometheusRecorder};

use crate::{now::Stopwatch, state::State};

/// How long after it was due an alert was told: seconds to an hour.
pub(crate) const LATENESS: &str = "benchclock_alert_lateness_seconds";
/// How long a commit to disk took.
pub(crate) const COMMIT: &str = "benchclock_commit_seconds";
/// How long making a bench plan took.
pub(crate) const PLAN: &str = "benchclock_plan_seconds";
/// How long a rule ran.
pub(crate) const SCRIPT: &str = "benchclock_script_seconds";

const LATENESS_BUCKETS: [f64; 10] = [0.01, 0.05, 0.1, 0.5, 1.0, 5.0, 30.0, 60.0, 300.0, 3600.0];
const SHORT_BUCKETS: [f64; 10] = [0.0001, 0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 10.0];

/// The meters of one shop. There are none of the process: what is noted without saying whose it is goes nowhere.
pub(crate) struct Meters(PrometheusRecorder);

impl Meters {
    /// Meters that stand at nothing.
    pub(crate) fn new() -> Self {
        let full = |name: &str| Matcher::Full(name.into());
        let buckets = "the list of buckets is not empty";
        let builder =
            PrometheusBuilder::new().set_buckets_for_metric(full(LATENESS), &LATENESS_BUCKETS).expect(buckets);
        let short = |builder: PrometheusBuilder, name| {
            builder.set_buckets_for_metric(full(name), &SHORT_BUCKETS).expect(buckets)
        };
        let meters = Self([COMMIT, SCRIPT, PLAN].into_iter().fold(builder, short).build_recorder());
        meters.note(describe);
        meters
    }

    /// Does something whose metrics macros write here.
    pub(crate) fn note<T>(&self, note: impl FnOnce() -> T) -> T {
        with_local_recorder(&self.0, note)
    }

    /// Puts what was noted one by one into its sums: it takes room until then, or until somebody reads it.
    pub(crate) fn sum_up(&self) {
        self.0.handle().run_upkeep();
    }

    /// Runs a rule and notes how long it took.
    pub(crate) fn timed<T>(&self, asked: &'static str, run: impl FnOnce() -> T) -> T {
        let watch = Stopwatch::started();
        let given = run();
        self.note(|| metrics::histogram!(SCRIPT, "asked" => asked).record(watch.passed().as_secs_f64()));
        given
    }
}

fn describe() {
    describe_counter!("benchclock_facts_total", "Facts written to the journal.");
    describe_counter!("benchclock_readings_total", "Readings taken.");
    describe_counter!(
        "benchclock_readings_offered_total",
        "Readings offered, by which way they came and how they ended."
    );
    describe_counter!("benchclock_deliveries_total", "Attempts to deliver an alert, by outcome.");
    describe_histogram!(LATENESS, Unit::Seconds, "How long after it was due an alert was told.");
    describe_histogram!(COMMIT, Unit::Seconds, "How long a commit took until it was on disk.");
    describe_histogram!(PLAN, Unit::Seconds, "How long making a bench plan took.");
    describe_histogram!(SCRIPT, Unit::Seconds, "How long a rule ran, by what it was asked.");
    describe_gauge!("benchclock_alarm_look_age_seconds", Unit::Seconds, "Time since the alarms were last looked at.");
    describe_gauge!("benchclock_build_info", "Always 1; the labels say which program and which SQLite this is.");
    describe_gauge!("benchclock_clock_doubted", "Whether the clock is behind what is on record, 0 or 1.");
    describe_gauge!("benchclock_cures_open", "Glue-ups and coats that are not closed.");
    describe_gauge!("benchclock_job_overdue", "Whether a recurring job is overdue, 0 or 1.");
    describe_gauge!("benchclock_mqtt_connected", "Whether the broker is reached, 0 or 1.");
    describe_gauge!("benchclock_sensor_age_seconds", Unit::Seconds, "Age of the last reading of a sensor.");
    describe_gauge!("benchclock_writes_waiting", "Writes that wait for the next commit.");
}

/// Brings what is not counted as it happens up to date, and writes everything down.
pub(crate) fn text(state: &State) -> String {
    let meters = &state.shared.meters;
    meters.note(|| look(state));
    meters.0.handle().render()
}

fn look(state: &State) {
    let labels = [("version", env!("CARGO_PKG_VERSION")), ("sqlite", store::Sqlite::version())];
    metrics::gauge!("benchclock_build_info", &labels).set(1.0);
    if let Some(passed) = state.alarm_looks.since() {
        metrics::gauge!("benchclock_alarm_look_age_seconds").set(passed.as_secs_f64());
    }
    metrics::gauge!("benchclock_clock_doubted").set(f64::from(u8::from(state.doubt().is_some())));
    if !state.settings.mqtt.url.is_empty() {
        let connected = state.intake.broker.status().connected;
        metrics::gauge!("benchclock_mqtt_connected").set(f64::from(u8::from(connected)));
    }
    metrics::gauge!("benchclock_writes_waiting").set(state.writer.waiting() as f64);
    {
        let (bench, now_ms) = (state.bench(), state.now().ms());
        let open = bench.cures().iter().filter(|cure| cure.is_open()).count();
        metrics::gauge!("benchclock_cures_open").set(open as f64);
        for zone in bench.zones() {
            for (sensor, said) in bench.sensors(zone.id.as_str()) {
                let Some((last_ms, _)) = said.last() else { continue };
                let sensor = sensor.map_or_else(String::new, ToString::to_string);
                let labels = [("zone", zone.id.to_string()), ("sensor", sensor)];
                metrics::gauge!("benchclock_sensor_age_seconds", &labels).set((now_ms - last_ms) as f64 / 1000.0);
            }
        }
    }
}
