//! A PostgreSQL server of Debian's own, on loopback, in a folder that is gone afterwards. One serves whatever tests run at
//! the same time, each with a database of its own; what is looked at past the store is asked of `psql`.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{
    fs::Permissions,
    io::{BufRead, BufReader, Write},
    net::TcpListener,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::{
        Arc, Mutex, PoisonError, Weak,
        atomic::{AtomicUsize, Ordering},
        mpsc::{Receiver, channel},
    },
};

/// The newest server installed.
fn bin() -> PathBuf {
    let installed = std::fs::read_dir("/usr/lib/postgresql").expect("tests/run installs postgresql");
    let newest = installed.map(|entry| entry.unwrap().path()).max().expect("tests/run installs postgresql");
    newest.join("bin")
}

/// A command of the server as the user it runs as: it refuses to be root's.
fn unprivileged(program: &str) -> Command {
    let program = bin().join(program);
    let root = std::fs::read_to_string("/proc/self/status").unwrap().contains("\nUid:\t0\t");
    if !root {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid", "postgres", "--regid", "postgres", "--clear-groups"]).arg(program);
    command
}

/// A server that runs.
struct Server {
    folder: tempfile::TempDir,
    port: u16,
    child: Child,
}

/// The one that runs now, if a test has it.
static RUNNING: Mutex<Weak<Server>> = Mutex::new(Weak::new());

impl Server {
    /// The one that runs, or a new one. Commits of tests are not flushed: no test pulls the plug of this server.
    fn get() -> Arc<Self> {
        let mut running = RUNNING.lock().unwrap_or_else(PoisonError::into_inner);
        running.upgrade().unwrap_or_else(|| {
            let server = Arc::new(Self::start(&["fsync=off".into()]));
            *running = Arc::downgrade(&server);
            server
        })
    }

    /// One with these settings.
    fn start(settings: &[String]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        Self::start_in(folder, settings, None)
    }

    /// Gives a file to the user the server runs as: what is root's own is shut to it.
    fn hand(path: &Path) {
        drop(Command::new("chown").args(["postgres:postgres"]).arg(path).stderr(Stdio::null()).status());
    }

    fn start_in(folder: tempfile::TempDir, settings: &[String], lets_in: Option<&str>) -> Self {
        Self::hand(folder.path());
        let data = folder.path().join("data");
        let made = unprivileged("initdb")
            .args(["--auth=trust", "--username=postgres", "--no-sync", "--locale=C.UTF-8", "--encoding=UTF8", "-D"])
            .arg(&data)
            .current_dir("/")
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        if let Some(lets_in) = lets_in {
            std::fs::write(data.join("pg_hba.conf"), lets_in).unwrap();
        }
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let child = unprivileged("postgres")
            .arg("-D")
            .arg(&data)
            .args(["-p", &port.to_string(), "-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories="])
            .args(["-c", "max_connections=200"])
            .args(settings.iter().flat_map(|setting| ["-c", setting]))
            .current_dir("/")
            .stdout(Stdio::null())
            .stderr(std::fs::File::create(folder.path().join("log")).unwrap())
            .spawn()
            .unwrap();
        let server = Self { folder, port, child };
        server.until_ready();
        server.psql("postgres", "postgres", "CREATE ROLE bench LOGIN");
        server
    }

    fn until_ready(&self) {
        let port = self.port.to_string();
        let ready = || {
            let args = ["-q", "-h", "127.0.0.1", "-t", "1", "-p", &port];
            Command::new(bin().join("pg_isready")).args(args).status().unwrap().success()
        };
        // Each try waits a moment where nobody listens yet.
        let (never, wait) = std::sync::mpsc::channel::<()>();
        let tried = (0..600).any(|_| ready() || wait.recv_timeout(std::time::Duration::from_millis(50)).is_ok());
        drop(never);
        assert!(tried, "{}", std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default());
    }

    /// Asks something past the store; rows as lines, columns with bars between.
    fn psql(&self, role: &str, database: &str, sql: &str) -> String {
        let port = self.port.to_string();
        let asked = Command::new(bin().join("psql"))
            .args(["-X", "-A", "-t", "-q", "-v", "ON_ERROR_STOP=1", "-h", "127.0.0.1", "-p", &port, "-U", role])
            .args(["-d", database, "-c", sql])
            .output()
            .unwrap();
        assert!(asked.status.success(), "{sql}: {}", String::from_utf8_lossy(&asked.stderr));
        String::from_utf8(asked.stdout).unwrap().trim_end().to_string()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // At once: nothing in it is wanted any more.
        drop(Command::new("kill").args(["-QUIT", &self.child.id().to_string()]).status());
        drop(self.child.wait());
    }
}

/// An empty database of a test's own.
pub struct Database {
    server: Arc<Server>,
    name: String,
}

impl Database {
    /// A new one. Its owner is the role "bench".
    #[expect(clippy::new_without_default, reason = "it starts a server")]
    pub fn new() -> Self {
        Self::on(Server::get())
    }

    /// A new one on a server of its own that flushes each commit, as one in service does.
    pub fn that_flushes() -> Self {
        Self::on(Arc::new(Server::start(&["fsync=on".into()])))
    }

    /// A new one on a server of its own that shows a certificate (the files of it and its key) and lets the service in over a
    /// sealed line only.
    pub fn that_seals(certificate: &Path, key: &Path) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut settings = vec!["ssl=on".to_string(), "fsync=off".into()];
        for (from, setting) in [(certificate, "ssl_cert_file"), (key, "ssl_key_file")] {
            let to = folder.path().join(setting);
            std::fs::copy(from, &to).unwrap();
            std::fs::set_permissions(&to, Permissions::from_mode(0o600)).unwrap();
            Server::hand(&to);
            settings.push(format!("{setting}={}", to.display()));
        }
        let lets_in = "host all postgres 127.0.0.1/32 trust\nhostssl all bench 127.0.0.1/32 trust\n";
        Self::on(Arc::new(Server::start_in(folder, &settings, Some(lets_in))))
    }

    fn on(server: Arc<Server>) -> Self {
        static MADE: AtomicUsize = AtomicUsize::new(0);
        let name = format!("shops_{}", MADE.fetch_add(1, Ordering::SeqCst));
        server.psql("postgres", "postgres", &format!("CREATE DATABASE {name} OWNER bench"));
        Self { server, name }
    }

    /// Its address for a role.
    pub fn url_of(&self, role: &str) -> String {
        format!("postgres://{role}@127.0.0.1:{}/{}", self.server.port, self.name)
    }

    /// Its address for the service.
    pub fn url(&self) -> String {
        self.url_of("bench")
    }

    /// Asks something past the store, as the one who may see everything; rows as lines, columns with bars between.
    pub fn ask(&self, sql: &str) -> String {
        self.server.psql("postgres", &self.name, sql)
    }

    /// The same as the role of the service, bound to no shop.
    pub fn ask_as_bench(&self, sql: &str) -> String {
        self.server.psql("bench", &self.name, sql)
    }

    /// Begins a transaction past the store that holds what its statement locks, as soon as it gets it.
    pub fn hold(&self, sql: &str) -> Held {
        let port = self.server.port.to_string();
        let mut psql = Command::new(bin().join("psql"))
            .args(["-X", "-A", "-t", "-q", "-h", "127.0.0.1", "-p", &port, "-U", "postgres", "-d", &self.name])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        write!(psql.stdin.as_mut().unwrap(), "BEGIN;\n{sql};\n\\echo held\n").unwrap();
        let (say, said) = channel();
        let lines = BufReader::new(psql.stdout.take().unwrap()).lines();
        std::thread::spawn(move || {
            lines.map_while(Result::ok).filter(|line| line == "held").try_for_each(|_| say.send(()))
        });
        Held { psql, said }
    }

    /// Lets the service in or not.
    pub fn lets_in(&self, yes: bool) {
        let most = if yes { -1 } else { 0 };
        self.ask(&format!("ALTER DATABASE {} CONNECTION LIMIT {most}", self.name));
    }

    /// Cuts every line of the service to it.
    pub fn cut(&self) {
        self.ask(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                  WHERE usename = 'bench' AND datname = current_database()",
        );
    }

    /// Where the server keeps its files.
    pub fn folder(&self) -> &Path {
        self.server.folder.path()
    }
}

/// A transaction that holds something.
pub struct Held {
    psql: Child,
    said: Receiver<()>,
}

impl Held {
    /// Whether it has got what it is to hold, since it was last asked.
    pub fn is_granted(&self) -> bool {
        self.said.try_recv().is_ok()
    }

    /// Lets it go.
    pub fn let_go(mut self) {
        drop(self.psql.stdin.take());
        assert!(self.psql.wait().unwrap().success());
    }
}

impl Drop for Held {
    /// A test that fails leaves no lock behind.
    fn drop(&mut self) {
        drop(self.psql.kill());
        drop(self.psql.wait());
    }
}
