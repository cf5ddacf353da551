//! A stack of coats laid onto a job that is open already: its steps, where they stand, and the page that lays it.

use super::*;

async fn open(bench: &Bench) {
    let steps = json!([{"id": "clean", "kind": "hands_on", "title": "Clean it"},
                       {"id": "string", "kind": "check", "title": "String it up"}]);
    let job = json!({"id": "repair", "instrument": "guitar", "title": "Repair", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
}

fn each<'a>(job: &'a Value, part: &str) -> Vec<&'a str> {
    let steps = job["steps"].as_array().expect("a job has steps");
    steps.iter().map(|step| step[part].as_str().expect("a word")).collect()
}

const FINISHES: [&str; 3] = ["nitrocellulose-lacquer", "vinyl-sealer", "pore-filler"];

/// The shipped schedule of ten coats is sixteen steps, as `show.rs` counts them by hand.
#[tokio::test]
async fn a_schedule_is_laid_onto_an_open_job_after_the_step_named() {
    let bench = shop(&FINISHES).await;
    open(&bench).await;
    let to = "/api/v1/jobs/repair/schedules";
    let asked = json!({"schedule": "lacquer-ten-coats", "surface": "top", "after": "clean"});
    let job = bench.post_once("once", to, asked.clone()).await.good();
    assert_eq!(job["steps"].as_array().unwrap().len(), 2 + 16);
    assert_eq!(bench.post_once("once", to, asked).await.good()["steps"].as_array().unwrap().len(), 18);
    assert_eq!(&each(&job, "id")[..3], ["clean", "string", "seal"]);
    assert!(each(&job, "title")[2..].iter().all(|title| title.ends_with(": top")), "{job}");
    // The first coat waits for cleaning alone; each other one for the one above it.
    let states = each(&job, "state");
    assert_eq!(&states[..4], ["ready", "waiting", "waiting", "waiting"]);
    let job = bench.post("/api/v1/jobs/repair/steps/clean/done", json!({})).await.good();
    assert_eq!(&each(&job, "state")[..4], ["done", "ready", "ready", "waiting"]);
    // A second time its steps have names of their own and come behind the last.
    let job = bench.post(to, json!({"schedule": "lacquer-ten-coats", "surface": "back"})).await.good();
    assert_eq!((each(&job, "id")[18], each(&job, "id").last().unwrap()), ("seal-2", &"rub-out-2"));
    let mut ids = each(&job, "id");
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), 2 + 2 * 16);
    // It is on disk, and the coat of such a step takes its material from it.
    let bench = bench.restart(false).await;
    let coat = json!({"id": "c-1", "surface": "top", "job": "repair", "step": "seal", "zone": "booth"});
    let coat = bench.post("/api/v1/coats", coat).await.good();
    assert_eq!(Some(coat["material"]["id"].as_str().unwrap()), job["steps"][2]["material"].as_str());
    bench.stop().await;
}

#[tokio::test]
async fn what_cannot_be_laid_leaves_the_job_as_it_was() {
    let bench = shop(&FINISHES[..1]).await;
    open(&bench).await;
    let to = "/api/v1/jobs/repair/schedules";
    // Its sealer has no rule in this shop.
    bench.post(to, json!({"schedule": "lacquer-ten-coats"})).await.problem(422, "unknown-reference");
    let wrong = bench.post(to, json!({"schedule": "gilding"})).await.problem(422, "unknown-reference");
    assert_eq!(wrong["field"], "schedule");
    bench.post("/api/v1/jobs/none/schedules", json!({"schedule": "lacquer-ten-coats"})).await.problem(404, "not-found");
    assert_eq!(bench.get("/api/v1/jobs/repair").await.good()["steps"].as_array().unwrap().len(), 2);
    bench.stop().await;
    let bench = shop(&FINISHES).await;
    open(&bench).await;
    let after = json!({"schedule": "lacquer-ten-coats", "after": "polish"});
    bench.post(to, after).await.problem(409, "conflict");
    bench.post("/api/v1/jobs/repair/close", json!({})).await.good();
    bench.post(to, json!({"schedule": "lacquer-ten-coats"})).await.problem(409, "conflict");
    assert_eq!(bench.get("/api/v1/jobs/repair").await.good()["steps"].as_array().unwrap().len(), 2);
    bench.stop().await;
}

#[tokio::test]
async fn the_page_of_a_job_lays_a_schedule_once() {
    let bench = shop(&FINISHES).await;
    open(&bench).await;
    let page = bench.get("/jobs/repair").await.text;
    for part in ["value=\"lacquer-ten-coats\"", "<option value=\"clean\">Clean it</option>"] {
        assert!(page.contains(part), "no {part}: {page}");
    }
    for _ in 0..2 {
        let request = bench.http().post(bench.url("/jobs/repair/schedules"));
        let request = request.header("content-type", "application/x-www-form-urlencoded").header("accept", "text/html");
        let form = "key=once&schedule=lacquer-ten-coats&surface=neck&after=";
        let page = bench.send(request.body(form)).await;
        assert!(page.status == 200 && page.text.contains(": neck"), "{}", page.text);
    }
    let job = bench.get("/api/v1/jobs/repair").await.good();
    assert_eq!(job["steps"].as_array().unwrap().len(), 18);
    bench.stop().await;
}

/// The film, thinner and method that a schedule proposes stand in the form; what is to be minded stands where the work is
/// looked at before it is begun.
#[tokio::test]
async fn a_coat_of_a_schedule_is_proposed_as_it_is_meant_with_what_is_to_be_minded() {
    let bench = shop(&FINISHES).await;
    bench
        .post("/api/v1/schedules/lacquer-ten-coats/jobs", json!({"id": "finish", "instrument": "guitar"}))
        .await
        .good();
    let form = bench.get("/coat?step=finish+top-1").await.text;
    for part in [
        "name=\"film\" inputmode=\"decimal\" value=\"80\"",
        "name=\"thinner_parts\" inputmode=\"decimal\" value=\"0.5\"",
        "name=\"method\" value=\"spray\" checked",
    ] {
        assert!(form.contains(part), "no {part} in {form}");
    }
    // The filler's rags, before any of it is rubbed in.
    for page in ["/jobs/finish", "/jobs/finish/card", "/coat?step=finish+fill"] {
        let text = bench.get(page).await.text;
        assert!(
            text.contains("RAGS CATCH FIRE") && text.contains("under water in a closed metal can"),
            "{page}: {text}"
        );
    }
    bench.read_air("booth", 20.0, 50.0).await;
    let gun = bench.get("/coats?material=nitrocellulose-lacquer&zone=booth").await.text;
    assert!(gun.contains("lay it now") && gun.contains("Highly flammable liquid"), "{gun}");
    bench.stop().await;
}
