//! The virtual home: places joined by real interfaces, with the services on them.
//!
//! ```text
//!  host (here)      switch              router              cable             outside
//!   h0 ---------- p-host            lan0      wan0 ----- c0 ~ line ~ c1 ----- out0
//!                 p-router -------- .1         .2                              .1   reference points, receiver
//!  stray s0 ----- p-stray
//! ```
//!
//! Decides the addresses and how each fault is done. Everything goes when it is dropped, or with the process.

use super::address_client::{Client, Held, configure, unconfigure};
use super::cable::Cable;
use super::line::{self, Line};
use super::name_service::{self, Conduct, Manner};
use super::place::{Place, doing, index, join, set_switch, set_up};
use super::receiver::{Receiver, Visits};
use super::script::Fault;
use super::stage::{Stage, begin_burst, end_burst, stamped};
use super::wiring::{
    HOST_INTERFACE, HOST_MAC, NAMES_PORT, RECEIVER, REFERENCES, ROUTER, STRAY, access_line, open_receiver, route_out,
    serve_lan, serve_outside, wire,
};
use crate::judge::Moment;
use crate::sys::clock::{Clock, boot_time};
use crate::sys::{cable_end, namespace::Entered};
use rtnetlink::LinkBridge;
use std::fs;
use std::net::SocketAddr;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::UdpSocket;
use tokio::sync::watch;

/// The built home. The order of the fields is the order of taking down.
pub(super) struct Home {
    cable: Option<Cable>,
    receiver: Mutex<Option<Receiver>>,
    host: Place,
    switch: Place,
    router: Place,
    _stray: Place,
    outside: Place,
    _cable_box: Place,
    line: Arc<Line>,
    names: Arc<Conduct>,
    router_serves: Arc<AtomicBool>,
    stray_serves: Arc<AtomicBool>,
    visits: Arc<Visits>,
    held: watch::Receiver<Option<Held>>,
    held_back: Arc<AtomicBool>,
    lease_file: PathBuf,
    _folder: Folder,
}

/// A folder of our own that goes when dropped.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Result<Self, String> {
        let path = std::env::temp_dir().join(format!("pathproof-practice-{}-{}", std::process::id(), boot_time().0));
        fs::DirBuilder::new().mode(0o700).create(&path).map_err(doing(path.display()))?;
        Ok(Self(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}

/// Builds the least that a home needs, to learn whether it can be built. Run in namespaces that are thrown away.
pub(super) fn trial() -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(doing("a runtime"))?;
    runtime.block_on(async {
        let (connection, handle, _) = rtnetlink::new_connection().map_err(doing("netlink"))?;
        tokio::spawn(connection);
        set_up(&handle, "lo", true).await?;
        join(&handle, "t0", "t1").await?;
        handle.link().add(LinkBridge::new("t2").build()).execute().await.map_err(doing("making a bridge"))?;
        let end = index(&handle, "t0").await?;
        cable_end::open(end).map(drop).map_err(doing("opening a packet socket"))
    })?;
    crate::sys::namespace::own_network().map(drop).map_err(doing("a second network namespace"))?;
    set_switch("ipv4/ip_forward", "1")
}

impl Home {
    /// Builds it around the process' own network, which becomes the host's, and waits until the host has its lease.
    pub(super) fn build(entered: Entered, seed: u64) -> Result<Self, String> {
        let folder = Folder::new()?;
        let line = Arc::new(Line::new(seed));
        let unprivileged = entered.unprivileged;
        let host = Place::here("host", entered.network)?;
        let [switch, router, stray, outside] = ["switch", "router", "stray", "outside"].map(Place::new);
        let (switch, router, stray, outside) = (switch?, router?, stray?, outside?);
        let cable_box = Place::new("cable")?;
        for place in [&host, &switch, &router, &stray, &outside, &cable_box] {
            place.ask(|h| async move {
                // Only IPv4 is practised; without this the kernel's own IPv6 chatter is on every wire. A kernel without
                // IPv6 has no such switch, which is as good.
                for part in ["all", "default"] {
                    drop(set_switch(&format!("ipv6/conf/{part}/disable_ipv6"), "1"));
                    // Inherited from the machine, a strict filter would drop the address server's first answer.
                    drop(set_switch(&format!("ipv4/conf/{part}/rp_filter"), "0"));
                }
                set_up(&h, "lo", true).await
            })?;
        }
        wire(&host, &switch, &router, &stray)?;
        let cable = access_line(&cable_box, &router, &outside, Arc::clone(&line))?;
        // Lets the agent use datagram echo sockets; where it can't be set raw ones are used.
        let groups = if unprivileged { "0 0" } else { "0 2147483647" };
        host.ask(move |_| async move {
            drop(set_switch("ipv4/ping_group_range", groups));
            Ok(())
        })?;

        let visits = Arc::new(Visits::default());
        let names = Conduct::good();
        let router_serves = Arc::new(AtomicBool::new(true));
        let stray_serves = Arc::new(AtomicBool::new(false));
        serve_outside(&outside)?;
        let receiver = Mutex::new(Some(open_receiver(&outside, &visits)?));
        serve_lan(&router, "lan0", ROUTER, 100, &router_serves)?;
        serve_lan(&stray, "s0", STRAY, 200, &stray_serves)?;
        let conduct = Arc::clone(&names);
        router.ask(move |_| async move {
            let socket = UdpSocket::bind((ROUTER, NAMES_PORT)).await.map_err(doing("the name service's socket"))?;
            let authority = SocketAddr::from((REFERENCES[0], NAMES_PORT));
            tokio::spawn(name_service::serve_forwarder(socket, authority, conduct));
            Ok(())
        })?;

        let number = host.ask(|h| async move { index(&h, HOST_INTERFACE).await })?;
        let lease_file = folder.0.join(number.to_string());
        let (tell, mut held) = watch::channel(None);
        let held_back = Arc::new(AtomicBool::new(false));
        let client = Client {
            interface: HOST_INTERFACE,
            mac: HOST_MAC,
            lease_file: lease_file.clone(),
            held: tell,
            held_back: Arc::clone(&held_back),
        };
        host.ask(move |h| client.run(h))?;
        let mut waiting = held.clone();
        host.ask(move |_| async move {
            let leased = waiting.wait_for(Option::is_some);
            let in_time = tokio::time::timeout(Duration::from_secs(10), leased).await;
            in_time.map_err(|_| "no lease within 10 s".to_owned())?.map(drop).map_err(doing("the address client"))
        })?;
        held.mark_unchanged();
        Ok(Self {
            cable: Some(cable),
            receiver,
            host,
            switch,
            router,
            _stray: stray,
            outside,
            _cable_box: cable_box,
            line,
            names,
            router_serves,
            stray_serves,
            visits,
            held,
            held_back,
            lease_file,
            _folder: folder,
        })
    }

