//! Everything at once, for as long as is asked: `cargo build --release -p benchclock && cargo bench -p bench-tests --bench
//! crowd`. The real program on loopback with many zones that are read every minute, many open glue-ups, writers that
//! register more, and listeners of the event stream, one in ten of which never reads.
//!
//! `-- --minutes 10` is the long form; `--listeners`, `--zones`, `--cures` and `--writers` set the size; `--instances 3` has
//! so many share a database on PostgreSQL. What it prints:
//! how long the start took, how long each kind of request took, and processor and memory of the service minute by minute.
//! Figures stand in DEVELOPERS.md.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::{
    collections::BTreeMap,
    net::SocketAddr,
    sync::{
        Arc, Mutex,
        atomic::{AtomicU64, AtomicUsize, Ordering},
    },
    time::{Duration, Instant, SystemTime, UNIX_EPOCH},
};

use bench::{
    postgres,
    program::{Home, Program, cpu_s, status_of},
    stock,
};
use facts::Fact;
use store::{Database, Postgres, Saying, Sqlite};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
    time::{sleep, sleep_until},
};

/// Every zone is read so often, and every writer looks and registers something in between.
const ROUND: Duration = Duration::from_secs(60);
/// A start on a busy machine; it is printed, not held against anything.
const LONGEST_START: Duration = Duration::from_secs(600);
/// Glue-ups each writer registers in a round, and looks it takes at the board.
const GLUE_UPS: usize = 15;
const LOOKS: usize = 2;
/// One listener in so many never reads.
const SLOW: usize = 10;

/// The size of the crowd.
#[derive(Debug, Clone, Copy)]
struct Crowd {
    minutes: usize,
    listeners: usize,
    zones: usize,
    cures: usize,
    writers: usize,
    /// Instances that share a database on PostgreSQL; none is one instance on SQLite.
    instances: usize,
}

impl Crowd {
    fn asked() -> Self {
        let given: Vec<String> = std::env::args().collect();
        let of = |flag: &str, usual: usize| {
            let at = given.iter().position(|arg| arg == flag);
            at.map_or(usual, |at| given[at + 1].parse().unwrap_or_else(|_| panic!("{flag} takes a number")))
        };
        Self {
            minutes: of("--minutes", 1),
            listeners: of("--listeners", 1000),
            zones: of("--zones", 10_000),
            cures: of("--cures", 100_000),
            writers: of("--writers", 64),
            instances: of("--instances", 0),
        }
    }
}

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    // A connection is a file: one here and one in the service, which takes its own limit from here.
    rlimit::increase_nofile_limit(65_536).unwrap();
    let crowd = Crowd::asked();
    println!("{crowd:?}");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(gather(crowd));
}

async fn gather(crowd: Crowd) {
    let server = (crowd.instances > 0).then(postgres::Database::that_flushes);
    let mut homes: Vec<Home> = (0..crowd.instances.max(1)).map(|_| Home::new()).collect();
    let begun = Instant::now();
    if let Some(server) = &server {
        homes.iter_mut().for_each(|home| home.keep_in(server.url()));
        fill(&mut Postgres::open(&server.url(), None, "shop").unwrap(), crowd);
    } else {
        fill(&mut Sqlite::open(&homes[0].journal(), "shop").unwrap(), crowd);
    }
    println!("journal written in {:.1} s", begun.elapsed().as_secs_f64());
    let (mut programs, mut addresses) = (Vec::new(), Vec::<SocketAddr>::new());
    for home in &homes {
        let begun = Instant::now();
        let program = Program::serve_within(LONGEST_START, home, &[], &[]).await;
        addresses.push(program.url("").trim_start_matches("http://").parse().unwrap());
        let (took_s, process) = (begun.elapsed().as_secs_f64(), Processes(vec![program.id()]));
        println!("start {took_s:.1} s, {:.1} s of processor, {} MB", process.cpu_s(), process.memory_mb());
        programs.push(program);
    }
    let process = Processes(programs.iter().map(Program::id).collect());
    let timed = Timed::default();
    let heard = Arc::new(Heard::default());
    let ends = tokio::time::Instant::now() + ROUND * crowd.minutes as u32;
    let (leave, left) = tokio::sync::oneshot::channel();
    let crowded = (heard.clone(), addresses.clone());
    let listening = std::thread::spawn(move || listen_all(&crowded.1, crowd.listeners, &crowded.0, left));
    let local = tokio::task::LocalSet::new();
    for n in 0..crowd.writers {
        local.spawn_local(write(addresses[n % addresses.len()], crowd, n, ends, timed.clone()));
    }
    local.run_until(watch(&process, ends)).await;
    local.run_until(sleep(Duration::from_secs(2))).await;
    timed.print();
    let there = heard.listening.load(Ordering::Relaxed);
    println!(
        "{there} of {} listeners still there; {} events to each and {:.0} MB to all of those that read",
        crowd.listeners,
        heard.events.load(Ordering::Relaxed),
        heard.bytes.load(Ordering::Relaxed) as f64 / 1e6
    );
    assert_eq!(there, crowd.listeners, "a listener was dropped");
    // What was acknowledged is there, each once.
    let kept = programs[0].ids("/api/v1/glue-ups").await;
    let registered = timed.count("glue-up");
    assert_eq!(kept.len(), crowd.cures + registered, "{registered} were acknowledged");
    println!("{registered} glue-ups acknowledged, all of them kept; {} MB at the end", process.memory_mb());
    drop((local, leave));
    listening.join().unwrap();
    for program in programs {
        program.terminate().await;
    }
}

