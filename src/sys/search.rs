//! A socket for one search on the local network: out to a multicast group, back only from the gateway.
//!
//! Decides that the search leaves by one interface and no router passes it on, and that the kernel throws away what any
//! other host sends to it. Does not know what is searched for.

use super::frames::{drop_frame, load, take, unless_equal};
use super::outgoing;
use nix::libc;
use socket2::{Domain, Protocol, Socket, Type};
use std::io;
use std::net::{Ipv4Addr, SocketAddrV4};
use tokio::net::UdpSocket;

/// Where a filter finds the sender's address in the IPv4 header (RFC 791), whatever the kernel gives it to look at.
const SENDER: u32 = (libc::SKF_NET_OFF + 12) as u32;

/// A socket at `own` address of `interface` that hears `gateway` alone.
pub fn open(interface: Option<&str>, own: Ipv4Addr, gateway: Ipv4Addr) -> io::Result<UdpSocket> {
    let socket = Socket::new(Domain::IPV4, Type::DGRAM.nonblocking().cloexec(), Some(Protocol::UDP))?;
    // Before the port is open, so that nothing else is ever queued.
    socket.attach_filter(&[load(libc::BPF_W, SENDER), unless_equal(gateway.to_bits(), 1), take(), drop_frame()])?;
    outgoing::bind(&socket, interface, own.into())?;
    socket.set_multicast_if_v4(&own)?;
    socket.set_multicast_ttl_v4(1)?;
    socket.set_multicast_loop_v4(false)?;
    socket.bind(&SocketAddrV4::new(own, 0).into())?;
    UdpSocket::from_std(socket.into())
}
