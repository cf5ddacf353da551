//! What the API says of itself is so: every address is described, every example is taken, and a tester that is not ours
//! finds no answer that is not described.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{collections::BTreeSet, path::Path, process::Command};

use bench::{
    Bench, Shop,
    program::{Home, Program},
    root,
};
use reqwest::{Client, Method};
use serde_json::{Value, json};

/// One method of one address, with what its example sends.
struct Example {
    method: Method,
    pattern: String,
    path: String,
    replaces: bool,
    body: Option<(String, String)>,
}

impl Example {
    /// Whether it makes something that others name.
    fn makes(&self) -> bool {
        self.body.is_some() && !self.pattern.contains('{')
    }

    async fn send(&self, http: &Client, base: &str) -> (u16, String) {
        let url = format!("{base}{}", self.path);
        let mut request = http.request(self.method.clone(), &url);
        if self.replaces {
            let shown = http.get(&url).send().await.unwrap();
            request = request.header("if-match", shown.headers()["etag"].clone());
        }
        if let Some((media, body)) = &self.body {
            request = request.header("content-type", media).body(body.clone());
        }
        let answer = request.send().await.unwrap();
        (answer.status().as_u16(), answer.text().await.unwrap())
    }
}

fn text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_string)
}

/// Every example of the document, in its order.
fn examples(document: &Value) -> Vec<Example> {
    let mut all = vec![];
    for (pattern, methods) in document["paths"].as_object().unwrap() {
        for (method, operation) in methods.as_object().unwrap() {
            let (mut path, mut query, mut replaces) = (pattern.clone(), vec![], false);
            for parameter in operation["parameters"].as_array().into_iter().flatten() {
                let (name, example) = (text(&parameter["name"]), text(&parameter["example"]));
                match (parameter["in"].as_str().unwrap(), parameter.get("example")) {
                    ("path", _) => path = path.replace(&format!("{{{name}}}"), &example),
                    ("query", Some(_)) => query.push(format!("{name}={example}")),
                    _ => replaces |= name == "If-Match",
                }
            }
            if !query.is_empty() {
                path = format!("{path}?{}", query.join("&"));
            }
            let body = operation["requestBody"]["content"].as_object().map(|content| {
                let (media, content) = content.iter().next().unwrap();
                (media.clone(), text(&content["example"]))
            });
            let method = method.to_uppercase().parse().unwrap();
            all.push(Example { method, pattern: pattern.clone(), path, replaces, body });
        }
    }
    all
}

/// The rule and the schedule the examples name beside those of a small shop.
fn add_scripts(folder: &Path) {
    std::fs::create_dir_all(folder.join("schedules")).unwrap();
    for file in ["materials/fast-epoxy.rhai", "materials/uv-cured-fill.rhai", "schedules/french-polish.toml"] {
        std::fs::copy(root().join("scripts").join(file), folder.join(file)).unwrap();
    }
}

#[tokio::test]
async fn every_address_is_described_and_nothing_else() {
    let bench = Bench::small().await;
    let document = bench.get("/api/v1/openapi.json").await.good();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1"));
    let described: BTreeSet<String> =
        examples(&document).iter().map(|one| format!("{} {}", one.method, one.pattern)).collect();
    let mut listed = BTreeSet::new();
    for line in bench.items("/api/v1").await {
        let words: Vec<&str> = line.as_str().unwrap().split(' ').collect();
        let (path, methods) = words.split_last().unwrap();
        listed.extend(methods.iter().map(|method| format!("{method} {path}")));
    }
    assert_eq!(described, listed);
    // Whatever a schema refers to stands in the document.
    let whole = document.to_string();
    for name in whole.split("#/components/schemas/").skip(1).filter_map(|rest| rest.split('"').next()) {
        assert!(document["components"]["schemas"][name].is_object(), "{name} is not described");
    }
    // Whatever an answer links to is there, and takes what the link hands on.
    let operations: Vec<&Value> =
        document["paths"].as_object().unwrap().values().flat_map(|path| path.as_object().unwrap().values()).collect();
    let answers = operations.iter().flat_map(|operation| operation["responses"].as_object().unwrap().values());
    let links: Vec<&Value> =
        answers.filter_map(|answer| answer["links"].as_object()).flat_map(|all| all.values()).collect();
    for link in &links {
        let target =
            operations.iter().find(|operation| operation["operationId"] == link["operationId"]).expect("a target");
        let taken = |name: &String| target["parameters"].as_array().unwrap().iter().any(|p| p["name"] == **name);
        assert!(link["parameters"].as_object().unwrap().keys().all(taken), "{link}");
    }
    assert!(links.len() > 100, "{} links", links.len());
    let page = bench.get("/api").await;
    for one in examples(&document) {
        assert!(page.status == 200 && page.text.contains(&one.pattern), "{} is not on the page", one.pattern);
    }
    bench.stop().await;
}

