//! The link lane: is there a carrier, how fast, and how often did it change?
//!
//! Decides which looks at the interface become observations: every poll, every announcement that says something new,
//! the interface's going and its return. Does not count flaps: the kernel's counters are in every observation, so one
//! between two looks still shows. Announcements are thinned to twenty a second; the counters carry the rest.

use super::host::{Blind, Host};
use super::turns::{Timer, until};
use super::{Action, Context};
use crate::judge::{Carrier, Detail, Micros, Moment, Observation, Outcome, Question};
use crate::sys::netlink::{Change, Changes};
use std::sync::Arc;

/// Least time between two announcements reported.
const THINNED: Micros = Micros::from_millis(50);
/// Pause before a broken subscription is tried again.
const RESUBSCRIBE: Micros = Micros::from_secs(2);

/// Mbit/s and full duplex, each where known.
pub type Speed = (Option<u32>, Option<bool>);

/// What a look at the interface gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Look {
    /// It is there.
    Present(Carrier),
    /// The kernel has no such interface.
    Gone,
}

/// The pure part.
#[derive(Clone, Debug)]
pub struct Machine {
    target: Arc<str>,
    last: Option<Look>,
    announced: Option<Moment>,
    speed: Option<(Carrier, Speed)>,
}

impl Machine {
    /// A machine that has seen nothing.
    pub fn new(target: Arc<str>) -> Self {
        Self { target, last: None, announced: None, speed: None }
    }

    /// A poll: always an observation, so that the lane is never blind between changes.
    pub fn on_poll(&mut self, asked: Moment, known: Moment, mut look: Look) -> Observation {
        self.fill_speed(&mut look);
        self.last = Some(look.clone());
        self.observed(asked, known, look)
    }

    /// An announcement by the kernel: report it, or look at the interface at a moment, or nothing new.
    pub fn on_announced(&mut self, at: Moment, mut look: Look) -> Option<Action<Moment>> {
        self.fill_speed(&mut look);
        if self.last.as_ref() == Some(&look) {
            return None;
        }
        // The last word is never thinned away: what is held back is looked at when its time has come.
        if let Some(last) = self.announced
            && at - last < THINNED
        {
            return Some(Action::Ask(last + THINNED));
        }
        self.announced = Some(at);
        self.last = Some(look.clone());
        if let Look::Present(carrier) = &mut look {
            carrier.announced = true;
        }
        Some(Action::Report(self.observed(at, at, look)))
    }

    /// Whether speed and duplex have to be asked of the driver: once after each change of carrier.
    pub fn wants_speed(&self, carrier: &Carrier) -> bool {
        carrier.up && self.speed.as_ref().is_none_or(|(of, _)| !same_connection(of, carrier))
    }

    /// What the driver said.
    pub fn on_speed(&mut self, carrier: &Carrier, told: Speed) {
        self.speed = Some((carrier.clone(), told));
    }

    fn fill_speed(&self, look: &mut Look) {
        if let Look::Present(carrier) = look
            && let Some((of, told)) = &self.speed
            && carrier.up
            && same_connection(of, carrier)
        {
            (carrier.speed_mbps, carrier.full_duplex) = *told;
        }
    }

    fn observed(&self, asked: Moment, known: Moment, look: Look) -> Observation {
        let detail = match look {
            Look::Present(carrier) => Detail::Carrier(carrier),
            Look::Gone => Detail::Gone,
        };
        let (question, target, outcome) = (Question::Carrier, self.target.clone(), Outcome::Answered);
        Observation { asked, known, question, target, outcome, rtt: None, detail }
    }
}

fn same_connection(a: &Carrier, b: &Carrier) -> bool {
    (a.index, a.changes, a.up) == (b.index, b.changes, b.up)
}

/// Watches until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let mut machine = Machine::new(host.target());
    let every = ctx.plan.cadence.local;
    let mut turns = Timer::after(&ctx, Micros::ZERO, every, Micros::from_secs(1));
    let mut changes = Changes::subscribe().ok();
    let mut look_at = None;
    let mut subscribe_at = None;
    loop {
        if changes.is_none() && subscribe_at.is_none() {
            subscribe_at = Some(ctx.clock.now() + RESUBSCRIBE);
        }
        let report = tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => Some(look(&ctx, &mut host, &mut machine).await),
            () = until(&ctx, look_at) => {
                look_at = None;
                Some(look(&ctx, &mut host, &mut machine).await)
            }
            () = until(&ctx, subscribe_at) => {
                subscribe_at = None;
                changes = Changes::subscribe().ok();
                // What happened meanwhile was not announced to us.
                Some(look(&ctx, &mut host, &mut machine).await)
            }
            change = next(changes.as_mut()) => {
                let at = ctx.clock.now();
                let ours = |index| host.index() == Some(index);
                let action = match change {
                    None => {
                        changes = None;
                        Some(Action::Ask(at))
                    }
                    Some(Change::Link(i)) if ours(i.carrier.index) => machine.on_announced(at, Look::Present(i.carrier)),
                    Some(Change::LinkGone(index)) if ours(index) => machine.on_announced(at, Look::Gone),
                    // Perhaps ours, come back with a new index.
                    Some(Change::Link(i)) if host.index().is_none() && *i.carrier.name == *host.target() => {
                        Some(Action::Ask(at))
                    }
                    Some(Change::Missed) => Some(Action::Ask(at)),
                    Some(_) => None,
                };
                match action {
                    None => None,
                    Some(Action::Report(o)) => {
                        // The driver's speed is not in the announcement; and a name that is gone may be back already.
                        if matches!(&o.detail, Detail::Gone) {
                            look_at = Some(at + THINNED);
                        }
                        Some(o)
                    }
                    Some(Action::Ask(at)) => {
                        look_at = Some(at);
                        None
                    }
                }
            }
        };
        if let Some(report) = report
            && !ctx.report(report).await
        {
            return;
        }
    }
}

