//! The address lane as this host sees it: the kernel's addresses and gateway, and the lease its client wrote down.
//!
//! Decides what is new enough to report and which lease file is the current one: a file counts only if its address is on
//! the interface now, so that a stale one from years ago says nothing. Asks nobody; sends nothing.

use super::Context;
use super::host::{Blind, Host};
use super::turns::{Timer, until};
use crate::judge::{Detail, HeldAddress, Lease, Micros, Moment, NotAsked, Observation, Outcome, Question};
use crate::sys::netlink::{Change, Changes};
use crate::wire::lease_file;
use std::fs::File;
use std::io::{self, ErrorKind, Read, Seek, SeekFrom};
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};
use tokio::time::timeout;

/// Addresses and routes come and go in bursts: this long after the first change we look.
const SETTLES: Micros = Micros::from_millis(100);
/// Most lease files looked at.
const MOST_FILES: usize = 64;
/// Most addresses reported.
const MOST_ADDRESSES: usize = 16;

/// What the kernel holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Holding {
    /// Addresses on the interface.
    pub held: Vec<HeldAddress>,
    /// Gateway of the default route.
    pub gateway: Option<IpAddr>,
}

/// What the search for a lease gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Found {
    /// A lease for an address we hold.
    Lease(Lease),
    /// No client wrote one down, or not for an address we hold.
    None,
    /// A file is there, but this process may not read it.
    NotPermitted,
}

/// The pure part.
#[derive(Clone, Debug)]
pub struct Machine {
    target: Arc<str>,
    holding: Option<Holding>,
    /// When that was seen.
    seen: Moment,
    found: Option<Found>,
}

impl Machine {
    /// A machine that has seen nothing.
    pub fn new(target: Arc<str>) -> Self {
        Self { target, holding: None, seen: Moment(0), found: None }
    }

    /// What the kernel holds; `turn` is true at the cadence, when it is reported even if nothing changed.
    pub fn on_holding(&mut self, asked: Moment, known: Moment, now: Holding, turn: bool) -> Option<Observation> {
        let news = self.holding.as_ref().is_none_or(|before| differs(before, &now));
        (self.holding, self.seen) = (Some(now.clone()), known);
        let detail = Detail::OwnAddress { held: now.held, gateway: now.gateway };
        (news || turn).then(|| self.observed(asked, known, Question::OwnAddress, Outcome::Answered, detail))
    }

    /// The kernel announced a change at `at`, and none before: up to then it held what was last seen, with lifetimes that
    /// ran down meanwhile. So a change is known to the moment and not to the cadence.
    pub fn on_change(&self, at: Moment) -> Option<Observation> {
        let mut before = self.holding.clone()?;
        let gone = u32::try_from((at - self.seen).0.max(0) / 1_000_000).unwrap_or(u32::MAX);
        for h in &mut before.held {
            h.valid_s = h.valid_s.map(|s| s.saturating_sub(gone));
            h.preferred_s = h.preferred_s.map(|s| s.saturating_sub(gone));
        }
        let detail = Detail::OwnAddress { held: before.held, gateway: before.gateway };
        Some(self.observed(at, at, Question::OwnAddress, Outcome::Answered, detail))
    }

    /// What the search for a lease gave; reported when it is news.
    pub fn on_lease(&mut self, at: Moment, found: Found) -> Option<Observation> {
        if self.found.as_ref() == Some(&found) {
            return None;
        }
        self.found = Some(found.clone());
        let (outcome, detail) = match found {
            Found::Lease(lease) => (Outcome::Answered, Detail::Lease(Box::new(lease))),
            Found::None => (Outcome::NotAsked(NotAsked::Unsupported), Detail::None),
            Found::NotPermitted => (Outcome::NotPermitted, Detail::None),
        };
        Some(self.observed(at, at, Question::Lease, outcome, detail))
    }

    fn observed(
        &self,
        asked: Moment,
        known: Moment,
        question: Question,
        outcome: Outcome,
        detail: Detail,
    ) -> Observation {
        Observation { asked, known, question, target: self.target.clone(), outcome, rtt: None, detail }
    }
}

