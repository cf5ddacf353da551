//! Load over loopback, each figure beside its baseline in the same run: `cargo bench -p bench-tests --bench load`.
//!
//! Durable glue-ups over HTTP against the bare database's group commit of the same rows; milestones over HTTP against
//! a bare JSON route; lateness of alerts with 100,000 alarms pending; start with 100,000 open glue-ups and a year of
//! readings for 20 zones. Every loop is bounded. The figures stand in DEVELOPERS.md.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::{
    io::{BufRead, BufReader, Write},
    net::{SocketAddr, TcpStream},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
        mpsc,
    },
    time::{Duration, Instant, SystemTime, UNIX_EPOCH},
};

use bench::{Shop, stock};
use benchclock::{Now, Service};
use facts::Fact;
use futures_util::future::join_all;
use store::{Database, Saying, Sqlite};
use tokio::io::AsyncWriteExt;
use tokio_util::sync::CancellationToken;

const CLIENTS: usize = 64;
const ROUNDS: usize = 3;
const FOR: Duration = Duration::from_secs(4);

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    writes(&runtime);
    reads(&runtime);
    year_by_csv(&runtime);
    start_and_lateness(&runtime);
}

fn median(mut figures: Vec<f64>) -> f64 {
    figures.sort_by(f64::total_cmp);
    figures[figures.len() / 2]
}

// ---- a year of readings by CSV ----------------------------------------------------------------------------------

/// A year of 5-minute readings for 20 zones, one file each, against the bare database's commits of the same rows.
fn year_by_csv(runtime: &tokio::runtime::Runtime) {
    let (zones, a_year) = (20, 364 * 24 * 12);
    let at_ms = |i: i64| now_ms() / 60_000 * 60_000 - (a_year - i) * 5 * stock::MINUTE_MS;
    let file: String = (0..a_year).fold("time,temp_c,rh_pct\n".into(), |file, i| {
        let reading = stock::reading("bench", at_ms(i));
        file + format!("{},{:.2},{:.1}\n", reading.at.to_rfc3339(), reading.temp_c.get(), reading.rh_pct.get()).as_str()
    });
    let mut bare = Vec::new();
    for _ in 0..ROUNDS {
        let shop = Shop::new();
        let mut database = Sqlite::open(&shop.settings.store.path, "shop").unwrap();
        let begun = Instant::now();
        for zone in 0..zones {
            for part in 0..a_year / 5000 + 1 {
                let rows = part * 5000..((part + 1) * 5000).min(a_year);
                let readings = rows.map(|i| stock::reading(&format!("zone-{zone}"), at_ms(i))).collect();
                database.commit(&[&Saying { readings, recorded_ms: now_ms(), ..Saying::default() }]).unwrap();
            }
        }
        bare.push(begun.elapsed().as_secs_f64());
    }
    let (bench, took_s) = runtime.block_on(async {
        let bench = bench::Bench::open(Shop::small(), Now::system(), false).await;
        for zone in 0..zones {
            let id = format!("zone-{zone}");
            let body = serde_json::json!({"id": id, "name": id, "set_temp_c": 20, "set_rh_pct": 50});
            bench.post("/api/v1/zones", body).await.good();
        }
        let begun = Instant::now();
        for zone in 0..zones {
            let url = bench.url(&format!("/api/v1/zones/zone-{zone}/readings/csv"));
            let sent = bench.http().post(url).header("content-type", "text/csv").body(file.clone());
            assert_eq!(bench.send(sent).await.good()["taken"], a_year);
        }
        (bench, begun.elapsed().as_secs_f64())
    });
    runtime.block_on(bench.stop());
    println!("a year of 5-minute readings for {zones} zones by CSV: {took_s:.1} s ({} rows)", zones * a_year);
    println!("  the same rows by bare commits of 5,000: {:.1} s {bare:.1?}", median(bare.clone()));
}

// ---- durable glue-ups -------------------------------------------------------------------------------------------

fn writes(runtime: &tokio::runtime::Runtime) {
    let body = stored_glue_up(runtime);
    let (mut bare, mut http) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        bare.push(bare_group_commit(&body));
        http.push(glue_ups_over_http(runtime, round));
    }
    println!(
        "bare group commit of the same rows ({} bytes), {CLIENTS} producers: {:.0} facts/s {bare:.0?}",
        body.len(),
        median(bare.clone())
    );
    println!("glue-ups over HTTP, {CLIENTS} clients: {:.0} facts/s {http:.0?}", median(http.clone()));
    let ratios = http.iter().zip(&bare).map(|(h, b)| h / b).collect::<Vec<_>>();
    println!("  share of bare: {:.2} {ratios:.2?}", median(ratios.clone()));
}

