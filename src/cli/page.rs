//! The page of a watch: where it is served and to whom, and what is told there each time the lanes were looked over.

use super::exit::CommandError;
use super::metrics::first_line;
use super::options::{ServedAt, WatchOptions};
use super::ruling::Rulings;
use crate::judge::Moment;
use crate::show::escape::terminal;
use crate::snapshot::Snapshot;
use crate::sys::clock::{self, Clock};
use crate::web::{self, Access, Certificate, NotKept, NotServed, Place, Served, Token, Told};
use nix::ifaddrs::getifaddrs;
use std::borrow::Cow;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where the page is served unless said otherwise.
const USUAL: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 9_760);

/// The first line of the token's file, where one is named. Looked at before anything is begun.
pub(super) fn token(o: &WatchOptions) -> Result<Option<String>, CommandError> {
    let file = o.page_token.as_deref();
    let line = file.map(|path| first_line("--page-token", path)).transpose()?;
    if let (Some(line), Some(path)) = (&line, file) {
        Token::new(line, &[0; 32]).map_err(|why| {
            CommandError::Usage(format!("--page-token {}: {why}", terminal(&path.display().to_string())))
        })?;
    }
    match o.page {
        Some(ServedAt::Address(at)) if !at.ip().is_loopback() && line.is_none() && o.page_allow.is_empty() => {
            Err(CommandError::Usage(NotServed::Open(at).to_string()))
        }
        _ => Ok(line),
    }
}

/// Serves the page as the options ask, and says where. Nowhere is no failure where none was asked for.
pub(super) fn open(
    o: &WatchOptions,
    token: Option<&str>,
    record: &Path,
    clock: Clock,
) -> Result<(Option<Served>, String), CommandError> {
    let (address, asked) = match o.page {
        Some(ServedAt::Off) => return Ok((None, "No page is served.".into())),
        Some(ServedAt::Address(address)) => (address, true),
        None => (USUAL, false),
    };
    let kept = |e: NotKept| CommandError::Io(format!("the page: {}", terminal(&e.to_string())));
    let token = match token {
        None => None,
        Some(line) => {
            let secret = web::secret(&beside(record, ".page.secret")).map_err(kept)?;
            Some(Token::new(line, &secret).map_err(|why| CommandError::Usage(why))?)
        }
    };
    let certificate = certificate(o, address, record).map_err(kept)?;
    let access = Access { names: o.page_name.clone(), token, allow: o.page_allow.clone() };
    let scheme = if certificate.is_some() { "https" } else { "http" };
    let fingerprint = certificate.as_ref().map(|c| c.fingerprint.clone());
    let record = std::path::absolute(record).unwrap_or_else(|_| record.to_owned());
    match web::serve(Place { address, access, certificate, record, clock }) {
        Ok(served) => {
            let mut said = format!("Page: open {scheme}://{}/ in a browser", shown(served.address));
            if served.address.ip().is_loopback() {
                said.push_str(" on this host");
            }
            if let (Some(print), None) = (fingerprint, &o.page_cert) {
                said.push_str(
                    ".\nThe browser will warn of a certificate it does not know: compare its SHA-256 fingerprint once:\n  ",
                );
                said.push_str(&print);
            }
            Ok((Some(served), said))
        }
        Err(e) if asked => Err(CommandError::Io(e.to_string())),
        Err(e) => Ok((None, format!("{e}. Watching goes on without; --page names another address."))),
    }
}

fn beside(record: &Path, end: &str) -> PathBuf {
    let mut name = record.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// The certificate that is given; else one of its own, where others than this host may look.
fn certificate(o: &WatchOptions, address: SocketAddr, record: &Path) -> Result<Option<Certificate>, NotKept> {
    match (&o.page_cert, &o.page_key) {
        (Some(certificate), Some(key)) => web::given(certificate, key).map(Some),
        _ if address.ip().is_loopback() => Ok(None),
        _ => {
            let mut names = vec!["localhost".to_owned()];
            names.extend(o.page_name.iter().cloned());
            names.extend(own(address).iter().map(IpAddr::to_string));
            web::of_its_own(&beside(record, ".page.pem"), &names).map(Some)
        }
    }
}

/// The addresses under which a listener is reached.
fn own(address: SocketAddr) -> Vec<IpAddr> {
    if !address.ip().is_unspecified() {
        return vec![address.ip()];
    }
    let all = getifaddrs().into_iter().flatten().filter_map(|i| i.address);
    let mut all: Vec<IpAddr> = all
        .filter_map(|a| match (a.as_sockaddr_in(), a.as_sockaddr_in6()) {
            (Some(v4), _) => Some(IpAddr::V4(v4.ip())),
            (_, Some(v6)) if address.is_ipv6() && !v6.ip().is_unicast_link_local() => Some(IpAddr::V6(v6.ip())),
            _ => None,
        })
        .collect();
    // What others can reach comes first.
    all.sort_by_key(|a| (a.is_loopback(), a.is_ipv6()));
    all.dedup();
    all
}

/// The address to open.
fn shown(address: SocketAddr) -> SocketAddr {
    own(address).first().map_or(address, |ip| SocketAddr::new(*ip, address.port()))
}

/// Shows what a look has shown.
pub(super) fn tell(
    served: Option<&Served>,
    shown: Cow<'_, Snapshot>,
    now: Moment,
    rulings: &Rulings,
    sends: &Arc<[String]>,
) {
    if let Some(served) = served {
        served.tell(Told {
            snapshot: shown.into_owned(),
            reached_s: rulings.last.map(|r| r.at_s),
            looked_s: now.secs(),
            looked: clock::wall_time(),
            sends: Arc::clone(sends),
        });
    }
}
