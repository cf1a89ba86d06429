//! Packet sockets (`AF_PACKET`): whole frames on one interface, never promiscuous unless asked.

use nix::libc;
use socket2::{Domain, Protocol, SockAddr, Socket, Type};
use std::io;

/// Every protocol (`ETH_P_ALL`).
pub const ALL_PROTOCOLS: u16 = libc::ETH_P_ALL as u16;
/// ARP (`ETH_P_ARP`).
pub const ARP: u16 = libc::ETH_P_ARP as u16;
/// IPv4 (`ETH_P_IP`).
pub const IPV4: u16 = libc::ETH_P_IP as u16;

/// Opens a non-blocking raw packet socket bound to one interface and one Ethernet protocol. Needs `CAP_NET_RAW` in the
/// network namespace of the calling thread; `EPERM` otherwise.
///
/// The protocol is 0 until the bind so that no frame of another interface is queued.
pub fn open(index: u32, protocol: u16) -> io::Result<Socket> {
    let socket = Socket::new(Domain::PACKET, Type::RAW.nonblocking().cloexec(), Some(Protocol::from(0)))?;
    // SAFETY: `sockaddr_ll` is plain data for which all-zero is valid.
    let mut address: libc::sockaddr_ll = unsafe { std::mem::zeroed() };
    address.sll_family = libc::AF_PACKET as u16;
    address.sll_protocol = protocol.to_be();
    address.sll_ifindex = i32::try_from(index).map_err(|_| io::Error::from(io::ErrorKind::InvalidInput))?;
    // SAFETY: the storage is larger than `sockaddr_ll` and aligned for any socket address; the length set is exact.
    let ((), address) = unsafe {
        SockAddr::try_init(|storage, len| {
            storage.cast::<libc::sockaddr_ll>().write(address);
            *len = size_of::<libc::sockaddr_ll>() as u32;
            Ok(())
        })?
    };
    socket.bind(&address)?;
    Ok(socket)
}
