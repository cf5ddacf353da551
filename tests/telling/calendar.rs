//! The calendar, read by Python's icalendar and laid over local days by recurring_ical_events
//! (`tests/peers/calendar_reader.py`), over a night in which the clock is put forward.

use bench::{Bench, ms};
use benchclock::Now;
use serde_json::{Value, json};

use super::{peer::ask, person, shop};

/// Five in the afternoon before summer time begins in Berlin: 29 March 2026, by the IANA time zone database.
const EVENING: &str = "2026-03-28T16:00:00Z";

async fn glued() -> Bench {
    let mut shop = shop("water-borne-lacquer");
    shop.settings.shop.time_zone = "Europe/Berlin".into();
    shop.settings.people = vec![person("mia", &["page"])];
    let bench = Bench::open(shop, Now::standing_at(ms(EVENING)), false).await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench
}

async fn bench() -> Bench {
    let bench = glued().await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top; back, sides", "material": "water-borne-lacquer",
                      "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    bench
}

async fn path(bench: &Bench) -> String {
    bench.items("/api/v1/calendars").await[0]["path"].as_str().unwrap().into()
}

fn read(feed: &str) -> Value {
    let calendar = ask("calendar_reader.py", &["Europe/Berlin", "2026-03-29T00:00", "2026-03-30T00:00"], feed);
    assert_eq!(calendar["errors"], json!([]));
    assert_eq!(calendar["bare_newlines"], 0);
    assert!(calendar["longest_line"].as_u64().unwrap() <= 75, "{calendar}");
    calendar
}

fn event<'a>(list: &'a Value, uid: &str) -> Option<&'a Value> {
    list.as_array().unwrap().iter().find(|event| event["uid"] == uid)
}

fn minute(value: &Value) -> i64 {
    ms(value.as_str().unwrap()) / 60_000
}

#[tokio::test]
async fn every_milestone_is_an_event_and_a_window_is_an_interval() {
    let bench = bench().await;
    let answer = bench.get(&path(&bench).await).await;
    assert_eq!((answer.status, answer.media.as_str()), (200, "text/calendar; charset=utf-8"));
    let calendar = read(&answer.text);
    let properties = &calendar["properties"];
    assert_eq!((&properties["VERSION"], &properties["REFRESH-INTERVAL"]), (&json!("2.0"), &json!("PT15M")));
    assert_eq!((&properties["NAME"], &properties["X-WR-CALNAME"]), (&json!("The bench"), &json!("The bench")));
    let clamp_off = event(&calendar["events"], "g-1.clamp_off@shop.benchclock").unwrap();
    let milestone = bench.milestone("g-1", "clamp_off").await;
    // To the minute, and never before it is safe.
    let early_ms = ms(clamp_off["from"].as_str().unwrap()) - ms(milestone["safe_at"].as_str().unwrap());
    assert!((0..61_000).contains(&early_ms), "{clamp_off} {milestone}");
    assert_eq!(clamp_off["summary"], "Clamps can come off: bridge of the guitar");
    assert!(clamp_off["description"].as_str().unwrap().contains("An estimate"), "{clamp_off}");
    let at_start = json!({"action": "DISPLAY", "related": "START", "seconds": 0.0,
                          "properties": ["ACTION", "DESCRIPTION", "TRIGGER"]});
    assert_eq!(clamp_off["alarms"], json!([at_start]));
    let window = event(&calendar["events"], "c-1.recoat_opens@shop.benchclock").unwrap();
    let all = bench.items("/api/v1/coats/c-1/milestones").await;
    let stage = |stage: &str| all.iter().find(|m| m["stage"] == stage).unwrap().clone();
    assert!((minute(&window["from"]) - minute(&stage("recoat_opens")["safe_at"])).abs() <= 1, "{window}");
    assert_eq!(minute(&window["until"]), minute(&stage("recoat_closes")["earliest_at"]), "{window}");
    assert_eq!(window["summary"], "Window, recoat: top; back, sides of the guitar");
    assert_eq!(window["alarms"][1]["related"], "END");
    assert_eq!(window["alarms"][1]["seconds"], -1800.0);
    assert_eq!(event(&calendar["events"], "c-1.recoat_closes@shop.benchclock"), None);
    bench.stop().await;
}

