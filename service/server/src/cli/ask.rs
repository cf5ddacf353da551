//! Speaking to a running service: where it is, one key for each thing said, one more try when the connection is lost.

use std::time::Duration;

use serde_json::Value;
use url::Host;

use super::Failure;

/// Longest a connection may take.
const CONNECT: Duration = Duration::from_secs(5);
/// Longest it may be silent.
const SILENT: Duration = Duration::from_secs(60);
/// How long to wait before the one more try.
const PAUSE: Duration = Duration::from_millis(500);

/// Where the service is, and how to answer.
#[derive(Debug, Clone, clap::Args)]
#[group(skip)]
pub(super) struct To {
    /// Where the service is.
    #[arg(long, env = "BENCHCLOCK_URL", default_value = "http://127.0.0.1:8080")]
    url: reqwest::Url,
    /// Token to show, where one is asked for.
    #[arg(long, env = "BENCHCLOCK_TOKEN", hide_env_values = true)]
    token: Option<String>,
    /// Print the service's answer as JSON.
    #[arg(long)]
    json: bool,
}

/// A running service.
pub(super) struct Service {
    to: To,
    http: reqwest::Client,
}

impl Service {
    pub(super) fn new(to: To) -> Result<Self, Failure> {
        let http = client(&to);
        Self::of(to, http)
    }

    /// For asking after its health. On this machine whatever certificate it shows will do, since that is for the name by which
    /// others reach it; so nothing secret is sent.
    pub(super) fn for_health(mut to: To) -> Result<Self, Failure> {
        to.token = None;
        let here = match to.url.host() {
            Some(Host::Domain(name)) => name == "localhost",
            Some(Host::Ipv4(address)) => address.is_loopback(),
            Some(Host::Ipv6(address)) => address.is_loopback(),
            None => false,
        };
        let http = client(&to).tls_danger_accept_invalid_certs(here);
        Self::of(to, http)
    }

    fn of(to: To, http: reqwest::ClientBuilder) -> Result<Self, Failure> {
        crate::run::Service::provide_tls();
        let mend = "https needs the certificates of public authorities (Debian: ca-certificates)";
        let http = http.build().map_err(|e| Failure::Failed(format!("{}; {mend}", deepest(&e))))?;
        Ok(Self { to, http })
    }

    /// Whether the answer is wanted as it came.
    pub(super) fn json(&self) -> bool {
        self.to.json
    }

    /// GET of a JSON document; `query` is added to the address.
    pub(super) async fn get(&self, path: &str, query: &[(&str, &str)]) -> Result<Value, Failure> {
        whole(self.send(self.http.get(self.address(path, query))).await?).await
    }

    /// POST of a JSON body, under a key of its own.
    pub(super) async fn post(&self, path: &str, body: &impl serde::Serialize) -> Result<Value, Failure> {
        let body = serde_json::to_vec(body).map_err(|e| Failure::Failed(e.to_string()))?;
        let key = uuid::Uuid::now_v7().to_string();
        let request = self.http.post(self.address(path, &[])).header("idempotency-key", key);
        whole(self.send(request.header("content-type", "application/json").body(body)).await?).await
    }

    /// POST of a file.
    pub(super) async fn file(&self, path: &str, query: &[(&str, &str)], csv: Vec<u8>) -> Result<Value, Failure> {
        let request = self.http.post(self.address(path, query)).header("content-type", "text/csv").body(csv);
        whole(self.send(request).await?).await
    }

    /// GET of something that comes in parts.
    pub(super) async fn parts(&self, path: &str) -> Result<reqwest::Response, Failure> {
        let answer = self.send(self.http.get(self.address(path, &[]))).await?;
        if answer.status().is_success() {
            return Ok(answer);
        }
        Err(match whole(answer).await {
            Err(failure) => failure,
            Ok(_) => Failure::Failed("the service answered with something else than what was asked for".into()),
        })
    }

    fn address(&self, path: &str, query: &[(&str, &str)]) -> reqwest::Url {
        let mut address = self.to.url.clone();
        // What stands before a proxy's path is kept.
        let base = address.path().trim_end_matches('/').to_string();
        address.set_path(&format!("{base}{path}"));
        if !query.is_empty() {
            address.query_pairs_mut().extend_pairs(query);
        }
        address
    }

    /// Sends; once more under the same key when there was no answer, since nobody knows then whether it was heard.
    async fn send(&self, request: reqwest::RequestBuilder) -> Result<reqwest::Response, Failure> {
        let request = match &self.to.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        };
        let again = request.try_clone();
        let away = |e: reqwest::Error| {
            let mend = "is it running? --url or BENCHCLOCK_URL says where it is";
            Failure::Away(format!("{} was not reached: {}; {mend}", self.to.url, deepest(&e)))
        };
        match (request.send().await, again) {
            (Ok(answer), _) => Ok(answer),
            (Err(_), Some(again)) => {
                tokio::time::sleep(PAUSE).await;
                again.send().await.map_err(away)
            }
            (Err(e), None) => Err(away(e)),
        }
    }
}

fn client(to: &To) -> reqwest::ClientBuilder {
    let client = reqwest::Client::builder()
        .connect_timeout(CONNECT)
        .read_timeout(SILENT)
        .user_agent(concat!("benchclock/", env!("CARGO_PKG_VERSION")));
    match to.url.scheme() {
        "https" => client,
        // Without TLS no certificate is needed, and a machine may have none; what is sent goes nowhere else either.
        _ => client.tls_certs_only([]).redirect(reqwest::redirect::Policy::none()),
    }
}

fn deepest(error: &dyn std::error::Error) -> String {
    error.source().map_or_else(|| error.to_string(), deepest)
}

/// The document of an answer, or what the service said against it.
async fn whole(answer: reqwest::Response) -> Result<Value, Failure> {
    let status = answer.status();
    let text = answer.text().await.map_err(|e| Failure::Away(format!("the answer broke off: {}", deepest(&e))))?;
    if status.is_success() {
        return serde_json::from_str(&text).map_err(|e| Failure::Failed(format!("the answer is no JSON: {e}")));
    }
    let said = problem(&text).unwrap_or_else(|| format!("the service answered {status}"));
    Err(if status.is_server_error() { Failure::Away(said) } else { Failure::Refused(said) })
}

/// A problem document in words.
fn problem(text: &str) -> Option<String> {
    let document: Value = serde_json::from_str(text).ok()?;
    if let Some(why) = document["why"].as_array() {
        let why: Vec<&str> = why.iter().filter_map(Value::as_str).collect();
        return Some(format!("not ready: {}", why.join("; ")));
    }
    let (detail, mend) = (document["detail"].as_str()?, document["mend"].as_str().unwrap_or_default());
    let mut said = match document["field"].as_str() {
        Some(field) if !detail.contains(field) => format!("{field}: {detail}"),
        _ => detail.into(),
    };
    if !mend.is_empty() {
        said = format!("{said}\n    {mend}");
    }
    Some(said)
}
