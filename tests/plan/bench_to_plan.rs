//! What the bench becomes when it is planned: waits are the clocks', clamps are held, hours are kept.

use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn a_planned_wait_is_the_wait_the_clock_tells_once_it_has_begun() {
    let bench = bench(|_| {}).await;
    bench.read_air("bench", 20.0, 50.0).await;
    open(
        &bench,
        "bridge-job",
        None,
        json!([step("clean", "hands_on", 30), glue("close", 20, 2), step("level", "hands_on", 15)]),
    )
    .await;
    let plan = planned(&bench).await;
    let (clean, close) = (piece(&plan, "bridge-job", "clean", "step"), piece(&plan, "bridge-job", "close", "step"));
    let (off, level) = (piece(&plan, "bridge-job", "close", "clamps_off"), piece(&plan, "bridge-job", "level", "step"));
    // Monday at eight: the shop opens at nine, and one thing follows the other.
    assert_eq!(clean["start_at"], "2026-03-02T09:00:00+00:00");
    assert_eq!(start_ms(close), end_ms(clean));
    assert_eq!(off["clamps"], 2);
    assert!(start_ms(level) >= end_ms(off));
    let waited = start_ms(off) - end_ms(close);
    // The same glue-up, begun when the plan has it end.
    bench.wait_minutes((end_ms(close) - bench.now.ms()) / MINUTE_MS);
    bench.glue_up("g1").await;
    let begun_ms = bench.now.ms();
    let safe_ms = ms(bench.milestone("g1", "clamp_off").await["safe_at"].as_str().unwrap());
    let apart_min = ((safe_ms - begun_ms) - waited).abs() / MINUTE_MS;
    // The plan takes the most careful start of the coming day; the band of the outlook is wider further on.
    assert!(waited >= safe_ms - begun_ms - MINUTE_MS && apart_min <= 20, "{apart_min} min apart");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_next_step_waits_for_the_time_of_the_cure_that_the_shop_chose() {
    let mut waits = Vec::new();
    for (certainty, at) in [("earliest", "earliest_at"), ("likely", "likely_at"), ("safe", "safe_at")] {
        let bench = bench(|settings| settings.plan.certainty = serde_json::from_value(json!(certainty)).unwrap()).await;
        bench.read_air("bench", 20.0, 50.0).await;
        open(&bench, "bridge-job", None, json!([glue("close", 20, 2)])).await;
        let plan = planned(&bench).await;
        assert_eq!(plan["certainty"], certainty);
        let [close, off] = ["step", "clamps_off"].map(|part| piece(&plan, "bridge-job", "close", part));
        let waited = start_ms(off) - end_ms(close);
        bench.wait_minutes((end_ms(close) - bench.now.ms()) / MINUTE_MS);
        bench.glue_up("g1").await;
        let told = ms(bench.milestone("g1", "clamp_off").await[at].as_str().unwrap()) - bench.now.ms();
        // The plan takes the most careful start of the coming day.
        assert!((waited - told).abs() <= 20 * MINUTE_MS, "{certainty}: planned {waited} ms, told {told} ms");
        waits.push(waited);
        bench.stop().await;
    }
    assert!(waits[0] < waits[1] && waits[1] < waits[2], "{waits:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn from_what_a_weight_holds_nobody_takes_clamps_off() {
    let bench = bench(|_| {}).await;
    bench.read_air("bench", 20.0, 50.0).await;
    open(&bench, "weight", None, json!([glue("close", 20, 0), step("level", "hands_on", 15)])).await;
    let plan = planned(&bench).await;
    assert_eq!(plan["steps"].as_array().unwrap().len(), 2, "{plan:#}");
    let (close, level) = (piece(&plan, "weight", "close", "step"), piece(&plan, "weight", "level", "step"));
    let ready_ms = end_ms(close);
    bench.wait_minutes((ready_ms - bench.now.ms()) / MINUTE_MS);
    bench.glue_up("g1").await;
    let told = ms(bench.milestone("g1", "clamp_off").await["safe_at"].as_str().unwrap());
    // It waits for the cure all the same.
    assert!((0..=20 * MINUTE_MS).contains(&(start_ms(level) - told)), "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn clamps_are_held_until_they_come_off_and_who_waits_for_them_is_told_so() {
    let bench = bench(|_| {}).await;
    // Three clamps: two joints that want two each cannot be closed together.
    for (job, due) in [("first", "2026-03-02T18:00:00Z"), ("second", "2026-03-03T18:00:00Z")] {
        open(&bench, job, Some(due), json!([glue("close", 20, 2)])).await;
    }
    let plan = planned(&bench).await;
    let off = piece(&plan, "first", "close", "clamps_off");
    let second = piece(&plan, "second", "close", "step");
    assert!(start_ms(second) >= end_ms(off), "{plan:#}");
    assert_eq!(start_ms(second), end_ms(off), "as soon as they are free");
    let why = reasons(second);
    assert!(why.contains(&"waits_for"), "{why:?}");
    let says = second["why"].as_array().unwrap().iter().find(|why| why["reason"] == "waits_for").unwrap();
    assert_eq!(says["says"], "waits for clamps");
    // With a clamp more there is room for both; who has read the plan is not bothered for nothing.
    bench.post("/api/v1/clamps", json!({"id": "cam-4", "name": "cam-4"})).await.good();
    let same = planned(&bench).await;
    assert_eq!(piece(&same, "second", "close", "step")["start_at"], second["start_at"]);
    // Where nobody has read one, both are closed in the morning.
    let (shop, now) = bench.stop().await;
    std::fs::remove_file(shop.folder().join("plan-places.json")).unwrap();
    let bench = Bench::open(shop, now, false).await;
    let plan = planned(&bench).await;
    assert!(start_ms(piece(&plan, "second", "close", "step")) < start_ms(piece(&plan, "first", "close", "clamps_off")));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_glue_up_that_has_begun_is_planned_around_and_its_clamps_come_off_when_the_clock_says() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([glue("close", 20, 2), step("level", "hands_on", 15)])).await;
    bench.wait_minutes(90);
    let body = json!({"id": "g1", "job": "bridge-job", "step": "close", "zone": "bench", "clamps": ["cam-1", "cam-2"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    // One that belongs to no job.
    bench
        .post(
            "/api/v1/glue-ups",
            json!({"id": "g2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "clamps": ["cam-3"]}),
        )
        .await
        .good();
    let plan = planned(&bench).await;
    let steps = plan["steps"].as_array().unwrap();
    assert!(!steps.iter().any(|s| s["part"] == "step" && s["step"] == "close"), "it has begun: {plan:#}");
    let off = piece(&plan, "bridge-job", "close", "clamps_off");
    let safe_ms = ms(bench.milestone("g1", "clamp_off").await["safe_at"].as_str().unwrap());
    // Both are ready in the same minute, and there is one pair of hands.
    assert!((0..=11 * MINUTE_MS).contains(&(start_ms(off) - safe_ms)), "{} and {safe_ms}", off["start_at"]);
    let loose = steps.iter().find(|s| s["cure"] == "g2").unwrap();
    assert_eq!((&loose["part"], &loose["job"], &loose["clamps"]), (&json!("clamps_off"), &Value::Null, &json!(1)));
    // Done is gone.
    bench.wait_minutes(120);
    bench.alarms().await;
    bench.post("/api/v1/glue-ups/g1/clamps-off", json!({})).await.good();
    let plan = planned(&bench).await;
    assert!(!plan["steps"].as_array().unwrap().iter().any(|s| s["step"] == "close"), "{plan:#}");
    assert!(start_ms(piece(&plan, "bridge-job", "level", "step")) - bench.now.ms() <= 15 * MINUTE_MS, "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_next_coat_is_laid_inside_the_window_and_what_waits_for_everything_waits() {
    let bench = bench(|_| {}).await;
    bench.read_air("bench", 20.0, 50.0).await;
    let steps = json!([coat("one", 20), coat("two", 20), {"id": "rest", "kind": "wait", "title": "rest"}, step("rub", "hands_on", 60)]);
    open(&bench, "finish", None, steps).await;
    let plan = planned(&bench).await;
    let (one, two) = (piece(&plan, "finish", "one", "step"), piece(&plan, "finish", "two", "step"));
    let begun =
        json!({"id": "c1", "instrument": "guitar", "surface": "top", "material": "oil-varnish", "zone": "bench"});
    bench.post("/api/v1/coats", begun).await.good();
    let stage = async |name: &str, which: &str| {
        let found = bench.milestone("c1", name).await;
        ms(found[which].as_str().unwrap()) - bench.now.ms()
    };
    let waited = start_ms(two) - end_ms(one);
    assert!(waited >= stage("recoat_opens", "safe_at").await - 2 * MINUTE_MS);
    assert!(waited <= stage("recoat_closes", "earliest_at").await);
    assert!(ms(two["window_closes_at"].as_str().unwrap()) >= start_ms(two));
    // Rest lasts until the last coat is through with everything.
    let rested = start_ms(piece(&plan, "finish", "rest", "step")) - end_ms(two);
    assert!(rested >= stage("rub_out", "safe_at").await - 2 * MINUTE_MS, "{rested}");
    assert!(start_ms(piece(&plan, "finish", "rub", "step")) >= end_ms(piece(&plan, "finish", "rest", "step")));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_shops_hours_and_its_days_off_are_kept_in_its_own_time() {
    let bench = bench(|settings| {
        settings.shop.time_zone = "Europe/Paris".into();
        settings.shop.hours.exceptions.insert("2026-03-03".into(), vec![]);
        settings.shop.hours.wednesday = vec!["11:00-12:00".into()];
    })
    .await;
    // Monday at nine in Paris; eight hours of work in steps of two, an hour of Wednesday, then Thursday.
    let work = (0..5).map(|i| step(&format!("s{i}"), "hands_on", if i == 4 { 60 } else { 120 })).collect::<Vec<_>>();
    open(&bench, "long", None, json!(work)).await;
    let plan = planned(&bench).await;
    let starts: Vec<&str> = plan["steps"].as_array().unwrap().iter().map(|s| s["start_at"].as_str().unwrap()).collect();
    assert_eq!(
        starts,
        [
            "2026-03-02T09:00:00+01:00",
            "2026-03-02T11:00:00+01:00",
            "2026-03-02T14:00:00+01:00",
            "2026-03-02T16:00:00+01:00",
            "2026-03-04T11:00:00+01:00"
        ]
    );
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wait_over_the_change_of_the_clocks_stays_in_real_minutes() {
    let bench = bench(|settings| {
        settings.shop.time_zone = "Europe/Paris".into();
        for day in [&mut settings.shop.hours.saturday, &mut settings.shop.hours.sunday] {
            *day = vec!["09:00-18:00".into()];
        }
    })
    .await;
    bench.post("/api/v1/zones", json!({"id": "cold", "name": "Cold", "set_temp_c": 16, "set_rh_pct": 60})).await.good();
    // IANA tz database: Paris goes from UTC+1 to UTC+2 at 2026-03-29T01:00Z. Saturday, 17:30 by the shop's clock.
    bench.now.set(ms("2026-03-28T16:30:00Z"));
    let slow = json!({"id": "one", "kind": "coat", "title": "one", "material": "oil-varnish", "work": {"hands_on_min": 20, "zone": "cold"}});
    open(&bench, "finish", None, json!([slow, step("sand", "hands_on", 15)])).await;
    let plan = planned(&bench).await;
    let waited_min =
        (start_ms(piece(&plan, "finish", "sand", "step")) - end_ms(piece(&plan, "finish", "one", "step"))) / MINUTE_MS;
    let body = json!({"id": "c1", "instrument": "guitar", "surface": "top", "material": "oil-varnish", "zone": "cold"});
    bench.post("/api/v1/coats", body).await.good();
    let sandable = bench.milestone("c1", "sandable").await;
    let real_min = (ms(sandable["safe_at"].as_str().unwrap()) - bench.now.ms()) / MINUTE_MS;
    assert!(waited_min >= real_min, "planned after {waited_min} min, ready after {real_min}");
    // The day after the change opens at nine by the new clock, seven in UTC.
    let starts = plan["steps"].as_array().unwrap().iter().map(|s| s["start_at"].as_str().unwrap());
    let after = starts.filter(|at| *at > "2026-03-29T03:00").collect::<Vec<_>>();
    assert!(!after.is_empty() && after.iter().all(|at| at.ends_with("+02:00")), "{after:?}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_booth_takes_one_coat_at_a_time_and_in_its_own_hours() {
    let place = r#"{"zone": "booth", "holds": 1, "hours": {"monday": ["10:00-16:00"]}}"#;
    let bench = bench(|settings| settings.plan.places = vec![serde_json::from_str(place).unwrap()]).await;
    bench
        .post("/api/v1/zones", json!({"id": "booth", "name": "Booth", "set_temp_c": 22, "set_rh_pct": 50}))
        .await
        .good();
    let in_booth = |id: &str| json!([{"id": id, "kind": "coat", "title": id, "material": "shellac", "work": {"hands_on_min": 20, "zone": "booth"}}]);
    open(&bench, "one", None, in_booth("coat")).await;
    open(&bench, "two", None, in_booth("coat")).await;
    let plan = planned(&bench).await;
    let mut pieces = [piece(&plan, "one", "coat", "step"), piece(&plan, "two", "coat", "step")];
    pieces.sort_by_key(|piece| start_ms(piece));
    assert_eq!(pieces[0]["start_at"], "2026-03-02T10:00:00+00:00");
    // The first is dust free before the second comes in; hands alone would be free at once.
    assert!(start_ms(pieces[1]) > end_ms(pieces[0]), "{plan:#}");
    assert!(reasons(pieces[1]).contains(&"waits_for"), "{:?}", pieces[1]["why"]);
    bench.stop().await;
}
