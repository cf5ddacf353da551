//! Speed of the rule workshop: `cargo bench -p bench-tests --bench rules`.
//!
//! A call of a script against the native function it stands for; a month integrated by a rule's table against the same
//! month by the native function; a what-if over a year of five-minute readings; a hundred scripts read again. The figures
//! stand in DEVELOPERS.md.
#![allow(missing_docs)]

use std::sync::Arc;

use bench::{
    Bench, Shop,
    stock::{self, MINUTE_MS},
};
use benchclock::Now;
use clock::{Air, Law, Laws, Settings, UsualDay};
use divan::{Bencher, black_box};
use facts::{JointState, Porosity, VersionId};
use rules::{Host, Rule, Rulebook};

fn main() {
    divan::main();
}

const JOINT: JointState = JointState { gap_um: 100.0, film_um: 0.0, porosity: Porosity::Normal };

/// A rule whose rate is one host function, as a slow epoxy's is.
const ARRHENIUS: &str = r#"
fn material() { #{ name: "x", kind: "adhesive", reference: #{ temp_c: 20, rh_pct: 50 }, cautions: [], sources: [] } }
fn rate(air) { arrhenius(air.temp_c, 20, 50) }
fn milestones(joint) { [#{ stage: "clamp_off", hours: 8 }] }
fn expected() { [#{ temp_c: 20, rh_pct: 50, stage: "clamp_off", hours: 8, within: 0.01, source: "x" }] }
"#;

fn shipped(name: &str) -> String {
    std::fs::read_to_string(bench::root().join(format!("scripts/materials/{name}.rhai"))).expect("a shipped rule")
}

fn native() -> Law {
    Arc::new(|air: Air| physics::rate::arrhenius(air.temp_c, 20.0, 50.0).unwrap_or(0.0))
}

/// Judging is sampling the rate at 6,601 airs, all at once where the script can be asked so, and compiling.
#[divan::bench(args = ["arrhenius", "aliphatic-resin", "oil-varnish", "slow-epoxy"])]
fn judging_one_script(bencher: Bencher<'_, '_>, name: &str) {
    let text = if name == "arrhenius" { ARRHENIUS.to_string() } else { shipped(name) };
    let host = Arc::new(Host::new());
    bencher.bench_local(|| black_box(Rule::check(&host, name, &text).is_ok()));
}

/// Every expected row is one call of `rate` by itself: a hundredth of what a hundred rows more take is a call.
#[divan::bench(args = [1, 101])]
fn judging_by_so_many_expected_rows(bencher: Bencher<'_, '_>, rows: usize) {
    let row = r#"#{ temp_c: 20, rh_pct: 50, stage: "clamp_off", hours: 8, within: 0.01, source: "x" }"#;
    let rest = ARRHENIUS.split("fn expected()").next().expect("what stands before");
    let text = format!("{rest}fn expected() {{ [{}] }}", vec![row; rows].join(", "));
    let host = Arc::new(Host::new());
    bencher.bench_local(|| black_box(Rule::check(&host, "x", &text).is_ok()));
}

/// A law of 6,601 airs sampled from a `rate` that can be asked about many airs at once, and from one that cannot: a `switch`
/// makes the interpreter call it once for each.
#[divan::bench(args = ["many", "each"])]
fn sampling_one_law(bencher: Bencher<'_, '_>, asked: &str) {
    let rate = "fn rate(air) { arrhenius(air.temp_c, 20, 50) }";
    let each = "fn rate(air) { switch 1 { 1 => arrhenius(air.temp_c, 20, 50), _ => 0.0 } }";
    let text = if asked == "many" { ARRHENIUS.to_string() } else { ARRHENIUS.replace(rate, each) };
    let host = Arc::new(Host::new());
    bencher
        .with_inputs(|| Rule::compile(&host, "x", &text).expect("a good rule"))
        .bench_local_refs(|rule| black_box(rule.law("").is_ok()));
}

#[divan::bench]
fn compiling_one_script(bencher: Bencher<'_, '_>) {
    let (text, host) = (shipped("aliphatic-resin"), Arc::new(Host::new()));
    bencher.bench_local(|| black_box(Rule::compile(&host, "x", &text).is_ok()));
}

#[divan::bench]
fn asking_a_rule_about_one_joint(bencher: Bencher<'_, '_>) {
    let rule = Rule::check(&Arc::new(Host::new()), "x", &shipped("aliphatic-resin")).expect("a good rule");
    let air = Air { temp_c: 20.0, rh_pct: 50.0 };
    bencher.bench_local(|| black_box(rule.application(black_box(air), &JOINT).is_ok()));
}

struct Fixed(Law);

impl Laws for Fixed {
    fn law(&self, _: &VersionId, _: &str) -> Result<Law, String> {
        Ok(self.0.clone())
    }
}

const NOW_MS: i64 = 1_772_438_400_000;

fn bench_with(days: i64) -> clock::Bench {
    let mut bench = clock::Bench::new(Settings::default(), Arc::new(Fixed(native())), Box::new(UsualDay));
    stock::furniture(NOW_MS).iter().for_each(|recorded| bench.take(recorded));
    for i in 0..=days * 24 * 12 {
        bench.take_reading(&stock::reading("bench", NOW_MS - (days * 24 * 12 - i) * 5 * MINUTE_MS));
    }
    bench
}

/// A month of five-minute readings summed by the law of a script and by the native function it stands for.
#[divan::bench(args = ["native", "script"])]
fn a_month_integrated(bencher: Bencher<'_, '_>, law: &str) {
    let bench = bench_with(30);
    let rule = Rule::check(&Arc::new(Host::new()), "x", ARRHENIUS).expect("a good rule");
    let law = if law == "native" { native() } else { rule.law("").expect("a law") };
    bencher.bench_local(|| {
        let trial = bench.trial_in("bench", NOW_MS - 30 * 24 * 60 * MINUTE_MS, &law).expect("a zone");
        black_box(trial.age_h(NOW_MS));
    });
}

/// A draft judged, summed over a year of five-minute readings, with a curve of 97 points and its milestones.
#[divan::bench]
fn a_what_if_over_a_year(bencher: Bencher<'_, '_>) {
    let (bench, book) = (bench_with(365), Rulebook::new());
    let text = shipped("aliphatic-resin");
    let from_ms = NOW_MS - 365 * 24 * 60 * MINUTE_MS;
    bencher.bench_local(|| {
        let (rule, _) = book.draft("x", &text).expect("a good rule");
        let said = rule.application(Air { temp_c: 20.0, rh_pct: 50.0 }, &JOINT).expect("an answer");
        let trial = bench.trial_in("bench", from_ms, &rule.law(&said.mode).expect("a law")).expect("a zone");
        for i in 0..97 {
            let age_h = trial.age_h(from_ms + (NOW_MS - from_ms) / 96 * i);
            black_box(rule.strength(age_h, &JOINT).is_ok());
        }
        for target in &said.milestones {
            black_box(trial.milestone(target, NOW_MS));
        }
    });
}

/// What is changed in the scripts of a reload. Each has nothing kept of it: what is measured is reading, judging, and putting
/// in force.
#[derive(Clone, Copy, Debug)]
enum Changed {
    Rate,
    Remark,
}

/// A hundred scripts in the folder, so many of them changed in this; by way of saving one over HTTP, which reads nothing
/// else, and of reading the whole folder.
#[divan::bench(
    args = [(98, Changed::Rate), (98, Changed::Remark), (1, Changed::Rate), (0, Changed::Rate)],
    sample_count = 5,
    sample_size = 1
)]
fn a_hot_reload_of_a_hundred_scripts(bencher: Bencher<'_, '_>, (changed, what): (usize, Changed)) {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let shop = Shop::small();
    let folder = shop.settings.scripts.folder.join("materials");
    let names = ["aliphatic-resin", "hot-hide-glue", "slow-epoxy", "thin-cyanoacrylate", "shellac", "oil-varnish"];
    let write = |n: usize, round: usize| {
        let text = shipped(names[n % names.len()]);
        let text = match what {
            Changed::Remark => format!("{text}\n// {round}\n"),
            Changed::Rate => {
                // Another rate, and within what the script's own table allows.
                let changed = format!("fn rate(air) {{ of_sheet(air) * 1.00000{round:03} }}\nfn of_sheet(air) {{");
                text.replace("fn rate(air) {", &changed)
            }
        };
        std::fs::write(folder.join(format!("rule-{n}.rhai")), text).expect("room for a rule");
    };
    (0..98).for_each(|n| write(n, 0));
    let service = runtime.block_on(Bench::open(shop, Now::standing_at(NOW_MS), false));
    let mut round = 0;
    bencher
        .with_inputs(|| {
            round += 1;
            (0..changed).for_each(|n| write(n, round));
        })
        .bench_local_values(|()| {
            let read = runtime.block_on(benchclock::Service::scripts_step(service.state())).expect("a folder");
            assert_eq!(read, changed);
        });
    runtime.block_on(service.stop());
}
