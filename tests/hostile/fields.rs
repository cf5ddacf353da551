//! Bodies that are JSON and still cannot be: quantities, times, names of things, states of things.

use serde_json::{Value, json};

use super::{check, lived};

/// The good body with one field put in its place.
fn with(good: &Value, field: &str, value: Value) -> Value {
    let mut body = good.clone();
    body[field] = value;
    body
}

#[tokio::test]
async fn a_reading_that_cannot_be_is_refused_with_what_it_may_have_meant() {
    let bench = lived().await;
    let path = "/api/v1/zones/bench/readings";
    let good = json!({"temp_c": 20, "rh_pct": 50});
    check(
        &bench,
        &[
            (path, with(&good, "temp_c", json!(68)), 422, "invalid", "temp_c", "if this is °F, send 20.0"),
            (path, with(&good, "temp_c", json!(293.15)), 422, "invalid", "temp_c", "-20 to 60 °C"),
            (path, with(&good, "temp_c", json!("20")), 422, "invalid", "temp_c", "expected f64"),
            (path, with(&good, "temp_c", json!(null)), 422, "invalid", "temp_c", "expected f64"),
            (path, with(&good, "rh_pct", json!(0)), 422, "invalid", "rh_pct", "a sensor that says 0"),
            (path, with(&good, "rh_pct", json!(130)), 422, "invalid", "rh_pct", "1 to 100 %"),
            (path, with(&good, "rh_pct", json!(-3)), 422, "invalid", "rh_pct", "1 to 100 %"),
            (path, with(&good, "rh_pct", json!(0.45)), 422, "invalid", "rh_pct", "if this is a fraction, send 45.0"),
            (path, with(&good, "at", json!("2026-03-02T10:00:00Z")), 422, "invalid", "at", "min in the future"),
            (path, with(&good, "at", json!("1970-01-01T00:00:00Z")), 422, "invalid", "at", "check the year"),
            (path, with(&good, "at", json!("yesterday")), 422, "invalid", "at", "line 1 column"),
            (path, with(&good, "at", json!("2026-03-02T08:00:00")), 422, "invalid", "at", "line 1 column"),
            (path, with(&good, "at", json!("2026-02-30T08:00:00Z")), 422, "invalid", "at", "line 1 column"),
            (path, with(&good, "rh", json!(50)), 422, "invalid", "rh", "unknown field"),
            (path, json!({"temp_c": 20}), 422, "invalid", "rh_pct", "missing field"),
            (path, json!([20, 50]), 422, "invalid", "", "named fields"),
            (path, json!([null, null, null, null, 20, 50]), 422, "invalid", "", "named fields"),
            ("/api/v1/zones/attic/readings", good.clone(), 404, "not-found", "", "no zone \"attic\""),
        ],
    )
    .await;
    bench.stop().await;
}

