//! TLS: certificates made by OpenSSL, read by a client that trusts nothing else, and changed while the service runs.

use std::{path::Path, process::Command};

use bench::{BEGIN, Bench, Shop, ms, program};
use benchclock::{Now, Service, Settings};

use super::token;

/// A certificate for 127.0.0.1 that signs itself, and its key; gives the certificate.
fn certificate(folder: &Path, name: &str) -> reqwest::Certificate {
    let (cert, key) = (folder.join(format!("{name}.pem")), folder.join(format!("{name}.key")));
    let mut make = Command::new("openssl");
    make.args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "3650"]);
    make.args(["-extensions", "usr_cert", "-subj", &format!("/CN={name}"), "-addext", "subjectAltName=IP:127.0.0.1"]);
    make.arg("-keyout").arg(&key).arg("-out").arg(&cert);
    let made = make.output().expect("openssl is there");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    reqwest::Certificate::from_pem(&std::fs::read(cert).unwrap()).unwrap()
}

/// A client that trusts one certificate and no other.
fn trusting(certificate: &reqwest::Certificate) -> reqwest::Client {
    reqwest::Client::builder().tls_certs_only([certificate.clone()]).build().unwrap()
}

fn put(folder: &Path, name: &str) {
    for (ending, to) in [("pem", "cert.pem"), ("key", "key.pem")] {
        std::fs::copy(folder.join(format!("{name}.{ending}")), folder.join(to)).unwrap();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_new_certificate_is_shown_without_a_restart_and_a_broken_one_never() {
    Service::provide_tls();
    let bench = Bench::small().await;
    let owner = token(&bench, serde_json::json!({"id": "olga", "role": "owner"})).await;
    let (mut shop, now): (Shop, Now) = bench.stop().await;
    let folder = shop.folder().to_path_buf();
    let (first, second) = (certificate(&folder, "first"), certificate(&folder, "second"));
    put(&folder, "first");
    shop.settings.server.tls_cert = folder.join("cert.pem");
    shop.settings.server.tls_key = folder.join("key.pem");
    shop.settings.access.login_here = true;
    let bench = Bench::open(shop, now, false).await;
    let url = bench.url("/api/v1/board").replace("http://", "https://");
    let asked = async |certificate: &reqwest::Certificate| {
        trusting(certificate).get(&url).bearer_auth(&owner).send().await.map(|answer| answer.status().as_u16()).ok()
    };
    assert_eq!((asked(&first).await, asked(&second).await), (Some(200), None));
    // Over TLS the cookie is for TLS alone.
    let enter = trusting(&first).post(bench.url("/login").replace("http://", "https://"));
    let enter = enter.header("content-type", "application/x-www-form-urlencoded").body(format!("token={owner}"));
    let entered = enter.send().await.unwrap();
    assert_eq!(entered.url().path(), "/", "{}", entered.status());
    // The health check on the machine itself takes whatever certificate; anything that shows a token does not.
    let here = bench.url("").replace("http://", "https://");
    let health = ["health", "--url", &here, "--token", &owner].map(String::from);
    assert_eq!(program::command(health).await.good(), "ready\n");
    let ready = program::command(["ready", "--url", &here, "--token", &owner].map(String::from)).await;
    assert!(ready.code == Some(4) && ready.complained.contains("ertificate"), "{}", ready.complained);
    // Nothing changed, and then a key that is not the certificate's: the old pair goes on.
    assert_eq!(Service::certificate_step(bench.state()), Ok(false));
    std::fs::copy(folder.join("second.pem"), folder.join("cert.pem")).unwrap();
    let error = Service::certificate_step(bench.state()).unwrap_err();
    assert_eq!(error.key, "server.tls_key");
    assert_eq!(asked(&first).await, Some(200));
    put(&folder, "second");
    assert_eq!(Service::certificate_step(bench.state()), Ok(true));
    assert_eq!((asked(&first).await, asked(&second).await), (None, Some(200)));
    // In the clear there is nothing at that port.
    assert!(bench.http().get(bench.url("/api/v1/board")).send().await.is_err());
    bench.stop().await;
}

#[tokio::test]
async fn a_certificate_that_cannot_be_used_is_said_at_start() {
    let mut shop = Shop::small();
    let folder = shop.folder().to_path_buf();
    certificate(&folder, "first");
    certificate(&folder, "second");
    for (cert, key, named) in [
        ("nowhere.pem", "first.key", "server.tls_cert"),
        ("first.key", "first.key", "server.tls_cert"),
        ("first.pem", "first.pem", "server.tls_key"),
        ("first.pem", "second.key", "server.tls_key"),
    ] {
        shop.settings.server.tls_cert = folder.join(cert);
        shop.settings.server.tls_key = folder.join(key);
        let settings: Settings = shop.settings.clone();
        let error = Service::build(settings, Now::standing_at(ms(BEGIN))).await.err().expect(named);
        assert!(error.to_string().starts_with(&format!("setting {named}: ")), "{cert} {key}: {error}");
    }
}
