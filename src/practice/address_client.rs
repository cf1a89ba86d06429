//! The practice host's own DHCP client (RFC 2131): gets a lease, sets the kernel's address with its lifetimes and the
//! default route, renews at T1 and rebinds at T2, and records the lease in a file.
//!
//! It stands in for the client every real host has. It is no part of the agent, which only looks at what it left behind.
//! The file has the keys systemd-networkd writes (`ADDRESS`, `ROUTER`, `SERVER_ADDRESS`, `T1`, ...; from memory of its
//! source, times in whole seconds).

use super::address_service::{CLIENT_PORT, SERVER_PORT, open};
use super::place::{doing, index};
use crate::judge::Mac;
use dhcproto::v4::{DhcpOption, Flags, Message, MessageType, OptionCode};
use dhcproto::{Decodable, Decoder, Encodable, Encoder};
use rtnetlink::packet_route::address::{AddressAttribute, CacheInfo};
use rtnetlink::{Handle, RouteMessageBuilder};
use std::fs;
use std::net::Ipv4Addr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::net::UdpSocket;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until, timeout_at};

/// A lease the client holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// The address.
    pub address: Ipv4Addr,
    /// Prefix length.
    pub prefix: u8,
    /// Server identifier.
    pub server: Ipv4Addr,
    /// Router.
    pub router: Ipv4Addr,
    /// Resolver.
    pub resolver: Ipv4Addr,
    /// Lease time, T1 and T2, seconds.
    pub times_s: [u32; 3],
    /// How often it was renewed.
    pub renewals: u32,
}

pub(super) struct Client {
    pub(super) interface: &'static str,
    pub(super) mac: [u8; 6],
    pub(super) lease_file: PathBuf,
    pub(super) held: watch::Sender<Option<Held>>,
    /// While set, the host is given nothing.
    pub(super) held_back: Arc<AtomicBool>,
}

/// How long an answer is waited for.
const PATIENCE: Duration = Duration::from_secs(1);
/// Longest pause between two tries.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);

impl Client {
    /// Opens the client's socket and index; call it at the host.
    pub(super) async fn run(self, handle: Handle) -> Result<(), String> {
        let socket = open(self.interface, CLIENT_PORT).map_err(doing("the address client's socket"))?;
        let index = index(&handle, self.interface).await?;
        tokio::spawn(async move {
            loop {
                self.once(&handle, &socket, index).await;
            }
        });
        Ok(())
    }

    /// One lease from discover to its end.
    async fn once(&self, handle: &Handle, socket: &UdpSocket, index: u32) {
        let Some(mut held) = self.acquire(socket).await else {
            tokio::time::sleep(PATIENCE).await;
            return;
        };
        loop {
            let since = Instant::now();
            if let Err(why) = self.apply(handle, index, &held).await {
                tracing::warn!("practice host: {why}");
            }
            let [lease, t1, t2] = held.times_s.map(|s| since + Duration::from_secs(s.into()));
            sleep_until(t1).await;
            match self.extend(socket, &held, t2, lease).await {
                Some(more) => held = Held { renewals: held.renewals + 1, ..more },
                None => break,
            }
        }
        self.held.send_replace(None);
        // The kernel takes the address away by itself when its lifetime is over.
        drop(fs::remove_file(&self.lease_file));
    }

    async fn acquire(&self, socket: &UdpSocket) -> Option<Held> {
        let xid = rand::random();
        let discover = self.message(xid, MessageType::Discover, &[]);
        let offer = exchange(socket, &discover, Ipv4Addr::BROADCAST, xid, &[MessageType::Offer]).await?;
        let offer = read(&offer)?;
        let wanted = [DhcpOption::RequestedIpAddress(offer.address), DhcpOption::ServerIdentifier(offer.server)];
        let request = self.message(xid, MessageType::Request, &wanted);
        let said = exchange(socket, &request, Ipv4Addr::BROADCAST, xid, &[MessageType::Ack, MessageType::Nak]).await?;
        read(&said).filter(|_| said.opts().msg_type() == Some(MessageType::Ack))
    }

    /// Renews with the server, from T2 on with any; `None` when refused or out of time.
    async fn extend(&self, socket: &UdpSocket, held: &Held, t2: Instant, end: Instant) -> Option<Held> {
        while Instant::now() < end {
            let xid = rand::random();
            let mut request = self.message(xid, MessageType::Request, &[]);
            request.set_ciaddr(held.address).set_flags(Flags::default());
            let to = if Instant::now() < t2 { held.server } else { Ipv4Addr::BROADCAST };
            match exchange(socket, &request, to, xid, &[MessageType::Ack, MessageType::Nak]).await {
                Some(m) if m.opts().msg_type() == Some(MessageType::Nak) => return None,
                Some(m) => return read(&m),
                None => sleep_until(end.min(Instant::now() + LONGEST_PAUSE)).await,
            }
        }
        None
    }

