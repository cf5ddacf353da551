//! Several instances of the service on one database: any takes writes, all show the same, one tells.

use std::{collections::BTreeSet, path::Path, time::Duration};

use bench::{
    BEGIN, Bench, Shop, ms, postgres,
    program::{self, Home, Program},
    until,
};
use benchclock::{Now, Service, Webhook};
use serde_json::{Value, json};

use crate::http::{
    events::Listener,
    webhooks::{Got, Receiver, SECRET},
};

/// An instance in this process, on a clock they share.
async fn instance(server: &postgres::Database, now: &Now, tasks: bool) -> Bench {
    let mut shop = Shop::small();
    shop.settings.store.url = server.url();
    shop.settings.shop.digest_at = "23:59".into();
    Bench::open(shop, now.clone(), tasks).await
}

async fn follow(bench: &Bench) {
    Service::follow_step(bench.state()).await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_one_is_told_the_others_show_and_their_listeners_hear() {
    let (server, now) = (postgres::Database::new(), Now::standing_at(ms(BEGIN)));
    let (one, other) = (instance(&server, &now, true).await, instance(&server, &now, true).await);
    one.furnish().await;
    let furnished = async || (other.items("/api/v1/clamps").await.len() == 3).then_some(());
    until("the other has heard of the clamps", furnished).await;
    let mut listener = Listener::come(&other, None).await;
    one.read_air("bench", 21.5, 47.0).await;
    let reading = listener.event().await.unwrap();
    assert_eq!((reading.name.as_str(), &reading.data["temp_c"]), ("reading", &json!(21.5)));
    one.glue_up("g-1").await;
    let begun = listener.fact().await;
    assert_eq!(begun.data["fact"]["kind"], "cure_begun");
    // The place in the journal is the same wherever one listens: who comes back to another instance misses nothing.
    let (mut again, place) = (Listener::come(&one, Some(begun.id.unwrap() - 1)).await, begun.id);
    assert_eq!(again.fact().await.id, place);
    assert_eq!(other.board().await, one.board().await);
    // Told by whichever has the duty, shown by both.
    now.set(now.ms() + 120 * 60_000);
    for bench in [&one, &other] {
        bench.until_told("g-1:clamp_off").await;
    }
    drop((listener, again));
    one.stop().await;
    other.stop().await;
}

#[tokio::test]
async fn what_is_said_is_held_against_what_another_was_told_a_moment_before() {
    let (server, now) = (postgres::Database::new(), Now::standing_at(ms(BEGIN)));
    let (one, other) = (instance(&server, &now, false).await, instance(&server, &now, false).await);
    one.furnish().await;
    follow(&other).await;
    one.glue_up("g-1").await;
    // The other has not heard of it yet.
    assert_eq!(other.get("/api/v1/glue-ups/g-1").await.status, 404);
    let same_clamps = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                             "clamps": ["cam-2"]});
    other.post("/api/v1/glue-ups", same_clamps).await.problem(409, "conflict");
    assert_eq!(other.get("/api/v1/glue-ups/g-1").await.status, 200, "it heard of it as it was refused");
    // A request that came to one and is repeated at the other is one request.
    let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "clamps": ["cam-3"]});
    let first = one.post_once("key-7", "/api/v1/glue-ups", body.clone()).await.good();
    let again = other.post_once("key-7", "/api/v1/glue-ups", body).await.good();
    assert_eq!(first["id"], again["id"]);
    assert_eq!(other.items("/api/v1/glue-ups").await.len(), 2);
    other
        .post_once("key-7", "/api/v1/glue-ups", json!({"joint": "bridge", "material": "shellac", "zone": "bench"}))
        .await;
    // A bench that grew by following equals one made anew.
    for minutes in 0..9 {
        now.set(now.ms() + 300_000);
        let by = if minutes % 2 == 0 { &one } else { &other };
        by.read_air("bench", 20.0 + f64::from(minutes) / 10.0, 50.0).await;
        by.alarms().await;
    }
    follow(&one).await;
    follow(&other).await;
    let anew = instance(&server, &now, false).await;
    let board = anew.board().await;
    assert_eq!(one.board().await, board);
    assert_eq!(other.board().await, board);
    for bench in [one, other, anew] {
        bench.stop().await;
    }
}

