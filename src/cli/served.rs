//! The page and the metrics of a watch: where they are served and to whom, and what is published there each time the
//! lanes were looked over.

use super::exit::CommandError;
use super::options::{ServedAt, WatchOptions};
use crate::judge::Moment;
use crate::serve::{self, Access, Address, Certificate, NotKept, NotServed, Published, Server, Surface, Token};
use crate::show::escape::terminal;
use crate::snapshot::Snapshot;
use crate::sys::clock::{self, Clock};
use nix::ifaddrs::getifaddrs;
use std::borrow::Cow;
use std::io::{Read as _, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where metrics are served unless said otherwise.
const METRICS: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 9_750);
/// Where the page is served unless said otherwise.
const PAGE: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 9_760);
/// More of a token file is not read.
const LONGEST_FILE: u64 = 4_096;

/// The tokens of page and metrics: the first lines of the files that are named.
#[derive(Debug)]
pub(super) struct Tokens {
    page: Option<String>,
    metrics: Option<String>,
}

impl Tokens {
    /// Reads them, and refuses what would be served openly. To be called before anything is begun.
    pub(super) fn read(o: &WatchOptions) -> Result<Self, CommandError> {
        let page = token("--page-token", o.page_token.as_deref())?;
        let metrics = token("--metrics-token", o.metrics_token.as_deref())?;
        let open = |at: Option<ServedAt>, guarded: bool, surface| match at {
            Some(ServedAt::Address(at)) if !at.ip().is_loopback() && !guarded => {
                Err(CommandError::Usage(NotServed::Open(at, surface).to_string()))
            }
            _ => Ok(()),
        };
        open(o.metrics, metrics.is_some(), Surface::Metrics)?;
        open(o.page, page.is_some() || !o.page_allow.is_empty(), Surface::Page)?;
        Ok(Self { page, metrics })
    }
}

fn token(option: &str, path: Option<&Path>) -> Result<Option<String>, CommandError> {
    let Some(path) = path else { return Ok(None) };
    let name = terminal(&path.display().to_string());
    let mut text = String::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(LONGEST_FILE).read_to_string(&mut text))
        .map_err(|e| CommandError::NoInput(format!("{option} {name}: {e}")))?;
    let line = text.lines().next().unwrap_or_default().trim().to_owned();
    // Which secret it is used with makes no difference to whether it can be used.
    Token::new(&line, &[0; 32]).map_err(|why| CommandError::Usage(format!("{option} {name}: {why}")))?;
    Ok(Some(line))
}

/// Serves metrics and page as the options ask, and says where. Nowhere is no failure where no address was asked for.
pub(super) fn start(
    o: &WatchOptions,
    tokens: &Tokens,
    record: &Path,
    clock: Clock,
    out: &mut dyn Write,
) -> Result<Option<serve::Served>, CommandError> {
    let mut server = Server::new(std::path::absolute(record).unwrap_or_else(|_| record.to_owned()), clock);
    writeln!(out, "{}", metrics(o, tokens, &mut server)?)?;
    writeln!(out, "{}", page(o, tokens, record, &mut server)?)?;
    out.flush()?;
    server.start().map_err(|e| CommandError::Io(e.to_string()))
}

fn metrics(o: &WatchOptions, tokens: &Tokens, server: &mut Server) -> Result<String, CommandError> {
    let (address, asked) = match o.metrics {
        Some(ServedAt::Off) => return Ok("No metrics are served.".into()),
        Some(ServedAt::Address(address)) => (address, true),
        None => (METRICS, false),
    };
    // Scrapers have no session, so that its secret need not outlast the program.
    let token = tokens.metrics.as_deref().map(|line| keyed(line, serve::random())).transpose()?;
    let access = Access { names: o.metrics_name.clone(), token, allow: Vec::new() };
    match server.listen(Address { address, surface: Surface::Metrics, access, certificate: None }) {
        Ok(at) => Ok(format!("Metrics: http://{at}/metrics")),
        Err(e) => unserved(&e, asked, "--metrics"),
    }
}

fn page(o: &WatchOptions, tokens: &Tokens, record: &Path, server: &mut Server) -> Result<String, CommandError> {
    let (address, asked) = match o.page {
        Some(ServedAt::Off) => return Ok("No page is served.".into()),
        Some(ServedAt::Address(address)) => (address, true),
        None => (PAGE, false),
    };
    let secret = || serve::secret(&beside(record, ".page.secret"));
    let token = tokens.page.as_deref().map(|line| keyed(line, secret())).transpose()?;
    let certificate = certificate(o, address, record).map_err(not_kept)?;
    let access = Access { names: o.page_name.clone(), token, allow: o.page_allow.clone() };
    let scheme = if certificate.is_some() { "https" } else { "http" };
    let fingerprint = certificate.as_ref().map(|c| c.fingerprint.clone());
    match server.listen(Address { address, surface: Surface::Page, access, certificate }) {
        Ok(at) => {
            let mut said = format!("Page: open {scheme}://{}/ in a browser", shown(at));
            if at.ip().is_loopback() {
                said.push_str(" on this host");
            }
            if let (Some(print), None) = (fingerprint, &o.page_cert) {
                said.push_str(
                    ".\nThe browser will warn of a certificate it does not know: compare its SHA-256 fingerprint once:\n  ",
                );
                said.push_str(&print);
            }
            Ok(said)
        }
        Err(e) => unserved(&e, asked, "--page"),
    }
}

fn keyed(line: &str, secret: Result<[u8; 32], NotKept>) -> Result<Token, CommandError> {
    Token::new(line, &secret.map_err(not_kept)?).map_err(CommandError::Usage)
}

#[expect(clippy::needless_pass_by_value, reason = "the shape `map_err` wants")]
fn not_kept(e: NotKept) -> CommandError {
    CommandError::Io(format!("the page: {}", terminal(&e.to_string())))
}

fn unserved(e: &NotServed, asked: bool, option: &str) -> Result<String, CommandError> {
    if asked {
        return Err(CommandError::Io(e.to_string()));
    }
    Ok(format!("{e}. Watching goes on without; {option} names another address."))
}

fn beside(record: &Path, end: &str) -> PathBuf {
    let mut name = record.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// The certificate that is given; else one of its own, where others than this host may look.
fn certificate(o: &WatchOptions, address: SocketAddr, record: &Path) -> Result<Option<Certificate>, NotKept> {
    match (&o.page_cert, &o.page_key) {
        (Some(certificate), Some(key)) => serve::given(certificate, key).map(Some),
        _ if address.ip().is_loopback() => Ok(None),
        _ => {
            let mut names = vec!["localhost".to_owned()];
            names.extend(o.page_name.iter().cloned());
            names.extend(own(address).iter().map(IpAddr::to_string));
            serve::of_its_own(&beside(record, ".page.pem"), &names).map(Some)
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

/// Publishes what a look has shown.
pub(super) fn publish(served: &serve::Served, shown: Cow<'_, Snapshot>, now: Moment, sends: &Arc<[String]>) {
    served.publish(Published {
        snapshot: shown.into_owned(),
        looked_s: now.secs(),
        looked: clock::wall_time(),
        sends: Arc::clone(sends),
    });
}