/// The body of a glue-up as the service stores it.
fn stored_glue_up(runtime: &tokio::runtime::Runtime) -> String {
    let bench = runtime.block_on(async {
        let bench = bench::Bench::open(Shop::new(), Now::system(), false).await;
        bench.furnish().await;
        bench.glue_up("g-1").await;
        bench
    });
    let journal = rusqlite::Connection::open(&bench.shop.settings.store.path).unwrap();
    let body = journal.query_row("SELECT body FROM journal ORDER BY seq DESC LIMIT 1", [], |row| row.get(0)).unwrap();
    runtime.block_on(bench.stop());
    body
}

/// The same rows into the same table, committed by whatever gathered, with nothing around it.
fn bare_group_commit(body: &str) -> f64 {
    let shop = Shop::new();
    // The schema is the service's own.
    drop(Sqlite::open(&shop.settings.store.path, "shop").unwrap());
    let mut connection = rusqlite::Connection::open(&shop.settings.store.path).unwrap();
    connection.pragma_update(None, "synchronous", "full").unwrap();
    let (send, receive) = mpsc::channel::<mpsc::Sender<()>>();
    let done = Arc::new(AtomicUsize::new(0));
    let ends = Instant::now() + FOR;
    let producers: Vec<_> = (0..CLIENTS)
        .map(|_| {
            let (send, done) = (send.clone(), done.clone());
            std::thread::spawn(move || {
                let (tell, told) = mpsc::channel();
                while Instant::now() < ends {
                    send.send(tell.clone()).unwrap();
                    told.recv().unwrap();
                    done.fetch_add(1, Ordering::Relaxed);
                }
            })
        })
        .collect();
    drop(send);
    let sql = "INSERT INTO journal (shop, kind, happened_ms, recorded_ms, by_whom, body) VALUES (?1,?2,?3,?4,?5,?6)";
    while let Ok(first) = receive.recv() {
        let mut batch = vec![first];
        while batch.len() < 512
            && let Ok(next) = receive.try_recv()
        {
            batch.push(next);
        }
        let tx = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).unwrap();
        {
            let mut add = tx.prepare_cached(sql).unwrap();
            for _ in &batch {
                add.execute(rusqlite::params!["shop", "cure_begun", 1i64, 1i64, "bench", body]).unwrap();
            }
        }
        tx.commit().unwrap();
        for tell in batch {
            tell.send(()).unwrap();
        }
    }
    for producer in producers {
        producer.join().unwrap();
    }
    done.load(Ordering::Relaxed) as f64 / FOR.as_secs_f64()
}

fn glue_ups_over_http(runtime: &tokio::runtime::Runtime, round: usize) -> f64 {
    let bench = runtime.block_on(async {
        let bench = bench::Bench::open(Shop::new(), Now::system(), false).await;
        bench.furnish().await;
        bench.read_air("bench", 20.0, 50.0).await;
        bench
    });
    let address: SocketAddr = bench.url("").trim_start_matches("http://").parse().unwrap();
    let rate = hammer(address, move |client, n| {
        let body = format!(
            "{{\"id\":\"g-{round}-{client}-{n}\",\"joint\":\"bridge\",\"material\":\"aliphatic-resin\",\"zone\":\"bench\"}}"
        );
        format!(
            "POST /api/v1/glue-ups HTTP/1.1\r\nhost: bench\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
            body.len()
        )
    });
    runtime.block_on(bench.stop());
    rate
}

/// Sixty-four clients on kept-alive connections, driven by one thread; requests answered per second.
fn hammer(address: SocketAddr, request: impl Fn(usize, usize) -> String + 'static) -> f64 {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let ends = Instant::now() + FOR;
    let done = runtime.block_on(join_all((0..CLIENTS).map(|client| {
        let request = &request;
        async move {
            let mut stream = tokio::net::TcpStream::connect(address).await.unwrap();
            stream.set_nodelay(true).unwrap();
            let (mut buffer, mut n) = (Vec::with_capacity(8192), 0);
            while Instant::now() < ends {
                stream.write_all(request(client, n).as_bytes()).await.unwrap();
                let status = bench::answer::answer(&mut stream, &mut buffer).await;
                assert!((200..300).contains(&status), "answered {status}: {}", String::from_utf8_lossy(&buffer));
                n += 1;
            }
            n
        }
    })));
    done.into_iter().sum::<usize>() as f64 / FOR.as_secs_f64()
}

