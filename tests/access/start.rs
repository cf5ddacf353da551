//! Where the service listens: beyond this machine only with an owner's token, and not without TLS unless that is said.

use bench::program::{Home, Program, command, refused};

#[tokio::test(flavor = "multi_thread")]
async fn it_opens_to_other_machines_only_when_somebody_could_log_in_and_nothing_is_read_on_the_way() {
    let home = Home::new();
    home.listen("0.0.0.0:0");
    let plain = std::fs::read_to_string(home.config()).unwrap();
    let (code, said) = refused(&home).await;
    assert_eq!(code, Some(1));
    assert!(said.contains("server.listen") && said.contains("benchclock token add NAME --role owner"), "{said}");
    let config = home.config().display().to_string();
    let add = async |name: &str, role: &str| command(["token", "add", name, "--role", role, "--config", &config]).await;
    // Whoever only looks could give nobody a token.
    add("wall", "viewer").await.good();
    assert!(refused(&home).await.1.contains("no owner's token"));
    let olga = add("olga", "owner").await.good();
    let (_, said) = refused(&home).await;
    assert!(said.contains("server.tls_cert") && said.contains("server.trusted_proxies"), "{said}");
    for more in ["plain_http = true", "trusted_proxies = [\"10.0.0.2\"]"] {
        home.write(&plain.replace("[server]\n", &format!("[server]\n{more}\n")));
        let program = Program::serve(&home).await;
        // Here it is asked by the address it has for others: then it needs a token here, too.
        let url = program.url("/api/v1/board");
        let port = url.split(':').nth(2).unwrap().split('/').next().unwrap().to_string();
        let by_name = program.http().get(format!("http://127.0.0.1:{port}/api/v1/board")).header("host", "bench.local");
        assert_eq!(by_name.send().await.unwrap().status(), 401);
        let shown = program.http().get(format!("http://127.0.0.1:{port}/api/v1/board")).bearer_auth(olga.trim());
        assert_eq!(shown.send().await.unwrap().status(), 200);
        program.terminate().await;
    }
    // The last owner's token is gone: it does not open again.
    command(["token", "revoke", "olga", "--config", &config]).await.good();
    assert!(refused(&home).await.1.contains("no owner's token"));
}
