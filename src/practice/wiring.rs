//! The practice home's addresses, its cables, and the services at their ends. Builds; plays no fault.

use super::address_service::{self, Terms};
use super::cable::{self, Cable};
use super::line::Line;
use super::name_service::{self};
use super::place::{Place, add_address, carrier, doing, hand_over, index, join, set_switch, set_up};
use super::receiver::{Receiver, Visits};
use rtnetlink::{Handle, LinkBridge, LinkUnspec, RouteMessageBuilder};
use std::net::Ipv4Addr;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;
use tokio::net::UdpSocket;

/// The host's interface.
pub(super) const HOST_INTERFACE: &str = "h0";
/// The router on the LAN: gateway, address server and resolver.
pub(super) const ROUTER: Ipv4Addr = Ipv4Addr::new(192, 168, 77, 1);
/// The stray box on the LAN.
pub(super) const STRAY: Ipv4Addr = Ipv4Addr::new(192, 168, 77, 66);
/// The reference points.
pub(super) const REFERENCES: [Ipv4Addr; 3] =
    [Ipv4Addr::new(198, 51, 100, 11), Ipv4Addr::new(203, 0, 113, 12), Ipv4Addr::new(192, 0, 2, 13)];
/// The receiver.
pub(super) const RECEIVER: (Ipv4Addr, u16) = (Ipv4Addr::new(198, 51, 100, 40), 7_700);
/// Port of the name services.
pub(super) const NAMES_PORT: u16 = 53;

pub(super) const LAN: (Ipv4Addr, u8) = (Ipv4Addr::new(192, 168, 77, 0), 24);
pub(super) const ROUTER_WAN: Ipv4Addr = Ipv4Addr::new(100, 64, 77, 2);
pub(super) const OUTSIDE_WAN: Ipv4Addr = Ipv4Addr::new(100, 64, 77, 1);
pub(super) const WAN_PREFIX: u8 = 30;
pub(super) const LEASE_S: u32 = 120;

/// Hardware addresses: the last octet of the range kept for documentation (RFC 7042 2.1.2).
pub(super) const fn mac(last: u8) -> [u8; 6] {
    [0x00, 0x00, 0x5e, 0x00, 0x53, last]
}
pub(super) const HOST_MAC: [u8; 6] = mac(0x10);
pub(super) const ROUTER_MAC: [u8; 6] = mac(0x01);
pub(super) const ROUTER_WAN_MAC: [u8; 6] = mac(0x02);
pub(super) const OUTSIDE_MAC: [u8; 6] = mac(0x03);
pub(super) const STRAY_MAC: [u8; 6] = mac(0x66);

pub(super) async fn set_mac(handle: &Handle, name: &str, mac: [u8; 6]) -> Result<(), String> {
    let link = LinkUnspec::new_with_index(index(handle, name).await?).address(mac.to_vec()).build();
    handle.link().set(link).execute().await.map_err(doing(format_args!("setting the hardware address of {name}")))
}

pub(super) async fn route_out(handle: &Handle) -> Result<(), String> {
    let route = RouteMessageBuilder::<Ipv4Addr>::new().gateway(OUTSIDE_WAN).build();
    handle.route().add(route).replace().execute().await.map_err(doing("the router's default route"))
}

/// As on a point-to-point line, neither side has to ask for the other's hardware address over it.
pub(super) async fn neighbour(handle: &Handle, name: &str, address: Ipv4Addr, mac: [u8; 6]) -> Result<(), String> {
    let index = index(handle, name).await?;
    let add = handle.neighbours().add(index, address.into()).link_layer_address(&mac).replace();
    add.execute().await.map_err(doing(format_args!("the neighbour on {name}")))
}

