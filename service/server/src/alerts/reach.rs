//! Where messages may go. Who may name an address for the service to send to could otherwise have it knock at doors that
//! only it can reach: this machine, the router, the address at which a cloud gives away its keys. So every address is
//! looked at (RFC 6890 and the registries it began), those a name stands for one by one, and it is these very addresses
//! that are connected to: a name that stands for another a moment later gains nothing. Redirects are not followed and no
//! body of an answer is read.

use std::{
    future::Future,
    net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr},
    pin::Pin,
    sync::Arc,
    time::Duration,
};

use ipnet::IpNet;
use reqwest::{
    Client, RequestBuilder,
    dns::{Addrs, Name, Resolve, Resolving},
};
use url::{Host, Url};

/// Longest a receiver may take.
pub(crate) const PATIENCE: Duration = Duration::from_secs(10);
/// Below this other protocols are at home than those of the web.
const FIRST_FREE_PORT: u16 = 1024;

/// Networks nobody outside can be reached at: the IANA special-purpose registries, with what tunnels into them.
const INSIDE: [&str; 28] = [
    "0.0.0.0/8",
    "10.0.0.0/8",
    "100.64.0.0/10",
    "127.0.0.0/8",
    "169.254.0.0/16",
    "172.16.0.0/12",
    "192.0.0.0/24",
    "192.0.2.0/24",
    "192.88.99.0/24",
    "192.168.0.0/16",
    "198.18.0.0/15",
    "198.51.100.0/24",
    "203.0.113.0/24",
    "224.0.0.0/4",
    "240.0.0.0/4",
    // Unspecified, loopback, and IPv4 in its old dress.
    "::/96",
    // NAT64 (RFC 6052, RFC 8215), 6to4 (RFC 3056), Teredo and its neighbours.
    "64:ff9b::/96",
    "64:ff9b:1::/48",
    "2002::/16",
    "2001::/23",
    "100::/63",
    "2001:db8::/32",
    "3fff::/20",
    "5f00::/16",
    "fc00::/7",
    "fe80::/10",
    "fec0::/10",
    "ff00::/8",
];

/// Where clouds hand out keys to whoever asks: these are refused whatever is allowed.
const METADATA: [IpAddr; 5] = [
    IpAddr::V4(Ipv4Addr::new(169, 254, 169, 254)),
    IpAddr::V4(Ipv4Addr::new(169, 254, 170, 2)),
    IpAddr::V4(Ipv4Addr::new(100, 100, 100, 200)),
    IpAddr::V4(Ipv4Addr::new(168, 63, 129, 16)),
    IpAddr::V6(Ipv6Addr::new(0xfd00, 0xec2, 0, 0, 0, 0, 0, 0x254)),
];

/// How an address lies to the service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lies {
    /// Out in the world.
    Outside,
    /// Inside, and allowed by the settings.
    Allowed,
    /// Inside.
    Inside,
}

fn lies(address: IpAddr, allow: &[IpNet]) -> Lies {
    // ::ffff:10.0.0.1 is 10.0.0.1.
    let address = address.to_canonical();
    let inside = INSIDE.iter().filter_map(|net| net.parse::<IpNet>().ok()).any(|net| net.contains(&address));
    match METADATA.contains(&address) {
        true => Lies::Inside,
        false if allow.iter().any(|net| net.contains(&address)) => Lies::Allowed,
        false if inside => Lies::Inside,
        false => Lies::Outside,
    }
}

