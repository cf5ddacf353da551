//! Starting, failing and ending: what becomes of one shop is not the others' affair.

use bench::{
    Answer,
    program::{Home, Program, command, refused},
    until,
};
use serde_json::{Value, json};

use super::{NAMES, owner_of, write_settings};

/// What the program answers to a request at a shop's host, with a token.
async fn at(program: &Program, shop: &str, path: &str, token: &str) -> Answer {
    let request = program.http().get(program.url(path)).header("host", format!("{shop}.test")).bearer_auth(token);
    Answer::of(request.send().await.unwrap()).await
}

async fn post(program: &Program, shop: &str, token: &str, path: &str, body: Value) -> Answer {
    let request = program.http().post(program.url(path)).header("host", format!("{shop}.test")).bearer_auth(token);
    Answer::of(request.json(&body).send().await.unwrap()).await
}

async fn names_of(program: &Program, shop: &str, token: &str) -> Vec<String> {
    let clamps = at(program, shop, "/api/v1/clamps?limit=1000", token).await.good();
    clamps["items"].as_array().unwrap().iter().map(|clamp| clamp["name"].as_str().unwrap().to_string()).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn both_are_whole_when_the_service_is_killed_and_started_again() {
    let home = Home::new();
    write_settings(home.folder(), "", "", ["", ""]);
    let owners = [owner_of(home.folder(), "north").await, owner_of(home.folder(), "south").await];
    let program = Program::serve(&home).await;
    let mut said = [vec![], vec![]];
    for n in 0..20 {
        for ((shop, owner), said) in NAMES.iter().zip(&owners).zip(&mut said) {
            let name = format!("{shop} {n:02}");
            // The same ids in both.
            post(&program, shop, owner, "/api/v1/clamps", json!({"id": format!("c-{n:02}"), "name": name}))
                .await
                .good();
            said.push(name);
        }
    }
    program.kill();
    let program = Program::serve(&home).await;
    for ((shop, owner), said) in NAMES.iter().zip(&owners).zip(&said) {
        assert_eq!(&names_of(&program, shop, owner).await, said);
    }
    assert_eq!(at(&program, "south", "/api/v1/clamps", &owners[0]).await.status, 401);
    program.terminate().await;
    // Each journal is a file of its own, which is whole by itself.
    let config = home.config().display().to_string();
    for shop in NAMES {
        let copy = home.folder().join(format!("{shop}-copy.db"));
        command(["backup", copy.to_str().unwrap(), "--config", &config, "--shop", shop]).await.good();
        let journal = rusqlite::Connection::open(&copy).unwrap();
        let bodies = "SELECT group_concat(body) FROM journal WHERE kind = 'clamp_added'";
        let bodies: String = journal.query_row(bodies, [], |row| row.get(0)).unwrap();
        let other = NAMES.iter().find(|other| **other != shop).unwrap();
        assert!(bodies.contains(&format!("{shop} 19")) && !bodies.contains(other), "{bodies}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_that_cannot_be_opened_is_said_and_tried_again_while_the_other_is_served() {
    let home = Home::new();
    write_settings(home.folder(), "", "", ["", "[shop]\ntime_zone = \"Middle/Earth\""]);
    let north = owner_of(home.folder(), "north").await;
    let program = Program::serve(&home).await;
    assert_eq!(names_of(&program, "north", &north).await, Vec::<String>::new());
    let closed = at(&program, "south", "/api/v1/board", &north).await;
    assert_eq!(closed.retry_after, Some(1));
    let closed = closed.problem(503, "unavailable");
    assert!(!closed.to_string().contains("time_zone"), "a stranger is told why: {closed}");
    let ready = program.get("/health/ready").await;
    assert_eq!(ready.status, 503);
    assert!(ready.text.contains("south: setting shop.time_zone (shop south)"), "{}", ready.text);
    assert_eq!(program.get("/health/live").await.status, 200);
    assert_eq!(at(&program, "north", "/health/ready", &north).await.status, 200);
    // Mended, but now its journal is no journal; and then that is mended too.
    let data = home.folder().join("data/south");
    std::fs::create_dir_all(&data).unwrap();
    std::fs::write(data.join("benchclock.db"), "this is no database, however long it is looked at").unwrap();
    std::fs::write(home.folder().join("south.toml"), "").unwrap();
    let why = async || program.get("/health/ready").await.text;
    until("the journal is complained of", async || why().await.contains("benchclock.db").then_some(())).await;
    std::fs::remove_file(data.join("benchclock.db")).unwrap();
    until("south is open", async || (at(&program, "south", "/health/ready", "").await.status != 503).then_some(()))
        .await;
    let south = owner_of(home.folder(), "south").await;
    until("its token is known", async || {
        (at(&program, "south", "/api/v1/board", &south).await.status == 200).then_some(())
    })
    .await;
    post(&program, "south", &south, "/api/v1/clamps", json!({"id": "c-1", "name": "late"})).await.good();
    assert_eq!(names_of(&program, "south", &south).await, ["late"]);
    let (code, said) = program.end_saying("TERM").await;
    assert_eq!(code, Some(0));
    assert!(said.contains("shop{name=\"south\"}") && said.contains("the shop is not open"), "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_service_none_of_whose_shops_can_be_opened_does_not_start() {
    let home = Home::new();
    let wrong = "[shop]\ntime_zone = \"Middle/Earth\"";
    write_settings(home.folder(), "", "", [wrong, wrong]);
    let (code, said) = refused(&home).await;
    assert_eq!(code, Some(1));
    assert!(said.contains("shop.time_zone (shop north)"), "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_command_that_opens_the_data_asks_for_the_shop() {
    let home = Home::new();
    write_settings(home.folder(), "", "", ["", "[shop]\nname = \"South\""]);
    let config = home.config().display().to_string();
    let run = async |words: &[&str]| {
        command(words.iter().map(ToString::to_string).chain(["--config".to_string(), config.clone()])).await
    };
    let checked = run(&["check"]).await.good();
    assert!(checked.contains("shop north\n") && checked.contains("shop south\n"), "{checked}");
    let unsaid = run(&["token", "list"]).await;
    assert!(unsaid.code == Some(1) && unsaid.complained.contains("say --shop north or --shop south"), "{unsaid:?}");
    let unknown = run(&["token", "list", "--shop", "west"]).await;
    assert!(unknown.complained.contains("none has the name \"west\""), "{unknown:?}");
    run(&["token", "add", "mia", "--role", "bench", "--shop", "south"]).await.good();
    assert!(run(&["token", "list", "--shop", "south"]).await.good().contains("mia"));
    assert!(!run(&["token", "list", "--shop", "north"]).await.good().contains("mia"));
    let shown = run(&["settings", "--shop", "south"]).await.good();
    assert!(shown.contains("name = \"South\"") && shown.contains("data/south/backups"), "{shown}");
    // One shop's data goes where it is asked to go, and not the other's.
    let to = home.folder().join("moved.db");
    run(&["move", "--to", to.to_str().unwrap(), "--shop", "south"]).await.good();
    let moved = rusqlite::Connection::open(&to).unwrap();
    let names: String = moved.query_row("SELECT group_concat(name) FROM token", [], |row| row.get(0)).unwrap();
    assert_eq!(names, "mia");
}