// ---- what is there before ----------------------------------------------------------------------------------------

fn now_ms() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_millis() as i64
}

/// Zones read every hour of the last day, and open glue-ups begun over it that last for months.
fn fill(database: &mut dyn Database, crowd: Crowd) {
    let text = std::fs::read_to_string(bench::root().join("scripts/materials/aliphatic-resin.rhai")).unwrap();
    let version = rules::Rule::version_of(&text).to_string();
    let begin_ms = now_ms() - 24 * 60 * stock::MINUTE_MS;
    let rule = facts::RulePutInForce {
        material: stock::id("aliphatic-resin"),
        version: stock::id(&version),
        file: "materials/aliphatic-resin.rhai".into(),
        text,
        override_reason: None,
    };
    let mut entries: Vec<_> = stock::furniture(begin_ms).into_iter().map(stock::entry).collect();
    entries.push(stock::entry(stock::recorded(0, begin_ms, Fact::RulePutInForce(rule))));
    let zone = |n: usize| format!("zone-{n}");
    entries.extend((0..crowd.zones).map(|n| stock::entry(stock::recorded(0, begin_ms, stock::zone(&zone(n))))));
    entries.extend((0..crowd.cures).map(|n| {
        let started_ms = begin_ms + (n as i64 % 1400) * stock::MINUTE_MS;
        stock::entry(stock::cure(n, &version, &zone(n % crowd.zones), started_ms, 5000.0))
    }));
    for part in entries.chunks(10_000) {
        database.commit(&[&Saying { entries: part.to_vec(), ..Saying::default() }]).unwrap();
    }
    for n in (0..crowd.zones).step_by(100) {
        let of_zone =
            |n: usize| (0..24).map(move |hour| stock::reading(&zone(n), begin_ms + hour * 60 * stock::MINUTE_MS));
        let readings = (n..crowd.zones.min(n + 100)).flat_map(of_zone).collect();
        database.commit(&[&Saying { readings, recorded_ms: begin_ms, ..Saying::default() }]).unwrap();
    }
}

// ---- who comes ---------------------------------------------------------------------------------------------------

#[derive(Default)]
struct Heard {
    listening: AtomicUsize,
    /// Counted by one of those that read.
    events: AtomicU64,
    bytes: AtomicU64,
}

/// Every listener, on a thread beside that of the writers, until told to leave.
fn listen_all(
    addresses: &[SocketAddr],
    listeners: usize,
    heard: &Arc<Heard>,
    leave: tokio::sync::oneshot::Receiver<()>,
) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let address = |n: usize| addresses[n % addresses.len()];
    let all: Vec<_> = (0..listeners).map(|n| runtime.spawn(listen(address(n), n, heard.clone()))).collect();
    // That the other side is dropped is the word to leave.
    drop(runtime.block_on(leave));
    drop(all);
}

/// Comes to the event stream; reads what comes, or nothing ever.
async fn listen(address: SocketAddr, n: usize, heard: Arc<Heard>) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(b"GET /api/v1/events HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n").await.unwrap();
    heard.listening.fetch_add(1, Ordering::Relaxed);
    if n.is_multiple_of(SLOW) {
        return std::future::pending().await;
    }
    let mut buffer = vec![0; 16 * 1024];
    loop {
        match stream.read(&mut buffer).await {
            Ok(0) | Err(_) => break,
            Ok(read) => {
                heard.bytes.fetch_add(read as u64, Ordering::Relaxed);
                if n == 1 {
                    let events = buffer[..read].windows(6).filter(|six| six == b"event:").count();
                    heard.events.fetch_add(events as u64, Ordering::Relaxed);
                }
            }
        }
    }
    heard.listening.fetch_sub(1, Ordering::Relaxed);
}

