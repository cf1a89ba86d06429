//! The end of a cable: a packet socket that takes in and gives out whole frames unchanged.
//!
//! With `PACKET_VNET_HDR` each frame carries a small header in front (`linux/virtio_net.h`) that keeps partial checksums
//! and segmentation-offload frames whole: without it TCP and UDP across the cable break. Promiscuous, because the frames
//! are for others; outgoing frames are not looped back (packet(7)).

use crate::judge::Micros;
use nix::libc;
use socket2::Socket;
use std::io;
use std::os::fd::{AsRawFd, RawFd};

/// Octets of `virtio_net_hdr` in front of each frame.
pub const HEADER: usize = 10;

/// Opens the end on one interface of the calling thread's network namespace. Non-blocking. Needs `CAP_NET_RAW`.
pub fn open(index: u32) -> io::Result<Socket> {
    let socket = super::packet::open(index, super::packet::ALL_PROTOCOLS)?;
    let fd = socket.as_raw_fd();
    let one: libc::c_int = 1;
    set(fd, libc::PACKET_VNET_HDR, &one)?;
    set(fd, PACKET_IGNORE_OUTGOING, &one)?;
    let member = libc::packet_mreq {
        mr_ifindex: i32::try_from(index).map_err(|_| io::Error::from(io::ErrorKind::InvalidInput))?,
        mr_type: libc::PACKET_MR_PROMISC as u16,
        mr_alen: 0,
        mr_address: [0; 8],
    };
    set(fd, libc::PACKET_ADD_MEMBERSHIP, &member)?;
    // Frames that came between the bind and the options above have no header in front; let them go.
    let mut junk = [std::mem::MaybeUninit::uninit(); 16];
    while socket.recv(&mut junk).is_ok() {}
    Ok(socket)
}

/// `linux/if_packet.h`, since Linux 4.20.
const PACKET_IGNORE_OUTGOING: libc::c_int = 23;

fn set<T>(fd: RawFd, option: libc::c_int, value: &T) -> io::Result<()> {
    // SAFETY: the pointer and length describe `value`, plain data that outlives the call.
    let done = unsafe {
        libc::setsockopt(
            fd,
            libc::SOL_PACKET,
            option,
            std::ptr::from_ref(value).cast(),
            size_of::<T>() as libc::socklen_t,
        )
    };
    if done == 0 { Ok(()) } else { Err(io::Error::last_os_error()) }
}

/// Waits until one of two descriptors can be read or the time is over; tells which can be read.
pub fn wait_readable(a: &impl AsRawFd, b: &impl AsRawFd, at_most: Micros) -> io::Result<[bool; 2]> {
    let mut polled = [a.as_raw_fd(), b.as_raw_fd()].map(|fd| libc::pollfd { fd, events: libc::POLLIN, revents: 0 });
    let us = at_most.0.max(0);
    let timeout = libc::timespec { tv_sec: us / 1_000_000, tv_nsec: us % 1_000_000 * 1_000 };
    // SAFETY: the array and the timespec outlive the call; no signal mask is given.
    let n = unsafe { libc::ppoll(polled.as_mut_ptr(), 2, &raw const timeout, std::ptr::null()) };
    if n < 0 {
        let e = io::Error::last_os_error();
        return if e.kind() == io::ErrorKind::Interrupted { Ok([false; 2]) } else { Err(e) };
    }
    Ok(polled.map(|p| p.revents != 0))
}
