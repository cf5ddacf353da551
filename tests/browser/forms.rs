//! The pages without a browser: every button works without a script, each form makes one thing, and no other site may
//! press our buttons.

use bench::{Answer, Bench, Shop};
use benchclock::Now;
use serde_json::json;

use super::planned;

/// Sends a form and follows to the page it leads to, as a browser does.
pub(super) async fn send(bench: &Bench, path: &str, fields: &[(&str, &str)]) -> Answer {
    let body: Vec<String> =
        fields.iter().map(|(name, value)| format!("{}={}", escaped(name), escaped(value))).collect();
    let request = bench.http().post(bench.url(path)).header("content-type", "application/x-www-form-urlencoded");
    bench.send(request.header("accept", "text/html").body(body.join("&"))).await
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { (b as char).to_string() } else { format!("%{b:02X}") })
        .collect()
}

#[tokio::test]
async fn the_buttons_of_the_pages_work_without_a_script() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    let board = bench.get("/").await;
    assert!(board.media.starts_with("text/html"));
    for part in ["action=\"/cures/g-1/clamps-off\"", "<strong>cam-1, cam-2</strong>", "Clamps can come off"] {
        assert!(board.text.contains(part), "no {part} in: {}", board.text);
    }
    assert_eq!(send(&bench, "/cures/g-1/clamps-off", &[]).await.status, 200);
    assert_eq!(bench.board().await["clamps_free"], json!(["cam-1", "cam-2", "cam-3"]));
    // Whoever took them off has seen what was told.
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "acknowledged");
    let again = send(&bench, "/cures/g-1/clamps-off", &[]).await;
    assert_eq!(again.status, 409);
    assert!(again.media.starts_with("text/html") && again.text.contains("nothing needs recording"), "{}", again.text);
    // A coat has no clamps: what it tells is a card until it is seen, or put off.
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench",
                      "minutes_ago": 30});
    bench.post("/api/v1/coats", coat).await.good();
    bench.alarms().await;
    let board = bench.get("/").await.text;
    let alert = board.split("action=\"/alerts/").nth(1).unwrap().split('/').next().unwrap().to_string();
    send(&bench, &format!("/alerts/{alert}/later"), &[]).await;
    assert_eq!(bench.alert(&alert).await["state"], "snoozed");
    let other = bench.items("/api/v1/alerts?state=open").await[0]["id"].as_str().unwrap().to_string();
    send(&bench, &format!("/alerts/{other}/seen"), &[]).await;
    assert_eq!(bench.alert(&other).await["state"], "acknowledged");
    bench.stop().await;
}

