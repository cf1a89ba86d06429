//! Reading a socket with its control messages: the ordinary queue and the error queue (`ip(7)`, `IP_RECVERR`;
//! kernel documentation, networking/timestamping).
//!
//! Decides nothing: hands up the bytes, the kernel's stamps and the extended errors as they are.

use nix::errno::Errno;
use nix::sys::socket::{
    ControlMessageOwned, MsgFlags, SockaddrLike as _, SockaddrStorage, TimestampingFlag, recvmsg, setsockopt, sockopt,
};
use std::io::{self, IoSliceMut};
use std::net::IpAddr;
use std::os::fd::{AsFd, AsRawFd};

/// Longest packet read; the rest is cut off.
const LONGEST: usize = 2_048;

/// A kernel time stamp, nanoseconds on the wall clock. Only differences between two of them mean anything, and only
/// if the clock was not stepped in between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp(pub i64);

/// Who raised an extended error (`SO_EE_ORIGIN_*`, linux/errqueue.h).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// This host.
    Local,
    /// ICMP.
    Icmp,
    /// ICMP for IPv6.
    Icmp6,
    /// Not an error: a send time stamp.
    Timestamping,
    /// Any other.
    Other(u8),
}

/// An extended error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raised {
    /// Who raised it.
    pub origin: Origin,
    /// ICMP type.
    pub kind: u8,
    /// ICMP code.
    pub code: u8,
    /// The error number it stands for.
    pub errno: i32,
    /// What goes with it; the size that would fit, where a packet was too big.
    pub info: u32,
    /// Who sent it (`SO_EE_OFFENDER`), where the kernel knows.
    pub offender: Option<IpAddr>,
}

impl Raised {
    fn of(e: &nix::libc::sock_extended_err, offender: Option<IpAddr>) -> Self {
        let origin = match e.ee_origin {
            1 => Origin::Local,
            2 => Origin::Icmp,
            3 => Origin::Icmp6,
            4 => Origin::Timestamping,
            n => Origin::Other(n),
        };
        let errno = i32::try_from(e.ee_errno).unwrap_or(0);
        Self { origin, kind: e.ee_type, code: e.ee_code, errno, info: e.ee_info, offender }
    }
}

/// One message read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Where it came from; on the error queue, where the packet had been sent.
    pub peer: Option<IpAddr>,
    /// The packet.
    pub bytes: Vec<u8>,
    /// The kernel's software stamp, where it took one.
    pub stamp: Option<Stamp>,
    /// The extended error, on the error queue.
    pub raised: Option<Raised>,
}

/// Switches on extended errors, so that every ICMP error about our packets is told.
pub fn enable_errors(socket: &impl AsFd, v6: bool) -> io::Result<()> {
    if v6 {
        setsockopt(socket, sockopt::Ipv6RecvErr, &true)?;
    } else {
        setsockopt(socket, sockopt::Ipv4RecvErr, &true)?;
    }
    Ok(())
}

/// Switches on the kernel's software stamps for sending and receiving.
///
/// The sent packet is looped back whole with its stamp rather than by counter: a counter slips when a send fails.
pub fn enable_stamps(socket: &impl AsFd) -> io::Result<()> {
    let flags = TimestampingFlag::SOF_TIMESTAMPING_SOFTWARE
        | TimestampingFlag::SOF_TIMESTAMPING_RX_SOFTWARE
        | TimestampingFlag::SOF_TIMESTAMPING_TX_SOFTWARE;
    setsockopt(socket, sockopt::Timestamping, &flags)?;
    Ok(())
}

/// Takes one message off the ordinary queue of a non-blocking socket. `WouldBlock` when there is none.
pub fn receive(socket: &impl AsRawFd) -> io::Result<Message> {
    read(socket, MsgFlags::MSG_DONTWAIT)
}

/// Takes one message off the error queue. `WouldBlock` when there is none.
pub fn receive_error(socket: &impl AsRawFd) -> io::Result<Message> {
    read(socket, MsgFlags::MSG_DONTWAIT | MsgFlags::MSG_ERRQUEUE)
}

fn read(socket: &impl AsRawFd, flags: MsgFlags) -> io::Result<Message> {
    let mut bytes = vec![0u8; LONGEST];
    // Room for stamps (48 bytes), an extended error with its offender (44), and headers.
    let mut control = [0u8; 512];
    let mut parts = [IoSliceMut::new(&mut bytes)];
    let got = loop {
        match recvmsg::<SockaddrStorage>(socket.as_raw_fd(), &mut parts, Some(&mut control), flags) {
            Err(Errno::EINTR) => {}
            other => break other?,
        }
    };
    let mut stamp = None;
    let mut raised = None;
    // Control data that did not fit is an error here; then there are simply no stamps.
    for c in got.cmsgs().into_iter().flatten() {
        match c {
            ControlMessageOwned::ScmTimestampsns(t) => {
                let ns = t.system.tv_sec() * 1_000_000_000 + t.system.tv_nsec();
                stamp = (ns != 0).then_some(Stamp(ns));
            }
            ControlMessageOwned::Ipv4RecvErr(e, from) => {
                let offender = from.map(|a| u32::from_be(a.sin_addr.s_addr)).filter(|a| *a != 0);
                raised = Some(Raised::of(&e, offender.map(|a| IpAddr::from(std::net::Ipv4Addr::from_bits(a)))));
            }
            ControlMessageOwned::Ipv6RecvErr(e, from) => {
                let offender = from.map(|a| IpAddr::from(a.sin6_addr.s6_addr)).filter(|a| !a.is_unspecified());
                raised = Some(Raised::of(&e, offender));
            }
            _ => {}
        }
    }
    let peer = got.address.filter(|a| a.len() > 0).and_then(|a| {
        let four = a.as_sockaddr_in().map(|s| IpAddr::V4(s.ip()));
        four.or_else(|| a.as_sockaddr_in6().map(|s| IpAddr::V6(s.ip())))
    });
    let length = got.bytes;
    bytes.truncate(length);
    Ok(Message { peer, bytes, stamp, raised })
}
