//! The line to a server that shows a certificate: by an authority this machine knows, for the name that was asked for, or
//! not at all. Certificates are made by OpenSSL, the server is Debian's.

use std::{path::Path, process::Command};

use bench::{
    postgres,
    program::{self, Home, Program},
};

fn openssl(folder: &Path, words: &str) {
    let made = Command::new("openssl").args(words.split(' ')).current_dir(folder).output().expect("openssl is there");
    assert!(made.status.success(), "{words}: {}", String::from_utf8_lossy(&made.stderr));
}

const NEW_KEY: &str = "-newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 3650";

/// An authority of a test's own: `name.pem` and its key.
fn authority(folder: &Path, name: &str) {
    openssl(folder, &format!("req -x509 {NEW_KEY} -subj /CN={name} -keyout {name}.key -out {name}.pem"));
}

/// A certificate for "localhost" and for no address, signed by an authority: `server.pem` and `server.key`.
fn signed_by(folder: &Path, authority: &str) {
    openssl(folder, &format!("req {NEW_KEY} -subj /CN=server -keyout server.key -out server.csr"));
    std::fs::write(folder.join("server.ext"), "subjectAltName=DNS:localhost\n").unwrap();
    openssl(
        folder,
        &format!(
            "x509 -req -in server.csr -CA {authority}.pem -CAkey {authority}.key -days 3650 -extfile server.ext \
             -out server.pem"
        ),
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_is_believed_by_an_authority_and_a_name_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    ["ours", "theirs"].iter().for_each(|name| authority(folder, name));
    signed_by(folder, "ours");
    let server = postgres::Database::that_seals(&folder.join("server.pem"), &folder.join("server.key"));
    let mut home = Home::new();
    let named = |host: &str, mode: &str| server.url().replace("127.0.0.1", host) + "?sslmode=" + mode;
    for (host, mode, root, why) in [
        ("localhost", "require", "theirs", "UnknownIssuer"),
        ("127.0.0.1", "require", "ours", "not valid for name"),
        // In the clear this server lets nobody in: what gets in below is sealed.
        ("localhost", "disable", "ours", "no encryption"),
    ] {
        home.keep_in(named(host, mode));
        let root = folder.join(format!("{root}.pem")).display().to_string();
        let config = home.config();
        let words = ["token".as_ref(), "list".as_ref(), "--config".as_ref(), config.as_os_str()];
        let done = program::command_with(words, &[("SSL_CERT_FILE", &root)]).await;
        assert_eq!(done.code, Some(1), "{host} {mode} {root}: {}{}", done.said, done.complained);
        assert!(done.complained.contains(why), "{host} {mode} {root}: {}", done.complained);
    }
    assert_eq!(server.ask("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'"), "0");

    home.keep_in(named("localhost", "require"));
    let root = folder.join("ours.pem").display().to_string();
    let program = Program::serve_with(&home, &[("SSL_CERT_FILE", &root)], &[]).await;
    program.furnish().await;
    let lines =
        "SELECT count(*) > 2, bool_and(ssl) FROM pg_stat_ssl JOIN pg_stat_activity USING (pid) WHERE usename = 'bench'";
    assert_eq!(server.ask(lines), "t|t");
    program.terminate().await;
}