#[tokio::test]
async fn a_job_on_which_something_cures_is_closed_by_no_slip_and_is_opened_again() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    let glue = json!({"id": "g-1", "joint": "bridge", "job": "loose", "step": "glue", "zone": "bench",
                      "material": "aliphatic-resin", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", glue).await.good();
    let cure = async || bench.get("/api/v1/glue-ups/g-1").await.good();
    let before = cure().await;
    let page = bench.get("/jobs/loose").await.text;
    assert!(page.contains("Still curing") && page.contains("<li>bridge of the guitar: "), "{page}");
    let slip = send(&bench, "/jobs/loose/close", &[("key", "slip")]).await;
    assert!(slip.status == 409 && slip.text.contains("it still cures here: bridge of the guitar: "), "{}", slip.text);
    assert_eq!(cure().await, before);
    // Meant, it is closed, and the page of the cure says why it has no times.
    assert_eq!(send(&bench, "/jobs/loose/close", &[("key", "meant"), ("ends_cures", "yes")]).await.status, 200);
    let closed = bench.get("/cures/g-1").await.text;
    assert!(closed.contains("closed with its job") && !closed.contains("not in this air"), "{closed}");
    assert_eq!(cure().await["clamps_on"], json!([]));
    // Opened again it goes on as if nothing had been.
    for _ in 0..2 {
        assert_eq!(send(&bench, "/jobs/loose/reopen", &[("key", "again")]).await.status, 200);
        assert_eq!(cure().await, before);
    }
    bench.post("/api/v1/jobs/loose/reopen", json!({})).await.problem(409, "conflict");
    // Over HTTP too; nothing cures on the page's word alone.
    bench.post("/api/v1/jobs/loose/close", json!({})).await.good();
    assert_eq!(bench.post("/api/v1/jobs/loose/reopen", json!({})).await.good()["state"], "open");
    bench.stop().await;
}

#[tokio::test]
async fn a_step_says_when_and_has_its_two_actions() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let steps = json!([{"id": "glue", "kind": "glue_up", "title": "Glue the bridge", "joint": "bridge",
                        "material": "aliphatic-resin"},
                       {"id": "rest", "kind": "wait", "title": "Let it harden"}]);
    let job = json!({"id": "loose", "instrument": "guitar", "title": "Loose bridge", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
    let glue = json!({"id": "g-1", "job": "loose", "step": "glue", "zone": "bench", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", glue).await.good();
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "open");
    // The clamps can come off, and what comes after that is already said, on the step and on its bar.
    let full = bench.milestone("g-1", "full_strength").await;
    let hour = |field: &str| full[field].as_str().unwrap()[11..16].to_string();
    let page = bench.get("/jobs/loose").await.text;
    let step = page.split("<ol class=\"timeline\">").nth(1).unwrap().split("</ol>").next().unwrap();
    assert!(step.contains("<span>full strength "), "{step}");
    for time in ["earliest_at", "likely_at", "safe_at"].map(hour) {
        assert!(step.contains(&format!(" {time}")), "no {time} in: {step}");
    }
    assert!(page.contains("full strength: earliest"), "the bar is of what is past: {page}");
    let pressed = [("key", "off"), ("from", "job")];
    let after = send(&bench, "/cures/g-1/clamps-off", &pressed).await.text;
    assert!(after.contains("<h1>Loose bridge</h1>") && !after.contains("/clamps-off"), "{after}");
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "acknowledged");
    // The wait after it says until when.
    let (_, step) = after.split_once("<strong>Let it harden</strong>").unwrap();
    assert!(step.contains("full strength") && step.contains("likely "), "{step}");
    let seen = [("key", "seen"), ("from", "job"), ("stage", "full_strength"), ("by", "touch"), ("reached", "false")];
    let after = send(&bench, "/cures/g-1/observed", &seen).await.text;
    assert!(after.contains("<h1>Loose bridge</h1>"), "{after}");
    assert_eq!(bench.items("/api/v1/observations").await.len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn an_hour_that_is_written_down_is_meant_whatever_is_ticked() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let page = bench.get("/glue-up?step=none").await.text;
    assert!(page.contains("name=\"clock\" value=\"\""), "an hour nobody wrote stands in the form: {page}");
    let form = [("step", "none"), ("joint", "bridge"), ("material", "aliphatic-resin"), ("zone", "bench")];
    let form: Vec<_> = form.into_iter().chain([("started", "0"), ("clock", "07:25")]).collect();
    assert_eq!(send(&bench, "/glue-up", &form).await.status, 200);
    assert_eq!(bench.items("/api/v1/glue-ups").await[0]["started_at"], "2026-03-02T07:25:00+00:00");
    bench.stop().await;
}

#[tokio::test]
async fn what_waits_is_counted_whole_and_a_link_shows_the_rest() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for n in 0..15 {
        let body = json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "minutes_ago": 70});
        bench.post("/api/v1/glue-ups", body).await.good();
    }
    bench.alarms().await;
    let board = bench.get("/").await.text;
    assert!(board.contains("<title>(15) Board") && board.contains("and 3 more"), "{board}");
    assert_eq!(board.matches("<article class=\"ready\">").count(), 12);
    let all = bench.get("/?all=true").await.text;
    assert_eq!(all.matches("<article class=\"ready\">").count(), 15);
    assert!(!all.contains("and 3 more"));
    bench.stop().await;
}

