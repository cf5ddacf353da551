//! Where the service may listen: on this machine always, beyond it only when nobody can come in unasked and no token
//! travels where it can be read.

use std::net::SocketAddr;

use store::Token;

use super::Role;
use crate::settings::{Settings, SettingsError};

/// Whether it may listen at an address with these tokens.
///
/// # Errors
/// What is missing, and how to have it.
pub(crate) fn may_listen(settings: &Settings, address: SocketAddr, tokens: &[Token]) -> Result<(), SettingsError> {
    if address.ip().is_loopback() {
        return Ok(());
    }
    let wrong = |what: &str, mend: &str| {
        let what = format!("{address} is reached from other machines, and {what}");
        Err(SettingsError { key: "server.listen".into(), what, mend: mend.into() })
    };
    let owner = |token: &Token| !token.session && token.revoked.is_none() && token.role == Role::Owner.word();
    if !tokens.iter().any(owner) {
        return wrong(
            "no owner's token is there that could log in",
            "make one with `benchclock token add NAME --role owner --config FILE`, or write 127.0.0.1:8080",
        );
    }
    let server = &settings.server;
    if !server.tls() && server.trusted_proxies.is_empty() && !server.plain_http {
        return wrong(
            "tokens would travel there for anybody to read",
            "set server.tls_cert and server.tls_key, or server.trusted_proxies if a proxy has TLS; \
             server.plain_http = true for a network you trust whole",
        );
    }
    if !server.tls() && server.plain_http {
        tracing::warn!(%address, "without TLS: whoever is on the way reads tokens and all that is said");
    }
    Ok(())
}
