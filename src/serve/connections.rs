//! Who holds a connection, and which one closes when there are too many: the client with most of them loses the oldest
//! over which nobody was admitted yet. So a client that opens many and says nothing pushes out only its own.

use super::attempts::client_of;
use std::net::IpAddr;
use std::ops::Deref;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;

/// One connection.
#[derive(Debug)]
pub(super) struct Connection {
    client: IpAddr,
    admitted: AtomicBool,
    stays_open: AtomicBool,
    /// Notified when it must close.
    pub(super) closing: Arc<Notify>,
}

impl Connection {
    /// A client was admitted over it: it is not closed for others any more.
    pub(super) fn admit(&self) {
        self.admitted.store(true, Ordering::Relaxed);
    }

    /// It stays open until the notice that is returned.
    pub(super) fn keep_open(&self) -> Arc<Notify> {
        self.stays_open.store(true, Ordering::Relaxed);
        Arc::clone(&self.closing)
    }

    /// Whether it stays open.
    pub(super) fn stays_open(&self) -> bool {
        self.stays_open.load(Ordering::Relaxed)
    }
}

/// All connections of an address, the oldest first.
#[derive(Debug)]
pub(super) struct Connections {
    most: usize,
    open: Mutex<Vec<Arc<Connection>>>,
}

/// A connection that counts until it is dropped.
#[derive(Debug)]
pub(super) struct Held {
    connection: Arc<Connection>,
    all: Arc<Connections>,
}

impl Connections {
    /// At most so many in all, and half as many of one client.
    pub(super) fn new(most: usize) -> Self {
        Self { most, open: Mutex::default() }
    }

    /// A connection from this address; `None` where none can be closed for it.
    pub(super) fn open(self: &Arc<Self>, peer: IpAddr) -> Option<Held> {
        let client = client_of(peer);
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let held = |who: IpAddr| open.iter().filter(|c| c.client == who).count();
        let loses = if held(client) >= self.most / 2 {
            Some(client)
        } else if open.len() >= self.most {
            // There are at most `most`, so that counting each for each is cheap.
            open.iter().map(|c| c.client).max_by_key(|w| held(*w))
        } else {
            None
        };
        if let Some(who) = loses {
            let oldest = open.iter().position(|c| c.client == who && !c.admitted.load(Ordering::Relaxed))?;
            open.remove(oldest).closing.notify_one();
        }
        let connection = Arc::new(Connection {
            client,
            admitted: AtomicBool::new(false),
            stays_open: AtomicBool::new(false),
            closing: Arc::default(),
        });
        open.push(Arc::clone(&connection));
        Some(Held { connection, all: Arc::clone(self) })
    }
}

impl Deref for Held {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        &self.connection
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        let mut open = self.all.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|c| !Arc::ptr_eq(c, &self.connection));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOST: usize = 192;

    fn at(n: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, n])
    }

    #[test]
    fn the_client_with_most_loses_one_and_whoever_was_admitted_stays() {
        let all = Arc::new(Connections::new(MOST));
        let owner = all.open(at(1)).expect("room");
        owner.admit();
        // Far more than there is room for: the number stays bounded, the newest stay.
        let attack: Vec<Held> = (0..2_000).map(|n| all.open(at(2 + n as u8 % 4)).expect("another closes")).collect();
        assert_eq!(all.open.lock().expect("whole").len(), MOST);
        let again = all.open(at(1)).expect("room");
        again.admit();
        for n in 0..500 {
            drop(all.open(at(2 + n as u8 % 4)));
        }
        let still = |h: &Held| all.open.lock().expect("whole").iter().any(|c| Arc::ptr_eq(c, &h.connection));
        assert!(still(&owner) && still(&again) && !still(&attack[0]));
        drop(attack);
        // Admitted ones are not pushed out, by their own client neither.
        let mut open = Vec::new();
        while let Some(held) = all.open(at(9)) {
            held.admit();
            open.push(held);
        }
        assert_eq!(open.len(), MOST / 2);
        drop((owner, again, open));
        assert!(all.open.lock().expect("whole").is_empty());
    }
}