/// Milliseconds of each kind of request.
#[derive(Clone, Default)]
struct Timed(Arc<Mutex<BTreeMap<&'static str, Vec<f64>>>>);

impl Timed {
    fn add(&self, kind: &'static str, ms: f64) {
        self.0.lock().unwrap().entry(kind).or_default().push(ms);
    }

    fn count(&self, kind: &str) -> usize {
        self.0.lock().unwrap().get(kind).map_or(0, Vec::len)
    }

    fn print(&self) {
        for (kind, figures) in self.0.lock().unwrap().iter_mut() {
            figures.sort_by(f64::total_cmp);
            let at = |share: f64| figures[((figures.len() - 1) as f64 * share) as usize];
            println!(
                "{kind}: p50 {:.1} ms, p99 {:.1} ms, max {:.1} ms ({})",
                at(0.5),
                at(0.99),
                at(1.0),
                figures.len()
            );
        }
    }
}

/// Reads its share of the zones and registers glue-ups, evenly over each round, on one connection.
async fn write(address: SocketAddr, crowd: Crowd, writer: usize, ends: tokio::time::Instant, timed: Timed) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.set_nodelay(true).unwrap();
    let mut buffer = Vec::new();
    for round in 0..crowd.minutes {
        let begins = ends - ROUND * (crowd.minutes - round) as u32;
        let mut requests: Vec<(&'static str, String)> =
            (writer..crowd.zones).step_by(crowd.writers).map(|zone| ("reading", reading(zone, round))).collect();
        let apart = requests.len() / GLUE_UPS + 1;
        (0..GLUE_UPS).for_each(|n| {
            requests.insert((n * (apart + 1)).min(requests.len()), ("glue-up", glue_up(writer, round, n, crowd)));
        });
        let looks = requests.len() / LOOKS;
        (0..LOOKS)
            .for_each(|n| requests.insert(n * looks, ("board", "GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n".into())));
        // Writers do not all begin in the same instant.
        let each = ROUND / requests.len() as u32;
        let shifted = begins + each * writer as u32 / crowd.writers as u32;
        for (n, (kind, request)) in requests.into_iter().enumerate() {
            sleep_until(shifted + each * n as u32).await;
            let begun = Instant::now();
            stream.write_all(request.as_bytes()).await.unwrap();
            let status = bench::answer::answer(&mut stream, &mut buffer).await;
            assert!((200..300).contains(&status), "{kind} {status}: {}", String::from_utf8_lossy(&buffer));
            timed.add(kind, begun.elapsed().as_secs_f64() * 1e3);
        }
    }
}

fn post(path: &str, body: &str) -> String {
    let length = body.len();
    format!(
        "POST {path} HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-type: application/json\r\ncontent-length: {length}\r\n\r\n{body}"
    )
}

fn reading(zone: usize, round: usize) -> String {
    let temp_c = 20.0 + ((zone + round) % 10) as f64 / 10.0;
    post(&format!("/api/v1/zones/zone-{zone}/readings"), &format!("{{\"temp_c\":{temp_c},\"rh_pct\":48}}"))
}

fn glue_up(writer: usize, round: usize, n: usize, crowd: Crowd) -> String {
    let zone = (writer * 131 + n) % crowd.zones;
    let body = format!(
        "{{\"id\":\"w-{writer}-{round}-{n}\",\"joint\":\"bridge\",\"material\":\"aliphatic-resin\",\"zone\":\"zone-{zone}\"}}"
    );
    post("/api/v1/glue-ups", &body)
}

// ---- what it costs -----------------------------------------------------------------------------------------------

/// The instances of the service together, as the system sees them.
struct Processes(Vec<u32>);

impl Processes {
    fn memory_mb(&self) -> u64 {
        self.0.iter().map(|id| status_of(*id, "VmRSS:") / 1024).sum()
    }

    /// Processor time in the programs and in the system for them, s.
    fn cpu_s(&self) -> f64 {
        self.0.iter().map(|id| cpu_s(*id)).sum()
    }
}

/// Prints what the service takes, every minute and at least every half of the time there is.
async fn watch(process: &Processes, ends: tokio::time::Instant) {
    let begun = tokio::time::Instant::now();
    let step = ROUND.min((ends - begun) / 2);
    let (mut at, mut cpu_s) = (begun, process.cpu_s());
    while at < ends {
        at += step;
        sleep_until(at).await;
        let now_s = process.cpu_s();
        let share = (now_s - cpu_s) / step.as_secs_f64();
        cpu_s = now_s;
        let passed_s = (at - begun).as_secs();
        println!("after {passed_s} s: {} MB, {share:.2} processors", process.memory_mb());
    }
}
