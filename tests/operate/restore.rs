//! The drill: a copy made while the service is at work is put back elsewhere, and everything acknowledged before it is
//! there.

use bench::program::{Home, Program, command};
use serde_json::{Value, json};

async fn glue_up(program: &Program, id: &str) {
    let body = json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    program.post("/api/v1/glue-ups", body).await;
}

/// Keeps a photo with a job; gives its address.
async fn photographed(program: &Program) -> String {
    program.post("/api/v1/jobs", json!({"id": "loose", "instrument": "guitar", "title": "the bridge is loose"})).await;
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(40, 30, image::Rgb([90, 40, 20])).write_to(&mut png, image::ImageFormat::Png).unwrap();
    let head = "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"x.png\"\r\n\r\n";
    let form = [head.as_bytes(), png.get_ref(), b"\r\n--b--\r\n"].concat();
    let sent = program.http().post(program.url("/jobs/loose/photos")).body(form);
    let sent = sent.header("content-type", "multipart/form-data; boundary=b").send().await.unwrap();
    assert!(sent.status().is_success(), "{}", sent.text().await.unwrap());
    program.get("/api/v1/jobs/loose").await.good()["photos"][0]["href"].as_str().unwrap().to_string()
}

async fn picture(program: &Program, path: &str) -> Vec<u8> {
    let got = program.http().get(program.url(path)).send().await.unwrap().error_for_status().unwrap();
    got.bytes().await.unwrap().to_vec()
}

async fn backup(home: &Home, to: &str) -> bench::program::Done {
    let to = home.folder().join(to);
    command(["backup".as_ref(), to.as_os_str(), "--config".as_ref(), home.config().as_os_str()]).await
}

async fn restore(from: &std::path::Path, home: &Home) -> bench::program::Done {
    command(["restore".as_ref(), from.as_os_str(), "--config".as_ref(), home.config().as_os_str()]).await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_acknowledged_before_a_copy_is_there_when_it_is_put_back() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    // Readings go on being posted while the copy is made.
    let (http, url) = (program.http().clone(), program.url("/api/v1/readings"));
    let post = async move {
        for n in 0.. {
            let reading = json!({"zone": "bench", "minutes_ago": n, "temp_c": 20, "rh_pct": 50});
            let sent = http.post(&url).json(&json!({"readings": [reading]})).send().await;
            if sent.is_err() {
                return n;
            }
        }
        0
    };
    let posting = tokio_util::task::TaskTracker::new().spawn(post);
    for n in 0..20 {
        glue_up(&program, &format!("before-{n}")).await;
    }
    let photo = photographed(&program).await;
    let (calendars, bytes) = (program.get("/api/v1/calendars").await.good(), picture(&program, &photo).await);
    backup(&shop, "copy.db").await.good();
    glue_up(&program, "after").await;
    program.kill();
    assert!(posting.await.unwrap() > 0, "nothing was written beside the copy");

    let elsewhere = Home::new();
    let copy = shop.folder().join("copy.db");
    let said = restore(&copy, &elsewhere).await.good();
    assert!(said.contains("facts and"), "{said}");
    let program = Program::serve(&elsewhere).await;
    let ids = program.ids("/api/v1/glue-ups").await;
    assert_eq!(ids, (0..20).map(|n| format!("before-{n}")).collect());
    assert_eq!(program.get("/api/v1/calendars").await.good(), calendars);
    assert_eq!(picture(&program, &photo).await, bytes);
    let zone: Value =
        program.http().get(program.url("/api/v1/zones/bench")).send().await.unwrap().json().await.unwrap();
    assert!(zone["readings"].as_u64().unwrap() > 0, "{zone}");
    glue_up(&program, "after").await;
    // Neither a running service nor the journal of one that ended is written over.
    for running in [true, false] {
        let before = std::fs::metadata(elsewhere.journal()).unwrap().len();
        let done = restore(&copy, &elsewhere).await;
        assert_eq!(done.code, Some(1), "running: {running}");
        assert!(done.complained.contains("is there already and is not written over"), "{}", done.complained);
        assert_eq!(std::fs::metadata(elsewhere.journal()).unwrap().len(), before);
        if !running {
            break;
        }
    }
    assert!(program.ids("/api/v1/glue-ups").await.contains("after"));
    program.terminate().await;
    assert_eq!(restore(&copy, &elsewhere).await.code, Some(1));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_no_sound_copy_is_not_put_back() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.terminate().await;
    backup(&shop, "copy.db").await.good();
    let whole = std::fs::read(shop.folder().join("copy.db")).unwrap();
    let mut torn = whole.clone();
    // A page in the middle of the file is overwritten, as a bad disk does.
    let middle = torn.len() / 8192 * 4096;
    torn[middle..middle + 4096].fill(0x5a);
    let other = rusqlite::Connection::open(shop.folder().join("other.db")).unwrap();
    other.execute_batch("CREATE TABLE x (y)").unwrap();
    drop(other);
    for (name, bytes, why) in [
        ("torn.db", Some(torn), "cannot be restored"),
        ("short.db", Some(whole[..whole.len() / 2].to_vec()), "cannot be restored"),
        ("letter.db", Some(b"dear shop".repeat(1000)), "it is no SQLite database"),
        ("other.db", None, "it is no journal"),
        ("nowhere.db", None, "there is no such file"),
    ] {
        let path = shop.folder().join(name);
        if let Some(bytes) = bytes {
            std::fs::write(&path, bytes).unwrap();
        }
        let elsewhere = Home::new();
        let done = restore(&path, &elsewhere).await;
        assert_eq!(done.code, Some(1), "{name}");
        assert!(done.complained.contains(why), "{name}: {}", done.complained);
        assert!(!elsewhere.journal().exists(), "{name}");
    }
}
