//! A SenML pack is taken, or is a whole problem.
#![no_main]

use std::sync::LazyLock;

use bench::Bench;
use libfuzzer_sys::fuzz_target;
use tokio::runtime::Runtime;

static BENCH: LazyLock<(Runtime, Bench)> = LazyLock::new(|| {
    let runtime = Runtime::new().expect("a runtime");
    let bench = runtime.block_on(async {
        let bench = Bench::small().await;
        bench.furnish().await;
        bench
    });
    (runtime, bench)
});

fuzz_target!(|input: &[u8]| {
    let (runtime, bench) = &*BENCH;
    runtime.block_on(bench::thrown::readings(bench, "/api/v1/readings/senml?zone=bench", "application/senml+json", input));
});