#[tokio::test]
async fn a_glue_up_that_cannot_be_is_refused_and_takes_no_clamp() {
    let bench = lived().await;
    let path = "/api/v1/glue-ups";
    let good = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "clamps": ["cam-3"]});
    let with = |field: &str, value: Value| with(&good, field, value);
    let mut both = with("started_at", json!("2026-03-02T08:10:00Z"));
    both["minutes_ago"] = json!(5);
    check(
        &bench,
        &[
            (path, with("material", json!("hide-glue")), 422, "unknown-reference", "material", "GET /api/v1/materials"),
            (path, with("joint", json!("neck")), 422, "unknown-reference", "joint", "GET /api/v1/joints"),
            (path, with("zone", json!("attic")), 422, "unknown-reference", "zone", "GET /api/v1/zones"),
            (path, with("lot", json!("pot")), 422, "unknown-reference", "lot", "GET /api/v1/lots"),
            (path, with("job", json!("none")), 422, "unknown-reference", "job", "GET /api/v1/jobs"),
            (path, with("clamps", json!(["cam-9"])), 422, "unknown-reference", "clamp", "GET /api/v1/clamps"),
            (path, with("clamps", json!(["cam-3", "cam-1"])), 409, "conflict", "", "in use on \"g-1\""),
            (path, with("clamps", json!(["cam-1"])), 409, "conflict", "", "free: cam-3"),
            (path, with("clamps", json!(["cam-3", "cam-3"])), 409, "conflict", "", "named twice"),
            (path, with("clamps", json!("cam-3")), 422, "invalid", "clamps", "expected a sequence"),
            (path, with("job", json!("done")), 409, "conflict", "", "\"done\" is closed"),
            (path, with("step", json!("glue")), 409, "conflict", "", "a step without its job"),
            (path, with("lot", json!("flakes")), 409, "conflict", "", "holds shellac"),
            (path, with("id", json!("g-1")), 409, "conflict", "id", "already"),
            (path, with("id", json!("G 1")), 422, "invalid", "id", "1 to 48 of a-z"),
            (path, with("id", json!("")), 422, "invalid", "id", "1 to 48"),
            (path, with("id", json!("x".repeat(49))), 422, "invalid", "id", "1 to 48"),
            (path, with("id", json!("../../etc/passwd")), 422, "invalid", "id", "1 to 48"),
            (path, with("started_at", json!("2026-03-02T09:00:00Z")), 422, "invalid", "started_at", "in the future"),
            (path, with("started_at", json!("2020-03-02T09:00:00Z")), 422, "invalid", "started_at", "366 days"),
            (path, both, 422, "invalid", "minutes_ago", "send one of them"),
            (path, with("minutes_ago", json!(-5)), 422, "invalid", "minutes_ago", "0 to 527040 min"),
            (path, with("minutes_ago", json!(1e300)), 422, "invalid", "minutes_ago", "0 to 527040 min"),
            (path, with("gap_um", json!(-1)), 422, "invalid", "gap_um", "0 to 5000 µm"),
            (path, with("gap_um", json!(6000)), 422, "invalid", "gap_um", "0 to 5000 µm"),
            (path, with("porosity", json!("spongy")), 422, "invalid", "porosity", "unknown variant"),
            (path, with("film_um", json!(50)), 422, "invalid", "film_um", "unknown field"),
            (
                path,
                json!({"zone": "bench", "material": "aliphatic-resin"}),
                422,
                "invalid",
                "joint",
                "joint is missing",
            ),
            (path, json!({"zone": "bench", "joint": "bridge"}), 422, "invalid", "material", "material is missing"),
            (path, json!({"joint": "bridge"}), 422, "invalid", "zone", "missing field"),
            (path, json!({}), 422, "invalid", "zone", "missing field"),
        ],
    )
    .await;
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_a_joint_or_a_job_that_cannot_be_is_refused() {
    let bench = lived().await;
    let coat = json!({"instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    let step = |id: &str, more: Value| {
        let mut step = json!({"id": id, "kind": "hands_on", "title": "do it"});
        step.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        step
    };
    let job = |steps: Value| json!({"instrument": "guitar", "title": "job", "steps": steps});
    let (coats, joints, jobs) = ("/api/v1/coats", "/api/v1/joints", "/api/v1/jobs");
    check(
        &bench,
        &[
            (coats, with(&coat, "film_um", json!(-1)), 422, "invalid", "film_um", "5 to 2000 µm"),
            (coats, with(&coat, "surface", json!("  ")), 422, "invalid", "surface", "missing"),
            (coats, with(&coat, "instrument", json!("harp")), 422, "unknown-reference", "instrument", "harp"),
            (
                coats,
                with(&with(&coat, "job", json!("open")), "instrument", json!("lute")),
                409,
                "conflict",
                "",
                "is for \"guitar\"",
            ),
            (
                joints,
                json!({"instrument": "guitar", "name": "x", "gap_um": 9999}),
                422,
                "invalid",
                "gap_um",
                "0 to 5000",
            ),
            (joints, json!({"instrument": "harp", "name": "x"}), 422, "unknown-reference", "instrument", "harp"),
            (joints, json!({"id": "bridge", "instrument": "guitar", "name": "x"}), 409, "conflict", "id", "already"),
            (jobs, job(json!([step("a", json!({})), step("a", json!({}))])), 409, "conflict", "", "stands twice"),
            (jobs, job(json!([step("a", json!({"follows": ["b"]}))])), 409, "conflict", "", "does not stand before it"),
            (jobs, job(json!([step("a", json!({"joint": "neck"}))])), 422, "unknown-reference", "joint", "neck"),
            (jobs, job(json!([step("a", json!({"material": "mud"}))])), 422, "unknown-reference", "material", "mud"),
            (
                jobs,
                job(json!([step("a", json!({"kind": "rest"}))])),
                422,
                "invalid",
                "steps[0].kind",
                "unknown variant",
            ),
            ("/api/v1/lots", json!({"material": "mud"}), 422, "unknown-reference", "material", "mud"),
            (
                "/api/v1/lots",
                json!({"material": "shellac", "opened_at": "2027-01-01T00:00:00Z"}),
                422,
                "invalid",
                "opened_at",
                "in the future",
            ),
            (
                "/api/v1/zones",
                json!({"name": "x", "set_temp_c": 72, "set_rh_pct": 50}),
                422,
                "invalid",
                "set_temp_c",
                "°F",
            ),
            (
                "/api/v1/zones",
                json!({"name": "x", "set_temp_c": 20, "set_rh_pct": 0}),
                422,
                "invalid",
                "set_rh_pct",
                "0 %",
            ),
            (
                "/api/v1/zones",
                json!({"id": "bench", "name": "x", "set_temp_c": 20, "set_rh_pct": 50}),
                409,
                "conflict",
                "id",
                "already",
            ),
        ],
    )
    .await;
    bench.stop().await;
}

#[tokio::test]
async fn a_command_to_something_that_cannot_take_it_is_refused() {
    let bench = lived().await;
    let (off, seen) = ("/api/v1/glue-ups/g-1/clamps-off", "/api/v1/observations");
    check(
        &bench,
        &[
            (off, json!({"clamps": ["cam-3"]}), 409, "conflict", "", "on it are: cam-1, cam-2"),
            (off, json!({"clamps": []}), 409, "conflict", "", "no clamps"),
            (off, json!({"at": "2026-03-02T12:00:00Z"}), 422, "invalid", "at", "in the future"),
            (off, json!({"clamps": ["CAM 1"]}), 422, "invalid", "clamps[0]", "1 to 48 of a-z"),
            ("/api/v1/glue-ups/none/clamps-off", json!({}), 404, "not-found", "", "none"),
            ("/api/v1/glue-ups/gone/move", json!({"zone": "bench"}), 409, "conflict", "", "is closed"),
            ("/api/v1/glue-ups/g-1/move", json!({"zone": "attic"}), 422, "unknown-reference", "zone", "attic"),
            (
                "/api/v1/glue-ups/g-1/move",
                json!({"zone": "bench", "minutes_ago": 600}),
                409,
                "conflict",
                "",
                "in order",
            ),
            ("/api/v1/glue-ups/g-1/move", json!({}), 422, "invalid", "zone", "missing field"),
            ("/api/v1/glue-ups/g-1/withdraw", json!({}), 422, "invalid", "reason", "missing field"),
            ("/api/v1/glue-ups/g-1/withdraw", json!({"reason": " "}), 422, "invalid", "reason", "1 to 200"),
            (seen, json!({"cure": "g-1", "stage": "clamp_off"}), 422, "invalid", "reached", "missing field"),
            (seen, json!({"cure": "g-1", "stage": "hard", "reached": true}), 422, "invalid", "stage", "clamp_off"),
            (
                seen,
                json!({"cure": "g-1", "stage": "clamp_off", "reached": true, "by": "smell"}),
                422,
                "invalid",
                "by",
                "unknown variant",
            ),
            (
                seen,
                json!({"cure": "g-1", "stage": "clamp_off", "reached": true, "note": "x".repeat(201)}),
                422,
                "invalid",
                "note",
                "0 to 200",
            ),
            (
                seen,
                json!({"cure": "none", "stage": "clamp_off", "reached": true}),
                422,
                "unknown-reference",
                "glue-up or coat",
                "none",
            ),
            ("/api/v1/observations/none/withdraw", json!({"reason": "x"}), 404, "not-found", "", "none"),
            ("/api/v1/rules/none/fit", json!({}), 404, "not-found", "", "none"),
            ("/api/v1/rules/shellac/fit", json!({"stage": "x"}), 422, "invalid", "stage", "unknown field"),
            ("/api/v1/instruments", json!({"name": ""}), 422, "invalid", "name", "1 to 200"),
            ("/api/v1/instruments", json!({"name": "a\u{7}b"}), 422, "invalid", "name", "control characters"),
            ("/api/v1/clamps", json!({"name": "x".repeat(201)}), 422, "invalid", "name", "1 to 200"),
            ("/api/v1/jobs/done/close", json!({}), 409, "conflict", "", "is closed"),
            ("/api/v1/jobs/done/steps/glue/done", json!({}), 409, "conflict", "", "is closed"),
            ("/api/v1/jobs/open/steps/polish/done", json!({}), 404, "not-found", "", "polish"),
            ("/api/v1/jobs/none/close", json!({}), 404, "not-found", "", "none"),
            ("/api/v1/alerts/none/acknowledge", json!({}), 404, "not-found", "", "none"),
            ("/api/v1/alerts/g-1:scrape_flush/acknowledge", json!({"by": "me"}), 422, "invalid", "by", "unknown field"),
            ("/api/v1/alerts/g-1:scrape_flush/snooze", json!({"minutes": 0}), 422, "invalid", "minutes", "1 to 43200"),
            (
                "/api/v1/alerts/g-1:scrape_flush/snooze",
                json!({"minutes": 1e9}),
                422,
                "invalid",
                "minutes",
                "1 to 43200",
            ),
        ],
    )
    .await;
    bench.stop().await;
}

#[tokio::test]
async fn a_query_that_cannot_be_is_refused_with_its_name() {
    let bench = lived().await;
    for (query, status, slug, field, word) in [
        ("board?limit=0", 422, "invalid", "limit", "1 to 1000"),
        ("board?limit=many", 400, "malformed", "", "the query"),
        ("glue-ups?limit=5000", 422, "invalid", "limit", "1 to 1000"),
        ("glue-ups?limit=-1", 400, "malformed", "", "the query"),
        ("glue-ups?page=2", 400, "malformed", "", "page"),
        ("alerts?state=lost", 422, "invalid", "state", "open, acknowledged, snoozed or retracted"),
        ("alerts?before=x", 400, "malformed", "", "the query"),
        ("milestones?within_h=-1", 422, "invalid", "within_h", "0 to 8784 h"),
        ("milestones?within_h=NaN", 422, "invalid", "within_h", "0 to 8784 h"),
        ("milestones?within_h=inf", 422, "invalid", "within_h", "0 to 8784 h"),
        ("milestones?within_h=", 400, "malformed", "", "the query"),
        ("zones/bench/readings?from=now", 400, "malformed", "", "the query"),
        ("zones/attic/readings", 404, "not-found", "", "attic"),
    ] {
        let answer = bench.get(&format!("/api/v1/{query}")).await;
        super::held(answer, status, slug, field, word, query);
    }
    bench.stop().await;
}

/// A name is text: it is shown as it was given and does nothing.
#[tokio::test]
async fn a_name_with_markup_in_it_is_shown_as_text() {
    let bench = lived().await;
    let evil = "<script>alert(1)</script>\"><img src=x onerror=alert(1)>";
    bench.post("/api/v1/instruments", json!({"id": "evil", "name": evil})).await.good();
    bench.post("/api/v1/joints", json!({"id": "evil", "instrument": "evil", "name": evil})).await.good();
    let body = json!({"id": "evil", "joint": "evil", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", body).await.good();
    for page in ["/", "/cures/evil", "/glue-up?step=none", "/jobs/new"] {
        let html = bench.get(page).await.text;
        assert!(
            html.contains("alert(1)") && !html.contains("<script>alert") && !html.contains("<img"),
            "{page}\n{html}"
        );
    }
    bench.stop().await;
}
