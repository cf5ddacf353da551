//! Everything that is listed: the parts of a list join without loss, and what the service says of itself is so.

use std::collections::BTreeMap;

use bench::{Bench, Shop};
use serde_json::{Value, json};

use super::{at_ms, each};

#[tokio::test]
async fn the_parts_of_a_list_join_without_loss() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for n in 0..7 {
        let named = json!({"id": format!("x-{n}"), "name": "x"});
        bench.post("/api/v1/instruments", named.clone()).await.good();
        bench.post("/api/v1/clamps", named.clone()).await.good();
        let at = json!({"id": format!("x-{n}"), "name": "x", "set_temp_c": 20, "set_rh_pct": 50});
        bench.post("/api/v1/zones", at).await.good();
        let joint = json!({"id": format!("x-{n}"), "name": "x", "instrument": "guitar"});
        bench.post("/api/v1/joints", joint).await.good();
        bench.post("/api/v1/lots", json!({"id": format!("x-{n}"), "material": "shellac"})).await.good();
        let job = json!({"id": format!("x-{n}"), "title": "x", "instrument": "guitar"});
        bench.post("/api/v1/jobs", job).await.good();
        let glue_up = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        bench.post("/api/v1/glue-ups", glue_up).await.good();
        let coat = json!({"instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
        bench.post("/api/v1/coats", coat).await.good();
    }
    let rows = [
        ("instruments", 8),
        ("clamps", 10),
        ("zones", 8),
        ("joints", 8),
        ("lots", 7),
        ("jobs", 7),
        ("glue-ups", 7),
        ("coats", 7),
    ];
    for (list, n) in rows {
        let whole = bench.items(&format!("/api/v1/{list}")).await;
        assert_eq!(whole.len(), n, "{list}");
        let (mut joined, mut after) = (Vec::new(), String::new());
        loop {
            let part = bench.get(&format!("/api/v1/{list}?limit=3{after}")).await.good();
            joined.extend(part["items"].as_array().unwrap().clone());
            let Some(next) = part["next"].as_str() else { break };
            after = format!("&after={next}");
        }
        assert_eq!(joined, whole, "{list}");
        let ids = each(&whole, "id");
        assert!(ids.is_sorted_by(|a, b| a < b), "{list}: {ids:?}");
        for id in ids {
            assert_eq!(bench.get(&format!("/api/v1/{list}/{id}")).await.good()["id"], id, "{list}");
        }
    }
    bench.stop().await;
}

#[tokio::test]
async fn the_parts_of_the_alerts_join_without_loss_newest_first() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for n in 0..70 {
        let body = json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "minutes_ago": 14_400});
        bench.post("/api/v1/glue-ups", body).await.good();
    }
    assert_eq!(bench.alarms().await, 210);
    let (mut joined, mut before) = (Vec::new(), String::new());
    loop {
        let part = bench.get(&format!("/api/v1/alerts{before}")).await.good();
        joined.extend(part["items"].as_array().unwrap().clone());
        let Some(next) = part["next"].as_str() else { break };
        before = format!("?before={next}");
    }
    let seqs: Vec<i64> = joined.iter().map(|alert| alert["seq"].as_i64().unwrap()).collect();
    assert!(seqs.len() == 210 && seqs.is_sorted_by(|a, b| a > b), "{seqs:?}");
    bench.stop().await;
}