/// An address that messages may be sent to, as far as it can be told without asking for names.
///
/// # Errors
/// Why it is none.
pub(crate) fn target(url: &str, allow: &[IpNet]) -> Result<Url, String> {
    // A reader of the web's own kind: it knows 0x7f.1 and 2130706433 for what they are.
    let url = Url::parse(url).map_err(|e| format!("it is no address: {e}"))?;
    if !url.username().is_empty() || url.password().is_some() {
        return Err("it holds a password, which would be shown wherever it is".into());
    }
    let literal = match url.host() {
        Some(Host::Ipv4(v4)) => Some(IpAddr::V4(v4)),
        Some(Host::Ipv6(v6)) => Some(IpAddr::V6(v6)),
        Some(Host::Domain(_)) => None,
        None => return Err("it names no host".into()),
    };
    let lies = literal.map(|address| lies(address, allow));
    if lies == Some(Lies::Inside) {
        return Err(format!("{} lies inside, where messages are not sent", url.host_str().unwrap_or_default()));
    }
    match url.scheme() {
        "https" => {}
        "http" if lies == Some(Lies::Outside) => return Err("it is not https, and lies outside".into()),
        "http" => {}
        scheme => return Err(format!("{scheme} is not https")),
    }
    let port = url.port_or_known_default().unwrap_or_default();
    if lies != Some(Lies::Allowed) && port < FIRST_FREE_PORT && ![80, 443].contains(&port) {
        return Err(format!("port {port} belongs to another protocol"));
    }
    Ok(url)
}

/// What asks for names: the system, or a test.
type Ask = Arc<dyn Fn(String) -> Pin<Box<dyn Future<Output = std::io::Result<Vec<SocketAddr>>> + Send>> + Send + Sync>;

fn system() -> Ask {
    Arc::new(|name| Box::pin(async move { Ok(tokio::net::lookup_host((name, 0)).await?.collect()) }))
}

/// Gives the addresses of a name if a message may go to every one of them, and to nothing else.
#[derive(Clone)]
struct Names {
    ask: Ask,
    allow: Vec<IpNet>,
    /// Whether only what the settings allow will do: without TLS nothing goes outside.
    only_allowed: bool,
}

impl Resolve for Names {
    fn resolve(&self, name: Name) -> Resolving {
        let (names, name) = (self.clone(), name.as_str().to_string());
        Box::pin(async move {
            let found = (names.ask)(name.clone()).await?;
            for address in &found {
                match lies(address.ip(), &names.allow) {
                    Lies::Inside => return Err(format!("{name} lies inside, where messages are not sent").into()),
                    Lies::Outside if names.only_allowed => {
                        return Err(format!("{name} lies outside, where messages go by https only").into());
                    }
                    _ => {}
                }
            }
            Ok(Box::new(found.into_iter()) as Addrs)
        })
    }
}

/// The way messages go out by HTTP. Each has a connection of its own: alerts are few, and one that is left open may be closed
/// by the receiver in the moment it is used again, which fails a delivery that nothing stands against.
#[derive(Clone)]
pub(crate) struct Outward {
    allow: Vec<IpNet>,
    https: Client,
    http: Client,
}

impl Outward {
    /// A way out that may also reach these networks inside.
    ///
    /// # Errors
    /// When the system has no certificates.
    pub(crate) fn new(allow: &[IpNet]) -> Result<Self, reqwest::Error> {
        Self::asking(allow, system())
    }

    fn asking(allow: &[IpNet], ask: Ask) -> Result<Self, reqwest::Error> {
        let client = |only_allowed| {
            let names = Names { ask: ask.clone(), allow: allow.to_vec(), only_allowed };
            Client::builder()
                .timeout(PATIENCE)
                .redirect(reqwest::redirect::Policy::none())
                .pool_max_idle_per_host(0)
                // A proxy would ask for the name itself.
                .no_proxy()
                .dns_resolver(Arc::new(names))
                .user_agent(concat!("benchclock/", env!("CARGO_PKG_VERSION")))
                .build()
        };
        Ok(Self { allow: allow.to_vec(), https: client(false)?, http: client(true)? })
    }

    /// A POST to an address, if messages may go there.
    ///
    /// # Errors
    /// Why not.
    pub(crate) fn post(&self, url: &str) -> Result<RequestBuilder, String> {
        let url = target(url, &self.allow)?;
        let client = if url.scheme() == "https" { &self.https } else { &self.http };
        Ok(client.post(url))
    }
}

#[cfg(test)]
mod tests;