// ---- milestones ------------------------------------------------------------------------------------------------

fn reads(runtime: &tokio::runtime::Runtime) {
    let bench = runtime.block_on(async {
        let bench = bench::Bench::open(Shop::new(), Now::system(), false).await;
        bench.furnish().await;
        bench.read_air("bench", 20.0, 50.0).await;
        bench.glue_up("g-1").await;
        bench
    });
    let milestones = runtime.block_on(bench.get("/api/v1/glue-ups/g-1/milestones")).text;
    let address: SocketAddr = bench.url("").trim_start_matches("http://").parse().unwrap();
    let (bare_address, stop) = bare_route(runtime, milestones.clone());
    let get = |path: &'static str| move |_, _| format!("GET {path} HTTP/1.1\r\nhost: bench\r\n\r\n");
    let (mut bare, mut ours) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        bare.push(hammer(bare_address, get("/json")));
        ours.push(hammer(address, get("/api/v1/glue-ups/g-1/milestones")));
    }
    stop.cancel();
    println!("bare JSON route ({} bytes): {:.0} requests/s {bare:.0?}", milestones.len(), median(bare.clone()));
    println!("milestones of one glue-up: {:.0} requests/s {ours:.0?}", median(ours.clone()));
    let ratios = ours.iter().zip(&bare).map(|(o, b)| o / b).collect::<Vec<_>>();
    println!("  share of bare: {:.2} {ratios:.2?}", median(ratios.clone()));
    runtime.block_on(bench.stop());
}

/// A bare actix-web route that serialises the same document anew for each request.
fn bare_route(runtime: &tokio::runtime::Runtime, document: String) -> (SocketAddr, CancellationToken) {
    use actix_web::{App, HttpResponse, HttpServer, web};
    let value: serde_json::Value = serde_json::from_str(&document).unwrap();
    let data = web::Data::new(value);
    let route = |value: web::Data<serde_json::Value>| async move { HttpResponse::Ok().json(value.get_ref()) };
    let _guard = runtime.enter();
    let server = HttpServer::new(move || App::new().app_data(data.clone()).route("/json", web::get().to(route)))
        .workers(1)
        .disable_signals()
        .bind("127.0.0.1:0")
        .unwrap();
    let address = server.addrs()[0];
    let (stop, server) = (CancellationToken::new(), server.run());
    let (handle, stopped) = (server.handle(), stop.clone());
    runtime.spawn(server);
    runtime.spawn(async move {
        stopped.cancelled().await;
        handle.stop(false).await;
    });
    (address, stop)
}

// ---- start, and lateness of alerts ---------------------------------------------------------------------------------

fn now_ms() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_millis() as i64
}

/// 100,000 open glue-ups over 20 zones with a year of readings every five minutes each.
fn full_journal(shop: &Shop, version: &str, text: &str) -> (usize, usize) {
    let mut database = Sqlite::open(&shop.settings.store.path, "shop").unwrap();
    let begin_ms = now_ms() - 365 * 24 * 60 * stock::MINUTE_MS;
    let mut entries: Vec<_> = stock::furniture(begin_ms).into_iter().map(stock::entry).collect();
    let rule = facts::RulePutInForce {
        material: stock::id("aliphatic-resin"),
        version: stock::id(version),
        file: "materials/aliphatic-resin.rhai".into(),
        text: text.into(),
        override_reason: None,
    };
    entries.push(stock::entry(stock::recorded(0, begin_ms, Fact::RulePutInForce(rule))));
    entries.extend((0..20).map(|z| stock::entry(stock::recorded(0, begin_ms, stock::zone(&format!("zone-{z}"))))));
    let n_cures = 100_000;
    for n in 0..n_cures {
        // Begun over the last ten days, with months to go.
        let started_ms = now_ms() - (n as i64 % 14_400) * stock::MINUTE_MS;
        entries.push(stock::entry(stock::cure(n, version, &format!("zone-{}", n % 20), started_ms, 5000.0)));
    }
    for part in entries.chunks(10_000) {
        database.commit(&[&Saying { entries: part.to_vec(), ..Saying::default() }]).unwrap();
    }
    let mut n_readings = 0;
    for z in 0..20 {
        let readings: Vec<_> = (0..365 * 24 * 12)
            .map(|i| stock::reading(&format!("zone-{z}"), begin_ms + i * 5 * stock::MINUTE_MS))
            .collect();
        n_readings += readings.len();
        database.commit(&[&Saying { readings, recorded_ms: begin_ms, ..Saying::default() }]).unwrap();
    }
    (n_cures, n_readings)
}