    fn message(&self, xid: u32, kind: MessageType, more: &[DhcpOption]) -> Message {
        let mut m = Message::default();
        m.set_xid(xid).set_flags(Flags::default().set_broadcast()).set_chaddr(&self.mac);
        m.opts_mut().insert(DhcpOption::MessageType(kind));
        m.opts_mut().insert(DhcpOption::ParameterRequestList(vec![
            OptionCode::SubnetMask,
            OptionCode::Router,
            OptionCode::DomainNameServer,
            OptionCode::AddressLeaseTime,
            OptionCode::Renewal,
            OptionCode::Rebinding,
        ]));
        for option in more {
            m.opts_mut().insert(option.clone());
        }
        m
    }

    async fn apply(&self, handle: &Handle, index: u32, held: &Held) -> Result<(), String> {
        // A fault that takes the address or the route away lasts until its own end.
        while self.held_back.load(Ordering::Relaxed) {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        configure(handle, index, held).await?;
        write_lease(&self.lease_file, held, self.mac)?;
        self.held.send_replace(Some(held.clone()));
        Ok(())
    }
}

/// Gives the host what its lease says: address and default route.
pub(super) async fn configure(handle: &Handle, index: u32, held: &Held) -> Result<(), String> {
    let mut add = handle.address().add(index, held.address.into(), held.prefix).replace();
    let mut lifetimes = CacheInfo::default();
    lifetimes.ifa_valid = held.times_s[0];
    lifetimes.ifa_preferred = held.times_s[0];
    add.message_mut().attributes.push(AddressAttribute::CacheInfo(lifetimes));
    add.execute().await.map_err(doing("setting the leased address"))?;
    let route = RouteMessageBuilder::<Ipv4Addr>::new().gateway(held.router).output_interface(index).build();
    handle.route().add(route).replace().execute().await.map_err(doing("setting the default route"))
}

/// Takes the default route away, or the address and all routes with it.
pub(super) async fn unconfigure(handle: &Handle, index: u32, held: &Held, address: bool) -> Result<(), String> {
    if address {
        let held_address = handle.address().add(index, held.address.into(), held.prefix).message_mut().clone();
        return handle.address().del(held_address).execute().await.map_err(doing("taking the address"));
    }
    let route = RouteMessageBuilder::<Ipv4Addr>::new().gateway(held.router).output_interface(index).build();
    handle.route().del(route).execute().await.map_err(doing("taking the default route"))
}

async fn exchange(
    socket: &UdpSocket,
    message: &Message,
    to: Ipv4Addr,
    xid: u32,
    awaited: &[MessageType],
) -> Option<Message> {
    let mut bytes = Vec::new();
    message.encode(&mut Encoder::new(&mut bytes)).ok()?;
    socket.send_to(&bytes, (to, SERVER_PORT)).await.ok()?;
    let until = Instant::now() + PATIENCE;
    let mut buffer = [0; 1_500];
    loop {
        let (n, _) = timeout_at(until, socket.recv_from(&mut buffer)).await.ok()?.ok()?;
        let Ok(m) = Message::decode(&mut Decoder::new(&buffer[..n])) else { continue };
        if m.xid() == xid && m.opts().msg_type().is_some_and(|kind| awaited.contains(&kind)) {
            return Some(m);
        }
    }
}

fn read(m: &Message) -> Option<Held> {
    let option = |code| m.opts().get(code);
    let DhcpOption::ServerIdentifier(server) = option(OptionCode::ServerIdentifier)? else { return None };
    let DhcpOption::AddressLeaseTime(lease) = option(OptionCode::AddressLeaseTime)? else { return None };
    let DhcpOption::SubnetMask(mask) = option(OptionCode::SubnetMask)? else { return None };
    let DhcpOption::Router(routers) = option(OptionCode::Router)? else { return None };
    let DhcpOption::DomainNameServer(resolvers) = option(OptionCode::DomainNameServer)? else { return None };
    let t1 = match option(OptionCode::Renewal) {
        Some(DhcpOption::Renewal(s)) => *s,
        _ => lease / 2,
    };
    let t2 = match option(OptionCode::Rebinding) {
        Some(DhcpOption::Rebinding(s)) => *s,
        _ => lease / 8 * 7,
    };
    Some(Held {
        address: m.yiaddr(),
        prefix: u32::from(*mask).leading_ones() as u8,
        server: *server,
        router: *routers.first()?,
        resolver: *resolvers.first()?,
        times_s: [*lease, t1, t2],
        renewals: 0,
    })
}

fn write_lease(path: &Path, held: &Held, mac: [u8; 6]) -> Result<(), String> {
    let [lease, t1, t2] = held.times_s;
    let netmask = Ipv4Addr::from(u32::MAX.checked_shl(32 - u32::from(held.prefix)).unwrap_or(0));
    let id = Mac(mac).to_string().replace(':', "");
    let text = format!(
        "# This is private data. Do not parse.\nADDRESS={}\nNETMASK={netmask}\nROUTER={}\nSERVER_ADDRESS={}\nT1={t1}\nT2={t2}\n\
         LIFETIME={lease}\nDNS={}\nCLIENTID=01{id}\n",
        held.address, held.router, held.server, held.resolver
    );
    let fresh = path.with_extension("new");
    fs::write(&fresh, text).and_then(|()| fs::rename(&fresh, path)).map_err(doing("writing the lease file"))
}
