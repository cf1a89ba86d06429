//! The practice site's address service: a small DHCP server over UDP (RFC 2131, RFC 2132), used by the router and by the
//! stray box.
//!
//! Decides which address a client gets and what else it is told. Replies are broadcast unless the client already has its
//! address, which RFC 2131 4.1 allows and which needs no raw socket.

use dhcproto::v4::{DhcpOption, Flags, Message, MessageType, Opcode, OptionCode};
use dhcproto::{Decodable, Decoder, Encodable, Encoder};
use socket2::{Domain, Protocol, Socket, Type};
use std::collections::HashMap;
use std::io;
use std::net::{Ipv4Addr, SocketAddrV4};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::net::UdpSocket;

/// Port of a DHCP server.
pub(super) const SERVER_PORT: u16 = 67;
/// Port of a DHCP client.
pub(super) const CLIENT_PORT: u16 = 68;
/// Most clients known; further ones get no answer.
const MOST_CLIENTS: u8 = 50;

/// What a server hands out.
#[derive(Clone, Debug)]
pub(super) struct Terms {
    /// The server, which is also the router and the resolver it names.
    pub(super) server: Ipv4Addr,
    /// First address given; the following ones go to further clients.
    pub(super) first: Ipv4Addr,
    /// Prefix length.
    pub(super) prefix: u8,
    /// Lease time, seconds; T1 is a half and T2 seven eighths of it (RFC 2131 4.4.5).
    pub(super) lease_s: u32,
}

/// A UDP socket on one interface and port that may send broadcasts.
pub(super) fn open(interface: &str, port: u16) -> io::Result<UdpSocket> {
    let socket = Socket::new(Domain::IPV4, Type::DGRAM.nonblocking().cloexec(), Some(Protocol::UDP))?;
    socket.set_reuse_address(true)?;
    socket.set_broadcast(true)?;
    socket.bind_device(Some(interface.as_bytes()))?;
    socket.bind(&SocketAddrV4::new(Ipv4Addr::UNSPECIFIED, port).into())?;
    UdpSocket::from_std(socket.into())
}

/// Serves while `on` is true, until the task is dropped.
pub(super) async fn serve(socket: UdpSocket, terms: Terms, on: Arc<AtomicBool>) {
    let mut given = HashMap::new();
    let mut buffer = [0; 1_500];
    loop {
        let Ok((n, _)) = socket.recv_from(&mut buffer).await else {
            tokio::time::sleep(Duration::from_millis(1)).await;
            continue;
        };
        if !on.load(Ordering::Relaxed) {
            continue;
        }
        let asked = Message::decode(&mut Decoder::new(&buffer[..n])).ok();
        let Some(said) = asked.and_then(|m| answer(&terms, &mut given, &m)) else { continue };
        let to = if said.ciaddr().is_unspecified() { Ipv4Addr::BROADCAST } else { said.ciaddr() };
        let mut bytes = Vec::new();
        if said.encode(&mut Encoder::new(&mut bytes)).is_ok() {
            // A client that hears nothing asks again.
            drop(socket.send_to(&bytes, (to, CLIENT_PORT)).await);
        }
    }
}