#[tokio::test]
async fn each_material_has_its_sheet_and_its_script() {
    let bench = Bench::start().await;
    let list = bench.get("/api/v1/materials").await.good();
    assert_eq!(list["faults"], json!([]), "a shipped rule is not in force");
    let shipped = std::fs::read_dir(bench::root().join("scripts/materials")).unwrap().count();
    assert_eq!(list["items"].as_array().unwrap().len(), shipped);
    for sheet in list["items"].as_array().unwrap() {
        let id = sheet["id"].as_str().unwrap();
        for part in ["name", "kind", "rule_version"] {
            assert!(sheet[part].as_str().is_some_and(|text| !text.is_empty()), "{id} has no {part}");
        }
        for part in ["cautions", "sources"] {
            assert!(sheet[part].as_array().is_some_and(|lines| !lines.is_empty()), "{id} has no {part}");
        }
        let one = bench.get(&format!("/api/v1/materials/{id}")).await.good();
        let text = std::fs::read_to_string(bench::root().join(format!("scripts/materials/{id}.rhai"))).unwrap();
        assert_eq!(one["script"], text, "{id}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn the_milestones_ahead_come_in_order_of_time_and_no_further_than_asked() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    let ahead = async |query: &str| bench.items(&format!("/api/v1/milestones{query}")).await;
    assert!(ahead("?within_h=0").await.is_empty());
    let soon = ahead("?within_h=2").await;
    let times: Vec<i64> = soon.iter().map(|coming| at_ms(&coming["at"])).collect();
    assert!(times.is_sorted() && times.iter().all(|at_ms| *at_ms <= bench.now.ms() + 2 * 3_600_000), "{soon:?}");
    assert!(soon.iter().any(|c| c["cure"] == "g-1" && c["stage"] == "clamp_off"), "{soon:?}");
    assert!(soon.iter().any(|c| c["place"] == "top of the guitar" && c["stage"] == "dry_to_touch"), "{soon:?}");
    assert_eq!(ahead("").await, ahead("?within_h=48").await);
    assert_eq!(ahead("?within_h=8784").await.len(), 3 + 9);
    // What was told is not ahead any more.
    bench.live_minutes("bench", 35, 20.0, 50.0).await;
    assert!(ahead("?within_h=2").await.iter().all(|c| c["stage"] != "scrape_flush"));
    bench.stop().await;
}

#[tokio::test]
async fn the_board_puts_what_is_to_be_done_first() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    bench.glue_up("g-1").await;
    assert_eq!(each(bench.board().await["cures"].as_array().unwrap(), "id"), ["c-1", "g-1"]);
    bench.live_minutes("bench", 70, 20.0, 50.0).await;
    let board = bench.board().await;
    assert_eq!(each(board["cures"].as_array().unwrap(), "id"), ["g-1", "c-1"]);
    assert_eq!(board["zones"][0]["temp_c"], 20.0);
    assert_eq!(bench.get("/api/v1/board?limit=1").await.good()["cures"].as_array().unwrap().len(), 1);
    bench.stop().await;
}

/// What a listed address is called with here.
fn filled(address: &str) -> String {
    let id = match address.split('/').nth(3) {
        Some("zones") => "bench",
        Some("instruments") => "guitar",
        Some("jobs") => "job",
        Some("joints") => "bridge",
        Some("clamps") => "cam-1",
        Some("materials" | "rules") => "aliphatic-resin",
        Some("lots") => "bottle",
        Some("coats") => "c-1",
        Some("sensors") => "s-1",
        Some("mixes") => "pot",
        Some("schedules") => "polish",
        Some("alerts") => "c-1:dust_free",
        Some("channels") => "mia:page",
        // The first 64 bits of the SHA-256 of the endpoint below.
        Some("push-subscriptions") => "572ed3dbb3c937f4",
        Some("observations") => "o-1",
        Some("tokens") => "mia-phone",
        _ => "g-1",
    };
    let query = match address.split('/').next_back() {
        Some("cracks") => "?width_mm=0.4",
        Some("spray-window") => "?material=shellac&zone=bench",
        Some("mix-amounts") => "?material=fast-epoxy&wanted_ml=10",
        Some("string-tension") => "?scale_mm=648&note=E4&gauge_thou=12",
        _ => "",
    };
    let rule = std::fs::read_to_string(bench::root().join("scripts/materials/aliphatic-resin.rhai")).unwrap();
    let version = rules::Rule::version_of(&rule);
    address
        .replace("{id}", id)
        .replace("{version}", version.as_str())
        .replace("{material}", "shellac")
        .replace("{step}", "glue")
        .replace("{plan}", "evening")
        .replace("{held}", "1")
        .replace("{date}", "2026-12-24")
        .replace("{table}", "facts")
        + query
}

#[tokio::test]
async fn every_address_the_service_lists_answers() {
    // Something that is mixed, and a schedule.
    let mut shop = Shop::small();
    let scripts = bench::root().join("scripts");
    std::fs::create_dir_all(shop.settings.scripts.folder.join("schedules")).unwrap();
    for (from, to) in [
        ("materials/fast-epoxy.rhai", "materials/fast-epoxy.rhai"),
        ("schedules/french-polish.toml", "schedules/polish.toml"),
    ] {
        std::fs::copy(scripts.join(from), shop.settings.scripts.folder.join(to)).unwrap();
    }
    let mut mia = benchclock::Person { name: "mia".into(), ..Default::default() };
    mia.tell.insert("else".into(), vec!["page".into()]);
    shop.settings.people = vec![mia];
    let bench = Bench::open(shop, benchclock::Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    // The browser's keys of RFC 8291 appendix A.
    let keys = json!({"auth": "BTBZMqHH6r4Tts7J_aSIgg", "p256dh":
        "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"});
    let browser = json!({"person": "mia", "subscription": {"endpoint": "https://push.example.org/1", "keys": keys}});
    bench.post("/api/v1/push-subscriptions", browser).await.good();
    bench.furnish().await;
    let pot = json!({"id": "pot", "material": "fast-epoxy", "zone": "bench", "wanted_ml": 10});
    bench.post("/api/v1/mixes", pot).await.good();
    bench.post("/api/v1/lots", json!({"id": "bottle", "material": "shellac"})).await.good();
    let step = json!({"id": "glue", "kind": "glue_up", "title": "glue"});
    let job = json!({"id": "job", "title": "job", "instrument": "guitar", "steps": [step]});
    bench.post("/api/v1/jobs", job).await.good();
    bench.glue_up("g-1").await;
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    let top = json!({"id": "top", "name": "top", "species": "spruce", "cut": "quarter", "thickness_mm": 2.8,
                     "width_mm": 400, "faces_open": "one"});
    bench.post("/api/v1/instruments/guitar/plates", top).await.good();
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench",
                      "minutes_ago": 30});
    bench.post("/api/v1/coats", coat).await.good();
    assert!(bench.alarms().await > 0);
    let seen = json!({"id": "o-1", "cure": "c-1", "stage": "sandable", "reached": false});
    bench.post("/api/v1/observations", seen).await.good();
    let plan = json!({"id": "evening", "from": "2026-03-02T18:00:00Z", "until": "2026-03-02T22:00:00Z", "temp_c": 26});
    bench.post("/api/v1/zones/bench/plans", plan).await.good();
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    bench.post("/api/v1/tokens", json!({"id": "mia-phone", "role": "bench"})).await.good();
    let readings = "/api/v1/zones/bench/readings";
    bench.post(readings, json!({"sensor": "s-1", "temp_c": 20, "rh_pct": 50})).await.good();
    bench.post(readings, json!({"sensor": "s-1", "temp_c": 72, "rh_pct": 50})).await.problem(422, "invalid");
    let addresses: Vec<Value> = bench.items("/api/v1").await;
    for list in ["joints", "clamps", "lots"] {
        let one = json!(format!("GET /api/v1/{list}/{{id}}"));
        assert!(addresses.contains(&one), "{one} is not listed");
    }
    for line in addresses {
        let words: Vec<&str> = line.as_str().unwrap().split(' ').collect();
        let (path, methods) = words.split_last().unwrap();
        for method in methods {
            if *path == "/api/v1/events" {
                continue;
            }
            let method: reqwest::Method = method.parse().unwrap();
            let is_get = method == reqwest::Method::GET;
            let answer = bench.send(bench.http().request(method, bench.url(&filled(path)))).await;
            let known = if is_get { answer.status == 200 } else { ![404, 405, 500].contains(&answer.status) };
            assert!(known, "{line}: {} {}", answer.status, answer.text);
        }
    }
    bench.stop().await;
}

