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
use std::os::fd::AsRawFd;

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

/// Sets a plain integer option.
fn set(socket: &impl AsRawFd, level: libc::c_int, option: libc::c_int, value: libc::c_int) -> io::Result<()> {
    let length = size_of_val(&value) as libc::socklen_t;
    // SAFETY: the descriptor is open for the call, and the value is a plain integer of the length given.
    let done = unsafe { libc::setsockopt(socket.as_raw_fd(), level, option, (&raw const value).cast(), length) };
    if done == 0 { Ok(()) } else { Err(io::Error::last_os_error()) }
}

/// Packets leave whole with "don't fragment", whatever size the kernel believes fits the path (`IP_PMTUDISC_PROBE`,
/// ip(7)); larger than the interface takes, they are refused with `EMSGSIZE`.
pub fn whole(socket: &impl AsRawFd, v6: bool) -> io::Result<()> {
    if v6 {
        set(socket, libc::IPPROTO_IPV6, libc::IPV6_MTU_DISCOVER, libc::IPV6_PMTUDISC_PROBE)?;
        set(socket, libc::IPPROTO_IPV6, libc::IPV6_DONTFRAG, 1)
    } else {
        set(socket, libc::IPPROTO_IP, libc::IP_MTU_DISCOVER, libc::IP_PMTUDISC_PROBE)
    }
}

/// Gives a socket's packets a life of so many hops.
pub fn set_hops(socket: &tokio::net::UdpSocket, hops: u32) -> io::Result<()> {
    let v6 = socket.local_addr()?.is_ipv6();
    let socket = socket2::SockRef::from(socket);
    if v6 { socket.set_unicast_hops_v6(hops) } else { socket.set_ttl_v4(hops) }
}

/// Has the kernel ask the far end of an idle connection, a second from now and twice more, whether it is still there: a
/// segment without data that any TCP must answer (RFC 9293 section 3.8.4).
pub fn ask_in_a_second(stream: &tokio::net::TcpStream) -> io::Result<()> {
    let second = std::time::Duration::from_secs(1);
    let keep = socket2::TcpKeepalive::new().with_time(second).with_interval(second).with_retries(3);
    socket2::SockRef::from(stream).set_tcp_keepalive(&keep)
}

/// How long ago the far end last acknowledged anything on a connection (`TCP_INFO`, tcp(7)).
pub fn acknowledged(stream: &tokio::net::TcpStream) -> io::Result<std::time::Duration> {
    // SAFETY: plain integers, for which all zeroes are a value.
    let mut info: libc::tcp_info = unsafe { std::mem::zeroed() };
    let mut length = size_of_val(&info) as libc::socklen_t;
    let to = (&raw mut info).cast();
    // SAFETY: the descriptor is open for the call; the kernel writes at most `length` octets, the size of the value.
    let done = unsafe { libc::getsockopt(stream.as_raw_fd(), libc::IPPROTO_TCP, libc::TCP_INFO, to, &raw mut length) };
    if done != 0 {
        return Err(io::Error::last_os_error());
    }
    Ok(std::time::Duration::from_millis(u64::from(info.tcpi_last_ack_recv)))
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
    // An older kernel does not queue what answered a SYN; then the plain error is all there is.
    errqueue::enable_errors(&socket, target.is_ipv6())?;
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
            Some(_) if self.forbidden() => Err(io::Error::from_raw_os_error(libc::EACCES)),
            Some(e) => Err(e),
            None => Ok(self.0),
        }
    }

    /// Whether ICMP said "prohibited" (RFC 1812 section 5.2.7.1: codes 9, 10, 13; RFC 4443 section 3.1: 1), which the
    /// error number alone does not tell from "host unreachable".
    fn forbidden(&self) -> bool {
        std::iter::from_fn(|| errqueue::receive_error(&self.0).ok()).take(8).filter_map(|m| m.raised).any(|r| {
            match r.origin {
                errqueue::Origin::Icmp => r.kind == 3 && matches!(r.code, 9 | 10 | 13),
                errqueue::Origin::Icmp6 => r.kind == 1 && r.code == 1,
                _ => false,
            }
        })
    }
}
