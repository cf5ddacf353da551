//! Two instances of the program serve one shop: what is kept at one (a photo, a rule, a login) holds at the other, and neither
//! needs a copy of anything. Their clocks and folders are their own.

use std::{io::Cursor, path::PathBuf};

use bench::{
    Answer, postgres,
    program::{self, Home, Program},
    until,
};
use reqwest::{Method, RequestBuilder, redirect::Policy};
use serde_json::json;

/// An instance with a scripts folder that it watches; strangers log in also from this machine.
struct Instance {
    home: Home,
    program: Program,
}

fn settings(home: &Home, server: &postgres::Database, guarded: bool) -> String {
    let (path, scripts) = (home.folder().join("journal.db"), home.folder().join("scripts"));
    format!(
        "[server]\nlisten = \"127.0.0.1:0\"\nworkers = 1\n[shop]\ndigest_at = \"23:59\"\n[access]\nlogin_here = {guarded}\n\
         [store]\npath = {path:?}\nurl = {:?}\n[scripts]\nfolder = {scripts:?}\nwatch = true\n",
        server.url()
    )
}

impl Instance {
    async fn start(server: &postgres::Database, guarded: bool) -> Self {
        let home = Home::new();
        home.write(&settings(&home, server, guarded));
        let program = Program::serve(&home).await;
        Self { home, program }
    }

    fn rule(&self, material: &str) -> PathBuf {
        self.home.folder().join(format!("scripts/materials/{material}.rhai"))
    }

    fn text(&self, material: &str) -> String {
        std::fs::read_to_string(self.rule(material)).unwrap_or_default()
    }

    /// How many texts ever came in force for a material.
    async fn versions(&self, material: &str) -> usize {
        let list = self.program.get(&format!("/api/v1/rules/{material}/versions")).await.good();
        list["items"].as_array().unwrap().len()
    }

    /// Saves a text as the page does, over what stands there.
    async fn save(&self, material: &str, text: &str) -> Answer {
        let stands = rules::Rule::version_of(&self.text(material));
        let url = self.program.url(&format!("/api/v1/rules/{material}"));
        let put = self.program.http().put(url).header("if-match", format!("\"{stands}\""));
        Answer::of(put.json(&json!({"text": text, "by": "mia"})).send().await.unwrap()).await
    }
}

