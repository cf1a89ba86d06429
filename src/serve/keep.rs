//! What is kept beside the record for the page: a certificate of its own making and its key, and the secret that signs
//! sessions. Readable by the owner alone.
//!
//! A browser can't know a certificate made here; its fingerprint is said, so that it can be compared once.

use rcgen::{CertificateParams, DnType, KeyPair};
use ring::digest;
use ring::rand::{SecureRandom as _, SystemRandom};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::fmt::Write as _;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A certificate of its own lasts so many years (choice: it is trusted by comparing it once, not by its age).
const YEARS: i32 = 10;
/// More of a file is not read.
const LONGEST: u64 = 256 << 10;

/// What could not be kept or read.
#[derive(Debug, thiserror::Error)]
pub enum NotKept {
    /// A file can't be read or written.
    #[error("{path}: {why}", path = .0.display(), why = .1)]
    File(PathBuf, io::Error),
    /// What is in it makes no sense.
    #[error("{path}: {why}", path = .0.display(), why = .1)]
    Sense(PathBuf, String),
    /// No certificate or secret can be made.
    #[error("nothing can be made to serve with: {0}")]
    Made(String),
}

/// A certificate to serve with.
#[derive(Debug)]
pub struct Certificate {
    /// For TLS 1.2 and 1.3.
    pub config: Arc<ServerConfig>,
    /// SHA-256 of the first certificate, as browsers print it.
    pub fingerprint: String,
}

/// The certificate and key of these files (PEM).
pub fn given(certificate: &Path, key: &Path) -> Result<Certificate, NotKept> {
    let chain = text(certificate)?;
    served(certificate, &chain, &text(key)?)
}

/// The one kept in a file; made first where it is not there. `names` are addresses and names it is for.
pub fn of_its_own(path: &Path, names: &[String]) -> Result<Certificate, NotKept> {
    let pem = match text(path) {
        Ok(pem) => pem,
        Err(NotKept::File(_, e)) if e.kind() == io::ErrorKind::NotFound => {
            let pem = made(names)?;
            if let Err(e) = kept(path, &pem) {
                tracing::warn!("the page's certificate is not kept and will be another one next time: {e}");
            }
            pem
        }
        Err(e) => return Err(e),
    };
    served(path, &pem, &pem)
}

/// The secret kept in a file; drawn first where it is not there.
pub fn secret(path: &Path) -> Result<[u8; 32], NotKept> {
    let mut secret = [0; 32];
    match std::fs::File::open(path).and_then(|mut f| f.read_exact(&mut secret)) {
        Ok(()) => return Ok(secret),
        Err(e) if e.kind() == io::ErrorKind::NotFound => {}
        Err(e) => return Err(NotKept::File(path.to_owned(), e)),
    }
    secret = random()?;
    if let Err(e) = kept(path, &secret) {
        tracing::warn!("the page's secret is not kept, so its sessions end when the program does: {e}");
    }
    Ok(secret)
}

/// A secret that is kept nowhere.
pub fn random() -> Result<[u8; 32], NotKept> {
    let mut secret = [0; 32];
    SystemRandom::new().fill(&mut secret).map_err(|_| NotKept::Made("no random bytes".into()))?;
    Ok(secret)
}

fn text(path: &Path) -> Result<Vec<u8>, NotKept> {
    let mut out = Vec::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(LONGEST).read_to_end(&mut out))
        .map_err(|e| NotKept::File(path.to_owned(), e))?;
    Ok(out)
}

/// Whole or not at all, for the owner alone.
fn kept(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // A temporary file is made for its owner alone.
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist_noclobber(path).map_err(|e| e.error)?;
    Ok(())
}

fn made(names: &[String]) -> Result<Vec<u8>, NotKept> {
    let failed = |e: rcgen::Error| NotKept::Made(e.to_string());
    let key = KeyPair::generate().map_err(failed)?;
    let mut params = CertificateParams::new(names).map_err(failed)?;
    params.distinguished_name.push(DnType::CommonName, "pathproof");
    let year = i32::from(jiff::ZonedDateTime::now().year());
    params.not_before = rcgen::date_time_ymd(year - 1, 1, 1);
    params.not_after = rcgen::date_time_ymd(year + YEARS, 1, 1);
    let certificate = params.self_signed(&key).map_err(failed)?;
    Ok(format!("{}{}", certificate.pem(), key.serialize_pem()).into_bytes())
}

fn served(path: &Path, chain: &[u8], key: &[u8]) -> Result<Certificate, NotKept> {
    let senseless = |why: String| NotKept::Sense(path.to_owned(), why);
    let chain: Vec<CertificateDer<'static>> =
        CertificateDer::pem_slice_iter(chain).collect::<Result<_, _>>().map_err(|e| senseless(e.to_string()))?;
    let first = chain.first().ok_or_else(|| senseless("there is no certificate in it".into()))?;
    let fingerprint = fingerprint(first);
    let key = PrivateKeyDer::from_pem_slice(key).map_err(|e| senseless(format!("the key: {e}")))?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .and_then(|b| b.with_no_client_auth().with_single_cert(chain, key))
        .map_err(|e| senseless(e.to_string()))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Certificate { config: Arc::new(config), fingerprint })
}

fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    let mut out = String::new();
    for (n, byte) in digest::digest(&digest::SHA256, certificate).as_ref().iter().enumerate() {
        let _ = write!(out, "{}{byte:02X}", if n > 0 { ":" } else { "" });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt as _;

    #[test]
    fn it_is_made_once_and_kept_for_the_owner_alone() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("r.db.page.pem");
        let names = ["localhost".to_owned(), "192.0.2.7".to_owned()];
        let first = of_its_own(&path, &names).expect("made");
        assert_eq!(of_its_own(&path, &names).expect("kept").fingerprint, first.fingerprint);
        let mode = std::fs::metadata(&path).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        assert_eq!(given(&path, &path).expect("the same").fingerprint, first.fingerprint);
        std::fs::write(&path, "nothing").expect("writes");
        assert!(matches!(of_its_own(&path, &names), Err(NotKept::Sense(..))));
        let kept = dir.path().join("r.db.page.secret");
        assert_eq!(secret(&kept).expect("drawn"), secret(&kept).expect("kept"));
        std::fs::write(&kept, "short").expect("writes");
        assert!(secret(&kept).is_err());
    }

    #[test]
    fn where_nothing_can_be_written_one_is_made_all_the_same() {
        assert!(of_its_own(Path::new("/proc/self/x.pem"), &["localhost".to_owned()]).is_ok());
    }
}
