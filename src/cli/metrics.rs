//! The metrics of a watch: where they are served, and what is told there each time the lanes were looked over.

use super::exit::CommandError;
use super::options::{ServedAt, WatchOptions};
use super::ruling::Rulings;
use crate::judge::Moment;
use crate::metrics::{Board, Door, NotServed, Served, serve};
use crate::show::escape::terminal;
use crate::snapshot::Snapshot;
use crate::sys::clock::Clock;
use std::io::Read as _;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;

/// Where metrics are served unless said otherwise.
const USUAL: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 9_750);
/// The shortest token that is one (choice: 16 letters and digits drawn at random can't be guessed over a network).
const SHORTEST_TOKEN: usize = 16;
/// More of a token file is not read.
const LONGEST_TOKEN: u64 = 4_096;

/// Who is let in, by the options. Looked at before anything is begun.
pub(super) fn door(o: &WatchOptions) -> Result<Door, CommandError> {
    let token = o.metrics_token.as_deref().map(token).transpose()?;
    match o.metrics {
        Some(ServedAt::Address(address)) if token.is_none() && !address.ip().is_loopback() => {
            Err(CommandError::Usage(NotServed::Open(address).to_string()))
        }
        _ => Ok(Door { names: o.metrics_name.clone(), token }),
    }
}

/// Serves metrics as the options ask, and says where. Nowhere is no failure where none was asked for.
pub(super) fn open(o: &WatchOptions, door: Door, clock: Clock) -> Result<(Option<Served>, String), CommandError> {
    let (address, asked) = match o.metrics {
        Some(ServedAt::Off) => return Ok((None, "No metrics are served.".into())),
        Some(ServedAt::Address(address)) => (address, true),
        None => (USUAL, false),
    };
    match serve(address, door, clock) {
        Ok(served) => {
            let said = format!("Metrics: http://{}/metrics", served.address);
            Ok((Some(served), said))
        }
        Err(e) if asked => Err(CommandError::Io(e.to_string())),
        Err(e) => Ok((None, format!("{e}. Watching goes on without; --metrics names another address."))),
    }
}

fn token(path: &Path) -> Result<String, CommandError> {
    let token = first_line("--metrics-token", path)?;
    // RFC 6750, section 2.1, leaves more out; what it leaves out can't be sent.
    if token.len() < SHORTEST_TOKEN || !token.bytes().all(|b| b.is_ascii_graphic()) {
        let name = terminal(&path.display().to_string());
        return Err(CommandError::Usage(format!(
            "--metrics-token {name}: its first line must be at least {SHORTEST_TOKEN} printable characters"
        )));
    }
    Ok(token)
}

/// The first line of a token's file.
pub(super) fn first_line(option: &str, path: &Path) -> Result<String, CommandError> {
    let name = terminal(&path.display().to_string());
    let mut text = String::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(LONGEST_TOKEN).read_to_string(&mut text))
        .map_err(|e| CommandError::NoInput(format!("{option} {name}: {e}")))?;
    Ok(text.lines().next().unwrap_or_default().trim().to_owned())
}

/// Tells what a look has shown.
pub(super) fn tell(served: Option<&Served>, snapshot: &Snapshot, now: Moment, rulings: &Rulings) {
    if let Some(served) = served {
        served.tell(Board::of(snapshot, now.secs(), rulings.last));
    }
}