async fn next(changes: Option<&mut Changes>) -> Option<Change> {
    match changes {
        Some(changes) => changes.next().await,
        None => std::future::pending().await,
    }
}

async fn look(ctx: &Context, host: &mut Host, machine: &mut Machine) -> Observation {
    let asked = ctx.clock.now();
    match host.interface().await {
        Ok(found) => {
            let carrier = found.carrier;
            if machine.wants_speed(&carrier)
                && let Ok(kernel) = host.kernel()
            {
                let told = kernel.speed(&carrier.name).await;
                machine.on_speed(&carrier, told);
            }
            machine.on_poll(asked, ctx.clock.now(), Look::Present(carrier))
        }
        Err(Blind::Gone) => machine.on_poll(asked, ctx.clock.now(), Look::Gone),
        Err(blind) => blind.observed(Question::Carrier, host.target(), ctx.clock.now()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(ms: i64) -> Moment {
        Moment(ms * 1_000)
    }

    fn carrier(up: bool, changes: u32) -> Look {
        Look::Present(Carrier { index: 2, name: "eth0".into(), up, changes: Some(changes), ..Carrier::default() })
    }

    fn changes_in(o: &Observation) -> Option<u32> {
        match &o.detail {
            Detail::Carrier(c) => c.changes,
            _ => None,
        }
    }

    #[test]
    fn a_cut_is_reported_at_once_and_a_repeated_announcement_is_not() {
        let mut m = Machine::new("eth0".into());
        m.on_poll(ms(0), ms(1), carrier(true, 2));
        let Some(Action::Report(o)) = m.on_announced(ms(1_500), carrier(false, 3)) else { panic!("new: report it") };
        assert!(matches!(&o.detail, Detail::Carrier(c) if !c.up && c.announced));
        assert_eq!((o.asked, o.known), (ms(1_500), ms(1_500)));
        assert_eq!(m.on_announced(ms(1_600), carrier(false, 3)), None);
    }

    #[test]
    fn a_storm_is_thinned_but_its_last_word_is_looked_at() {
        let mut m = Machine::new("eth0".into());
        m.on_poll(ms(0), ms(1), carrier(true, 2));
        assert!(matches!(m.on_announced(ms(100), carrier(false, 3)), Some(Action::Report(_))));
        assert_eq!(m.on_announced(ms(103), carrier(true, 4)), Some(Action::Ask(ms(150))));
        assert_eq!(m.on_announced(ms(104), carrier(false, 5)), Some(Action::Ask(ms(150))));
        let o = m.on_poll(ms(150), ms(151), carrier(true, 6));
        assert_eq!(changes_in(&o), Some(6), "the counters carry what was thinned");
    }

    #[test]
    fn a_flap_between_two_polls_shows_in_the_counters() {
        let mut m = Machine::new("eth0".into());
        m.on_poll(ms(0), ms(1), carrier(true, 2));
        assert_eq!(changes_in(&m.on_poll(ms(2_000), ms(2_001), carrier(true, 12))), Some(12));
    }

    #[test]
    fn an_interface_that_goes_is_an_answer() {
        let mut m = Machine::new("eth0".into());
        let o = m.on_poll(ms(0), ms(1), Look::Gone);
        assert_eq!((o.outcome, o.detail), (Outcome::Answered, Detail::Gone));
        assert!(matches!(m.on_announced(ms(10), carrier(true, 1)), Some(Action::Report(_))), "back");
    }

    #[test]
    fn speed_is_asked_once_for_each_connection() {
        let mut m = Machine::new("eth0".into());
        let (Look::Present(first), Look::Present(second)) = (carrier(true, 2), carrier(true, 4)) else {
            unreachable!()
        };
        assert!(m.wants_speed(&first));
        m.on_speed(&first, (Some(1_000), Some(true)));
        assert!(!m.wants_speed(&first) && m.wants_speed(&second));
        assert!(
            matches!(m.on_poll(ms(0), ms(1), carrier(true, 2)).detail, Detail::Carrier(c) if c.speed_mbps == Some(1_000))
        );
        assert!(
            matches!(m.on_poll(ms(0), ms(1), carrier(true, 4)).detail, Detail::Carrier(c) if c.speed_mbps.is_none())
        );
    }
}
