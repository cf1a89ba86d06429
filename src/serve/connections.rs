//! Who has a connection, and who must go when there are too many: whoever has most of them gives up the oldest over which
//! nobody was let in yet. So one who opens many, and says nothing, pushes out nobody but themselves.

use super::tries::neighbourhood;
use std::net::IpAddr;
use std::ops::Deref;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;

/// Connections at once.
const MOST: usize = 192;
/// Of these, from one who asks.
const MOST_OF_ONE: usize = 96;

/// One connection.
#[derive(Debug)]
pub(super) struct Guest {
    whose: IpAddr,
    let_in: AtomicBool,
    stays: AtomicBool,
    /// Told when it must go.
    pub(super) out: Arc<Notify>,
}

impl Guest {
    /// Somebody was let in over it: it is not given up for others any more.
    pub(super) fn let_in(&self) {
        self.let_in.store(true, Ordering::Relaxed);
    }

    /// It stays open until it is told to go.
    pub(super) fn stay(&self) -> Arc<Notify> {
        self.stays.store(true, Ordering::Relaxed);
        Arc::clone(&self.out)
    }

    /// Whether it stays open.
    pub(super) fn stays(&self) -> bool {
        self.stays.load(Ordering::Relaxed)
    }
}

/// All of them, the oldest first.
#[derive(Debug, Default)]
pub(super) struct Guests(Mutex<Vec<Arc<Guest>>>);

/// A guest's place, given back when it is dropped.
#[derive(Debug)]
pub(super) struct Seat {
    guest: Arc<Guest>,
    all: Arc<Guests>,
}

impl Guests {
    /// A place for one at this address; `None` where nobody can be made to go for them.
    pub(super) fn seat(self: &Arc<Self>, peer: IpAddr) -> Option<Seat> {
        let whose = neighbourhood(peer);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let held = |who: IpAddr| all.iter().filter(|g| g.whose == who).count();
        let goes = if held(whose) >= MOST_OF_ONE {
            Some(whose)
        } else if all.len() >= MOST {
            // There are at most `MOST`, so that counting each for each is cheap.
            all.iter().map(|g| g.whose).max_by_key(|w| held(*w))
        } else {
            None
        };
        if let Some(who) = goes {
            let oldest = all.iter().position(|g| g.whose == who && !g.let_in.load(Ordering::Relaxed))?;
            all.remove(oldest).out.notify_one();
        }
        let guest = Arc::new(Guest {
            whose,
            let_in: AtomicBool::new(false),
            stays: AtomicBool::new(false),
            out: Arc::default(),
        });
        all.push(Arc::clone(&guest));
        Some(Seat { guest, all: Arc::clone(self) })
    }
}

impl Deref for Seat {
    type Target = Guest;

    fn deref(&self) -> &Guest {
        &self.guest
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.all.0.lock().unwrap_or_else(PoisonError::into_inner).retain(|g| !Arc::ptr_eq(g, &self.guest));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(n: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, n])
    }

    #[test]
    fn who_takes_most_gives_way_and_who_was_let_in_stays() {
        let guests = Arc::new(Guests::default());
        let owner = guests.seat(at(1)).expect("a place");
        owner.let_in();
        // Far more than there are places: the places stay bounded, the newest have them.
        let attack: Vec<Seat> =
            (0..2_000).map(|n| guests.seat(at(2 + n as u8 % 4)).expect("another gives way")).collect();
        assert_eq!(guests.0.lock().expect("whole").len(), MOST);
        let again = guests.seat(at(1)).expect("a place");
        again.let_in();
        for n in 0..500 {
            drop(guests.seat(at(2 + n as u8 % 4)));
        }
        let still = |s: &Seat| guests.0.lock().expect("whole").iter().any(|g| Arc::ptr_eq(g, &s.guest));
        assert!(still(&owner) && still(&again) && !still(&attack[0]));
        drop(attack);
        // Those let in are not pushed out, by themselves neither.
        let mut open = Vec::new();
        while let Some(seat) = guests.seat(at(9)) {
            seat.let_in();
            open.push(seat);
        }
        assert_eq!(open.len(), MOST_OF_ONE);
        drop((owner, again, open));
        assert!(guests.0.lock().expect("whole").is_empty());
    }
}