    /// The file in which the host's client records its lease.
    pub(super) fn lease_file(&self) -> &Path {
        &self.lease_file
    }

    /// The lease the host holds now.
    pub(super) fn held(&self) -> Option<Held> {
        self.held.borrow().clone()
    }

    fn set_lines(&self, up: bool) -> Result<(), String> {
        self.router.ask(move |h| async move {
            if up {
                set_up(&h, "wan0", true).await?;
                route_out(&h).await?;
                set_up(&h, "lan0", true).await
            } else {
                set_up(&h, "lan0", false).await?;
                set_up(&h, "wan0", false).await
            }
        })
    }

    /// Takes the host's address or its default route, or gives back what its lease says.
    fn set_host(&self, there: bool, address: bool) -> Result<(), String> {
        self.held_back.store(!there, Ordering::Relaxed);
        let held = self.held().ok_or("the host has no lease just now")?;
        self.host.ask(move |h| async move {
            let index = index(&h, HOST_INTERFACE).await?;
            if there { configure(&h, index, &held).await } else { unconfigure(&h, index, &held, address).await }
        })
    }

    fn set_receiver(&self, open: bool) -> Result<(), String> {
        let mut receiver = self.receiver.lock().unwrap_or_else(PoisonError::into_inner);
        if !open {
            let Some(listening) = receiver.take() else { return Ok(()) };
            return self.outside.ask(|_| async move {
                listening.close().await;
                Ok(())
            });
        }
        if receiver.is_none() {
            *receiver = Some(open_receiver(&self.outside, &self.visits)?);
        }
        Ok(())
    }
}

impl Stage for Home {
    fn line(&self) -> &Line {
        &self.line
    }

    fn visits(&self) -> &Visits {
        &self.visits
    }

    fn can(&self, _: &Fault) -> Result<(), String> {
        Ok(())
    }

    fn set(&self, fault: &Fault, on: bool, clock: Clock) -> Result<Moment, String> {
        match fault {
            Fault::LinkFlap => {
                stamped(clock, || self.switch.ask(move |h| async move { set_up(&h, "p-host", !on).await }))
            }
            Fault::RouterRestart => stamped(clock, || {
                self.router_serves.store(!on, Ordering::Relaxed);
                self.set_lines(!on)
            }),
            Fault::AccessCut => stamped(clock, || {
                self.line.set_cut(on);
                Ok(())
            }),
            Fault::ResolverFailure { how } => stamped(clock, || {
                self.names.set(if on { Manner::Fail(*how) } else { Manner::Answer });
                Ok(())
            }),
            Fault::SecondAddressServer => stamped(clock, || {
                self.stray_serves.store(on, Ordering::Relaxed);
                Ok(())
            }),
            Fault::ReceiverRefusing => stamped(clock, || self.set_receiver(!on)),
            Fault::AddressRemoved => stamped(clock, || self.set_host(!on, true)),
            Fault::RouteRemoved => stamped(clock, || self.set_host(!on, false)),
            Fault::LineCongested => stamped(clock, || {
                self.line.set_manner(if on { line::Manner::CONGESTED } else { line::Manner::default() });
                Ok(())
            }),
            Fault::ReferencesFiltered => stamped(clock, || {
                self.line.set_denied(if on { REFERENCES.to_vec() } else { Vec::new() });
                Ok(())
            }),
            Fault::ReceiverSilent => stamped(clock, || {
                self.line.set_denied(if on { vec![RECEIVER.0] } else { Vec::new() });
                Ok(())
            }),
            Fault::NamesRewritten => stamped(clock, || {
                self.names.set(if on { Manner::MakeUp } else { Manner::Answer });
                Ok(())
            }),
            Fault::LossBurst { loss } if on => Ok(begin_burst(&self.line, *loss, clock)),
            Fault::LossBurst { .. } => Ok(end_burst(&self.line, clock)),
        }
    }
}

impl Drop for Home {
    fn drop(&mut self) {
        // The cable's thread first, so that nothing moves while the places go one by one.
        self.cable = None;
        let host = &self.host;
        // The host's network is the process' own and stays; take its interface away.
        drop(host.ask(|h| async move {
            let index = index(&h, HOST_INTERFACE).await?;
            h.link().del(index).execute().await.map_err(doing("removing the host's interface"))
        }));
    }
}
