//! By which name a request asks for us, where that decides whose shop it enters: exactly one name, or none.

use actix_web::{HttpRequest, http::header::HOST};
use ipnet::IpNet;

use super::caller;

/// The host a request names, in small letters, without port and final dot. None where it names none, names two that
/// differ (RFC 9112, 3.2: two headers, or another one in the request's target), or what it names is no host.
pub(crate) fn named(request: &HttpRequest, trusted: &[IpNet]) -> Option<String> {
    let mut said: Vec<&str> = Vec::new();
    for header in request.headers().get_all(HOST) {
        said.push(header.to_str().ok()?);
    }
    if said.len() > 1 {
        return None;
    }
    said.extend(request.uri().authority().map(|target| target.as_str()));
    let mut names = said.into_iter().map(tidy);
    let own = names.next()??;
    if names.any(|other| other.as_ref() != Some(&own)) {
        return None;
    }
    // A proxy of ours may ask for us by another name than it was asked by.
    caller::forwarded(request, trusted, "x-forwarded-host").map_or(Some(own), |host| tidy(&host))
}

/// A host in its one spelling; none if it is no host.
pub(crate) fn tidy(host: &str) -> Option<String> {
    let end = if host.starts_with('[') { host.find(']')? + 1 } else { host.find(':').unwrap_or(host.len()) };
    let (name, port) = host.split_at(end);
    let port = port.is_empty() || port.strip_prefix(':').is_some_and(|port| port.bytes().all(|b| b.is_ascii_digit()));
    let name = name.strip_suffix('.').unwrap_or(name).to_ascii_lowercase();
    let plain = name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._:[]".contains(&b));
    (port && plain && !name.is_empty()).then_some(name)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    #[test]
    fn a_host_has_one_spelling() {
        for host in [
            "north.example",
            "NORTH.Example",
            "north.example.",
            "north.example:8080",
            "North.example.:80",
            "north.example:",
        ] {
            assert_eq!(tidy(host).as_deref(), Some("north.example"), "{host}");
        }
        assert_eq!(tidy("[::1]:8080").as_deref(), Some("[::1]"));
        for host in ["", ".", ":80", "[::1", "[::1]x", "a b", "a/b", "a@north.example", "north.example:8o", "ä"] {
            assert_eq!(tidy(host), None, "{host}");
        }
    }

    #[test]
    fn a_request_names_one_host_or_none() {
        let ask = |target: &str, hosts: &[&str]| {
            let request = TestRequest::with_uri(target).peer_addr("127.0.0.1:1".parse().expect("an address"));
            let request = hosts.iter().fold(request, |request, host| request.append_header((HOST, *host)));
            request.append_header(("x-forwarded-host", "south.example, west.example")).to_http_request()
        };
        let none: &[IpNet] = &[];
        for (target, hosts, expected) in [
            ("/", &["north.example"][..], Some("north.example")),
            ("/", &[], None),
            ("/", &["north.example", "north.example"], None),
            ("/", &["north.example", "south.example"], None),
            ("http://north.example/", &["north.example:80"], Some("north.example")),
            ("http://south.example/", &["north.example"], None),
            ("http://north.example/", &[], Some("north.example")),
            ("http://me@north.example/", &["north.example"], None),
        ] {
            assert_eq!(named(&ask(target, hosts), none).as_deref(), expected, "{target} {hosts:?}");
        }
        // Of a proxy of ours the name nearest to it counts; anybody could have written the others.
        let ours = ["127.0.0.1/32".parse().expect("a network")];
        assert_eq!(named(&ask("/", &["inside"]), &ours).as_deref(), Some("west.example"));
    }
}
