//! Sockets that leave by the plan's interface.
//!
//! Decides how a socket is opened and bound; the probes decide what goes over it. A host with two ways out would
//! otherwise measure the wrong one.

use super::errqueue;
use nix::net::if_::if_nametoindex;
use socket2::{Domain, Protocol, Socket, Type};
use std::io;
use std::net::{IpAddr, SocketAddr, SocketAddrV6};

/// Ties a socket to an interface (`SO_BINDTODEVICE`, unprivileged from Linux 5.7). Loopback targets are left alone:
/// they can't be reached through another interface. Where the kernel forbids it, routing decides.
pub fn bind(socket: &Socket, interface: Option<&str>, target: IpAddr) -> io::Result<()> {
    let Some(name) = interface.filter(|_| !target.is_loopback()) else { return Ok(()) };
    match socket.bind_device(Some(name.as_bytes())) {
        Err(e) if e.kind() == io::ErrorKind::PermissionDenied => Ok(()),
        other => other,
    }
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

/// A connected UDP socket with a port of the kernel's choosing and extended errors on: a closed port or an unreachable
/// host is told at once.
pub fn udp(target: SocketAddr, interface: Option<&str>) -> io::Result<tokio::net::UdpSocket> {
    let socket = Socket::new(Domain::for_address(target), Type::DGRAM.nonblocking().cloexec(), Some(Protocol::UDP))?;
    bind(&socket, interface, target.ip())?;
    errqueue::enable_errors(&socket, target.is_ipv6())?;
    socket.connect(&zoned(target, interface).into())?;
    tokio::net::UdpSocket::from_std(socket.into())
}

/// A TCP connection on its way: the handshake goes on after the call. An error here was raised on this host (no
/// route, no address, forbidden), except that a refusal on loopback can come at once.
pub fn tcp(target: SocketAddr, interface: Option<&str>) -> io::Result<Connecting> {
    let socket = Socket::new(Domain::for_address(target), Type::STREAM.nonblocking().cloexec(), Some(Protocol::TCP))?;
    bind(&socket, interface, target.ip())?;
    match socket.connect(&zoned(target, interface).into()) {
        Err(e) if e.raw_os_error() == Some(nix::libc::EINPROGRESS) => {}
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
