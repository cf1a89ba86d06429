//! A TLS handshake that is completed whatever the certificate, and says whether it could have been trusted.
//!
//! Decides trust by the public roots and the name; does not insist on it: a receiver with a certificate of its own is a
//! fact to report, and nothing is sent that trust would protect. Resumption is off: each handshake is a full one.

use crate::judge::{Detail, NotAsked, Outcome, TlsAnswer};
use crate::probe::errno;
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, DigitallySignedStruct, Error, RootCertStore, SignatureScheme};
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;

/// Longest explanation kept: it may quote names out of a hostile certificate.
const LONGEST_WHY: usize = 200;
/// How long a polite close may take.
const CLOSING: Duration = Duration::from_millis(500);

/// A handshake done: close it with [`Shaken::close`] once its time is taken.
pub(super) struct Shaken {
    stream: tokio_rustls::client::TlsStream<TcpStream>,
    /// What was agreed and whether it could be trusted.
    pub(super) answer: TlsAnswer,
}

impl Shaken {
    /// Says goodbye (RFC 8446 section 6.1) and closes.
    pub(super) async fn close(mut self) {
        // The other side may be gone: the handshake counted, this does not.
        let _ = tokio::time::timeout(CLOSING, self.stream.shutdown()).await;
    }
}

/// Shakes hands. The error is the outcome without a handshake, with what is known of the certificate.
pub(super) async fn shake(stream: TcpStream, name: ServerName<'static>) -> Result<Shaken, (Outcome, Detail)> {
    let found = Arc::new(Found::default());
    let config =
        config(found.clone()).map_err(|e| (Outcome::NotAsked(NotAsked::Local), Detail::Why(short(&e.to_string()))))?;
    match tokio_rustls::TlsConnector::from(Arc::new(config)).connect(name, stream).await {
        Ok(stream) => {
            let version = stream.get_ref().1.protocol_version().and_then(|v| v.as_str()).map(str::to_owned);
            let answer = TlsAnswer { version, ..found.answer() };
            Ok(Shaken { stream, answer })
        }
        Err(e) => Err(failed(&found, &e)),
    }
}

fn failed(found: &Found, e: &io::Error) -> (Outcome, Detail) {
    let tls = e.get_ref().and_then(|inner| inner.downcast_ref::<Error>());
    let outcome = match tls {
        Some(Error::AlertReceived(_)) => Outcome::Refused,
        Some(_) => Outcome::Malformed,
        None if e.kind() == io::ErrorKind::UnexpectedEof => Outcome::Reset,
        None => errno::from_network(e).0,
    };
    (outcome, told(found, &e.to_string()))
}

fn told(found: &Found, why: &str) -> Detail {
    let answer = found.answer();
    Detail::Tls(TlsAnswer { why: Some(short(why)), ..answer })
}

fn short(why: &str) -> String {
    why.chars().take(LONGEST_WHY).collect()
}

fn config(found: Arc<Found>) -> Result<ClientConfig, Error> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let roots = RootCertStore { roots: webpki_roots::TLS_SERVER_ROOTS.to_vec() };
    let inner = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider.clone())
        .build()
        .map_err(|e| Error::General(e.to_string()))?;
    let mut config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(Recorder { inner, found }))
        .with_no_client_auth();
    config.resumption = rustls::client::Resumption::disabled();
    Ok(config)
}

/// What was found out about the certificate: `None` until it was seen, then whether it is trusted or why not.
#[derive(Debug, Default)]
struct Found(Mutex<Option<Result<(), String>>>);

impl Found {
    fn note(&self, result: Result<(), &Error>) {
        let mut found = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        // The first thing against it is kept.
        if !matches!(*found, Some(Err(_))) {
            *found = Some(result.map_err(|e| short(&e.to_string())));
        }
    }

    fn answer(&self) -> TlsAnswer {
        let found = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        TlsAnswer {
            version: None,
            trusted: found.as_ref().map(Result::is_ok),
            why: found.as_ref().and_then(|f| f.as_ref().err().cloned()),
        }
    }
}

/// Asks the real verifier, notes what it says, and lets the handshake go on.
#[derive(Debug)]
struct Recorder {
    inner: Arc<WebPkiServerVerifier>,
    found: Arc<Found>,
}

impl ServerCertVerifier for Recorder {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        server_name: &ServerName<'_>,
        ocsp_response: &[u8],
        now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let result = self.inner.verify_server_cert(end_entity, intermediates, server_name, ocsp_response, now);
        self.found.note(result.as_ref().map(|_| ()));
        Ok(ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.signature(&self.inner.verify_tls12_signature(message, cert, dss));
        Ok(HandshakeSignatureValid::assertion())
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.signature(&self.inner.verify_tls13_signature(message, cert, dss));
        Ok(HandshakeSignatureValid::assertion())
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.inner.supported_verify_schemes()
    }
}

impl Recorder {
    /// A bad signature is one more reason not to trust.
    fn signature(&self, result: &Result<HandshakeSignatureValid, Error>) {
        if let Err(e) = result {
            self.found.note(Err(e));
        }
    }
}