/// Whether anything changed but the running down of lifetimes. A longer IPv4 lifetime is a renewal; IPv6 lifetimes are
/// refreshed by every router advertisement and are no news.
fn differs(before: &Holding, now: &Holding) -> bool {
    let same = |(a, b): (&HeldAddress, &HeldAddress)| {
        let renewed = b.address.is_ipv4() && b.valid_s > a.valid_s;
        (a.address, a.prefix, a.permanent) == (b.address, b.prefix, b.permanent) && !renewed
    };
    before.gateway != now.gateway || before.held.len() != now.held.len() || !before.held.iter().zip(&now.held).all(same)
}

/// The kernel's announcements are read within this.
const HEARD_WITHIN: Duration = Duration::from_millis(10);

/// Watches until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let mut machine = Machine::new(host.target());
    let five = Micros(ctx.plan.cadence.local.0.saturating_mul(5));
    let mut turns = Timer::after(&ctx, Micros::ZERO, five, Micros::from_secs(5));
    let mut changes = Changes::subscribe().ok();
    let (mut look_at, mut announced) = (None, None);
    loop {
        let turn = tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => true,
            () = until(&ctx, look_at) => false,
            change = next(changes.as_mut()) => {
                match change {
                    Some(change @ (Change::Addressing | Change::Missed)) => {
                        let now = ctx.clock.now();
                        // After missed announcements nobody knows when the change was.
                        if look_at.is_none() {
                            announced = (change == Change::Addressing).then_some(now);
                        }
                        look_at.get_or_insert(now + SETTLES);
                    }
                    Some(_) => {}
                    // Until the next turn the cadence alone must do.
                    None => changes = None,
                }
                continue;
            }
        };
        look_at = None;
        if turn && changes.is_none() {
            changes = Changes::subscribe().ok();
        }
        // A change just before this turn may not have been heard of yet.
        if turn && announced.is_none() {
            match timeout(HEARD_WITHIN, next(changes.as_mut())).await {
                Ok(Some(Change::Addressing)) => announced = Some(ctx.clock.now()),
                Ok(None) => changes = None,
                _ => {}
            }
        }
        let before = announced.take().and_then(|at| machine.on_change(at));
        let reports = look(&ctx, &mut host, &mut machine, turn).await;
        // A change elsewhere is none of ours.
        let before = before.filter(|_| !reports.is_empty());
        for report in before.into_iter().chain(reports) {
            if !ctx.report(report).await {
                return;
            }
        }
    }
}

async fn next(changes: Option<&mut Changes>) -> Option<Change> {
    match changes {
        Some(changes) => changes.next().await,
        None => std::future::pending().await,
    }
}

async fn look(ctx: &Context, host: &mut Host, machine: &mut Machine, turn: bool) -> Vec<Observation> {
    let asked = ctx.clock.now();
    let (name, index, holding) = match holding(host).await {
        Ok(found) => found,
        Err(blind) => {
            // What comes back is news, even if it is the same. A storm of changes elsewhere says it only once.
            let news = machine.holding.take().is_some() || turn;
            let at = ctx.clock.now();
            return news.then(|| blind.observed(Question::OwnAddress, host.target(), at)).into_iter().collect();
        }
    };
    let addresses: Vec<IpAddr> = holding.held.iter().map(|h| h.address).collect();
    let known = ctx.clock.now();
    let Some(report) = machine.on_holding(asked, known, holding, turn) else { return Vec::new() };
    let mut reports = vec![report];
    let named = ctx.plan.lease_file.clone();
    // A slow disk must not hold up the other probes on this thread.
    let search = move || find_lease(Path::new("/"), named.as_deref(), index, &name, &addresses);
    if let Ok(found) = tokio::task::spawn_blocking(search).await {
        reports.extend(machine.on_lease(ctx.clock.now(), found));
    }
    reports
}

async fn holding(host: &mut Host) -> Result<(String, u32, Holding), Blind> {
    let carrier = host.interface().await?.carrier;
    let index = carrier.index;
    let (mut held, gateways) =
        host.ask(async |kernel| Ok((kernel.addresses(index).await?, kernel.gateways(index).await?))).await?;
    held.truncate(MOST_ADDRESSES);
    Ok((carrier.name, index, Holding { held, gateway: gateways.first().copied() }))
}

/// Which client writes a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Client {
    Networkd,
    NetworkManager,
    Dhclient,
    Dhcpcd,
}

