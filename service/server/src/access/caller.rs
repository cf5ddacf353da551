//! Where a request comes from. What a proxy says of it is believed only of the proxies in the settings: anybody else can
//! write those headers too.

use std::net::{IpAddr, SocketAddr};

use actix_web::{HttpRequest, http::header};
use ipnet::IpNet;

use crate::settings::Settings;

/// Headers by which proxies say that they stand between.
const FORWARDED: [&str; 5] = ["forwarded", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip"];

/// Where a request comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Caller {
    /// Address of the client, as far as it can be known.
    pub(crate) client: IpAddr,
    /// Whether it came over TLS.
    pub(crate) https: bool,
    /// Host and port it was asked for.
    pub(crate) host: String,
    /// Whether it seems to be from this machine itself, and nothing stands between.
    pub(crate) local: bool,
    /// Whether it is, and so needs no login.
    pub(crate) here: bool,
}

impl Caller {
    pub(crate) fn of(request: &HttpRequest, settings: &Settings) -> Self {
        let trusted = &settings.server.trusted_proxies;
        let peer = peer(request);
        let said = |name: &str| request.headers().get_all(name).filter_map(|v| v.to_str().ok()).collect::<Vec<_>>();
        let by_proxy = within(trusted, peer);
        let host = said(header::HOST.as_str()).first().map(ToString::to_string);
        let host = host.or_else(|| request.uri().authority().map(ToString::to_string)).unwrap_or_default();
        let host = forwarded(request, trusted, "x-forwarded-host").unwrap_or(host);
        let between = FORWARDED.iter().any(|name| request.headers().contains_key(*name));
        // A proxy on this machine makes every client look as if it were here.
        let proxied = trusted.iter().any(|net| net.addr().is_loopback());
        let local = peer.is_loopback() && !between && names_loopback(&host);
        Self {
            client: if by_proxy { client(&said("x-forwarded-for"), trusted, peer) } else { peer },
            https: settings.server.tls()
                || forwarded(request, trusted, "x-forwarded-proto").is_some_and(|scheme| scheme == "https"),
            local,
            here: local && !proxied && !settings.access.login_here,
            host,
        }
    }
}

fn peer(request: &HttpRequest) -> IpAddr {
    request.peer_addr().map_or(IpAddr::from([0, 0, 0, 0]), |peer| peer.ip().to_canonical())
}

/// What the proxy nearest to us says under a name; none where it is none of ours.
pub(super) fn forwarded(request: &HttpRequest, trusted: &[IpNet], name: &str) -> Option<String> {
    let last = request.headers().get_all(name).filter_map(|v| v.to_str().ok()).last()?;
    Some(last.rsplit(',').next()?.trim().to_string()).filter(|_| within(trusted, peer(request)))
}

fn within(nets: &[IpNet], address: IpAddr) -> bool {
    nets.iter().any(|net| net.contains(&address))
}

/// The nearest address of the chain that is no proxy of ours: what lies beyond it anybody could have written.
fn client(chain: &[&str], trusted: &[IpNet], peer: IpAddr) -> IpAddr {
    let chain = chain.join(",");
    let mut nearest = peer;
    for said in chain.rsplit(',').map(str::trim) {
        let address = said.parse().ok().or_else(|| said.parse().ok().map(|with_port: SocketAddr| with_port.ip()));
        let Some(address) = address.map(|address: IpAddr| address.to_canonical()) else { return nearest };
        nearest = address;
        if !within(trusted, address) {
            return address;
        }
    }
    nearest
}

/// Whether a host is this machine by its own name. A page elsewhere can have its name resolve to 127.0.0.1 and then ask
/// this service as if it were its own; the name it is asked by gives that away.
fn names_loopback(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost") || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nets(all: &[&str]) -> Vec<IpNet> {
        all.iter().map(|net| net.parse().expect(net)).collect()
    }

    #[test]
    fn the_client_is_the_nearest_address_that_is_no_proxy_of_ours() {
        let (trusted, peer) = (nets(&["10.0.0.0/8", "127.0.0.0/8"]), IpAddr::from([127, 0, 0, 1]));
        for (chain, expected) in [
            (&["203.0.113.7"][..], "203.0.113.7"),
            (&["203.0.113.7, 10.1.1.1"], "203.0.113.7"),
            // Whatever stands before it was written by the client itself.
            (&["192.0.2.1, 203.0.113.7, 10.1.1.1"], "203.0.113.7"),
            (&["192.0.2.1", "203.0.113.7"], "203.0.113.7"),
            (&["203.0.113.7:4711"], "203.0.113.7"),
            (&["::ffff:203.0.113.7"], "203.0.113.7"),
            (&["not an address"], "127.0.0.1"),
            (&["not an address, 10.1.1.1"], "10.1.1.1"),
            (&[], "127.0.0.1"),
        ] {
            assert_eq!(client(chain, &trusted, peer).to_string(), expected, "{chain:?}");
        }
    }

    #[test]
    fn only_the_names_of_this_machine_are_its_own() {
        for host in ["127.0.0.1", "127.0.0.1:8080", "127.9.9.9:1", "localhost", "LOCALHOST:80", "[::1]", "[::1]:8080"] {
            assert!(names_loopback(host), "{host}");
        }
        for host in ["", "bench.local", "127.0.0.1.example.org", "localhost.example.org:80", "10.0.0.1", "[::2]", "::1"]
        {
            assert!(!names_loopback(host), "{host}");
        }
    }
}