#[tokio::test]
async fn clamps_taken_off_by_a_program_are_no_news_on_the_board() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    // One of two leaves the other to be taken off.
    bench.post("/api/v1/glue-ups/g-1/clamps-off", json!({"clamps": ["cam-1"]})).await.good();
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "open");
    bench.post("/api/v1/glue-ups/g-1/clamps-off", json!({})).await.good();
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "acknowledged");
    assert!(bench.get("/").await.text.contains("Nothing waits for a hand"));
    bench.stop().await;
}

#[tokio::test]
async fn a_new_shop_is_told_where_to_begin_until_it_has() {
    let bench = Bench::small().await;
    let board = bench.get("/").await.text;
    for to in ["/climate#z-zones", "/materials#clamps", "/jobs/new"] {
        assert!(board.contains(&format!("<li><a href=\"{to}\">")), "no {to} in: {board}");
    }
    let register = bench.get("/glue-up?step=none").await.text;
    assert!(register.contains("The shop has no zone yet"), "{register}");
    bench.furnish().await;
    let board = bench.get("/").await.text;
    assert!(!board.contains("/climate#z-zones") && board.contains("<li><a href=\"/jobs/new\">"), "{board}");
    planned(&bench).await;
    assert!(!bench.get("/").await.text.contains("To begin with"));
    bench.stop().await;
}

#[tokio::test]
async fn a_form_sent_twice_makes_one_thing() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    let form = [
        ("key", "once"),
        ("step", "loose glue"),
        ("zone", "bench"),
        ("clamp", "cam-1"),
        ("started", "5"),
        ("new_joint", "bridge plate"),
    ];
    let first = send(&bench, "/glue-up", &form).await;
    let second = send(&bench, "/glue-up", &form).await;
    assert_eq!((first.status, second.status), (200, 200), "{}", second.text);
    assert_eq!(bench.items("/api/v1/glue-ups").await.len(), 1);
    let made = bench.items("/api/v1/joints").await;
    assert_eq!(made.iter().filter(|joint| joint["name"] == "bridge plate").count(), 1, "{made:?}");
    for path in ["/jobs/loose/notes", "/lots"] {
        let form = [("key", path), ("text", "loose since winter"), ("material", "shellac"), ("label", "flakes")];
        send(&bench, path, &form).await;
        assert_eq!(send(&bench, path, &form).await.status, 200);
    }
    assert_eq!(bench.items("/api/v1/lots").await.len(), 1);
    assert_eq!(bench.get("/jobs/loose").await.text.matches("loose since winter").count(), 1);
    let body = json!({"text": "the old glue is brittle", "minutes_ago": 5});
    let job = bench.post("/api/v1/jobs/loose/notes", body).await.good();
    let texts: Vec<_> = job["notes"].as_array().unwrap().iter().map(|note| &note["text"]).collect();
    assert_eq!(texts, ["loose since winter", "the old glue is brittle"]);
    bench.post("/api/v1/jobs/loose/notes", json!({"text": " "})).await.problem(422, "invalid");
    bench.stop().await;
}

