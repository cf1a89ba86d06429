//! The kernel's own view of links, addresses, routes and neighbours (rtnetlink, ethtool netlink).
//!
//! Decides how kernel messages become our values. Does not decide what they mean. Works without any capability; where a
//! sandbox forbids it, the error says "not permitted" and nothing else. Sockets belong to the network namespace of the
//! thread that connects.

use crate::judge::HeldAddress;
use futures_util::{Stream, StreamExt, TryStreamExt};
use netlink_packet_core::NetlinkPayload;
use netlink_packet_route::link::LinkMessage;
use netlink_packet_route::route::RouteMessage;
use netlink_packet_route::{AddressFamily, RouteNetlinkMessage};
use rtnetlink::MulticastGroup;
use rtnetlink::sys::AsyncSocket;
use std::io;
use std::net::IpAddr;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::kernel_tables::{DefaultRoute, default_routes, entry, held, interface};
pub use super::kernel_tables::{Interface, Neighbour};
pub use netlink_packet_route::neighbour::NeighbourState;

/// Changes that may wait for their reader; beyond that they are dropped and [`Change::Missed`] is left behind.
const WAITING_CHANGES: usize = 256;
/// Most messages taken of one dump.
const MOST_DUMPED: usize = 4_096;

/// Why the kernel could not be asked.
#[derive(Debug, thiserror::Error)]
pub enum NetlinkError {
    /// This process may not: blind, not a fault of the network.
    #[error("the kernel does not permit it")]
    NotPermitted,
    /// The connection is gone; connect again.
    #[error("the connection to the kernel ended")]
    Closed,
    /// Any other error.
    #[error("kernel: {0}")]
    Kernel(io::Error),
}

impl From<io::Error> for NetlinkError {
    fn from(e: io::Error) -> Self {
        if e.kind() == io::ErrorKind::PermissionDenied { Self::NotPermitted } else { Self::Kernel(e) }
    }
}

impl From<rtnetlink::Error> for NetlinkError {
    fn from(e: rtnetlink::Error) -> Self {
        match e {
            rtnetlink::Error::NetlinkError(m) => m.to_io().into(),
            rtnetlink::Error::RequestFailed => Self::Closed,
            other => Self::Kernel(io::Error::other(other.to_string())),
        }
    }
}

impl NetlinkError {
    /// Whether the kernel said that there is no such thing.
    pub fn is_absent(&self) -> bool {
        matches!(self, Self::Kernel(e) if matches!(e.raw_os_error(), Some(libc::ENODEV | libc::ENOENT | libc::ENXIO)))
    }
}

/// What the kernel announced by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// An interface is new or changed.
    Link(Interface),
    /// The interface with this index is gone.
    LinkGone(u32),
    /// An address or route changed.
    Addressing,
    /// Announcements were lost: ask anew.
    Missed,
}

/// A connection for questions.
#[derive(Debug)]
pub struct Kernel {
    handle: rtnetlink::Handle,
    ethtool: Option<ethtool::EthtoolHandle>,
    tasks: Vec<JoinHandle<()>>,
}

impl Drop for Kernel {
    fn drop(&mut self) {
        self.tasks.iter().for_each(JoinHandle::abort);
    }
}

impl Kernel {
    /// Connects; must run inside a tokio runtime.
    pub fn connect() -> Result<Self, NetlinkError> {
        let (connection, handle, _) = rtnetlink::new_connection()?;
        let mut tasks = vec![tokio::spawn(connection)];
        // Without generic netlink only speed and duplex stay unknown.
        let ethtool = ethtool::new_connection().ok().map(|(connection, handle, _)| {
            tasks.push(tokio::spawn(connection));
            handle
        });
        Ok(Self { handle, ethtool, tasks })
    }

    /// The interface with this index; `None` if there is none.
    pub async fn interface(&self, index: u32) -> Result<Option<Interface>, NetlinkError> {
        one(self.handle.link().get().match_index(index).execute()).await
    }

