//! The plan of a watch over time: settled at the start, settled again when the site file is read anew or the host's
//! network has become another one (interface swapped, router replaced, resolvers changed).
//!
//! Decides when a change is one: only what was found twice in a row, and never a plan that would blind what was seen
//! before. A host that has just lost its network still has the plan it had.

use super::exit::CommandError;
use super::host;
use super::site_file;
use crate::judge::requirement::RequirementSet;
use crate::site::{self, Plan, Settled, SiteFile, cadence};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::Duration;
use tokio::sync::mpsc;

/// The host is looked at anew at least this often, and when its addresses change.
const EVERY: Duration = Duration::from_mins(1);
/// A change must still be there after this long: leases and routes come one by one.
const SETTLES: Duration = Duration::from_secs(3);

/// A plan to go on by.
#[derive(Clone, Debug)]
pub(super) struct Renewal {
    pub(super) settled: Settled,
    pub(super) own_set: Option<RequirementSet>,
}

/// Settles plans.
#[derive(Debug)]
pub(super) struct Resettler {
    path: Option<PathBuf>,
    file: SiteFile,
    own_set: Option<RequirementSet>,
    looks: Option<SyncSender<()>>,
}

impl Resettler {
    /// Reads the site file and settles the first plan.
    pub(super) fn new(path: Option<&Path>) -> Result<(Self, Renewal), CommandError> {
        let mut this = Self { path: path.map(Path::to_owned), file: SiteFile::default(), own_set: None, looks: None };
        let renewal = this.read()?;
        Ok((this, renewal))
    }

    /// Reads the site file again. What is wrong with it changes nothing.
    pub(super) fn reload(&mut self) -> Result<Renewal, CommandError> {
        self.read()
    }

    fn read(&mut self) -> Result<Renewal, CommandError> {
        let (file, own_set) = match &self.path {
            None => (SiteFile::default(), None),
            Some(path) => {
                let file = site_file::load(path)?;
                let own_set = site_file::own_set(path, &file)?;
                (file, own_set)
            }
        };
        let settled = settle(&file);
        (self.file, self.own_set) = (file, own_set);
        Ok(Renewal { settled, own_set: self.own_set.clone() })
    }

    /// Watches the host from now on, in a thread of its own; a plan that differs from `plan` goes to `asks`.
    pub(super) fn follow(&mut self, plan: &Plan, asks: mpsc::Sender<Renewal>) {
        let (looks, told) = sync_channel(1);
        let (file, own_set, plan) = (self.file.clone(), self.own_set.clone(), plan.clone());
        let watch = move || watch(&file, own_set.as_ref(), &plan, &told, &asks);
        match std::thread::Builder::new().name("host".into()).spawn(watch) {
            Ok(_) => self.looks = Some(looks),
            Err(e) => tracing::warn!("changes of this host's network will not be followed: {e}"),
        }
    }

    /// Asks for a look at the host soon.
    pub(super) fn look(&self) {
        if let Some(looks) = &self.looks
            && let Err(TrySendError::Disconnected(())) = looks.try_send(())
        {
            tracing::debug!("nobody follows this host's network");
        }
    }

    /// Watches no more.
    pub(super) fn rest(&mut self) {
        self.looks = None;
    }
}

fn settle(file: &SiteFile) -> Settled {
    let facts = host::facts(file.interface.as_deref(), file.lease_file.as_deref());
    site::resolve_at(file, &facts, &cadence::WATCH)
}

fn watch(
    file: &SiteFile,
    own_set: Option<&RequirementSet>,
    plan: &Plan,
    told: &Receiver<()>,
    asks: &mpsc::Sender<Renewal>,
) {
    loop {
        match told.recv_timeout(EVERY) {
            Ok(()) => std::thread::sleep(SETTLES),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        let first = settle(file);
        if !better(plan, &first.plan) {
            continue;
        }
        std::thread::sleep(SETTLES);
        let settled = settle(file);
        if settled.plan == first.plan {
            // Whoever asked may have gone meanwhile.
            let _ = asks.blocking_send(Renewal { settled, own_set: own_set.cloned() });
            return;
        }
    }
}

/// Whether a plan is worth changing to: another one, that loses nothing the present one has.
fn better(now: &Plan, new: &Plan) -> bool {
    let blinds = (now.interface.is_some() && new.interface.is_none())
        || (!now.resolvers.is_empty() && new.resolvers.is_empty())
        || (!now.references.is_empty() && new.references.is_empty());
    new != now && !blinds
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::HostFacts;

    fn plan(interface: Option<&str>, resolvers: &[[u8; 4]]) -> Plan {
        let facts = HostFacts {
            default_interface: interface.map(str::to_owned),
            resolvers: resolvers.iter().map(|r| (*r).into()).collect(),
            ..HostFacts::default()
        };
        site::resolve_at(&SiteFile::default(), &facts, &cadence::WATCH).plan
    }

    #[test]
    fn another_network_is_followed_and_no_network_is_not() {
        let now = plan(Some("eth0"), &[[192, 0, 2, 1]]);
        assert!(!better(&now, &now));
        assert!(better(&now, &plan(Some("eth1"), &[[192, 0, 2, 1]])), "the lead was put into another port");
        assert!(better(&now, &plan(Some("eth0"), &[[198, 51, 100, 1]])), "another router gives other resolvers");
        assert!(!better(&now, &plan(None, &[[192, 0, 2, 1]])), "the lead is out");
        assert!(!better(&now, &plan(Some("eth0"), &[])), "the lease is gone");
        assert!(better(&plan(None, &[]), &now), "the network comes late");
    }
}