#[tokio::test]
async fn over_the_change_of_the_clock_the_calendar_shows_the_hours_the_service_tells() {
    let bench = bench().await;
    let calendar = read(&bench.get(&path(&bench).await).await.text);
    let day = calendar["expanded"].as_array().unwrap();
    assert!(!day.is_empty());
    let all = bench.items("/api/v1/coats/c-1/milestones").await;
    let mut seen = 0;
    for milestone in &all {
        let Some(safe_at) = milestone["safe_at"].as_str().filter(|at| at.starts_with("2026-03-29T")) else { continue };
        let uid = format!("c-1.{}@shop.benchclock", milestone["stage"].as_str().unwrap());
        let Some(shown) = event(&calendar["expanded"], &uid) else {
            assert_eq!(milestone["meets"], "closes", "{uid} is not in that day");
            continue;
        };
        // The wall's own hour and offset, as the service writes them.
        let from = shown["from"].as_str().unwrap();
        assert_eq!(from[19..], safe_at[19..], "{uid}");
        assert!((ms(from) - ms(safe_at)).abs() < 61_000, "{uid}: {from} {safe_at}");
        seen += 1;
    }
    // The window stretches over the night: it is as long as the two instants are apart, not an hour more or less.
    let window = event(&calendar["events"], "c-1.recoat_opens@shop.benchclock").unwrap();
    assert!(
        window["from"].as_str().unwrap().ends_with("+01:00") && window["until"].as_str().unwrap().ends_with("+02:00")
    );
    let stage = |stage: &str| all.iter().find(|m| m["stage"] == stage).unwrap().clone();
    let apart = minute(&stage("recoat_closes")["earliest_at"]) - minute(&stage("recoat_opens")["safe_at"]);
    assert!((minute(&window["until"]) - minute(&window["from"]) - apart).abs() <= 1, "{window}");
    assert!(event(&calendar["expanded"], "c-1.recoat_opens@shop.benchclock").is_some());
    assert!(seen > 0, "{day:?}");
    bench.stop().await;
}

#[tokio::test]
async fn a_time_that_moves_moves_its_event_and_one_that_stays_is_not_sent_again() {
    let bench = bench().await;
    let path = path(&bench).await;
    let get = async |bench: &Bench, tag: &str| {
        bench.http().get(bench.url(&path)).header("if-none-match", tag).send().await.unwrap()
    };
    let first = get(&bench, "").await;
    let tag = first.headers()["etag"].to_str().unwrap().to_string();
    let before = read(&first.text().await.unwrap());
    bench.wait_minutes(1);
    let again = get(&bench, &tag).await;
    assert_eq!(again.status().as_u16(), 304);
    assert_eq!(again.headers()["etag"].to_str().unwrap(), tag);
    // A cold evening: everything comes later.
    bench.live_minutes("bench", 30, 14.0, 50.0).await;
    let moved = get(&bench, &tag).await;
    assert_eq!(moved.status().as_u16(), 200);
    let after = read(&moved.text().await.unwrap());
    let uid = "g-1.full_strength@shop.benchclock";
    let (was, is) = (event(&before["events"], uid).unwrap(), event(&after["events"], uid).unwrap());
    assert!(minute(&is["from"]) > minute(&was["from"]), "{was} {is}");
    assert!(is["sequence"].as_i64() > was["sequence"].as_i64(), "{was} {is}");
    assert!(ms(is["modified"].as_str().unwrap()) > ms(was["modified"].as_str().unwrap()));
    // Numbers go on growing over a restart.
    bench.wait_minutes(2);
    let bench = bench.restart(false).await;
    let restarted = read(&bench.get(&path).await.text);
    assert!(event(&restarted["events"], uid).unwrap()["sequence"].as_i64() >= is["sequence"].as_i64());
    bench.stop().await;
}

#[tokio::test]
async fn the_address_is_secret_its_own_for_each_and_good_after_a_restart() {
    let bench = bench().await;
    let all = bench.items("/api/v1/calendars").await;
    let paths: Vec<&str> = all.iter().map(|calendar| calendar["path"].as_str().unwrap()).collect();
    assert_eq!((all.len(), &all[1]["person"]), (2, &json!("mia")));
    assert_ne!(paths[0], paths[1]);
    let bench = bench.restart(false).await;
    for path in &paths {
        assert_eq!(bench.get(path).await.status, 200);
    }
    bench.get("/calendar/0123456789abcdef0123456789abcdef01234567.ics").await.problem(404, "not-found");
    // Whoever leaves the shop leaves the calendar.
    let (mut shop, now) = bench.stop().await;
    shop.settings.people.clear();
    let bench = Bench::open(shop, now, false).await;
    bench.get(paths[1]).await.problem(404, "not-found");
    assert_eq!(bench.get(paths[0]).await.status, 200);
    bench.stop().await;
}

#[tokio::test]
async fn each_calendar_has_what_its_person_is_told_of() {
    let bench = bench().await;
    let (mut shop, now) = bench.stop().await;
    let mut ben = person("ben", &[]);
    ben.tell.insert("closing".into(), vec!["page".into()]);
    shop.settings.people = vec![person("mia", &["page"]), ben];
    let bench = Bench::open(shop, now, false).await;
    let all = bench.items("/api/v1/calendars").await;
    let mut of = Vec::new();
    for calendar in &all {
        let feed = bench.get(calendar["path"].as_str().unwrap()).await.text;
        of.push(["g-1.clamp_off", "c-1.recoat_opens"].map(|event| feed.contains(event)));
    }
    // The shop and Mia have everything, Ben windows alone. The page has each address, and is where they are looked for.
    assert_eq!(of, [[true, true], [true, true], [false, true]]);
    let page = bench.get("/alerts").await.text;
    for calendar in &all {
        let address = bench.url(calendar["path"].as_str().unwrap());
        let subscribe = format!("href=\"{}\"", address.replace("http://", "webcal://"));
        assert!(page.contains(&address) && page.contains(&subscribe), "no {address} in: {page}");
    }
    bench.stop().await;
}