    /// The interface with this name; `None` if there is none.
    pub async fn interface_named(&self, name: &str) -> Result<Option<Interface>, NetlinkError> {
        one(self.handle.link().get().match_name(name).execute()).await
    }

    /// The interface that holds the default route: IPv4's if there is one, else IPv6's.
    pub async fn default_interface(&self) -> Result<Option<Interface>, NetlinkError> {
        match self.default_routes().await?.first() {
            Some(route) => self.interface(route.index).await,
            None => Ok(None),
        }
    }

    /// Gateways of the default routes through an interface, IPv4 first, then by metric. A default route without gateway
    /// (a point-to-point link) gives none.
    pub async fn gateways(&self, index: u32) -> Result<Vec<IpAddr>, NetlinkError> {
        let routes = self.default_routes().await?;
        Ok(routes.into_iter().filter(|r| r.index == index).filter_map(|r| r.gateway).collect())
    }

    async fn default_routes(&self) -> Result<Vec<DefaultRoute>, NetlinkError> {
        let mut found = Vec::new();
        for family in [AddressFamily::Inet, AddressFamily::Inet6] {
            let mut ask = RouteMessage::default();
            ask.header.address_family = family;
            let mut of_family = Vec::new();
            for message in all(self.handle.route().get(ask).execute()).await? {
                of_family.extend(default_routes(&message));
            }
            of_family.sort_by_key(|r: &DefaultRoute| r.metric);
            found.extend(of_family);
        }
        Ok(found)
    }

    /// Addresses on an interface, link-local and tentative ones left out.
    pub async fn addresses(&self, index: u32) -> Result<Vec<HeldAddress>, NetlinkError> {
        let dump = all(self.handle.address().get().set_link_index_filter(index).execute()).await?;
        Ok(dump.iter().filter_map(held).collect())
    }

    /// The neighbour table's entry for an address; `None` if there is none.
    pub async fn neighbour(&self, index: u32, address: IpAddr) -> Result<Option<Neighbour>, NetlinkError> {
        let family = if address.is_ipv4() { AddressFamily::Inet } else { AddressFamily::Inet6 };
        let dump = all(self.handle.neighbours().get().set_address_family(family).execute()).await?;
        Ok(dump
            .iter()
            .filter(|m| m.header.ifindex == index)
            .filter_map(entry)
            .find_map(|(of, told)| (of == address).then_some(told)))
    }

    /// Every entry of the neighbour table on an interface that has an address, of both families.
    pub async fn neighbours(&self, index: u32) -> Result<Vec<(IpAddr, Neighbour)>, NetlinkError> {
        let mut found = Vec::new();
        for family in [AddressFamily::Inet, AddressFamily::Inet6] {
            let dump = all(self.handle.neighbours().get().set_address_family(family).execute()).await?;
            found.extend(dump.iter().filter(|m| m.header.ifindex == index).filter_map(entry));
        }
        Ok(found)
    }

    /// Speed in Mbit/s and full duplex, where the driver says; both unknown otherwise.
    pub async fn speed(&self, name: &str) -> (Option<u32>, Option<bool>) {
        use ethtool::{EthtoolAttr, EthtoolLinkModeAttr as Attr, EthtoolLinkModeDuplex as Duplex};
        let mut told = (None, None);
        let Some(mut handle) = self.ethtool.clone() else { return told };
        let Ok(answers) = handle.link_mode().get(Some(name)).execute().await else { return told };
        let Ok(answers) = all(answers).await else { return told };
        for attribute in answers.into_iter().flat_map(|m| m.payload.nlas) {
            match attribute {
                // 0 and all ones (`SPEED_UNKNOWN`) are no speeds.
                EthtoolAttr::LinkMode(Attr::Speed(s)) if s != 0 && s != u32::MAX => told.0 = Some(s),
                EthtoolAttr::LinkMode(Attr::Duplex(Duplex::Full)) => told.1 = Some(true),
                EthtoolAttr::LinkMode(Attr::Duplex(Duplex::Half)) => told.1 = Some(false),
                _ => {}
            }
        }
        told
    }
}