/// The LAN: switch, host, router and stray box.
pub(super) fn wire(host: &Place, switch: &Place, router: &Place, stray: &Place) -> Result<(), String> {
    let (to_host, to_router, to_stray) = (host.network()?, router.network()?, stray.network()?);
    switch.ask(move |h| async move {
        h.link().add(LinkBridge::new("br0").build()).execute().await.map_err(doing("making a bridge"))?;
        let bridge = index(&h, "br0").await?;
        for (port, far, to) in
            [("p-host", HOST_INTERFACE, &to_host), ("p-router", "lan0", &to_router), ("p-stray", "s0", &to_stray)]
        {
            join(&h, port, far).await?;
            hand_over(&h, far, to).await?;
            let link = LinkUnspec::new_with_index(index(&h, port).await?).controller(bridge).up().build();
            h.link().set(link).execute().await.map_err(doing(port))?;
        }
        set_up(&h, "br0", true).await
    })?;
    host.ask(|h| async move {
        set_mac(&h, HOST_INTERFACE, HOST_MAC).await?;
        set_up(&h, HOST_INTERFACE, true).await?;
        for _ in 0..100 {
            if carrier(&h, HOST_INTERFACE).await? {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Err(format!("{HOST_INTERFACE} has no carrier after 2 s"))
    })?;
    router.ask(|h| async move {
        set_mac(&h, "lan0", ROUTER_MAC).await?;
        add_address(&h, "lan0", ROUTER, LAN.1).await?;
        set_up(&h, "lan0", true).await?;
        set_switch("ipv4/ip_forward", "1")
    })?;
    stray.ask(|h| async move {
        set_mac(&h, "s0", STRAY_MAC).await?;
        add_address(&h, "s0", STRAY, LAN.1).await?;
        set_up(&h, "s0", true).await
    })
}

/// The access line between router and outside.
pub(super) fn access_line(
    cable_box: &Place,
    router: &Place,
    outside: &Place,
    line: Arc<Line>,
) -> Result<Cable, String> {
    let ends = cable::lay(cable_box, [("wan0", router), ("out0", outside)])?;
    router.ask(|h| async move {
        set_mac(&h, "wan0", ROUTER_WAN_MAC).await?;
        add_address(&h, "wan0", ROUTER_WAN, WAN_PREFIX).await?;
        set_up(&h, "wan0", true).await?;
        neighbour(&h, "wan0", OUTSIDE_WAN, OUTSIDE_MAC).await?;
        route_out(&h).await
    })?;
    outside.ask(|h| async move {
        set_mac(&h, "out0", OUTSIDE_MAC).await?;
        add_address(&h, "out0", OUTSIDE_WAN, WAN_PREFIX).await?;
        for address in REFERENCES.into_iter().chain([RECEIVER.0]) {
            add_address(&h, "lo", address, 32).await?;
        }
        set_up(&h, "out0", true).await?;
        neighbour(&h, "out0", ROUTER_WAN, ROUTER_WAN_MAC).await?;
        let back = RouteMessageBuilder::<Ipv4Addr>::new().destination_prefix(LAN.0, LAN.1).gateway(ROUTER_WAN).build();
        h.route().add(back).execute().await.map_err(doing("the route back"))
    })?;
    Cable::start(ends, line, ROUTER_WAN)
}

pub(super) fn serve_outside(outside: &Place) -> Result<(), String> {
    outside.ask(|_| async move {
        for address in REFERENCES {
            let socket = UdpSocket::bind((address, NAMES_PORT)).await.map_err(doing("a reference point's socket"))?;
            tokio::spawn(name_service::serve_authority(socket, None));
        }
        Ok(())
    })
}

pub(super) fn open_receiver(outside: &Place, visits: &Arc<Visits>) -> Result<Receiver, String> {
    let visits = Arc::clone(visits);
    outside.ask(move |_| async move {
        Receiver::open(RECEIVER.into(), visits, None).map_err(doing("the receiver's socket"))
    })
}

pub(super) fn serve_lan(
    place: &Place,
    interface: &'static str,
    server: Ipv4Addr,
    first: u8,
    on: &Arc<AtomicBool>,
) -> Result<(), String> {
    let [a, b, c, _] = LAN.0.octets();
    let terms = Terms { server, first: Ipv4Addr::new(a, b, c, first), prefix: LAN.1, lease_s: LEASE_S };
    let on = Arc::clone(on);
    place.ask(move |_| async move {
        let socket = address_service::open(interface, address_service::SERVER_PORT)
            .map_err(doing("the address service's socket"))?;
        tokio::spawn(address_service::serve(socket, terms, on));
        Ok(())
    })
}