fn answer(terms: &Terms, given: &mut HashMap<Vec<u8>, Ipv4Addr>, asked: &Message) -> Option<Message> {
    if asked.opcode() != Opcode::BootRequest || asked.chaddr().len() != 6 {
        return None;
    }
    let kind = asked.opts().msg_type()?;
    let known = given.get(asked.chaddr()).copied();
    let (kind, address) = match kind {
        MessageType::Discover => {
            let number = u8::try_from(given.len()).ok().filter(|n| *n < MOST_CLIENTS);
            let address = match known {
                Some(a) => a,
                None => Ipv4Addr::from(u32::from(terms.first) + u32::from(number?)),
            };
            given.insert(asked.chaddr().to_vec(), address);
            (MessageType::Offer, Some(address))
        }
        MessageType::Request => {
            if let Some(DhcpOption::ServerIdentifier(to)) = asked.opts().get(OptionCode::ServerIdentifier)
                && *to != terms.server
            {
                return None;
            }
            let wanted = match asked.opts().get(OptionCode::RequestedIpAddress) {
                Some(DhcpOption::RequestedIpAddress(a)) => *a,
                _ => asked.ciaddr(),
            };
            // A server that knows nothing of a client stays silent (RFC 2131 4.3.2).
            if known? == wanted { (MessageType::Ack, Some(wanted)) } else { (MessageType::Nak, None) }
        }
        _ => return None,
    };
    let mut said = Message::default();
    said.set_opcode(Opcode::BootReply).set_xid(asked.xid()).set_flags(asked.flags()).set_chaddr(asked.chaddr());
    said.opts_mut().insert(DhcpOption::MessageType(kind));
    said.opts_mut().insert(DhcpOption::ServerIdentifier(terms.server));
    let Some(address) = address else {
        // A refusal goes to everybody: the client's address may not be its own (RFC 2131 4.1).
        said.set_flags(Flags::default().set_broadcast());
        return Some(said);
    };
    said.set_yiaddr(address).set_ciaddr(asked.ciaddr());
    for option in [
        DhcpOption::AddressLeaseTime(terms.lease_s),
        DhcpOption::Renewal(terms.lease_s / 2),
        DhcpOption::Rebinding(terms.lease_s / 8 * 7),
        DhcpOption::SubnetMask(Ipv4Addr::from(u32::MAX.checked_shl(32 - u32::from(terms.prefix)).unwrap_or(0))),
        DhcpOption::Router(vec![terms.server]),
        DhcpOption::DomainNameServer(vec![terms.server]),
    ] {
        said.opts_mut().insert(option);
    }
    Some(said)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TERMS: Terms = Terms {
        server: Ipv4Addr::new(192, 168, 77, 1),
        first: Ipv4Addr::new(192, 168, 77, 100),
        prefix: 24,
        lease_s: 120,
    };

    fn ask(kind: MessageType, mac: u8, more: &[DhcpOption]) -> Message {
        let mut m = Message::default();
        m.set_xid(9).set_chaddr(&[2, 0, 0, 0, 0, mac]);
        m.opts_mut().insert(DhcpOption::MessageType(kind));
        for o in more {
            m.opts_mut().insert(o.clone());
        }
        m
    }

    #[test]
    fn an_offer_holds_its_terms_and_repeats() {
        let mut given = HashMap::new();
        let first = answer(&TERMS, &mut given, &ask(MessageType::Discover, 1, &[])).expect("offers");
        assert_eq!(first.opts().msg_type(), Some(MessageType::Offer));
        assert_eq!((first.yiaddr(), first.xid()), (TERMS.first, 9));
        let timer = |code| first.opts().get(code).cloned();
        assert_eq!(timer(OptionCode::AddressLeaseTime), Some(DhcpOption::AddressLeaseTime(120)));
        assert_eq!(timer(OptionCode::Renewal), Some(DhcpOption::Renewal(60)));
        assert_eq!(timer(OptionCode::Rebinding), Some(DhcpOption::Rebinding(105)));
        assert_eq!(timer(OptionCode::SubnetMask), Some(DhcpOption::SubnetMask(Ipv4Addr::new(255, 255, 255, 0))));
        let again = answer(&TERMS, &mut given, &ask(MessageType::Discover, 1, &[])).expect("offers");
        assert_eq!(again.yiaddr(), TERMS.first);
        let other = answer(&TERMS, &mut given, &ask(MessageType::Discover, 2, &[])).expect("offers");
        assert_eq!(other.yiaddr(), Ipv4Addr::new(192, 168, 77, 101));
    }

    #[test]
    fn requests_are_granted_refused_or_left_to_others() {
        let mut given = HashMap::new();
        answer(&TERMS, &mut given, &ask(MessageType::Discover, 1, &[]));
        let wants =
            |a: Ipv4Addr, server: Ipv4Addr| [DhcpOption::RequestedIpAddress(a), DhcpOption::ServerIdentifier(server)];
        let mut kind = |mac, options: &[DhcpOption]| {
            answer(&TERMS, &mut given, &ask(MessageType::Request, mac, options)).and_then(|m| m.opts().msg_type())
        };
        assert_eq!(kind(1, &wants(TERMS.first, TERMS.server)), Some(MessageType::Ack));
        assert_eq!(kind(1, &wants(Ipv4Addr::new(192, 168, 77, 9), TERMS.server)), Some(MessageType::Nak));
        assert_eq!(kind(1, &wants(TERMS.first, Ipv4Addr::new(192, 168, 77, 66))), None);
        assert_eq!(kind(2, &wants(TERMS.first, TERMS.server)), None);
    }
}