#[tokio::test]
async fn a_rule_that_comes_in_force_at_one_is_the_rule_at_the_others() {
    let (server, now) = (postgres::Database::new(), Now::standing_at(ms(BEGIN)));
    let (one, other) = (instance(&server, &now, false).await, instance(&server, &now, false).await);
    one.furnish().await;
    let file = one.shop.folder().join("scripts/materials/aliphatic-resin.rhai");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{text}\n// As this shop has it.\n")).unwrap();
    assert_eq!(Service::scripts_step(one.state()).await.unwrap(), 1);
    follow(&other).await;
    let (here, there) = (one.glue_up("g-1").await, {
        let body = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        other.post("/api/v1/glue-ups", body).await.good()
    });
    assert!(here["rule_version"].is_string(), "{here}");
    assert_eq!(here["rule_version"], there["rule_version"]);
    one.stop().await;
    other.stop().await;
}

/// A receiver that keeps whoever speaks to it waiting until it is let go; gives its address.
fn slow_receiver() -> (std::net::SocketAddr, std::sync::mpsc::Receiver<()>, std::sync::mpsc::Sender<()>) {
    use std::io::{Read, Write};
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let ((came, comes), (let_go, go)) = (std::sync::mpsc::channel(), std::sync::mpsc::channel::<()>());
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut request = [0; 16 * 1024];
        assert!(stream.read(&mut request).unwrap() > 0);
        came.send(()).unwrap();
        go.recv().unwrap();
        stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n").unwrap();
    });
    (address, comes, let_go)
}

/// One instance hands an alert on while another takes it back: neither has heard of what the other is about.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_one_takes_back_while_another_tells_it_is_taken_back_from_whoever_was_told() {
    let (server, now) = (postgres::Database::new(), Now::standing_at(ms(BEGIN)));
    let (address, comes, let_go) = slow_receiver();
    let with_hook = async || {
        let mut shop = Shop::small();
        shop.settings.store.url = server.url();
        shop.settings.shop.digest_at = "23:59".into();
        let url = format!("http://{address}/hook");
        shop.settings.webhooks.push(Webhook { name: "phone".into(), url, secret: SECRET.into(), ..Webhook::default() });
        Bench::open(shop, now.clone(), false).await
    };
    let (one, other) = (with_hook().await, with_hook().await);
    one.furnish().await;
    one.glue_up("g-1").await;
    now.set(now.ms() + 35 * 60_000);
    one.read_air("bench", 20.0, 50.0).await;
    assert_eq!(one.alarms().await, 1);
    follow(&other).await;
    let (told, ()) = tokio::join!(one.deliveries(), async {
        tokio::task::spawn_blocking(move || comes.recv().unwrap()).await.unwrap();
        other.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "wrong joint"})).await.good();
        let_go.send(()).unwrap();
    });
    assert_eq!(told, 1);
    let deliveries = one.alert("g-1:scrape_flush").await["deliveries"].clone();
    let states: Vec<&str> = deliveries.as_array().unwrap().iter().map(|row| row["state"].as_str().unwrap()).collect();
    assert_eq!(states, ["delivered", "waiting"], "who was told goes on believing it: {deliveries}");
    one.stop().await;
    other.stop().await;
}

/// Settings of an instance in a process of its own.
pub(super) fn settings(home: &Home, server: &postgres::Database, hook: &str) -> String {
    let scripts = home.folder().join("scripts");
    let path = home.folder().join("journal.db");
    format!(
        "[server]\nlisten = \"127.0.0.1:0\"\nworkers = 1\n[shop]\ndigest_at = \"23:59\"\n\
         [store]\npath = {path:?}\nurl = {:?}\n[scripts]\nfolder = {scripts:?}\nwatch = false\n\
         [alerts]\nallow_private = [\"127.0.0.1/32\"]\n\
         [[webhooks]]\nname = \"phone\"\nurl = {hook:?}\nsecret = {SECRET:?}\n",
        server.url()
    )
}

async fn json_of(program: &Program, path: &str) -> Value {
    program.http().get(program.url(path)).send().await.unwrap().json().await.unwrap()
}

async fn on_duty(program: &Program) -> bool {
    json_of(program, "/health/ready").await["on_duty"] == true
}

/// The alerts that reached the receiver, as often as they did.
fn told(got: &[Got]) -> Vec<String> {
    got.iter().map(|got| got.body["data"]["id"].as_str().unwrap().to_string()).collect()
}

