//! A bench to throw at, furnished once for all that is thrown.

use std::sync::LazyLock;

use bench::Bench;
use tokio::runtime::Runtime;

pub static BENCH: LazyLock<(Runtime, Bench)> = LazyLock::new(|| {
    let runtime = Runtime::new().expect("a runtime");
    let bench = runtime.block_on(async {
        let bench = Bench::small().await;
        bench.furnish().await;
        bench
    });
    (runtime, bench)
});