fn with(text: &str, line: &str) -> String {
    format!("{text}\n// {line}\n")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_the_keys_and_a_login_of_one_instance_are_good_at_the_other() {
    let server = postgres::Database::new();
    let (here, there) = (Instance::start(&server, true).await, Instance::start(&server, true).await);
    let config = here.home.config();
    let words = ["token", "add", "olga", "--role", "owner", "--config"].map(AsRef::as_ref);
    let made = program::command(words.into_iter().chain([config.as_os_str()])).await.good();
    let token = made.trim();
    let browser = reqwest::Client::builder().redirect(Policy::none()).build().unwrap();
    let ask = |at: &Instance, method: Method, path: &str| -> RequestBuilder {
        browser.request(method, at.program.url(path)).bearer_auth(token)
    };
    let post = async |path: &str, body: serde_json::Value| {
        let sent = until("the new token is known", async || {
            let sent = ask(&here, Method::POST, path).json(&body).send().await.unwrap();
            (sent.status() != 401).then_some(sent)
        });
        Answer::of(sent.await).await.good()
    };
    post("/api/v1/instruments", json!({"id": "guitar", "name": "the guitar"})).await;
    post("/api/v1/jobs", json!({"id": "loose", "instrument": "guitar", "title": "the bridge is loose"})).await;

    // A photo.
    let mut jpeg = Vec::new();
    image::RgbImage::from_pixel(40, 30, image::Rgb([90, 40, 20]))
        .write_to(&mut Cursor::new(&mut jpeg), image::ImageFormat::Jpeg)
        .unwrap();
    let head = "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"x.jpg\"\r\n\r\n";
    let form = [head.as_bytes(), &jpeg, b"\r\n--b--\r\n"].concat();
    let sent = ask(&here, Method::POST, "/jobs/loose/photos").header("content-type", "multipart/form-data; boundary=b");
    assert_eq!(sent.body(form).send().await.unwrap().status(), 303);
    let job = Answer::of(ask(&here, Method::GET, "/api/v1/jobs/loose").send().await.unwrap()).await.good();
    let photo = job["photos"][0]["href"].as_str().unwrap().to_string();
    let bytes = async |at: &Instance| {
        let got = ask(at, Method::GET, &photo).send().await.unwrap();
        let status = got.status();
        (status == 200).then_some(got.bytes().await.unwrap())
    };
    let shown = until("the other shows the photo", async || bytes(&there).await).await;
    assert_eq!(Some(&shown), bytes(&here).await.as_ref());
    assert_eq!(image::load_from_memory(&shown).unwrap().width(), 40);

    // What browsers subscribe by, and where calendars are.
    for path in ["/api/v1/push-key", "/api/v1/calendars"] {
        let ours = ask(&here, Method::GET, path).send().await.unwrap().text().await.unwrap();
        assert_eq!(ours, ask(&there, Method::GET, path).send().await.unwrap().text().await.unwrap(), "{path}");
        assert!(ours.len() > 40, "{ours}");
    }
    let calendars = Answer::of(ask(&here, Method::GET, "/api/v1/calendars").send().await.unwrap()).await.good();
    let calendar = there.program.url(calendars["items"][0]["path"].as_str().unwrap());
    assert_eq!(browser.get(calendar).send().await.unwrap().status(), 200);

    // A login here is a login there.
    let login = browser.post(here.program.url("/login")).header("sec-fetch-site", "same-origin");
    let login = login.header("content-type", "application/x-www-form-urlencoded").body(format!("token={token}"));
    let login = login.send().await.unwrap();
    assert_eq!(login.status(), 303);
    let cookie = login.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_string();
    until("the cookie is good at the other", async || {
        let page = browser.get(there.program.url("/jobs/loose")).header("accept", "text/html");
        (page.header("cookie", &cookie).send().await.unwrap().status() == 200).then_some(())
    })
    .await;

    // New addresses for calendars hold for both, from their next start.
    let before = calendars["items"][0]["path"].clone();
    let config = there.home.config();
    program::command(["new-calendars".as_ref(), "--config".as_ref(), config.as_os_str()]).await.good();
    let mut paths = Vec::new();
    for Instance { home, program } in [here, there] {
        program.terminate().await;
        let program = Program::serve(&home).await;
        let list = browser.get(program.url("/api/v1/calendars")).bearer_auth(token).send().await.unwrap();
        paths.push(Answer::of(list).await.good()["items"][0]["path"].clone());
        program.terminate().await;
    }
    assert!(paths[0] == paths[1] && paths[0] != before, "{before} {paths:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_rule_saved_at_one_instance_is_the_file_of_the_other_and_goes_round_no_more() {
    const RESIN: &str = "aliphatic-resin";
    let server = postgres::Database::new();
    let (here, there) = (Instance::start(&server, false).await, Instance::start(&server, false).await);
    let shipped = here.text(RESIN);
    let both_are = async |what: &str, text: &str| {
        until(what, async || [&here, &there].iter().all(|at| at.text(RESIN) == text).then_some(())).await;
    };

    // In the browser here, then in an editor there.
    let saved = with(&shipped, "as the page saved it");
    here.save(RESIN, &saved).await.good();
    both_are("the file there follows", &saved).await;
    let edited = with(&saved, "as an editor saved it");
    std::fs::write(there.rule(RESIN), &edited).unwrap();
    both_are("the file here follows", &edited).await;
    // Whoever has not seen the newest does not save over it, at the other neither.
    let url = there.program.url(&format!("/api/v1/rules/{RESIN}"));
    let stale = there.program.http().put(url).header("if-match", format!("\"{}\"", rules::Rule::version_of(&saved)));
    let stale = stale.json(&json!({"text": with(&saved, "unseen"), "by": "ben"})).send().await.unwrap();
    Answer::of(stale).await.problem(412, "changed");
    // A rule that is new at one comes into the folder of the other.
    let glue = shipped.replace("aliphatic", "ALIPHATIC");
    std::fs::write(here.rule("bench-glue"), &glue).unwrap();
    until("the new rule is there too", async || (there.text("bench-glue") == glue).then_some(())).await;

    // Both at once: one of them is the newest, and both have it.
    std::fs::write(here.rule(RESIN), with(&edited, "here")).unwrap();
    std::fs::write(there.rule(RESIN), with(&edited, "there")).unwrap();
    until("both are in force once", async || (here.versions(RESIN).await == 5).then_some(())).await;
    until("both have the same", async || (here.text(RESIN) == there.text(RESIN)).then_some(())).await;
    let newest = here.text(RESIN);

    // One that stood still takes what it missed for newer than its own file, and an edit made meanwhile for an edit.
    let Instance { home, program } = there;
    program.terminate().await;
    let later = with(&newest, "while the other stood still");
    std::fs::write(here.rule(RESIN), &later).unwrap();
    until("it is in force", async || (here.versions(RESIN).await == 6).then_some(())).await;
    let mine = home.folder().join("scripts/materials/shellac.rhai");
    let shellac = with(&std::fs::read_to_string(&mine).unwrap(), "edited meanwhile");
    std::fs::write(&mine, &shellac).unwrap();
    let there = Instance { program: Program::serve(&home).await, home };
    assert_eq!(there.text(RESIN), later);
    until("the edit comes here", async || (here.text("shellac") == shellac).then_some(())).await;

    // Nothing went round: each text came in force once.
    assert_eq!(
        (here.versions(RESIN).await, here.versions("shellac").await, there.versions("bench-glue").await),
        (6, 2, 1)
    );
    for Instance { program, .. } in [here, there] {
        program.terminate().await;
    }
}
