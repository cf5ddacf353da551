//! Coats by the pages alone: registering one, the next on its surface, what the page says of both, and a pot.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

use super::{
    driver::{Browser, WALL},
    forms::send,
};

async fn shop() -> Bench {
    let bench = Bench::open(Shop::new(), Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench
}

#[tokio::test]
async fn a_coat_and_the_next_on_it_are_registered_and_stand_in_their_stack() {
    let bench = shop().await;
    let first = [
        ("key", "first"),
        ("step", "none"),
        ("instrument", "guitar"),
        ("surface", "Top"),
        ("material", "nitrocellulose-lacquer"),
        ("zone", "bench"),
        ("started", "15"),
        ("film", "80,5"),
        ("method", "spray"),
    ];
    let page = send(&bench, "/coat", &first).await;
    assert_eq!(page.status, 200, "{}", page.text);
    assert_eq!(send(&bench, "/coat", &first).await.status, 200);
    let coats = bench.items("/api/v1/coats").await;
    assert_eq!(coats.len(), 1, "a form sent twice makes one coat");
    let id = coats[0]["id"].as_str().unwrap().to_string();
    assert_eq!(coats[0]["started_at"], "2026-03-02T07:45:00+00:00");
    // The next one is proposed as the last was.
    assert!(bench.get("/coat").await.text.contains(&format!("/coat?on={id}")));
    let form = bench.get(&format!("/coat?on={id}")).await.text;
    for part in
        ["value=\"Top\"", "value=\"nitrocellulose-lacquer\" selected", "value=\"guitar\" selected", "To recoat: "]
    {
        assert!(form.contains(part), "no {part} in {form}");
    }
    bench.live_minutes("bench", 240, 20.0, 50.0).await;
    let mut next: Vec<_> = first.iter().filter(|(name, _)| !["key", "surface"].contains(name)).copied().collect();
    next.extend([("surface", "top"), ("abraded", "no")]);
    let page = send(&bench, "/coat", &next).await;
    assert_eq!(page.status, 200, "{}", page.text);
    // One surface, two coats, and what the interface says of it.
    let shown = bench.get("/coats").await.text;
    assert_eq!((shown.matches("Next coat on").count(), shown.matches("nitrocellulose").count() >= 1), (1, true));
    let stack = shown.split("<ol class=\"stack\"").nth(1).unwrap().split("</ol>").next().unwrap();
    assert_eq!(stack.matches("<li>").count(), 2, "{stack}");
    let finish = bench.get("/api/v1/instruments/guitar/finish").await.good();
    let may = finish["touches"].as_array().unwrap().iter().filter(|touch| touch["may_now"] == true).count();
    assert_eq!(shown.matches("may now").count(), may);
    // The air at the gun as the interface judges it.
    let asked = "material=nitrocellulose-lacquer&zone=bench";
    let word = bench.get(&format!("/api/v1/spray-window?{asked}")).await.good();
    let page = bench.get(&format!("/coats?{asked}")).await.text;
    assert!(page.contains(word["says"].as_str().unwrap()), "{word} {page}");
    let unknown = bench.get("/coats?material=nitrocellulose-lacquer&zone=cellar").await;
    assert!(unknown.status == 200 && unknown.text.contains("there is no zone"), "{}", unknown.text);
    bench.stop().await;
}

#[tokio::test]
async fn what_is_wrong_with_a_coat_is_said_and_what_was_filled_in_stays() {
    let bench = shop().await;
    for (field, value, said) in [
        ("film", "thick", "film is no number"),
        ("surface", "", "surface is missing"),
        ("material", "", "material is missing"),
        ("method", "hose", "there is no such way"),
        ("passes", "2", "passes and spread_m2_l go together"),
        ("zone", "cellar", "there is no zone"),
    ] {
        let mut form = vec![("step", "none"), ("instrument", "guitar"), ("surface", "back"), ("zone", "bench")];
        form.extend([("material", "shellac"), ("started", "0"), ("thinner_parts", "0.25")]);
        form.retain(|(name, _)| *name != field);
        form.push((field, value));
        let answer = send(&bench, "/coat", &form).await;
        assert!(answer.status == 422 && answer.text.contains(said), "{field}: {} {}", answer.status, answer.text);
        assert!(answer.text.contains("value=\"0.25\""), "{field}: {}", answer.text);
    }
    assert!(bench.items("/api/v1/coats").await.is_empty());
    bench.stop().await;
}

/// The amounts of the page are those of the interface, which `tests/finish/mixes.rs` holds against ratios by hand.
#[tokio::test]
async fn a_pot_is_measured_out_stirred_and_watched() {
    let bench = shop().await;
    let asked = "material=acid-cured-lacquer&wanted_ml=60";
    let amounts = bench.get(&format!("/api/v1/mix-amounts?{asked}")).await.good();
    let page = bench.get(&format!("/mix?{asked}")).await.text;
    for part in amounts["parts"].as_array().unwrap() {
        let ml = format!("{:.2} ml", part["ml"].as_f64().unwrap());
        assert!(page.contains(&ml) && page.contains(part["name"].as_str().unwrap()), "{part} {page}");
    }
    let too_much = bench.get("/mix?material=acid-cured-lacquer&wanted_ml=900000").await;
    assert!(too_much.status == 422 && too_much.text.contains("value=\"900000\""), "{}", too_much.text);
    let form =
        [("key", "pot"), ("material", "acid-cured-lacquer"), ("wanted_ml", "60"), ("zone", "bench"), ("started", "5")];
    for _ in 0..2 {
        assert_eq!(send(&bench, "/mix", &form).await.status, 200);
    }
    let mixes = bench.items("/api/v1/mixes").await;
    assert_eq!((mixes.len(), &mixes[0]["at"]), (1, &json!("2026-03-02T07:55:00+00:00")));
    assert!(bench.get("/coats").await.text.contains("stirred 07:55"));
    // A coat may come out of it.
    let page = bench.get("/coat?step=none").await.text;
    assert!(page.contains(&format!("<option value=\"{}\"", mixes[0]["id"].as_str().unwrap())), "{page}");
    bench.stop().await;
}

/// Two to one by volume: 40 ml to 20 ml is in its ratio, 40 ml to 30 ml has half as much hardener again.
#[tokio::test]
async fn a_pot_that_was_measured_otherwise_says_so() {
    let bench = shop().await;
    let page = bench.get("/mix?material=acid-cured-lacquer&wanted_ml=60").await.text;
    let asked = bench.get("/api/v1/mix-amounts?material=acid-cured-lacquer&wanted_ml=60").await.good();
    let parts = asked["parts"].as_array().unwrap();
    let unit = if asked["by"] == "weight" { "g" } else { "ml" };
    let fields: Vec<String> = parts.iter().map(|part| format!("measured {}", part["name"].as_str().unwrap())).collect();
    assert!(fields.iter().all(|field| page.contains(&format!("name=\"{field}\""))), "{page}");
    let amount = |i: usize, by: f64| format!("{:.2}", parts[i][unit].as_f64().unwrap() * by).replace('.', ",");
    let form = |key: &'static str, second: f64| {
        let amounts = [amount(0, 1.0), amount(1, second)];
        let mut form = vec![("key".to_string(), key.to_string()), ("started".into(), "0".into())];
        form.extend(
            [("material", "acid-cured-lacquer"), ("wanted_ml", "60"), ("zone", "bench")]
                .map(|(n, v)| (n.into(), v.into())),
        );
        form.extend(fields.iter().cloned().zip(amounts));
        form
    };
    for (key, second) in [("right", 1.0), ("wrong", 1.5)] {
        let form = form(key, second);
        let form: Vec<(&str, &str)> = form.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        assert_eq!(send(&bench, "/mix", &form).await.status, 200);
    }
    let mixes = bench.items("/api/v1/mixes").await;
    let mut off: Vec<usize> = mixes.iter().map(|mix| mix["findings"].as_array().unwrap().len()).collect();
    off.sort_unstable();
    assert_eq!(off, [0, 1], "{mixes:#?}");
    let shown = bench.get("/coats").await.text;
    assert!(shown.contains("50 % too much"), "{shown}");
    // One amount alone is no ratio: what was sent stays.
    let one: Vec<(&str, &str)> =
        vec![("material", "acid-cured-lacquer"), ("wanted_ml", "60"), ("zone", "bench"), (fields[0].as_str(), "41.5")];
    let wrong = send(&bench, "/mix", &one).await;
    assert!(
        wrong.status == 422 && wrong.text.contains("is missing") && wrong.text.contains("value=\"41.5\""),
        "{}",
        wrong.text
    );
    assert_eq!(bench.items("/api/v1/mixes").await.len(), 2);
    bench.stop().await;
}

/// Every page that fetches `follow.js` has a part that follows.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_coats_follow_the_bench_and_do_not_say_that_the_link_is_down() {
    let bench = Bench::open(Shop::new(), Now::system(), true).await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    let laid = |id: &str| json!({"id": id, "instrument": "guitar", "surface": id, "material": "nitrocellulose-lacquer", "zone": "bench"});
    bench.post("/api/v1/coats", laid("top")).await.good();
    let pages = ["/", "/coats", "/cures/top", "/plan"];
    for page in pages {
        let text = bench.get(page).await.text;
        assert!(text.contains("/follow.js") && text.contains("data-follow"), "{page}");
    }
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/coats")).await;
    browser.until_said("Next coat").await;
    browser.run("window.was = document.querySelector('[data-follow]')").await;
    bench.post("/api/v1/coats", laid("back")).await.good();
    browser.until("return !window.was.isConnected && document.querySelectorAll('.stack').length === 2").await;
    assert_eq!(browser.run("return document.getElementById('link').textContent").await, "");
    browser.close().await;
    bench.stop().await;
}
