//! The interface sockets leave by, followed by its index.
//!
//! Decides what our interface is called now: renamed, it keeps its index; re-created, its name comes back with another
//! one. `probe::host` follows it the same way over netlink; here two `ioctl`s do (netdevice(7): `SIOCGIFNAME`,
//! `SIOCGIFINDEX`), for they cost no connection.

use nix::net::if_::{if_indextoname, if_nametoindex};
use std::sync::{Mutex, PoisonError};

/// The plan's interface, whatever it is called now.
#[derive(Debug)]
pub struct Way {
    planned: Option<String>,
    seen: Mutex<Seen>,
}

/// What it was when last seen.
#[derive(Debug, Default)]
struct Seen {
    index: Option<u32>,
    name: String,
}

impl Way {
    /// Follows the interface that has this name now, or gets it first; `None` leaves the way to routing.
    pub fn new(planned: Option<&str>) -> Self {
        let way = Self { planned: planned.map(str::to_owned), seen: Mutex::default() };
        // A name not there yet is looked for again at each use.
        let _ = way.name();
        way
    }

    /// Its name now; the planned one while it is gone, so that the kernel says `ENODEV`.
    pub fn name(&self) -> Option<String> {
        let planned = self.planned.as_ref()?;
        // Nothing is left half-done under this lock.
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let still = seen.index.and_then(|i| if_indextoname(i).ok()).and_then(|n| n.into_string().ok());
        // nix 0.31 takes the null of an index that is gone for success, and gives an empty name.
        let still = still.filter(|n| !n.is_empty());
        if let Some(name) = still {
            seen.name = name;
        } else if let Some((index, name)) = indexed(planned).or_else(|| indexed(&seen.name)) {
            *seen = Seen { index: Some(index), name };
        } else {
            seen.index = None;
            return Some(planned.clone());
        }
        Some(seen.name.clone())
    }
}

fn indexed(name: &str) -> Option<(u32, String)> {
    (!name.is_empty()).then(|| if_nametoindex(name).ok()).flatten().map(|i| (i, name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_plan_routing_decides_and_what_is_not_there_keeps_its_planned_name() {
        assert_eq!(Way::new(None).name(), None);
        let way = Way::new(Some("no-such-lead"));
        assert_eq!(way.name().as_deref(), Some("no-such-lead"));
        assert_eq!(way.seen.lock().expect("not poisoned").index, None);
    }

    /// Loopback has index 1 in every Linux network namespace (`LOOPBACK_IFINDEX`).
    #[test]
    fn the_index_counts_more_than_the_name() {
        let way = Way::new(Some("lo"));
        let other = Way {
            planned: Some("no-such-lead".into()),
            seen: Mutex::new(Seen { index: Some(1), name: "no-such-lead".into() }),
        };
        assert_eq!((way.name().as_deref(), other.name().as_deref()), (Some("lo"), Some("lo")));
    }

    #[test]
    fn an_index_that_is_gone_leads_back_to_the_planned_name() {
        let seen = Mutex::new(Seen { index: Some(2_000_000_000), name: "was-lead".into() });
        let way = Way { planned: Some("lo".into()), seen };
        assert_eq!(way.name().as_deref(), Some("lo"));
    }
}