/// Registers a glue-up that began two hours ago with one of the instances.
async fn glue_up(program: &Program, id: &str) {
    let body = json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "minutes_ago": 120});
    program.post("/api/v1/glue-ups", body).await;
}

/// Alerts raised so far.
async fn alerts(program: &Program) -> BTreeSet<String> {
    let (mut all, mut before) = (BTreeSet::new(), String::new());
    loop {
        let part = json_of(program, &format!("/api/v1/alerts{before}")).await;
        all.extend(part["items"].as_array().unwrap().iter().map(|alert| alert["id"].as_str().unwrap().to_string()));
        let Some(next) = part["next"].as_str() else { return all };
        before = format!("?before={next}");
    }
}

/// Waits until every alert of these glue-ups is raised and nothing waits in the outbox; all alerts.
async fn all_told(program: &Program, glue_ups: usize) -> BTreeSet<String> {
    until("every alert is told", async || {
        let raised = alerts(program).await;
        let waiting = json_of(program, "/api/v1/deliveries?state=waiting").await;
        (raised.len() == 2 * glue_ups && waiting["items"] == json!([])).then_some(raised)
    })
    .await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_three_one_tells_and_when_it_is_killed_another_goes_on() {
    const BEFORE: usize = 9;
    const AROUND: usize = 60;
    let server = postgres::Database::new();
    let (receiver, hook) = Receiver::start(&[]);
    let homes: Vec<Home> = (0..3).map(|_| Home::new()).collect();
    let mut programs = Vec::new();
    for home in &homes {
        home.write(&settings(home, &server, &hook));
        programs.push(Program::serve(home).await);
    }
    programs[0].furnish().await;
    for program in &programs {
        let furnished = async || (!program.ids("/api/v1/joints").await.is_empty()).then_some(());
        until("all have heard of the joint", furnished).await;
    }
    // In normal running each alert goes out exactly once, wherever its glue-up was registered.
    for n in 0..BEFORE {
        glue_up(&programs[n % 3], &format!("before-{n}")).await;
    }
    let raised = all_told(&programs[2], BEFORE).await;
    let mut once = told(&receiver.got());
    once.sort();
    assert_eq!(once, raised.iter().cloned().collect::<Vec<_>>(), "not each exactly once");

    // The one that tells is killed while it hands on.
    let mut duties = Vec::new();
    for program in &programs {
        duties.push(on_duty(program).await);
    }
    assert_eq!(duties.iter().filter(|on| **on).count(), 1, "{duties:?}");
    let teller = programs.remove(duties.iter().position(|on| *on).unwrap());
    for n in 0..AROUND {
        glue_up(&programs[n % 2], &format!("around-{n}")).await;
        if n == AROUND / 2 {
            let enough = once.len() + 10;
            until("it hands on", async || (receiver.got().len() >= enough).then_some(())).await;
            // What is raised from here on finds the teller gone, or about to go.
            break;
        }
    }
    let at_kill = receiver.got().len();
    teller.kill();
    for n in AROUND / 2 + 1..AROUND {
        glue_up(&programs[n % 2], &format!("around-{n}")).await;
    }
    let raised = all_told(&programs[0], BEFORE + AROUND).await;
    let journal = export(&programs[0]).await;
    let said = journal.lines().filter(|line| line.contains("\"kind\":\"alert_raised\"")).count();
    assert_eq!(said, raised.len(), "an alert was raised twice");
    let got = told(&receiver.got());
    let distinct: BTreeSet<String> = got.iter().cloned().collect();
    assert_eq!(distinct, raised, "an alert was lost, or one told that was never raised");
    assert!(at_kill < raised.len(), "everything was told before the kill: it came too late to show anything");
    // Told twice are at most those that were on their way when it was killed: one step of the delivery.
    assert!(got.len() - distinct.len() <= 64, "{} of {} were told twice", got.len() - distinct.len(), distinct.len());
    let tellers = [on_duty(&programs[0]).await, on_duty(&programs[1]).await];
    assert!(tellers[0] != tellers[1], "{tellers:?}");

    // Both show the same, and what a new one makes of the journal.
    let anew = Program::serve(&homes[0]).await;
    let board = async |program: &Program| {
        let mut board = json_of(program, "/api/v1/board?limit=1000").await;
        board["at"].take();
        board
    };
    let expected = board(&anew).await;
    assert_eq!(expected["cures"].as_array().map(Vec::len), Some(BEFORE + AROUND));
    for program in &programs {
        until("their boards are equal", async || (board(program).await == expected).then_some(())).await;
    }
    programs.push(anew);
    for program in programs {
        program.terminate().await;
    }
}

/// The whole of a running shop over HTTP.
async fn export(program: &Program) -> String {
    program.http().get(program.url("/api/v1/export")).send().await.unwrap().text().await.unwrap()
}

async fn carried(home: &Home, to: &str) -> program::Done {
    program::command(["move".as_ref(), "--to".as_ref(), to.as_ref(), "--config".as_ref(), home.config().as_os_str()])
        .await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_shop_is_moved_to_a_server_and_goes_on_there() {
    let server = postgres::Database::new();
    let home = Home::new();
    let program = Program::serve(&home).await;
    program.furnish().await;
    glue_up(&program, "g-1").await;
    let readings = json!({"readings": (0..500).map(|n| json!({"zone": "bench", "temp_c": 20, "rh_pct": 50, "minutes_ago": n * 5})).collect::<Vec<_>>()});
    program.post("/api/v1/readings", readings).await;
    until("both are told", async || (alerts(&program).await.len() == 2).then_some(())).await;
    let all = export(&program).await;
    let keys = async |program: &Program| {
        [json_of(program, "/api/v1/push-key").await, json_of(program, "/api/v1/calendars").await]
    };
    let its_keys = keys(&program).await;
    // A journal that is in use is not carried: what is said meanwhile would be left behind.
    let refused = carried(&home, &server.url()).await;
    assert_eq!(refused.code, Some(1));
    assert!(refused.complained.contains("is locked by another process"), "{}", refused.complained);
    program.terminate().await;

    let said = carried(&home, &server.url()).await.good();
    assert!(said.contains("500 readings") && said.contains("2 photos and keys"), "{said}");
    assert!(said.contains("Set store.url"), "{said}");
    let again = carried(&home, &server.url()).await;
    assert!(again.complained.contains("is not empty"), "{}", again.complained);

    home.write(&settings(&home, &server, "http://127.0.0.1:1/"));
    let program = Program::serve(&home).await;
    let there = export(&program).await;
    assert_eq!(keys(&program).await, its_keys);
    assert!(there.starts_with(all.trim_end().rsplit_once('\n').unwrap().0), "it is another shop there");
    glue_up(&program, "g-2").await;
    program.terminate().await;

    // A copy made at night is a file, and a shop can be put back from it, here or there.
    let copy = home.folder().join("copy.db");
    let of = |verb: &str, file: &Path, config: &Path| {
        [verb.into(), file.as_os_str().to_owned(), "--config".into(), config.as_os_str().to_owned()]
    };
    program::command(of("backup", &copy, &home.config())).await.good();
    let elsewhere = postgres::Database::new();
    home.write(&settings(&home, &elsewhere, "http://127.0.0.1:1/"));
    let said = program::command(of("restore", &copy, &home.config())).await.good();
    assert!(said.contains("500 readings") && said.contains("are back"), "{said}");
    let program = Program::serve(&home).await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 2);
    assert_eq!(keys(&program).await, its_keys);
    program.terminate().await;
    let back = home.folder().join("back/journal.db");
    carried(&home, &back.display().to_string()).await.good();
    assert!(back.exists());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_away_is_told_and_the_service_goes_on_by_itself() {
    let (server, now) = (postgres::Database::new(), Now::standing_at(ms(BEGIN)));
    let bench = instance(&server, &now, true).await;
    bench.furnish().await;
    // Every line is cut, and for a while no new one is let in.
    server.lets_in(false);
    server.cut();
    let body = json!({"id": "attic", "name": "Attic", "set_temp_c": 20, "set_rh_pct": 50});
    let refused = bench.post("/api/v1/zones", body.clone()).await;
    refused.problem(503, "unavailable");
    assert_eq!(bench.board().await["zones"].as_array().map(Vec::len), Some(1), "what is known is still shown");
    server.lets_in(true);
    until("it takes writes again", async || {
        (bench.post("/api/v1/zones", body.clone()).await.status == 201).then_some(())
    })
    .await;
    until("it has the duty again", async || (bench.get("/health/ready").await.json["on_duty"] == true).then_some(()))
        .await;
    tokio::time::timeout(Duration::from_secs(60), bench.stop()).await.expect("it stops");
}
