//! The practice site: a virtual home on real kernel sockets, with scripted faults, for learning and for proof.
//!
//! ```text
//! prepare() -> Ground -> Site::start(ground, script) -> plan for the agent
//!                                 play(clock) -> Playing -> [Truth]   compare(truths, troubles) -> Comparison
//! ```
//!
//! Decides nothing about the site it plays; the agent runs on it as on any other. Call [`prepare`] before anything
//! starts a thread, play with the clock the record runs on, and keep the [`Site`] until the agent has ended.

mod address_client;
mod address_service;
mod cable;
pub(crate) mod compare;
mod home;
pub mod line;
mod loopback;
mod name_service;
mod place;
mod play;
mod receiver;
pub(crate) mod script;
mod stage;
pub mod two_boxes;
mod wiring;

pub use address_client::Held;
pub use compare::{Comparison, Rules, Truth, compare};
pub use play::Playing;
pub use receiver::Visits;
pub use script::{Fault, FaultKind, Script, ScriptError, Step, generate};

use crate::judge::{Micros, Moment};
use crate::site::plan::{
    Background, Between, Cadence, Host, Plan, Receiver, Reference, Resolver, Signs, SiteKind, Transport, Use,
};
use crate::sys::clock::Clock;
use crate::sys::namespace::{self, Entered};
use stage::Stage;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

/// What the site will stand on.
#[derive(Debug)]
pub enum Ground {
    /// The process is in namespaces of its own.
    Namespaces(Entered),
    /// They were refused; loopback addresses will do for part of it.
    Loopback {
        /// Why they were refused.
        why: String,
        /// How to allow them.
        allow: String,
    },
}

/// Moves the process into namespaces of its own where the kernel allows. Call it while the process has one thread.
pub fn prepare() -> Ground {
    match namespace::enter(home::trial) {
        Ok(entered) => Ground::Namespaces(entered),
        Err(refused) => Ground::Loopback { why: refused.why, allow: refused.allow },
    }
}

/// A running practice site. Dropped, it is taken down.
pub struct Site {
    /// What the agent is to run.
    pub plan: Plan,
    /// Where the host's own client records its lease; the plan names it too.
    pub lease_file: Option<PathBuf>,
    /// What will be played.
    pub script: Script,
    /// Steps of the script that can't be played here, and why.
    pub unplayable: Vec<(Step, String)>,
    home: Option<Arc<home::Home>>,
    stage: Arc<dyn Stage>,
}

impl Site {
    /// Builds the site. Must not be called from inside an asynchronous runtime. Errors are words for the user.
    pub fn start(ground: Ground, script: Script) -> Result<Self, String> {
        let (stage, home, plan): (Arc<dyn Stage>, _, _) = match ground {
            Ground::Namespaces(entered) => {
                let home = Arc::new(home::Home::build(entered, script.seed)?);
                let plan = home_plan(home.lease_file().to_owned());
                (Arc::clone(&home) as _, Some(home), plan)
            }
            Ground::Loopback { .. } => {
                let site = loopback::Loopback::build(script.seed)?;
                let plan = loopback_plan(site.addresses());
                (Arc::new(site), None, plan)
            }
        };
        let unplayable = script.steps.iter().filter_map(|s| stage.can(&s.fault).err().map(|why| (*s, why))).collect();
        let lease_file = plan.lease_file.clone();
        Ok(Self { plan, lease_file, script, unplayable, home, stage })
    }

    /// Plays the script from now on. Truths are on the axis of `clock`.
    pub fn play(&self, clock: Clock) -> Result<Playing, String> {
        play::start(Arc::clone(&self.stage), &self.script, clock)
    }

    /// Somebody who can break and mend things here by hand, from another thread.
    pub fn doer(&self) -> Doer {
        Doer(Arc::clone(&self.stage))
    }

    /// The access line, to change its manner.
    pub fn line(&self) -> &line::Line {
        self.stage.line()
    }

    /// What came to the receiver: connections, and octets, of which there must be none.
    pub fn visits(&self) -> &Visits {
        self.stage.visits()
    }

    /// The lease the host holds now; `None` on loopback and while it has none.
    pub fn held(&self) -> Option<Held> {
        self.home.as_ref().and_then(|h| h.held())
    }
}

/// Breaks and mends things of a practice site by hand. The site must be kept meanwhile.
pub struct Doer(Arc<dyn Stage>);

impl Doer {
    /// Begins a fault or ends it; gives the moment it took effect, on the axis of `clock`.
    pub fn set(&self, fault: &Fault, on: bool, clock: Clock) -> Result<Moment, String> {
        self.0.set(fault, on, clock)
    }
}

/// How the practice site is asked. It is our own, so the floors for other people's servers do not hold.
const CADENCE: Cadence = Cadence {
    local: Micros::from_millis(500),
    router: Micros::from_secs(1),
    names: Micros::from_secs(1),
    outside: Micros::from_secs(1),
    receiver: Micros::from_secs(1),
    offers: Micros::from_secs(10),
};
/// Long enough for a round trip over the line and for a forwarder to say that it got no answer.
const PATIENCE: Micros = Micros::from_millis(800);

fn home_plan(lease_file: PathBuf) -> Plan {
    plan(
        Some(wiring::HOST_INTERFACE.into()),
        Some(lease_file),
        wiring::REFERENCES.map(|a| (a, wiring::NAMES_PORT).into()),
        (wiring::ROUTER, wiring::NAMES_PORT).into(),
        wiring::RECEIVER.into(),
    )
}

fn loopback_plan(at: loopback::Addresses) -> Plan {
    Plan { loopback: true, ..plan(None, None, at.references, at.resolver, at.receiver) }
}

fn plan(
    interface: Option<String>,
    lease_file: Option<PathBuf>,
    references: [SocketAddr; 3],
    resolver: SocketAddr,
    receiver: SocketAddr,
) -> Plan {
    let names = ["reference-a", "reference-b", "reference-c"];
    Plan {
        site: "practice".into(),
        kind: SiteKind::Household,
        interface,
        lease_file,
        resolvers: vec![Resolver::at(resolver)],
        existing_name: name_service::EXISTING_NAME.into(),
        references: names
            .into_iter()
            .zip(references)
            .map(|(n, address)| Reference { name: n.into(), address, builtin: false })
            .collect(),
        receivers: vec![Receiver {
            name: "receiver-a".into(),
            host: Host::Address(receiver.ip()),
            port: receiver.port(),
            transport: Transport::Tcp,
        }],
        cadence: CADENCE,
        between: Between::default(),
        patience: PATIENCE,
        supervision: None,
        requirements: "household".into(),
        uses: vec![Use::Burglary],
        background: Background::default(),
        signs: Signs::default(),
        practice: true,
        loopback: false,
    }
}