#[tokio::test]
async fn every_example_is_taken() {
    let mut shop = Shop::small();
    add_scripts(&shop.settings.scripts.folder);
    let mut mia = benchclock::Person { name: "mia".into(), ..Default::default() };
    mia.tell.insert("else".into(), vec!["page".into()]);
    shop.settings.people = vec![mia];
    let bench = Bench::open(shop, benchclock::Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    let document = bench.get("/api/v1/openapi.json").await.good();
    let all = examples(&document);
    let base = bench.url("");
    let taken = async |one: &Example| {
        let (status, said) = one.send(bench.http(), &base).await;
        assert!((200..300).contains(&status), "{} {}: {status} {said}", one.method, one.path);
    };
    for one in all.iter().filter(|one| one.makes()) {
        taken(one).await;
    }
    let readings = "/api/v1/zones/bench/readings";
    for temp_c in [72, 73] {
        let hot = json!({"sensor": format!("s-{temp_c}"), "temp_c": temp_c, "rh_pct": 50});
        bench.post(readings, hot).await.problem(422, "invalid");
    }
    assert!(bench.alarms().await > 0);
    // Shellac takes no light.
    let fill = json!({"id": "fill-1", "instrument": "guitar", "surface": "chip", "material": "uv-cured-fill", "zone": "bench"});
    bench.post("/api/v1/coats", fill).await.good();
    let (asking, doing): (Vec<_>, Vec<_>) =
        all.iter().filter(|one| !one.makes()).partition(|one| one.method == Method::GET);
    // What is dropped, withdrawn or closed goes last.
    let ends = |one: &&&Example| {
        ["drop", "withdraw", "close", "cancel", "put-away"].iter().any(|end| one.pattern.ends_with(&format!("/{end}")))
    };
    let begins_again =
        |one: &&&Example| ["reopen", "bring-back"].iter().any(|end| one.pattern.ends_with(&format!("/{end}")));
    for one in doing.iter().filter(|one| !ends(one) && !begins_again(one)) {
        taken(one).await;
    }
    for one in asking {
        // The stream does not end, and which version a rule has is not known to the document.
        if !one.pattern.ends_with("/events") && !one.pattern.ends_with("{version}") {
            taken(one).await;
        }
    }
    for one in doing.iter().filter(ends).rev().chain(doing.iter().filter(begins_again)) {
        taken(one).await;
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_wrong_method_is_told_the_right_ones_and_head_answers_as_get() {
    let bench = Bench::small().await;
    let sent = bench.http().delete(bench.url("/api/v1/zones")).send().await.unwrap();
    assert_eq!(sent.status(), 405);
    assert_eq!(sent.headers()["allow"], "GET, HEAD, POST");
    assert_eq!(sent.headers()["content-type"], "application/problem+json");
    for path in ["/api/v1", "/api/v1/board", "/api/v1/events", "/api/v1/export", "/", "/health/live"] {
        let head = bench.http().head(bench.url(path)).send().await.unwrap();
        let get = bench.http().get(bench.url(path)).send().await.unwrap();
        assert_eq!((head.status(), &head.headers()["content-type"]), (get.status(), &get.headers()["content-type"]));
        assert_eq!(head.headers().get("content-length"), get.headers().get("content-length"), "{path}");
        assert_eq!(head.text().await.unwrap(), "", "{path}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_is_no_glue_up() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    let wrong = bench.get("/api/v1/glue-ups/c-1").await.problem(404, "not-found");
    assert_eq!(wrong["mend"], "it is a coat: ask for /api/v1/coats/c-1");
    bench.get("/api/v1/coats/g-1/milestones").await.problem(404, "not-found");
    bench.post("/api/v1/coats/g-1/withdraw", json!({"reason": "x"})).await.problem(404, "not-found");
    bench.post("/api/v1/glue-ups/c-1/clamps-off", json!({})).await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn a_value_of_the_wrong_type_is_named() {
    let bench = Bench::small().await;
    let zone = json!({"name": "x", "set_temp_c": "warm", "set_rh_pct": 50});
    assert_eq!(bench.post("/api/v1/zones", zone).await.problem(422, "invalid")["field"], "set_temp_c");
    let step = json!({"id": "glue", "kind": "glue_up"});
    let job = json!({"title": "x", "instrument": "guitar", "steps": [step]});
    assert_eq!(bench.post("/api/v1/jobs", job).await.problem(422, "invalid")["field"], "steps[0].title");
    let step = json!({"id": "glue", "kind": "dance", "title": "x"});
    let job = json!({"title": "x", "instrument": "guitar", "steps": [step]});
    assert_eq!(bench.post("/api/v1/jobs", job).await.problem(422, "invalid")["field"], "steps[0].kind");
    bench.stop().await;
}

/// A program that has what the examples make, and schemathesis (MIT), which makes requests from its document and holds
/// every answer against it.
struct Tester {
    home: Home,
    program: Program,
}

impl Tester {
    async fn start() -> Self {
        let home = Home::new();
        add_scripts(&home.folder().join("scripts"));
        let mut settings = std::fs::read_to_string(home.config()).unwrap();
        settings += "[[people]]\nname = \"mia\"\ntell = { else = [\"page\"] }\n";
        home.write(&settings);
        let program = Program::serve(&home).await;
        let document = program.get("/api/v1/openapi.json").await.good();
        for one in examples(&document).iter().filter(|one| one.makes()) {
            one.send(program.http(), &program.url("")).await;
        }
        Self { home, program }
    }

    /// What the tester says, which must find nothing.
    async fn says(&self, arguments: &[&str]) -> String {
        let python = root().join("target/python-venv/bin/schemathesis");
        assert!(python.exists(), "{} is missing: run tests/run, which installs it", python.display());
        let peers = root().join("tests/peers").canonicalize().unwrap();
        let mut command = Command::new(python);
        command.arg("--config-file").arg(peers.join("schemathesis.toml"));
        command.args(["run", "--no-color", "--seed", "1", "--continue-on-failure", "--request-timeout", "20"]);
        command.args(["--suppress-health-check", "all", "--generation-database", "none", "--warnings", "off"]);
        command.args(["--checks", CHECKS]).args(arguments);
        command.arg(self.program.url("/api/v1/openapi.json")).current_dir(self.home.folder());
        if arguments.contains(&"stateful") {
            command.env("PYTHONPATH", peers).env("PYTHONDONTWRITEBYTECODE", "1");
            command.env("SCHEMATHESIS_HOOKS", "known_things");
        }
        let output = tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
        said
    }
}

/// Requests good and bad, one by one.
#[tokio::test]
async fn a_tester_finds_no_answer_that_is_not_described() {
    let tester = Tester::start().await;
    let phases = "examples,coverage,fuzzing";
    tester.says(&["--exclude-path", "/api/v1/events", "--max-examples", "5", "--phases", phases]).await;
    tester.program.terminate().await;
}

/// Requests that go on from what an earlier one was told, by the links of the document: what is made is looked at, changed
/// and ended.
#[tokio::test]
async fn a_tester_finds_no_chain_of_requests_that_goes_wrong() {
    let tester = Tester::start().await;
    for things in ["zones", "glue-ups", "coats", "jobs", "instruments", "lots", "tokens", "observations"] {
        let below = format!("^/api/v1/{things}(/|$)");
        let phase = ["--max-examples", "25", "--mode", "positive", "--phases", "stateful"];
        let said = tester.says(&[&["--include-path-regex", &below], phase.as_slice()].concat()).await;
        // API Links:    24 covered / 28 selected / 127 total
        let line = said.lines().find(|line| line.contains("API Links:")).unwrap_or_else(|| panic!("no links: {said}"));
        let numbers: Vec<usize> = line.split(' ').filter_map(|word| word.parse().ok()).collect();
        assert!(numbers[0] * 5 >= numbers[1] * 4 && numbers[1] > 3, "{things}: {line}");
    }
    let journal = tester.program.get("/api/v1/export").await.text;
    // What comes at the end of a chain only: the examples made none of these.
    for kind in ["cure_moved", "cure_withdrawn", "note_made", "job_closed", "lot_closed", "observation_withdrawn"] {
        assert!(journal.contains(&format!("\"kind\":\"{kind}\"")), "no chain came to {kind}");
    }
    tester.program.terminate().await;
}

const CHECKS: &str = "not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,\
                      response_schema_conformance,unsupported_method";