/// Prometheus text, line by line: each sample by its name and labels.
fn samples(text: &str) -> BTreeMap<String, f64> {
    let mut kinds = BTreeMap::new();
    let mut samples = BTreeMap::new();
    for line in text.lines().filter(|line| !line.is_empty()) {
        if let Some(comment) = line.strip_prefix("# ") {
            let mut words = comment.splitn(3, ' ');
            if words.next() == Some("TYPE") {
                let (name, kind) = (words.next().unwrap(), words.next().unwrap());
                assert!(["counter", "gauge", "histogram", "summary"].contains(&kind), "{line}");
                assert_eq!(kinds.insert(name.to_string(), kind.to_string()), None, "{line} stands twice");
            }
            continue;
        }
        let (series, value) = line.rsplit_once(' ').unwrap_or_else(|| panic!("no value: {line}"));
        let name = series.split('{').next().unwrap();
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == ':'), "{line}");
        let family = |name: &str| kinds.contains_key(name);
        let of_family = ["_bucket", "_sum", "_count"].iter().find_map(|ending| name.strip_suffix(ending));
        assert!(family(name) || of_family.is_some_and(family), "no TYPE before {line}");
        let value: f64 = value.parse().unwrap_or_else(|_| panic!("no number: {line}"));
        assert_eq!(samples.insert(series.to_string(), value), None, "{line} stands twice");
    }
    samples
}

#[tokio::test]
async fn the_metrics_are_prometheus_text_and_count() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    let answer = bench.get("/metrics").await;
    assert!(answer.media.starts_with("text/plain"), "{}", answer.media);
    let samples = samples(&answer.text);
    // Other benches of this process count into the same recorder.
    for (series, least) in [
        ("benchclock_facts_total", 10.0),
        ("benchclock_readings_total", 13.0),
        ("benchclock_alert_lateness_seconds_count", 2.0),
        ("benchclock_cures_open", 0.0),
        ("benchclock_job_overdue{job=\"backup\"}", 0.0),
    ] {
        assert!(samples.get(series).is_some_and(|count| *count >= least), "{series}: {samples:?}");
    }
    bench.stop().await;
}
