//! What is secret stays out of the log, whatever happens and however talkative the log is made.

use bench::program::{Home, Program, command};
use benchclock::Settings;
use serde_json::json;

use super::browser;
use crate::http::webhooks::Receiver;

#[tokio::test(flavor = "multi_thread")]
async fn no_secret_is_ever_in_the_log() {
    let home = Home::new();
    let config = home.config().display().to_string();
    let (_receiver, hook) = Receiver::start(&[401]);
    let (webhook, broker, mail) = ("a-webhook-secret-of-length", "a-broker-password", "a-mail-password");
    let more = format!(
        "[access]\nlogin_here = true\n\
         [mqtt]\nurl = \"mqtt://127.0.0.1:9\"\nusername = \"u\"\npassword = \"{broker}\"\n\
         [email]\nurl = \"smtp://127.0.0.1:9\"\nfrom = \"shop@example.org\"\nusername = \"u\"\npassword = \"{mail}\"\n\
         [[people]]\nname = \"mia\"\nemail = \"mia@example.org\"\ntell = {{ else = [\"email\", \"mqtt\"] }}\n\
         [[webhooks]]\nname = \"wall\"\nurl = \"{hook}?key=hidden-in-the-address\"\nsecret = \"{webhook}\"\n"
    );
    home.write(&(std::fs::read_to_string(home.config()).unwrap() + more.as_str()));
    let olga =
        command(["token", "add", "olga", "--role", "owner", "--config", &config]).await.good().trim().to_string();
    let program = Program::serve_with(&home, &[("BENCHCLOCK_LOG", "trace")], &["--log", "json"]).await;
    let wrong = format!("bclk_{}", "1".repeat(64));
    let post = |path: &str| browser().post(program.url(path)).bearer_auth(&olga);
    let made = post("/api/v1/tokens").json(&json!({"id": "mia", "role": "bench"})).send().await.unwrap();
    let made: serde_json::Value = made.json().await.unwrap();
    let mia = made["token"].as_str().unwrap().to_string();
    browser().get(program.url("/api/v1/board")).bearer_auth(&wrong).send().await.unwrap();
    let form = format!("token={mia}");
    let entered = browser().post(program.url("/login")).header("content-type", "application/x-www-form-urlencoded");
    let entered = entered.body(form).send().await.unwrap();
    let session = entered.headers()["set-cookie"].to_str().unwrap().split(['=', ';']).nth(1).unwrap().to_string();
    assert_eq!(session.len(), 64);
    let cookie = format!("benchclock-session={session}");
    let page = browser().get(program.url("/")).header("cookie", cookie).send().await.unwrap();
    assert_eq!(page.status(), 200);
    for channel in ["wall", "mia:email", "mia:mqtt"] {
        let tested = post(&format!("/api/v1/channels/{channel}/test")).json(&json!({})).send().await.unwrap();
        let tested: serde_json::Value = tested.json().await.unwrap();
        assert_eq!(tested["taken"], false, "{channel}: {tested}");
    }
    // Nor is it in what the settings say of themselves.
    let settings = Settings::load(Some(&home.config())).unwrap();
    let (code, log) = program.end_saying("TERM").await;
    assert_eq!(code, Some(0));
    assert!(log.lines().count() > 50 && log.contains("TRACE"), "the log says next to nothing: {log}");
    let secrets = [&olga, &mia, &wrong, &session, webhook, broker, mail, "hidden-in-the-address"];
    for secret in secrets {
        let line = log.lines().find(|line| line.contains(secret));
        assert_eq!(line, None, "a secret stands in the log");
    }
    for secret in [webhook, broker, mail] {
        assert!(!format!("{settings:?}").contains(secret), "{settings:?}");
    }
    // Base64 is no disguise.
    use base64::{Engine, engine::general_purpose::STANDARD};
    let plain = STANDARD.encode(format!("\0u\0{mail}"));
    assert!(!log.contains(&plain));
}
