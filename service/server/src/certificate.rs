//! What the service shows of itself over TLS: a certificate and its key from two files, looked at again when they change,
//! so that whatever renews them need not tell us.

use std::{
    fmt, fs,
    path::{Path, PathBuf},
    sync::{Arc, PoisonError, RwLock},
    time::Duration,
};

use rustls::{
    ServerConfig,
    crypto::{CryptoProvider, ring::default_provider},
    pki_types::{CertificateDer, PrivateKeyDer, pem::PemObject},
    server::{ClientHello, ResolvesServerCert},
    sign::CertifiedKey,
};
use tokio_util::sync::CancellationToken;

use crate::settings::{Server, SettingsError};

/// How often the files are looked at.
const EVERY: Duration = Duration::from_secs(10);

/// The certificate in use, and where it comes from.
pub(crate) struct Certificate {
    cert: PathBuf,
    key: PathBuf,
    shown: RwLock<Shown>,
}

struct Shown {
    /// The files as they were read.
    text: (Vec<u8>, Vec<u8>),
    certified: Arc<CertifiedKey>,
}

/// Says nothing of the key.
impl fmt::Debug for Certificate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Certificate").field("cert", &self.cert).finish_non_exhaustive()
    }
}

impl Certificate {
    /// The certificate of the settings; none where TLS is not asked for.
    ///
    /// # Errors
    /// When a file cannot be read, or the key is not that of the certificate.
    pub(crate) fn of(server: &Server) -> Result<Option<Arc<Self>>, SettingsError> {
        if !server.tls() {
            return Ok(None);
        }
        let text = read(&server.tls_cert, &server.tls_key)?;
        let shown = Shown { certified: certified(&text)?, text };
        let (cert, key) = (server.tls_cert.clone(), server.tls_key.clone());
        Ok(Some(Arc::new(Self { cert, key, shown: RwLock::new(shown) })))
    }

    /// Looks at the files; whether there is another certificate in use now.
    ///
    /// # Errors
    /// Why the new files cannot be used; the certificate that was in use is still.
    pub(crate) fn look(&self) -> Result<bool, SettingsError> {
        let text = read(&self.cert, &self.key)?;
        if self.shown.read().unwrap_or_else(PoisonError::into_inner).text == text {
            return Ok(false);
        }
        let shown = Shown { certified: certified(&text)?, text };
        *self.shown.write().unwrap_or_else(PoisonError::into_inner) = shown;
        Ok(true)
    }

    /// TLS 1.2 and 1.3 with whatever certificate is in use when somebody connects.
    pub(crate) fn config(self: &Arc<Self>) -> ServerConfig {
        let builder = ServerConfig::builder_with_provider(provider()).with_safe_default_protocol_versions();
        let builder = builder.expect("the provider knows the versions it is built with");
        builder.with_no_client_auth().with_cert_resolver(self.clone())
    }
}

impl ResolvesServerCert for Certificate {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(self.shown.read().unwrap_or_else(PoisonError::into_inner).certified.clone())
    }
}

fn provider() -> Arc<CryptoProvider> {
    CryptoProvider::get_default().cloned().unwrap_or_else(|| Arc::new(default_provider()))
}

fn wrong(key: &str, what: impl Into<String>, mend: &str) -> SettingsError {
    SettingsError { key: key.into(), what: what.into(), mend: mend.into() }
}

fn read(cert: &Path, key: &Path) -> Result<(Vec<u8>, Vec<u8>), SettingsError> {
    let file = |name: &str, path: &Path| {
        fs::read(path).map_err(|e| wrong(name, format!("{}: {e}", path.display()), "let the service read the file"))
    };
    Ok((file("server.tls_cert", cert)?, file("server.tls_key", key)?))
}

fn certified((cert, key): &(Vec<u8>, Vec<u8>)) -> Result<Arc<CertifiedKey>, SettingsError> {
    let mend = "give the certificate with its chain, and its private key, each as PEM";
    let chain: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(cert).collect();
    let chain = chain.map_err(|e| wrong("server.tls_cert", e.to_string(), mend))?;
    if chain.is_empty() {
        return Err(wrong("server.tls_cert", "holds no certificate", mend));
    }
    let key = PrivateKeyDer::from_pem_slice(key).map_err(|e| wrong("server.tls_key", e.to_string(), mend))?;
    let certified = CertifiedKey::from_der(chain, key, &provider());
    certified.map(Arc::new).map_err(|e| wrong("server.tls_key", e.to_string(), mend))
}

/// Looks at the files until told to stop.
pub(crate) async fn watch(certificate: Arc<Certificate>, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(EVERY) => {}
        }
        match certificate.look() {
            Ok(true) => tracing::info!("there is a new certificate"),
            Ok(false) => {}
            // Half written, perhaps: the next look finds it whole.
            Err(error) => tracing::error!(%error, "the new certificate is not used, the old one is still"),
        }
    }
}