#[tokio::test]
async fn what_is_wrong_in_a_form_is_said_and_what_was_filled_in_stays() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    for (field, value, said) in [
        ("clock", "half past", "is no time of day"),
        ("zone", "cellar", "there is no zone"),
        ("clamp", "cam-9", "there is no clamp"),
        ("material", "", "material is missing"),
    ] {
        let mut form = vec![("step", "none"), ("joint", "bridge"), ("started", "at"), ("clock", "07:55")];
        form.extend([("zone", "bench"), ("material", "aliphatic-resin"), ("clamp", "cam-2")]);
        form.retain(|(name, _)| *name != field);
        form.push((field, value));
        let answer = send(&bench, "/glue-up", &form).await;
        assert!(answer.status == 422 && answer.text.contains(said), "{field}: {} {}", answer.status, answer.text);
        assert!(field == "clamp" || answer.text.contains("value=\"cam-2\" checked"), "{field}: {}", answer.text);
    }
    // The bench begins at eight: five to eight was today, nine o'clock was yesterday.
    for (clock, began) in [("07:55", "2026-03-02T07:55:00+00:00"), ("09:00", "2026-03-01T09:00:00+00:00")] {
        let form = [
            ("step", "none"),
            ("joint", "bridge"),
            ("material", "aliphatic-resin"),
            ("zone", "bench"),
            ("started", "at"),
            ("clock", clock),
        ];
        assert_eq!(send(&bench, "/glue-up", &form).await.status, 200);
        let all = bench.items("/api/v1/glue-ups").await;
        assert!(all.iter().any(|cure| cure["started_at"] == began), "{clock}: {all:#?}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn every_shipped_procedure_opens_a_job() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let page = bench.get("/jobs/new").await.text;
    assert!(!page.contains("cannot be read"), "{page}");
    let folder = bench::root().join("config/procedures");
    let mut opened = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let file = entry.unwrap().file_name().into_string().unwrap();
        let id = file.strip_suffix(".toml").unwrap();
        let form_page = bench.get(&format!("/jobs/new?procedure={id}")).await.text;
        assert!(form_page.contains("Cautions"), "{id} warns of nothing");
        // Each field as it stands in the page.
        let value = |rest: &str| rest.split("value=\"").nth(1).unwrap().split('"').next().unwrap().to_string();
        let titles: Vec<String> =
            form_page.split("name=\"step_").skip(1).map(value).filter(|t| !t.is_empty()).collect();
        let mut form = vec![
            ("procedure".to_string(), id.to_string()),
            ("title".into(), id.into()),
            ("instrument".into(), "guitar".into()),
        ];
        form.extend(titles.iter().enumerate().map(|(n, title)| (format!("step_{n}"), title.clone())));
        // The kinds as the page has chosen them.
        let chosen = |rest: &str| {
            rest.split("</select>")
                .next()
                .unwrap()
                .split("<option value=\"")
                .find(|o| o.contains("selected"))
                .map(|o| o.split('"').next().unwrap().to_string())
        };
        form.extend(
            form_page
                .split("name=\"kind_")
                .skip(1)
                .enumerate()
                .filter_map(|(n, rest)| Some((format!("kind_{n}"), chosen(rest)?))),
        );
        let fields: Vec<(&str, &str)> = form.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        let answer = send(&bench, "/jobs", &fields).await;
        assert!(answer.status == 200 && answer.text.contains("Label"), "{id}: {}", answer.text);
        let jobs = bench.items("/api/v1/jobs").await;
        let job = jobs.iter().find(|job| job["title"] == id).unwrap();
        let steps = job["steps"].as_array().unwrap();
        assert_eq!(steps.len(), titles.len(), "{id}");
        assert!(steps.iter().filter(|s| s["kind"] == "glue_up").all(|s| s["joint"].is_string()), "{id}: {steps:#?}");
        opened += 1;
    }
    assert!(opened >= 8);
    // A file with a slip is named, and the others stay.
    let (mut shop, now) = bench.stop().await;
    shop.settings.shop.procedures = shop.folder().join("procedures");
    std::fs::create_dir_all(&shop.settings.shop.procedures).unwrap();
    let slip = "title = \"x\"\nabout = \"y\"\ncautions = []\n[[steps]]\nid = \"a\"\nkind = \"glue\"\ntitle = \"z\"\n";
    std::fs::write(shop.settings.shop.procedures.join("slip.toml"), slip).unwrap();
    let bench = Bench::open(shop, now, false).await;
    let page = bench.get("/jobs/new").await.text;
    assert!(page.contains("slip.toml") && page.contains("line 6"), "{page}");
    bench.stop().await;
}