/// A subscription to what the kernel announces.
#[derive(Debug)]
pub struct Changes {
    waiting: mpsc::Receiver<Change>,
    tasks: [JoinHandle<()>; 2],
}

impl Drop for Changes {
    fn drop(&mut self) {
        self.tasks.iter().for_each(JoinHandle::abort);
    }
}

impl Changes {
    /// Subscribes to links, addresses and routes; must run inside a tokio runtime.
    pub fn subscribe() -> Result<Self, NetlinkError> {
        const GROUPS: [MulticastGroup; 5] = [
            MulticastGroup::Link,
            MulticastGroup::Ipv4Ifaddr,
            MulticastGroup::Ipv6Ifaddr,
            MulticastGroup::Ipv4Route,
            MulticastGroup::Ipv6Route,
        ];
        let (mut connection, handle, mut announced) = rtnetlink::new_multicast_connection(&GROUPS)?;
        // A bigger buffer only makes overruns rarer; they are handled, so a refusal is no matter.
        let _ = connection.socket_mut().socket_mut().set_rx_buf_sz(1_u32 << 20);
        let (send, waiting) = mpsc::channel(WAITING_CHANGES);
        let reader = tokio::spawn(async move {
            // The connection ends when its last handle is dropped.
            let _handle = handle;
            let mut missed = false;
            while let Some((message, _)) = announced.next().await {
                if missed && send.try_send(Change::Missed).is_ok() {
                    missed = false;
                }
                if let Some(change) = change(message.payload) {
                    missed |= matches!(send.try_send(change), Err(mpsc::error::TrySendError::Full(_)));
                }
            }
        });
        Ok(Self { waiting, tasks: [tokio::spawn(connection), reader] })
    }

    /// The next change; `None` when the subscription ended: subscribe anew and ask for everything.
    pub async fn next(&mut self) -> Option<Change> {
        self.waiting.recv().await
    }
}

fn change(payload: NetlinkPayload<RouteNetlinkMessage>) -> Option<Change> {
    use RouteNetlinkMessage as M;
    match payload {
        // Bridge and IPv6 families tell of ports and settings, not of the device.
        NetlinkPayload::InnerMessage(M::NewLink(m)) if m.header.interface_family == AddressFamily::Unspec => {
            Some(Change::Link(interface(&m)))
        }
        NetlinkPayload::InnerMessage(M::DelLink(m)) if m.header.interface_family == AddressFamily::Unspec => {
            Some(Change::LinkGone(m.header.index))
        }
        NetlinkPayload::InnerMessage(M::NewAddress(_) | M::DelAddress(_) | M::NewRoute(_) | M::DelRoute(_)) => {
            Some(Change::Addressing)
        }
        NetlinkPayload::Overrun(_) => Some(Change::Missed),
        _ => None,
    }
}

async fn one(
    stream: impl Stream<Item = Result<LinkMessage, rtnetlink::Error>>,
) -> Result<Option<Interface>, NetlinkError> {
    match all(stream).await {
        Ok(messages) => Ok(messages.first().map(interface)),
        Err(e) if e.is_absent() => Ok(None),
        Err(e) => Err(e),
    }
}

async fn all<T, E>(stream: impl Stream<Item = Result<T, E>>) -> Result<Vec<T>, NetlinkError>
where
    NetlinkError: From<E>,
{
    Ok(stream.take(MOST_DUMPED).try_collect().await?)
}

impl From<ethtool::EthtoolError> for NetlinkError {
    fn from(e: ethtool::EthtoolError) -> Self {
        match e {
            ethtool::EthtoolError::NetlinkError(m) => m.to_io().into(),
            other => Self::Kernel(io::Error::other(other.to_string())),
        }
    }
}
