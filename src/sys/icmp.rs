//! Echo sockets: datagram ping sockets where the host's ping range allows, else raw sockets where `CAP_NET_RAW` does
//! (`icmp(7)`, `raw(7)`), with kernel stamps for sending and receiving.
//!
//! Decides how to ask the kernel; what the packets mean is `wire::icmp`'s.

use super::errqueue::{self, Message};
use super::outgoing;
use socket2::{Domain, Protocol, SockAddr, SockFilter, Socket, Type};
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use tokio::io::Interest;

/// Messages handed up at once.
const BATCH: usize = 32;

/// An echo socket for one target.
#[derive(Debug)]
pub struct EchoSocket {
    /// A ping or raw socket in a UDP socket's clothes: tokio's safe way to wait on both queues.
    socket: tokio::net::UdpSocket,
    target: SocketAddr,
    id: u16,
    raw: bool,
}

/// What an echo socket heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// A packet from the network; on a raw IPv4 socket with its IP header.
    Packet(Message),
    /// Off the error queue: our packet looped back with its send time, or an error about it.
    Queue(Message),
}

impl EchoSocket {
    /// Opens a socket for echoes to `target` by `interface`. `raw_id` identifies our echoes on a raw socket.
    ///
    /// `PermissionDenied` where this host lets us have neither kind; `ENODEV` where the interface is gone.
    pub fn open(target: IpAddr, interface: Option<&str>, raw_id: u16) -> io::Result<Self> {
        let (domain, protocol) = match target {
            IpAddr::V4(_) => (Domain::IPV4, Protocol::ICMPV4),
            IpAddr::V6(_) => (Domain::IPV6, Protocol::ICMPV6),
        };
        let (socket, raw) = match Socket::new(domain, Type::DGRAM.nonblocking().cloexec(), Some(protocol)) {
            Ok(s) => (s, false),
            Err(e) if e.kind() == io::ErrorKind::PermissionDenied => {
                (Socket::new(domain, Type::RAW.nonblocking().cloexec(), Some(protocol))?, true)
            }
            Err(e) => return Err(e),
        };
        outgoing::prefer(&socket, interface, target)?;
        errqueue::enable_errors(&socket, target.is_ipv6())?;
        errqueue::enable_stamps(&socket)?;
        let id = if raw {
            socket.attach_filter(&filter(target, raw_id))?;
            raw_id
        } else {
            let any = match target {
                IpAddr::V4(_) => SockAddr::from(SocketAddr::from((Ipv4Addr::UNSPECIFIED, 0))),
                IpAddr::V6(_) => SockAddr::from(SocketAddr::from((Ipv6Addr::UNSPECIFIED, 0))),
            };
            socket.bind(&any)?;
            socket.local_addr()?.as_socket().map_or(0, |a| a.port())
        };
        let target = outgoing::zoned(SocketAddr::new(target, 0), interface);
        Ok(Self { socket: tokio::net::UdpSocket::from_std(socket.into())?, target, id, raw })
    }

    /// The identifier our echoes carry.
    pub fn id(&self) -> u16 {
        self.id
    }

    /// Whether packets come with an IP header (raw IPv4 sockets; raw IPv6 sockets give the message alone).
    pub fn with_ip_header(&self) -> bool {
        self.raw && self.target.is_ipv4()
    }

    /// From now on messages leave whole, or not at all where they do not fit the interface.
    pub fn whole(&self) -> io::Result<()> {
        outgoing::whole(&self.socket, self.target.is_ipv6())
    }

    /// Sends a message. An error an earlier packet raised may be waiting on the socket; it is told on the error queue
    /// too, so the send is tried once more.
    pub async fn send(&self, message: &[u8]) -> io::Result<()> {
        if self.socket.send_to(message, self.target).await.is_err() {
            self.socket.send_to(message, self.target).await?;
        }
        Ok(())
    }

    /// Waits for something to hear, and hands up all there is, at most 32. Send stamps come before the reply they
    /// belong to. Packets from other hosts than the target are left out.
    pub async fn hear(&self) -> io::Result<Vec<Heard>> {
        loop {
            self.socket.ready(Interest::READABLE | Interest::ERROR).await?;
            let mut packets = Vec::new();
            for _ in 0..BATCH {
                match self.socket.try_io(Interest::READABLE, || errqueue::receive(&self.socket)) {
                    Ok(m) if m.peer == Some(self.target.ip()) => packets.push(Heard::Packet(m)),
                    Ok(_) => {}
                    Err(e) if e.kind() == io::ErrorKind::WouldBlock => break,
                    Err(e) if is_told_on_the_error_queue(&e) => {}
                    Err(e) => return Err(e),
                }
            }
            // The reply was read first: its send stamp, queued before it, is then certainly found here.
            let mut heard = Vec::new();
            while heard.len() < BATCH {
                match errqueue::receive_error(&self.socket) {
                    Ok(m) => heard.push(Heard::Queue(m)),
                    Err(e) if e.kind() == io::ErrorKind::WouldBlock => {
                        // Lets tokio forget the readiness it may hold.
                        let _ = self.socket.try_io(Interest::ERROR, || {
                            errqueue::receive_error(&self.socket).map(|m| heard.push(Heard::Queue(m)))
                        });
                        break;
                    }
                    Err(e) => return Err(e),
                }
            }
            heard.append(&mut packets);
            if !heard.is_empty() {
                return Ok(heard);
            }
        }
    }
}

/// Errors the kernel raises for a packet sent earlier; the details wait on the error queue.
fn is_told_on_the_error_queue(e: &io::Error) -> bool {
    use nix::libc::{
        EACCES, ECONNREFUSED, EHOSTDOWN, EHOSTUNREACH, EMSGSIZE, ENETUNREACH, ENONET, ENOPROTOOPT, EOPNOTSUPP, EPROTO,
    };
    e.raw_os_error().is_some_and(|n| {
        [EACCES, ECONNREFUSED, EHOSTDOWN, EHOSTUNREACH, EMSGSIZE, ENETUNREACH, ENONET, ENOPROTOOPT, EOPNOTSUPP, EPROTO]
            .contains(&n)
    })
}

/// Lets through echo replies with our identifier and nothing else, so that a host busy with ICMP can't flood a raw
/// socket (classic BPF, linux/filter.h). Raw IPv4 sockets see the IP header first, raw IPv6 sockets do not.
fn filter(target: IpAddr, id: u16) -> Vec<SockFilter> {
    use nix::libc::{BPF_ABS, BPF_B, BPF_H, BPF_IND, BPF_JEQ, BPF_JMP, BPF_K, BPF_LD, BPF_LDX, BPF_MSH, BPF_RET};
    let op = |code: u32, jt, jf, k| SockFilter::new(code as u16, jt, jf, k);
    let (mut program, mode, kind) = match target {
        // X = length of the IP header.
        IpAddr::V4(_) => (vec![op(BPF_LDX | BPF_B | BPF_MSH, 0, 0, 0)], BPF_IND, 0),
        IpAddr::V6(_) => (vec![], BPF_ABS, 129),
    };
    program.extend([
        op(BPF_LD | BPF_B | mode, 0, 0, 0),
        op(BPF_JMP | BPF_JEQ | BPF_K, 0, 3, kind),
        op(BPF_LD | BPF_H | mode, 0, 0, 4),
        op(BPF_JMP | BPF_JEQ | BPF_K, 0, 1, u32::from(id)),
        op(BPF_RET | BPF_K, 0, 0, u32::MAX),
        op(BPF_RET | BPF_K, 0, 0, 0),
    ]);
    program
}