/// Fetch Metadata Request Headers (W3C) and the Origin header (RFC 6454).
#[tokio::test]
async fn a_form_of_another_site_is_refused() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    let note = |header: &str, value: &str| {
        let request = bench.http().post(bench.url("/jobs/loose/notes")).header(header, value);
        request.header("content-type", "application/x-www-form-urlencoded").body("text=hello")
    };
    for (header, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "http://elsewhere.example"),
        ("origin", "null"),
    ] {
        bench.send(note(header, value)).await.problem(403, "foreign");
    }
    let own = bench.url("");
    for (header, value) in [("sec-fetch-site", "same-origin"), ("origin", own.as_str())] {
        assert_eq!(bench.send(note(header, value)).await.status, 200, "{header}: {value}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_shop_that_thinks_in_fahrenheit_and_inches_reads_them() {
    let mut shop = Shop::small();
    let text = "[shop]\ntemp_unit = \"F\"\nlength_unit = \"in\"";
    let units = benchclock::Settings::read(text, std::iter::empty()).unwrap().shop;
    (shop.settings.shop.temp_unit, shop.settings.shop.length_unit) = (units.temp_unit, units.length_unit);
    let bench = Bench::open(shop, Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("g-1").await;
    // 20 °C is 68 °F; the dew point of it at 50 % RH is 9.3 °C (ASHRAE), 48.7 °F; 100 µm are four thousandths.
    for (page, part) in [("/", "68.0 °F"), ("/climate", "dew point 48.7 °F"), ("/cures/g-1", "gap 0.004 in")] {
        let shown = bench.get(page).await.text;
        assert!(shown.contains(part) && !shown.contains("°C"), "no {part} in {page}: {shown}");
    }
    // A draft is tried at 68 °F and with a gap of 19.685 thousandths, which is 500 µm: by hand a clamp time of 0.75 h times 4.
    let rule = bench.get("/api/v1/rules/aliphatic-resin").await.good()["text"].as_str().unwrap().to_string();
    let form = [("text", rule.as_str()), ("air", "constant"), ("temp", "68"), ("rh_pct", "50"), ("gap", "19.685")];
    let tried = send(&bench, "/rules/aliphatic-resin/try", &form).await.text;
    assert!(tried.contains("constant air of 68 °F") && tried.contains("<td>3.0 h</td>"), "{tried}");
    // So is a sheet that is sold in them: 70 °F is 21.11 °C, 59 °F is 15 °C, four thousandths are 101.6 µm.
    let asked = bench.get("/rules/new").await.text;
    for asks in ["hold at, °F", "at another temperature, °F", "warmer by 18 °F", "wet film, thousandths of an inch"]
    {
        assert!(asked.contains(asks) && !asked.contains("°C") && !asked.contains("µm"), "{asks}: {asked}");
    }
    let sheet = [("material", "other-finish"), ("class", "nitrocellulose_lacquer"), ("temp", "70"), ("film", "4")];
    let more = [("recoat_opens_h", "2"), ("sandable_h", "24"), ("second_temp", "59"), ("second_hours", "3")];
    let written = send(&bench, "/rules/new", &[&sheet[..], &more].concat()).await.text;
    // 2 h at 21.11 °C and 3 h at 15 °C are ln(3/2) · R / (1/288.15 K − 1/294.26 K), by hand.
    for number in ["REF_TEMP_C = 21.11;", "REF_FILM_UM = 101.6;", "ACTIVATION_KJ_MOL = 46.784;"] {
        assert!(written.contains(number), "{number}: {written}");
    }
    let chart = bench.get("/api/v1/zones/bench/chart.svg").await.text;
    assert!(chart.contains("°F") && !chart.contains("°C"));
    assert_eq!(bench.board().await["zones"][0]["temp_c"], 20.0);
    bench.stop().await;
}

/// Every page sends the policy that keeps scripts and styles of others out, and has none of its own in its text.
#[tokio::test]
async fn no_page_holds_script_or_style_and_each_says_so() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    for page in [
        "/",
        "/glue-up",
        "/jobs",
        "/jobs/loose",
        "/jobs/loose/label",
        "/climate",
        "/materials",
        "/alerts",
        "/rules/shellac",
        "/rules/shellac/versions",
    ] {
        let answer = bench.http().get(bench.url(page)).header("accept-encoding", "gzip").send().await.unwrap();
        let header =
            |name: &str| answer.headers().get(name).map(|v| v.to_str().unwrap().to_string()).unwrap_or_default();
        let policy = header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{page}: {policy}");
        assert_eq!(header("content-encoding"), "gzip", "{page}");
        let text = bench.get(page).await.text;
        assert!(!text.contains("<style") && !text.contains(" style=") && !text.contains(" onclick="), "{page}");
        assert!(text.split("<script").skip(1).all(|rest| rest.starts_with(" src=\"/")), "{page}");
    }
    bench.stop().await;
}
