//! The access line as a cable in user space: takes whole frames in at one end and gives them out at the other when the
//! [`Line`] says so.
//!
//! The kernel here may have no module for delay, and loading one needs root; packet sockets on two interfaces need
//! neither (packet(7)).

use super::line::{Fate, Line};
use super::place::{Place, doing, hand_over, index, join, set_up};
use crate::judge::Micros;
use crate::sys::{cable_end, clock};
use socket2::Socket;
use std::collections::VecDeque;
use std::io::Read;
use std::net::Ipv4Addr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

/// Most frames in flight each way; more are lost, as in any queue.
const IN_FLIGHT: usize = 4_096;
/// Largest frame with offload: 64 KiB of IP, the Ethernet header and the header in front.
const LARGEST: usize = 65_536 + 64;
/// How often the end of the cable is looked for.
const LOOK: Micros = Micros::from_millis(100);

/// A running cable. Stops when dropped.
pub(super) struct Cable {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Cable {
    /// Joins two ends; `router` is the address of the router's own packets.
    pub(super) fn start(ends: [Socket; 2], line: Arc<Line>, router: Ipv4Addr) -> Result<Self, String> {
        let stop = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&stop);
        let thread = std::thread::Builder::new()
            .name("cable".into())
            .spawn(move || pump(&ends, &line, router, &seen))
            .map_err(|e| format!("no thread for the cable: {e}"))?;
        Ok(Self { stop, thread: Some(thread) })
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

/// Makes an interface of each name at each place, with the near ends of both in `cable_box`; gives back the cable's ends.
pub(super) fn lay(cable_box: &Place, to: [(&'static str, &Place); 2]) -> Result<[Socket; 2], String> {
    let [(a, at_a), (b, at_b)] = to;
    let (net_a, net_b) = (at_a.network()?, at_b.network()?);
    cable_box.ask(move |h| async move {
        let mut ends = Vec::new();
        for (near, far, network) in [("c0", a, net_a), ("c1", b, net_b)] {
            join(&h, near, far).await?;
            hand_over(&h, far, &network).await?;
            ends.push(cable_end::open(index(&h, near).await?).map_err(doing("the cable's packet socket"))?);
            set_up(&h, near, true).await?;
        }
        <[_; 2]>::try_from(ends).map_err(|_| "a cable has two ends".to_owned())
    })
}

fn pump(ends: &[Socket; 2], line: &Line, router: Ipv4Addr, stop: &AtomicBool) {
    let mut flying: [VecDeque<(Micros, Box<[u8]>)>; 2] = [VecDeque::new(), VecDeque::new()];
    let mut buffer = vec![0; LARGEST];
    while !stop.load(Ordering::Relaxed) {
        let next = flying.iter().filter_map(|q| q.front().map(|(due, _)| *due)).min();
        let wait = next.map_or(LOOK, |due| (due - clock::boot_time()).min(LOOK));
        // An error here is an interface going down under us: the frame is lost, the cable stays.
        let readable = cable_end::wait_readable(&ends[0], &ends[1], wait).unwrap_or([true; 2]);
        for (way, queue) in flying.iter_mut().enumerate() {
            let (from, to) = (&ends[way], &ends[1 - way]);
            let mut reader = from;
            while let Some(n) = if readable[way] { reader.read(&mut buffer).ok() } else { None } {
                let frame = &buffer[..n];
                if addresses(frame).is_some_and(|ends| line.denies(ends, router)) {
                    continue;
                }
                let fate = line.fate(way, is_datagram(frame), clock::boot_time());
                if let (Fate::Arrives(due), true) = (fate, queue.len() < IN_FLIGHT) {
                    queue.push_back((due, frame.into()));
                }
            }
            if line.is_cut() {
                queue.clear();
            }
            while let Some((due, frame)) = queue.front()
                && *due <= clock::boot_time()
            {
                // An end that is down takes nothing; that loses the frame, as pulling the plug would.
                drop(to.send(frame));
                line.note_late(clock::boot_time() - *due);
                queue.pop_front();
            }
        }
    }
}

/// Whether a frame (with the header in front) carries UDP over IPv4.
fn is_datagram(frame: &[u8]) -> bool {
    let ethernet = frame.get(cable_end::HEADER..).unwrap_or_default();
    ethernet.get(12..14) == Some(&[0x08, 0x00]) && ethernet.get(23) == Some(&17)
}

/// Source and destination of a frame's IPv4 packet (RFC 791 section 3.1).
fn addresses(frame: &[u8]) -> Option<[Ipv4Addr; 2]> {
    let ethernet = frame.get(cable_end::HEADER..)?;
    if ethernet.get(12..14) != Some(&[0x08, 0x00]) {
        return None;
    }
    let at = |from: usize| ethernet.get(from..from + 4).and_then(|b| <[u8; 4]>::try_from(b).ok()).map(Ipv4Addr::from);
    Some([at(26)?, at(30)?])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn datagrams_are_told_from_other_frames() {
        let mut frame = vec![0; cable_end::HEADER + 60];
        assert!(!is_datagram(&frame) && !is_datagram(&[]));
        // EtherType 0x0800 (IPv4), protocol 17 (UDP) at octet 9 of the IPv4 header (RFC 791).
        frame[cable_end::HEADER + 12] = 8;
        frame[cable_end::HEADER + 14 + 9] = 17;
        assert!(is_datagram(&frame));
        frame[cable_end::HEADER + 14 + 9] = 6;
        assert!(!is_datagram(&frame));
        assert_eq!(addresses(&frame[..40]), None);
        frame[cable_end::HEADER + 26..cable_end::HEADER + 34].copy_from_slice(&[192, 0, 2, 1, 198, 51, 100, 2]);
        assert_eq!(addresses(&frame), Some([[192, 0, 2, 1].into(), [198, 51, 100, 2].into()]));
    }
}