/// The next quarter of an hour.
fn quarter(at: &Value) -> i64 {
    minute(at).div_euclid(15) * 15 + if ms(at.as_str().unwrap()) % 900_000 == 0 { 0 } else { 15 }
}

#[tokio::test]
async fn stringing_up_is_an_event_for_each_stage_and_keeps_its_name_when_it_moves() {
    let bench = glued().await;
    let to = "/api/v1/instruments/guitar";
    let strings = json!({"family": "steel_string_guitar", "half_tension_h": 12});
    bench.post(&format!("{to}/strings"), strings).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    let path = path(&bench).await;
    let stages = async || bench.get(&format!("{to}/string-up")).await.good()["stages"].as_array().unwrap().clone();
    let of = |calendar: &Value, stage: &Value| {
        let name =
            format!("string-up-guitar-{}-{}@shop.benchclock", ms(EVENING) / 1000, stage["stage"].as_str().unwrap());
        event(&calendar["events"], &name).unwrap_or_else(|| panic!("no {name}: {calendar}")).clone()
    };
    let (due, calendar) = (stages().await, read(&bench.get(&path).await.text));
    assert_eq!(due.len(), 3, "{due:?}");
    for stage in &due {
        let shown = of(&calendar, stage);
        assert_eq!(minute(&shown["from"]), quarter(&stage["due_at"]), "{shown} {stage}");
        // Only the stage whose turn it is rings.
        let rings = stage["stage"] == "half_tension";
        assert_eq!(shown["alarms"].as_array().map(Vec::len), Some(usize::from(rings)), "{shown}");
    }
    let half = of(&calendar, &due[0]);
    assert_eq!(half["summary"], "Half tension: the guitar");
    for said in ["eye protection", "An estimate"] {
        assert!(half["description"].as_str().unwrap().contains(said), "{half}");
    }
    // Clamps that could have come off are work, and nothing rings before it is done.
    bench.live_minutes("bench", 300, 20.0, 50.0).await;
    let waits = of(&read(&bench.get(&path).await.text), &due[0]);
    assert_eq!(waits["alarms"], json!([]), "{waits}");
    assert!(
        waits["description"].as_str().unwrap().contains("only when this is done: bridge: clamps are on it"),
        "{waits}"
    );
    bench.post("/api/v1/glue-ups/g-1/clamps-off", json!({})).await.good();
    // It did not hold and is glued again: later, under the same name.
    let again = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", again).await.good();
    let (due, moved) = (stages().await, read(&bench.get(&path).await.text));
    let later = of(&moved, &due[0]);
    assert!(minute(&later["from"]) > minute(&half["from"]), "{half} {later}");
    assert!(later["sequence"].as_i64() > half["sequence"].as_i64(), "{half} {later}");
    assert_eq!(later["alarms"][0]["action"], "DISPLAY", "{later}");
    assert_eq!(of(&moved, &due[1])["alarms"], json!([]), "it is not its turn");
    bench.stop().await;
}

#[tokio::test]
async fn a_mix_is_an_interval_that_ends_when_it_may_gel_with_an_alarm_ahead() {
    let bench = Bench::open(shop("fast-epoxy"), Now::standing_at(ms(EVENING)), false).await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    let pot = json!({"id": "pot", "material": "fast-epoxy", "zone": "bench", "wanted_ml": 10});
    let made = bench.post("/api/v1/mixes", pot).await.good();
    let calendar = read(&bench.get(&path(&bench).await).await.text);
    let life = event(&calendar["events"], "mix-pot.working_life@shop.benchclock").unwrap().clone();
    assert_eq!(ms(life["from"].as_str().unwrap()), ms(EVENING));
    assert_eq!(minute(&life["until"]), minute(&made["gels_earliest_at"]), "{life} {made}");
    let alarms = life["alarms"].as_array().unwrap();
    assert_eq!((alarms.len(), &alarms[0]["related"]), (1, &json!("END")), "{life}");
    assert!(alarms[0]["seconds"].as_f64().unwrap() < 0.0, "{life}");
    // Kept for a fortnight, then gone.
    bench.wait_minutes(13 * 24 * 60);
    let kept = read(&bench.get(&path(&bench).await).await.text);
    assert!(event(&kept["events"], "mix-pot.working_life@shop.benchclock").is_some());
    bench.wait_minutes(2 * 24 * 60);
    let gone = read(&bench.get(&path(&bench).await).await.text);
    assert_eq!(event(&gone["events"], "mix-pot.working_life@shop.benchclock"), None);
    bench.stop().await;
}
