//! The practice site where namespaces are refused: real sockets on loopback addresses, with the access line's delay and
//! loss in the services themselves.
//!
//! Decides what can be played here. Names, outside and receiver lanes are real; link, address and router are blind, so
//! faults in those are not played. Needs Linux, where all of 127.0.0.0/8 is loopback.

use super::line::Line;
use super::name_service::{self, Conduct, Manner};
use super::place::{Place, doing};
use super::receiver::{Receiver, Visits};
use super::script::Fault;
use super::stage::{Stage, begin_burst, end_burst, stamped};
use crate::judge::Moment;
use crate::sys::clock::Clock;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::UdpSocket;
use tokio::sync::watch;

const REFERENCES: [Ipv4Addr; 3] =
    [Ipv4Addr::new(127, 77, 0, 11), Ipv4Addr::new(127, 77, 0, 12), Ipv4Addr::new(127, 77, 0, 13)];
const RESOLVER: Ipv4Addr = Ipv4Addr::new(127, 77, 0, 1);
const RECEIVER: Ipv4Addr = Ipv4Addr::new(127, 77, 0, 40);

/// How often the receiver's luck is drawn in a burst.
const DRAW: Duration = Duration::from_millis(250);

/// Where everything listens; the ports are free ones the kernel chose.
#[derive(Clone, Copy, Debug)]
pub(super) struct Addresses {
    pub(super) references: [SocketAddr; 3],
    pub(super) resolver: SocketAddr,
    pub(super) receiver: SocketAddr,
}

pub(super) struct Loopback {
    receiver: Mutex<Option<Receiver>>,
    place: Place,
    line: Arc<Line>,
    names: Arc<Conduct>,
    visits: Arc<Visits>,
    deaf: Arc<watch::Sender<bool>>,
    addresses: Addresses,
}

impl Loopback {
    pub(super) fn build(seed: u64) -> Result<Self, String> {
        let line = Arc::new(Line::new(seed));
        let names = Conduct::good();
        let visits = Arc::new(Visits::default());
        let (deaf, hears) = watch::channel(false);
        let deaf = Arc::new(deaf);
        let place = Place::anywhere("loopback")?;
        let (shared, conduct, guests) = (Arc::clone(&line), Arc::clone(&names), Arc::clone(&visits));
        let (addresses, receiver) = place.ask(move |_| async move {
            let mut references = [SocketAddr::from((RESOLVER, 0)); 3];
            for (address, place) in REFERENCES.into_iter().zip(&mut references) {
                let socket = UdpSocket::bind((address, 0)).await.map_err(doing("a reference point's socket"))?;
                *place = socket.local_addr().map_err(doing("a reference point's address"))?;
                tokio::spawn(name_service::serve_authority(socket, Some(Arc::clone(&shared))));
            }
            let socket = UdpSocket::bind((RESOLVER, 0)).await.map_err(doing("the resolver's socket"))?;
            let resolver = socket.local_addr().map_err(doing("the resolver's address"))?;
            tokio::spawn(name_service::serve_forwarder(socket, references[0], conduct));
            let receiver =
                Receiver::open((RECEIVER, 0).into(), guests, Some(hears)).map_err(doing("the receiver's socket"))?;
            Ok((Addresses { references, resolver, receiver: receiver.address() }, receiver))
        })?;
        Ok(Self { receiver: Mutex::new(Some(receiver)), place, line, names, visits, deaf, addresses })
    }

    pub(super) fn addresses(&self) -> Addresses {
        self.addresses
    }

    fn set_receiver(&self, open: bool) -> Result<(), String> {
        let mut receiver = self.receiver.lock().unwrap_or_else(PoisonError::into_inner);
        if !open {
            let Some(listening) = receiver.take() else { return Ok(()) };
            return self.place.ask(|_| async move {
                listening.close().await;
                Ok(())
            });
        }
        if receiver.is_none() {
            let (address, visits, hears) = (self.addresses.receiver, Arc::clone(&self.visits), self.deaf.subscribe());
            *receiver = Some(self.place.ask(move |_| async move {
                Receiver::open(address, visits, Some(hears)).map_err(doing("the receiver's socket"))
            })?);
        }
        Ok(())
    }

    /// The kernel completes connections on loopback whatever the line does, so in a burst the receiver is deaf for the
    /// burst's share of the time.
    fn unlucky_receiver(&self, loss: f64) -> Result<(), String> {
        let (line, deaf) = (Arc::clone(&self.line), Arc::clone(&self.deaf));
        self.place.ask(move |_| async move {
            tokio::spawn(async move {
                while line.in_burst() {
                    deaf.send_replace(rand::random::<f64>() < loss);
                    tokio::time::sleep(DRAW).await;
                }
                deaf.send_replace(line.is_cut());
            });
            Ok(())
        })
    }
}

impl Stage for Loopback {
    fn line(&self) -> &Line {
        &self.line
    }

    fn visits(&self) -> &Visits {
        &self.visits
    }

    fn can(&self, fault: &Fault) -> Result<(), String> {
        match fault {
            Fault::LinkFlap => Err("loopback has no link to lose".into()),
            Fault::RouterRestart => Err("loopback has no router".into()),
            Fault::SecondAddressServer => Err("loopback has no address service".into()),
            Fault::AddressRemoved => Err("loopback's address is not to be taken away".into()),
            Fault::RouteRemoved => Err("loopback needs no route".into()),
            Fault::LineCongested => Err("on loopback the line can't be slow for connections".into()),
            Fault::ReferencesFiltered => Err("on loopback nothing lies between that could drop packets".into()),
            _ => Ok(()),
        }
    }

    fn set(&self, fault: &Fault, on: bool, clock: Clock) -> Result<Moment, String> {
        match fault {
            Fault::AccessCut => stamped(clock, || {
                self.line.set_cut(on);
                self.deaf.send_replace(on);
                Ok(())
            }),
            Fault::ResolverFailure { how } => stamped(clock, || {
                self.names.set(if on { Manner::Fail(*how) } else { Manner::Answer });
                Ok(())
            }),
            Fault::ReceiverRefusing => stamped(clock, || self.set_receiver(!on)),
            Fault::LossBurst { loss } if on => {
                let from = begin_burst(&self.line, *loss, clock);
                self.unlucky_receiver(*loss)?;
                Ok(from)
            }
            Fault::LossBurst { .. } => Ok(end_burst(&self.line, clock)),
            Fault::ReceiverSilent => stamped(clock, || {
                self.deaf.send_replace(on);
                Ok(())
            }),
            Fault::NamesRewritten => stamped(clock, || {
                self.names.set(if on { Manner::MakeUp } else { Manner::Answer });
                Ok(())
            }),
            Fault::LinkFlap
            | Fault::RouterRestart
            | Fault::SecondAddressServer
            | Fault::AddressRemoved
            | Fault::RouteRemoved
            | Fault::LineCongested
            | Fault::ReferencesFiltered => self.can(fault).map(|()| clock.now()),
        }
    }
}