fn start_and_lateness(runtime: &tokio::runtime::Runtime) {
    let mut shop = Shop::new();
    shop.settings.server.workers = 1;
    let text = std::fs::read_to_string(bench::root().join("scripts/materials/aliphatic-resin.rhai")).unwrap();
    let version = rules::Rule::version_of(&text).to_string();
    let (n_cures, n_readings) = full_journal(&shop, &version, &text);
    let starts: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let begun = Instant::now();
            let service = runtime.block_on(Service::build(shop.settings.clone(), Now::system())).unwrap();
            let took = begun.elapsed().as_secs_f64();
            end(runtime, service);
            took
        })
        .collect();
    println!(
        "start with {n_cures} open glue-ups and {n_readings} readings: {:.2} s {starts:.2?}",
        median(starts.clone())
    );
    lateness(runtime, &shop, &version);
}

fn end(runtime: &tokio::runtime::Runtime, service: Service) {
    let stop = CancellationToken::new();
    stop.cancel();
    runtime.block_on(service.run(stop, false)).unwrap();
}

/// On top of the full journal, 2,000 glue-ups whose milestones fall due over the next twenty seconds; an alert is
/// late by what lies between its due time and its arrival at a listener of the event stream.
fn lateness(runtime: &tokio::runtime::Runtime, shop: &Shop, version: &str) {
    let n_due = 2000;
    let begin_ms = now_ms() + 8000;
    {
        let mut database = Sqlite::open(&shop.settings.store.path, "shop").unwrap();
        // A zone whose air has stood at the rule's reference for days: age runs with the wall clock.
        let readings = (0..8 * 24 * 12).rev().map(|i| facts::Reading {
            zone: stock::id("bench"),
            sensor: None,
            at: stock::instant(now_ms() - i * 5 * stock::MINUTE_MS),
            temp_c: facts::TempC::new(20.0).unwrap(),
            rh_pct: facts::RhPct::new(50.0).unwrap(),
        });
        let readings = Saying { readings: readings.collect(), recorded_ms: now_ms(), ..Saying::default() };
        let entries = (0..n_due).map(|n| {
            let started_ms = begin_ms - 40 * stock::MINUTE_MS;
            let hours = (40.0 * 60_000.0 + n as f64 * 10.0) / 3_600_000.0;
            stock::entry(stock::cure(200_000 + n, version, "bench", started_ms, hours))
        });
        let cures = Saying { entries: entries.collect(), ..Saying::default() };
        database.commit(&[&readings, &cures]).unwrap();
    }
    let service = runtime.block_on(Service::build(shop.settings.clone(), Now::system())).unwrap();
    let (address, stop) = (service.address(), CancellationToken::new());
    let running = runtime.spawn(service.run(stop.clone(), true));
    let mut late_ms = listen(address, n_due);
    stop.cancel();
    runtime.block_on(running).unwrap().unwrap();
    late_ms.sort_unstable();
    let at = |share: f64| late_ms[((late_ms.len() - 1) as f64 * share) as usize];
    println!(
        "lateness of {} alerts with 100,000 alarms pending: p50 {} ms, p99 {} ms, max {} ms, early {}",
        late_ms.len(),
        at(0.5),
        at(0.99),
        at(1.0),
        late_ms.iter().filter(|ms| **ms < 0).count()
    );
}

/// Reads the event stream for a bounded time; lateness of each alert that came due while it listened.
fn listen(address: SocketAddr, at_most: usize) -> Vec<i64> {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(1))).unwrap();
    stream.write_all(b"GET /api/v1/events HTTP/1.1\r\nhost: bench\r\n\r\n").unwrap();
    let (mut reader, mut line) = (BufReader::new(stream), String::new());
    let (begun_ms, ends) = (now_ms(), Instant::now() + Duration::from_secs(45));
    let mut late = Vec::new();
    while Instant::now() < ends && late.len() < at_most {
        match reader.read_line(&mut line) {
            Ok(0) => break,
            Ok(_) => {
                let arrived_ms = now_ms();
                let due = line.strip_prefix("data: ").and_then(|data| {
                    let event: serde_json::Value = serde_json::from_str(data).ok()?;
                    Some(bench::ms(event["fact"]["due_at"].as_str()?))
                });
                // What fell due before anybody listened was late by the start, not by the alarms.
                late.extend(due.filter(|due_ms| *due_ms > begun_ms + 500).map(|due_ms| arrived_ms - due_ms));
                line.clear();
            }
            // A silent second; the part of a line read so far is kept.
            Err(_) => {}
        }
    }
    late
}
