//! Asked to end in the middle of work, the real program ends within five seconds, loses nothing it acknowledged, and
//! systemd is told when it is ready, that it lives, and that it stops.

use std::{
    collections::BTreeSet,
    io::Write,
    net::TcpStream,
    os::unix::net::UnixDatagram,
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::Duration,
};

use bench::{
    program::{Home, Program},
    until,
};
use serde_json::{Value, json};
use tokio_util::task::TaskTracker;

/// Registers glue-ups until the service is gone; the ids that were acknowledged.
async fn register(http: reqwest::Client, url: String, count: Arc<AtomicUsize>) -> Vec<String> {
    let mut acknowledged = Vec::new();
    let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    while let Ok(answer) = http.post(format!("{url}/api/v1/glue-ups")).json(&body).send().await {
        if !answer.status().is_success() {
            break;
        }
        let Ok(answer) = answer.json::<Value>().await else { break };
        acknowledged.push(answer["id"].as_str().unwrap().into());
        count.fetch_add(1, Ordering::SeqCst);
    }
    acknowledged
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_ended_under_load_is_gone_in_five_seconds_and_has_lost_nothing() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    // A board that listens, and somebody who began a request and never finishes it.
    let listening = program.http().get(program.url("/api/v1/events")).send().await.unwrap();
    let mut half = TcpStream::connect(program.url("").trim_start_matches("http://")).unwrap();
    half.write_all(
        b"POST /api/v1/readings HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 99\r\n\r\n{",
    )
    .unwrap();
    let (tracker, count) = (TaskTracker::new(), Arc::new(AtomicUsize::new(0)));
    let clients: Vec<_> =
        (0..6).map(|_| tracker.spawn(register(program.http().clone(), program.url(""), count.clone()))).collect();
    until("the clients are at work", async || (count.load(Ordering::SeqCst) > 50).then_some(())).await;
    let ended = tokio::time::timeout(Duration::from_secs(5), program.end("TERM")).await;
    assert_eq!(ended.expect("it ends within five seconds"), Some(0));
    drop((listening, half));
    let mut acknowledged = BTreeSet::new();
    for client in clients {
        acknowledged.extend(client.await.unwrap());
    }
    let program = Program::serve(&shop).await;
    let there = program.ids("/api/v1/glue-ups").await;
    let lost: Vec<_> = acknowledged.difference(&there).collect();
    assert!(lost.is_empty(), "acknowledged and not there: {lost:?}");
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn systemd_is_told_that_it_is_ready_lives_and_stops() {
    let shop = Home::new();
    let socket = shop.folder().join("notify");
    let systemd = UnixDatagram::bind(&socket).unwrap();
    systemd.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let hear = move || {
        let mut told = [0; 256];
        let n = systemd.recv(&mut told).expect("systemd is told something");
        (systemd.try_clone().unwrap(), String::from_utf8(told[..n].to_vec()).unwrap())
    };
    let env = [("NOTIFY_SOCKET", socket.to_str().unwrap()), ("WATCHDOG_USEC", "60000000")];
    let program = Program::serve_with(&shop, &env, &[]).await;
    assert_eq!(hear().1.trim(), "READY=1");
    // The alarms are looked at every five seconds at least, and from there the watchdog is told.
    for _ in 0..2 {
        assert_eq!(hear().1.trim(), "WATCHDOG=1");
    }
    assert_eq!(program.end("TERM").await, Some(0));
    let last = loop {
        match hear().1.trim() {
            "WATCHDOG=1" => {}
            other => break other.to_string(),
        }
    };
    assert_eq!(last, "STOPPING=1");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_log_is_json_a_line_when_that_is_asked_for() {
    let shop = Home::new();
    std::fs::write(shop.folder().join("scripts/materials/broken.rhai"), "fn sheet() { 1 +").unwrap();
    let program = Program::serve_with(&shop, &[], &["--log", "json"]).await;
    let (code, complained) = program.end_saying("TERM").await;
    assert_eq!(code, Some(0));
    let lines: Vec<Value> = complained.lines().map(|line| serde_json::from_str(line).expect(line)).collect();
    let told = lines.iter().find(|line| line["message"] == "a rule is not in force").expect(&complained);
    assert_eq!(told["level"], "WARN");
    assert!(told["fault"].as_str().unwrap().contains("broken.rhai"), "{told}");
    assert!(bench::ms(told["timestamp"].as_str().unwrap()) > 0);
}