/// Looks through the known clients' usual places under `root`, and `named` if given, for the newest lease whose address
/// is among `held`. Names and places: the clients' manual pages, from memory.
pub fn find_lease(root: &Path, named: Option<&Path>, index: u32, interface: &str, held: &[IpAddr]) -> Found {
    let mut denied = false;
    let mut newest: Option<(SystemTime, Lease)> = None;
    for (path, clients) in candidates(root, named, index, interface) {
        let (written, bytes) = match read_end(&path) {
            Ok(read) => read,
            Err(e) => {
                denied |= e.kind() == ErrorKind::PermissionDenied;
                continue;
            }
        };
        let lease = clients.iter().find_map(|&c| parse(c, &bytes, interface));
        if let Some(lease) = lease.filter(|l| l.address.is_some_and(|a| held.contains(&a)))
            && newest.as_ref().is_none_or(|(at, _)| written > *at)
        {
            newest = Some((written, lease));
        }
    }
    match newest {
        Some((_, lease)) => Found::Lease(lease),
        None if denied => Found::NotPermitted,
        None => Found::None,
    }
}

fn parse(client: Client, bytes: &[u8], interface: &str) -> Option<Lease> {
    let text = || String::from_utf8_lossy(bytes);
    match client {
        Client::Networkd => lease_file::networkd(&text()),
        Client::NetworkManager => lease_file::network_manager(&text()),
        Client::Dhclient => lease_file::dhclient(&text(), interface),
        Client::Dhcpcd => lease_file::dhcpcd(bytes),
    }
}

fn candidates(root: &Path, named: Option<&Path>, index: u32, interface: &str) -> Vec<(PathBuf, &'static [Client])> {
    const ANY: &[Client] = &[Client::Dhcpcd, Client::Dhclient, Client::Networkd];
    let mut found: Vec<(PathBuf, &'static [Client])> = Vec::new();
    found.extend(named.map(|path| (path.to_owned(), ANY)));
    found.push((root.join(format!("run/systemd/netif/leases/{index}")), &[Client::Networkd]));
    found.push((root.join(format!("run/NetworkManager/devices/{index}")), &[Client::NetworkManager]));
    let ours = |name: &str, stem: &str, end: &str| {
        name.strip_prefix(stem).and_then(|n| n.strip_suffix(end)).is_some_and(|m| m.ends_with(&format!("-{interface}")))
    };
    for name in names(&root.join("var/lib/NetworkManager")) {
        let client: &'static [Client] = if ours(&name, "internal-", ".lease") {
            &[Client::NetworkManager]
        } else if ours(&name, "dhclient-", ".lease") {
            &[Client::Dhclient]
        } else {
            continue;
        };
        found.push((root.join("var/lib/NetworkManager").join(name), client));
    }
    for place in ["var/lib/dhcp", "var/lib/dhclient"] {
        let files = names(&root.join(place)).into_iter().filter(|n| n.starts_with("dhclient") && n.contains(".lease"));
        found.extend(files.map(|n| (root.join(place).join(n), &[Client::Dhclient][..])));
    }
    for place in ["var/lib/dhcpcd", "var/lib/dhcpcd5", "var/db/dhcpcd"] {
        // `eth0.lease`, `wlan0-NETWORK.lease`, and `dhcpcd-eth0.lease` of older versions.
        let ours = |n: &String| {
            let rest = n.strip_prefix("dhcpcd-").unwrap_or(n).strip_prefix(interface);
            rest.is_some_and(|r| r.starts_with(['.', '-']) && r.contains(".lease"))
        };
        let files = names(&root.join(place)).into_iter().filter(ours);
        found.extend(files.map(|n| (root.join(place).join(n), &[Client::Dhcpcd][..])));
    }
    found.truncate(MOST_FILES);
    found
}

/// File names in a directory, in order; none if it can't be read.
fn names(directory: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(directory) else { return Vec::new() };
    let mut names: Vec<String> =
        entries.take(4 * MOST_FILES).filter_map(|e| e.ok()?.file_name().into_string().ok()).collect();
    names.sort();
    names
}

