//! One connection to a PostgreSQL server, spoken to from threads that may wait: the store is asked in turn, never awaited.
//!
//! The driver of every connection runs on one thread of its own, so that a store may be asked from anywhere, also from
//! within the runtime of the service.

use std::{
    borrow::Cow,
    collections::HashMap,
    fmt::Display,
    future::poll_fn,
    net::IpAddr,
    sync::{
        LazyLock,
        mpsc::{Receiver, SyncSender, sync_channel},
    },
    time::Duration,
};

use futures_executor::block_on;
use tokio::{
    io::{AsyncRead, AsyncWrite},
    runtime::Runtime,
};
use tokio_postgres::{
    AsyncMessage, Client, Config, Connection, NoTls, Row, Statement,
    config::{Host, SslMode},
    error::SqlState,
    types::ToSql,
};
use tokio_postgres_rustls::MakeRustlsConnect;

use crate::Error;

/// Longest a server may take to answer a knock: the service is to end within five seconds, wherever it is.
const KNOCK: Duration = Duration::from_secs(2);
/// Longest it may take to acknowledge what it is sent.
const PATIENCE: Duration = Duration::from_secs(5);

/// What every connection is set to: waits for another's lock end, who holds the pen and does not write loses it, and a
/// commit is on disk when it returns whatever the server's default.
const SESSION: &str = "SET lock_timeout = '5s'; SET idle_in_transaction_session_timeout = '5s'; \
     SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'";

/// Drives every connection of this process.
static DRIVER: LazyLock<Runtime> = LazyLock::new(|| {
    let mut runtime = tokio::runtime::Builder::new_multi_thread();
    runtime.worker_threads(1).thread_name("postgres").enable_all();
    runtime.build().expect("the system has room for a thread")
});

