//! A day at the terminal: the real program speaks to a running service, in tables and in JSON, and its exit code says how
//! it went.

use bench::{Bench, program};
use serde_json::{Value, json};

/// Runs words of a command against a bench.
async fn speak(bench: &Bench, words: &str) -> program::Done {
    let url = bench.url("");
    let words = words.split('|').map(str::trim).chain(["--url", &url]).map(String::from).collect::<Vec<_>>();
    program::command(words).await
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|e| panic!("{e}: {text}"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_at_the_terminal() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let said = speak(&bench, "ready").await.good();
    assert_eq!(said, "nothing is ready\n");
    assert_eq!(speak(&bench, "health").await.good(), "ready\n");
    speak(&bench, "reading|--zone|bench|--temp-c|20.4|--rh-pct|48").await.good();
    let said = speak(&bench, "glue-up|--id|g-1|--joint|bridge|--material|aliphatic-resin|--zone|bench|--clamp|cam-1")
        .await
        .good();
    for part in ["g-1: ", " on bridge of the guitar", "take care: ", "clamp off", "not a guarantee"] {
        assert!(said.contains(part), "no {part} in: {said}");
    }
    let said =
        speak(&bench, "coat|--instrument|guitar|--surface|top|--material|shellac|--zone|bench|--json").await.good();
    assert_eq!(json(&said)["surface"], "top");
    let said = speak(&bench, "next|--within-h|2").await.good();
    assert!(said.contains("from Mon 2 Mar ") && said.contains("bridge of the guitar  g-1"), "{said}");
    let level = json!({"id": "level", "kind": "hands_on", "title": "level the frets", "work": {"hands_on_min": 30}});
    let job = json!({"id": "frets", "title": "fret job", "instrument": "guitar", "due_at": "2026-03-02T08:30:00Z", "steps": [level]});
    bench.post("/api/v1/jobs", job).await.good();
    let said = speak(&bench, "plan").await.good();
    for part in [
        "Mon 2 Mar 09:00",
        "level the frets",
        "due 08:30, late by",
        "late: fret job: done Mon 2 Mar 09:40",
        "Clamps off",
    ] {
        assert!(said.contains(part), "no {part} in: {said}");
    }
    let said = speak(&bench, "plan|--within-h|0.5").await.good();
    assert!(said.starts_with("nothing is planned in that time"), "{said}");
    assert!(json(&speak(&bench, "plan|--json").await.good())["steps"].is_array());
    bench.live_minutes("bench", 70, 20.4, 48.0).await;
    let said = speak(&bench, "ready").await.good();
    assert!(said.contains("Clamps can come off: bridge of the guitar") && said.contains("g-1:clamp_off"), "{said}");
    let told = json(&speak(&bench, "ready|--json").await.good());
    let open = bench.items("/api/v1/alerts?state=open").await;
    assert_eq!(told["items"].as_array().unwrap().len(), open.len());
    assert_eq!(speak(&bench, "clamps-off|g-1").await.good(), "g-1: no clamps are on it\n");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_exit_code_says_who_has_to_do_something_about_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let help = program::command(["--help"]).await.good();
    for line in ["0 done", "2 the words were wrong", "3 the service refused it", "4 the service was not reached"] {
        assert!(help.contains(line), "{help}");
    }
    for (words, code, why) in [
        ("glue-up|--joint|bridge", 2, "--zone"),
        ("reading|--zone|booth|--temp-c|20|--rh-pct|50", 3, "\"booth\""),
        ("glue-up|--joint|neck|--material|aliphatic-resin|--zone|bench", 3, "GET /api/v1/joints"),
        ("clamps-off|g-404", 3, "there is no glue-up \"g-404\""),
        ("logger|/nowhere.csv|--zone|bench", 1, "/nowhere.csv"),
    ] {
        let done = speak(&bench, words).await;
        assert_eq!(done.code, Some(code), "{words}: {}", done.complained);
        assert!(done.complained.contains(why) && done.said.is_empty(), "{words}: {}", done.complained);
    }
    let url = bench.url("");
    // Not able to write is not ready.
    let other = rusqlite::Connection::open(&bench.shop.settings.store.path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let done = speak(&bench, "health").await;
    assert_eq!(done.code, Some(4));
    assert!(done.complained.contains("not ready: ") && done.complained.contains("locked"), "{}", done.complained);
    drop(other);
    bench.stop().await;
    let done = program::command(["ready", "--url", &url]).await;
    assert_eq!(done.code, Some(4));
    assert!(
        done.complained.contains("was not reached") && done.complained.contains("BENCHCLOCK_URL"),
        "{}",
        done.complained
    );
}

/// A door that lets the first caller's request through, and cuts the connection before the answer comes back.
async fn cutting_door(to: String) -> String {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio_util::task::TaskTracker::new().spawn(async move {
        for n in 0.. {
            let (mut caller, _) = listener.accept().await.unwrap();
            let mut service = tokio::net::TcpStream::connect(to.trim_start_matches("http://")).await.unwrap();
            if n > 0 {
                drop(tokio::io::copy_bidirectional(&mut caller, &mut service).await);
                continue;
            }
            let mut request = [0; 65536];
            let mut have = 0;
            // The body is JSON and ends with a brace.
            while !request[..have].ends_with(b"}") {
                have += caller.read(&mut request[have..]).await.unwrap();
            }
            service.write_all(&request[..have]).await.unwrap();
            let mut answer = [0; 1];
            service.read_exact(&mut answer).await.unwrap();
        }
    });
    format!("http://{address}")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_said_once_is_said_once_though_the_answer_was_lost() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let door = cutting_door(bench.url("")).await;
    let words =
        ["glue-up", "--joint", "bridge", "--material", "aliphatic-resin", "--zone", "bench", "--json", "--url", &door];
    let told = json(&program::command(words).await.good());
    let there = bench.items("/api/v1/glue-ups").await;
    assert_eq!(there.len(), 1);
    assert_eq!(there[0]["id"], told["id"]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn files_go_in_and_out_by_the_terminal() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let logger = bench.shop.folder().join("logger.csv");
    std::fs::write(&logger, "time,temp,rh\n2026-03-02T07:00:00Z,20.1,50\n2026-03-02T07:05:00Z,20.2,51\n").unwrap();
    let words = format!("logger|{}|--zone|bench|--sensor|north", logger.display());
    let said = speak(&bench, &format!("{words}|--dry-run")).await.good();
    assert!(said.contains("2 taken") && said.contains("nothing was changed"), "{said}");
    assert_eq!(speak(&bench, &words).await.good(), "2 taken, 0 known already\n");
    assert_eq!(speak(&bench, &words).await.good(), "0 taken, 2 known already\n");
    let all = bench.get("/api/v1/export").await.text;
    assert_eq!(speak(&bench, "export").await.good(), all);
    let file = bench.shop.folder().join("all.jsonl");
    let words = format!("export|--file|{}", file.display());
    speak(&bench, &words).await.good();
    assert_eq!(std::fs::read_to_string(&file).unwrap(), all);
    assert_eq!(speak(&bench, &words).await.code, Some(1), "it was written over");
    let table = speak(&bench, "export|--table|readings").await.good();
    assert_eq!(table, bench.get("/api/v1/export/readings.csv").await.text);
    bench
        .post("/api/v1/lots", json!({"id": "old", "material": "shellac", "best_before": "2026-01-01T00:00:00Z"}))
        .await
        .good();
    let said = speak(&bench, "stock").await.good();
    bench.post("/api/v1/lots", json!({"id": "tin", "material": "shellac", "content": {"g": 500}})).await.good();
    assert_eq!(speak(&bench, "used|tin|--g|20").await.good(), "tin: left: 480 g\n");
    assert_eq!(speak(&bench, "used|tin").await.code, Some(2), "how much?");
    let coat = "coat|--instrument|guitar|--surface|back|--material|shellac|--zone|bench";
    assert_eq!(speak(&bench, &format!("{coat}|--used-g|30")).await.code, Some(2), "of which bottle?");
    let said_used = speak(&bench, &format!("{coat}|--lot|tin|--used-g|30|--json")).await.good();
    assert_eq!(json(&said_used)["used"], json!({"g": 30.0}));
    assert!(speak(&bench, "stock").await.good().contains("450 g"), "500 less 20 less 30");
    let said_off = speak(&bench, "off-shelf|tin|--g|100|--reason|grey").await.good();
    assert_eq!(said_off, "tin: off the shelf; thrown out: 100 g\n");
    assert!(said.contains("over: 2026-01-01") && said.contains("buy soon: shellac: no bottle"), "{said}");
    bench.stop().await;
}

#[tokio::test]
async fn the_program_brings_its_settings_file_along() {
    let said = program::command(["settings"]).await.good();
    let shipped = std::fs::read_to_string(bench::root().join("config/benchclock.toml")).unwrap();
    assert_eq!(said, shipped, "write it anew: benchclock settings > config/benchclock.toml");
}

#[tokio::test]
async fn shells_complete_every_verb() {
    let help = program::command(["--help"]).await.good();
    let verbs: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(verbs.contains(&"glue-up") && verbs.contains(&"restore"), "{help}");
    for shell in ["bash", "zsh", "fish"] {
        let script = program::command(["completions", shell]).await.good();
        for verb in &verbs {
            assert!(script.contains(verb), "{shell} does not know {verb}");
        }
    }
    // Bash itself takes it.
    let script = program::command(["completions", "bash"]).await.good();
    let ask = format!(
        "{script}\nCOMP_WORDS=(benchclock gl); COMP_CWORD=1; _benchclock benchclock gl benchclock; echo \"${{COMPREPLY[@]}}\""
    );
    let output = std::process::Command::new("bash").args(["-c", &ask]).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "glue-up");
}
