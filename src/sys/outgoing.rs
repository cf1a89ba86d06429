//! Sockets that leave by the plan's interface.
//!
//! Decides how a socket is opened and bound; the probes decide what goes over it. A host with two ways out would
//! otherwise measure the wrong one.

use super::{errqueue, route};
use nix::libc;
use nix::net::if_::if_nametoindex;
use socket2::{Domain, Protocol, Socket, Type};
use std::io;
use std::net::{IpAddr, SocketAddr, SocketAddrV6};
use std::os::fd::AsRawFd as _;

/// Ties a socket to an interface (`SO_BINDTODEVICE`, unprivileged from Linux 5.7). Loopback targets are left alone:
/// they can't be reached through another interface. Where the kernel forbids it, routing decides.
pub fn bind(socket: &Socket, interface: Option<&str>, target: IpAddr) -> io::Result<()> {
    let Some(name) = interface.filter(|_| !target.is_loopback()) else { return Ok(()) };
    match socket.bind_device(Some(name.as_bytes())) {
        Err(e) if e.kind() == io::ErrorKind::PermissionDenied => Ok(()),
        other => other,
    }
}

/// Sends by an interface without refusing what comes in by another (`IP_UNICAST_IF`, `IPV6_UNICAST_IF`). For sockets
/// that send datagrams: the kernel's own "host unreachable" comes in by loopback, and a socket tied to a device would
/// not hear it. Loopback targets are left alone. `ENODEV` where the interface is gone.
pub fn prefer(socket: &Socket, interface: Option<&str>, target: IpAddr) -> io::Result<()> {
    let Some(name) = interface.filter(|_| !target.is_loopback()) else { return Ok(()) };
    let index = if_nametoindex(name)?.to_be();
    let (level, option) = match target {
        IpAddr::V4(_) => (libc::IPPROTO_IP, libc::IP_UNICAST_IF),
        IpAddr::V6(_) => (libc::IPPROTO_IPV6, libc::IPV6_UNICAST_IF),
    };
    let length = size_of_val(&index) as libc::socklen_t;
    // SAFETY: the descriptor is open for the call, and the value is a plain integer of the length given.
    let done = unsafe { libc::setsockopt(socket.as_raw_fd(), level, option, (&raw const index).cast(), length) };
    if done == 0 { Ok(()) } else { Err(io::Error::last_os_error()) }
}

/// The address with the interface as its zone where it is link-local and has none (RFC 4007).
pub fn zoned(target: SocketAddr, interface: Option<&str>) -> SocketAddr {
    match (target, interface) {
        (SocketAddr::V6(a), Some(name)) if a.ip().is_unicast_link_local() && a.scope_id() == 0 => {
            SocketAddr::V6(SocketAddrV6::new(*a.ip(), a.port(), a.flowinfo(), if_nametoindex(name).unwrap_or(0)))
        }
        _ => target,
    }
}

/// Refuses what has no route by the interface, which `connect` does not over IPv4.
fn routed(target: IpAddr, interface: Option<&str>) -> io::Result<()> {
    match (target, interface) {
        (IpAddr::V4(a), Some(name)) if !a.is_loopback() => route::check(a, name),
        _ => Ok(()),
    }
}

/// Refuses a connected socket for which the kernel found no source address.
fn addressed(socket: &Socket) -> io::Result<()> {
    match socket.local_addr()?.as_socket() {
        Some(own) if own.ip().is_unspecified() => Err(io::Error::from_raw_os_error(libc::EADDRNOTAVAIL)),
        _ => Ok(()),
    }
}

/// A connected UDP socket with a port of the kernel's choosing and extended errors on: a closed port or an unreachable
/// host is told at once.
pub fn udp(target: SocketAddr, interface: Option<&str>) -> io::Result<tokio::net::UdpSocket> {
    let socket = Socket::new(Domain::for_address(target), Type::DGRAM.nonblocking().cloexec(), Some(Protocol::UDP))?;
    prefer(&socket, interface, target.ip())?;
    routed(target.ip(), interface)?;
    errqueue::enable_errors(&socket, target.is_ipv6())?;
    socket.connect(&zoned(target, interface).into())?;
    addressed(&socket)?;
    tokio::net::UdpSocket::from_std(socket.into())
}

/// A TCP connection on its way: the handshake goes on after the call. An error here was raised on this host (no
/// route, no address, forbidden), except that a refusal on loopback can come at once.
pub fn tcp(target: SocketAddr, interface: Option<&str>) -> io::Result<Connecting> {
    let socket = Socket::new(Domain::for_address(target), Type::STREAM.nonblocking().cloexec(), Some(Protocol::TCP))?;
    bind(&socket, interface, target.ip())?;
    routed(target.ip(), interface)?;
    // Connecting a datagram socket settles the way and the source without sending (connect(2)).
    let trial = Socket::new(Domain::for_address(target), Type::DGRAM.nonblocking().cloexec(), Some(Protocol::UDP))?;
    bind(&trial, interface, target.ip())?;
    trial.connect(&zoned(target, interface).into())?;
    addressed(&trial)?;
    match socket.connect(&zoned(target, interface).into()) {
        Err(e) if e.raw_os_error() == Some(libc::EINPROGRESS) => {}
        other => other?,
    }
    Ok(Connecting(tokio::net::TcpStream::from_std(socket.into())?))
}

/// A TCP connection on its way.
#[derive(Debug)]
pub struct Connecting(tokio::net::TcpStream);

impl Connecting {
    /// Waits until the connection stands, or for what the network said against it.
    pub async fn done(self) -> io::Result<tokio::net::TcpStream> {
        self.0.writable().await?;
        match self.0.take_error()? {
            Some(e) => Err(e),
            None => Ok(self.0),
        }
    }
}