fn read_end(path: &Path) -> io::Result<(SystemTime, Vec<u8>)> {
    let mut file = File::open(path)?;
    let about = file.metadata()?;
    if !about.is_file() {
        return Err(ErrorKind::InvalidInput.into());
    }
    let most = lease_file::MOST_BYTES as u64;
    file.seek(SeekFrom::Start(about.len().saturating_sub(most)))?;
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes)?;
    Ok((about.modified()?, bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holding(valid_s: u32, gateway: &str) -> Holding {
        let address = "192.0.2.50".parse().expect("literal");
        let held = HeldAddress { address, prefix: 24, valid_s: Some(valid_s), preferred_s: None, permanent: false };
        Holding { held: vec![held], gateway: gateway.parse().ok() }
    }

    #[test]
    fn running_lifetimes_are_no_news_but_a_renewal_is() {
        let mut m = Machine::new("eth0".into());
        let mut look = |at, h, turn| m.on_holding(Moment(at), Moment(at), h, turn).is_some();
        assert!(look(0, holding(600, "192.0.2.1"), false), "the first is news");
        assert!(!look(1, holding(599, "192.0.2.1"), false));
        assert!(look(2, holding(598, "192.0.2.1"), true), "its turn");
        assert!(look(3, holding(600, "192.0.2.1"), false), "renewed");
        assert!(look(4, holding(599, "192.0.2.2"), false), "another gateway");
    }

    #[test]
    fn a_change_announced_is_known_to_the_moment() {
        let mut m = Machine::new("eth0".into());
        assert_eq!(m.on_change(Moment(1)), None, "nothing was seen yet");
        m.on_holding(Moment(0), Moment(1_000_000), holding(600, "192.0.2.1"), true);
        let said = m.on_change(Moment(21_500_000)).expect("what it was");
        let expected = holding(580, "192.0.2.1");
        assert_eq!((said.asked, said.known), (Moment(21_500_000), Moment(21_500_000)));
        assert_eq!(said.detail, Detail::OwnAddress { held: expected.held, gateway: expected.gateway });
    }

    #[test]
    fn a_missing_lease_is_said_once_and_again_when_it_goes() {
        let mut m = Machine::new("eth0".into());
        let said = m.on_lease(Moment(0), Found::None).expect("once");
        assert_eq!(said.outcome, Outcome::NotAsked(NotAsked::Unsupported));
        assert_eq!(m.on_lease(Moment(1), Found::None), None);
        assert!(m.on_lease(Moment(2), Found::Lease(Lease::default())).is_some());
        assert!(m.on_lease(Moment(3), Found::None).is_some());
    }

    #[test]
    fn the_lease_found_is_one_we_hold() {
        let root = tempfile::tempdir().expect("a directory");
        let write = |path: &str, text: &str| {
            let path = root.path().join(path);
            std::fs::create_dir_all(path.parent().expect("has one")).expect("made");
            std::fs::write(path, text).expect("written");
        };
        let held = ["192.0.2.50".parse().expect("literal")];
        let find = |held: &[IpAddr]| find_lease(root.path(), None, 3, "eth0", held);
        assert_eq!(find(&held), Found::None);
        write("var/lib/dhcp/dhclient.eth0.leases", "lease {\n interface \"eth0\";\n fixed-address 192.0.2.99;\n}\n");
        write("run/systemd/netif/leases/4", "ADDRESS=192.0.2.50\nLIFETIME=1\n");
        assert_eq!(find(&held), Found::None, "a stale address, and another interface's file");
        write("var/lib/NetworkManager/internal-0b51-eth0.lease", "ADDRESS=192.0.2.50\nLIFETIME=600\n");
        let Found::Lease(lease) = find(&held) else { panic!("there is one") };
        assert_eq!((lease.recorded_by.as_deref(), lease.lease_s), (Some("network-manager"), Some(600)));
        assert_eq!(find(&[]), Found::None);
    }

    #[test]
    fn a_file_named_in_the_plan_may_be_any_clients() {
        let root = tempfile::tempdir().expect("a directory");
        let file = root.path().join("lease");
        std::fs::write(&file, "ADDRESS=192.0.2.50\nLIFETIME=20\nSERVER_ADDRESS=192.0.2.1\n").expect("written");
        let held = ["192.0.2.50".parse().expect("literal")];
        let Found::Lease(lease) = find_lease(root.path(), Some(&file), 3, "eth0", &held) else { panic!("read it") };
        assert_eq!(lease.lease_s, Some(20));
    }
}