/// What a statement is given.
pub(super) type Given<'a> = &'a [&'a (dyn ToSql + Sync)];

/// Where a shop is kept: which server and database, and whose of the shops there.
#[derive(Clone)]
pub(super) struct Place {
    config: Config,
    pub(super) shop: String,
    /// Server and database as they are told to people: without the password.
    pub(super) named: String,
}

impl Place {
    /// Reads `postgres://user@host/database`.
    ///
    /// A line beyond this machine is sealed unless `sslmode=disable` is written; on this machine it is not unless
    /// `sslmode=require` is.
    pub(super) fn read(url: &str, password: Option<&str>, shop: &str) -> Result<Self, Error> {
        let wrong = |why: String| Error::NoPlace { why };
        let mut config: Config = url.parse().map_err(|e: tokio_postgres::Error| wrong(e.to_string()))?;
        let (Some(host), Some(database)) = (config.get_hosts().first(), config.get_dbname()) else {
            return Err(wrong("it names no host or no database".into()));
        };
        let port = config.get_ports().first().map_or(String::new(), |port| format!(":{port}"));
        let (here, host) = match host {
            Host::Unix(folder) => (true, folder.display().to_string()),
            Host::Tcp(name) => {
                (name == "localhost" || name.parse().is_ok_and(|ip: IpAddr| ip.is_loopback()), name.clone())
            }
        };
        let named = format!("postgres://{host}{port}/{database}");
        if let Some(password) = password {
            config.password(password);
        }
        if config.get_ssl_mode() == SslMode::Prefer {
            config.ssl_mode(if here { SslMode::Disable } else { SslMode::Require });
        }
        config.connect_timeout(KNOCK).tcp_user_timeout(PATIENCE).keepalives_idle(PATIENCE);
        config.application_name("benchclock");
        Ok(Self { config, shop: shop.into(), named })
    }

    /// What a failure means to whoever asked.
    pub(super) fn error(&self, error: tokio_postgres::Error) -> Error {
        let path = self.named.clone();
        let Some(state) = error.code() else {
            return Error::Away { path, why: sentence(&error) };
        };
        match state {
            &SqlState::DISK_FULL => Error::Full { path },
            &SqlState::READ_ONLY_SQL_TRANSACTION => Error::ReadOnly { path },
            &SqlState::LOCK_NOT_AVAILABLE => Error::Locked { path },
            state if ["08", "28", "3D", "53", "57"].iter().any(|class| state.code().starts_with(class)) => {
                Error::Away { path, why: sentence(&error) }
            }
            _ => Error::Other(sentence(&error).into()),
        }
    }
}

/// An error with what the server said of it.
fn sentence(error: &tokio_postgres::Error) -> String {
    let cause = std::error::Error::source(error).map(|cause| cause.to_string());
    cause.map_or_else(|| error.to_string(), |cause| format!("{error}: {cause}"))
}

/// A connection.
pub(super) struct Line {
    pub(super) place: Place,
    client: Client,
    prepared: HashMap<String, Statement>,
    rung: Receiver<()>,
}

impl Line {
    /// Connects and looks over no wall: the session is bound to its shop.
    pub(super) fn connect(place: &Place) -> Result<Self, Error> {
        let (ring, rung) = sync_channel(1);
        let (place, shop) = (place.clone(), place.shop.clone());
        let client = match place.config.get_ssl_mode() {
            SslMode::Disable => {
                let config = place.config.clone();
                block_on(DRIVER.spawn(async move {
                    let (client, connection) = config.connect(NoTls).await?;
                    DRIVER.spawn(drive(connection, ring, shop));
                    Ok(client)
                }))
            }
            _ => {
                // A second installation is refused, which is what we want.
                drop(rustls::crypto::ring::default_provider().install_default());
                let (tls, _) = MakeRustlsConnect::with_native_certs().map_err(|why| Error::Away {
                    path: place.named.clone(),
                    why: format!("this machine knows no authority that could vouch for the server ({why:?})"),
                })?;
                let config = place.config.clone();
                block_on(DRIVER.spawn(async move {
                    let (client, connection) = config.connect(tls).await?;
                    DRIVER.spawn(drive(connection, ring, shop));
                    Ok(client)
                }))
            }
        };
        let client = client.map_err(|e| Error::Other(e.into()))?.map_err(|e| place.error(e))?;
        let line = Self { place, client, prepared: HashMap::new(), rung };
        line.batch(SESSION)?;
        let shop: Given<'_> = &[&line.place.shop];
        let bind = line.client.query("SELECT set_config('benchclock.shop', $1, false)", shop);
        block_on(bind).map_err(|e| line.place.error(e))?;
        Ok(line)
    }

    pub(super) fn is_closed(&self) -> bool {
        self.client.is_closed()
    }

    /// Statements without parameters, one after another.
    pub(super) fn batch(&self, sql: &str) -> Result<(), Error> {
        block_on(self.client.batch_execute(sql)).map_err(|e| self.place.error(e))
    }

    fn prepare(&mut self, sql: &str) -> Result<Statement, Error> {
        if let Some(known) = self.prepared.get(sql) {
            return Ok(known.clone());
        }
        let statement = block_on(self.client.prepare(sql)).map_err(|e| self.place.error(e))?;
        self.prepared.insert(sql.into(), statement.clone());
        Ok(statement)
    }

    /// Rows, all at once.
    pub(super) fn query(&mut self, sql: &str, given: Given<'_>) -> Result<Vec<Row>, Error> {
        let statement = self.prepare(sql)?;
        block_on(self.client.query(&statement, given)).map_err(|e| self.place.error(e))
    }

    /// How many rows it touched.
    pub(super) fn execute(&mut self, sql: &str, given: Given<'_>) -> Result<u64, Error> {
        let statement = self.prepare(sql)?;
        block_on(self.client.execute(&statement, given)).map_err(|e| self.place.error(e))
    }

    /// Rows one by one, as they come, until `each` wants no more; whether it wanted all.
    pub(super) fn stream(
        &mut self,
        sql: &str,
        given: Given<'_>,
        each: &mut dyn FnMut(&Row) -> Result<bool, Error>,
    ) -> Result<bool, Error> {
        use futures_util::TryStreamExt;
        let statement = self.prepare(sql)?;
        let rows = block_on(self.client.query_raw(&statement, given.iter().copied()));
        let mut rows = std::pin::pin!(rows.map_err(|e| self.place.error(e))?);
        while let Some(row) = block_on(rows.try_next()).map_err(|e| self.place.error(e))? {
            if !each(&row)? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Waits until the server rings for this shop; whether it did.
    pub(super) fn wait(&self, at_most: Duration) -> bool {
        self.rung.recv_timeout(at_most).is_ok()
    }
}

/// Moves what goes over a connection until it closes, and hands on what is rung for the shop.
async fn drive<S, T>(mut connection: Connection<S, T>, ring: SyncSender<()>, shop: String)
where
    S: AsyncRead + AsyncWrite + Unpin,
    T: AsyncRead + AsyncWrite + Unpin,
{
    while let Some(message) = poll_fn(|cx| connection.poll_message(cx)).await {
        match message {
            Ok(AsyncMessage::Notification(news)) if news.payload() == shop => drop(ring.try_send(())),
            Ok(_) => {}
            // Whoever asks next is told.
            Err(_) => return,
        }
    }
}

/// Words as PostgreSQL can keep them: it has no place for the character NUL.
pub(super) fn text(words: &str) -> Cow<'_, str> {
    if words.contains('\0') { Cow::Owned(words.replace('\0', "\u{fffd}")) } else { Cow::Borrowed(words) }
}

/// A stored value that was not written by us.
pub(super) fn unreadable(what: &str, why: impl Display) -> Error {
    Error::Other(format!("{what} cannot be read: {why}").into())
}
