//! The probes' keeper: starts them, starts them again when they end, and when they have fallen silent.
//!
//! Decides when a probe is stuck: it has sent nothing for far longer than its turn, at which it always reports, if only
//! that it could not ask. Time in which the machine slept does not count (the monotonic clock stands still in it).

use crate::judge::{Micros, Observation};
use crate::probe::{self, Context};
use crate::site::cadence;
use std::collections::HashMap;
use std::future::Future;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{mpsc, watch};
use tokio::task::{AbortHandle, JoinSet};
use tokio::time::{Duration, Instant, MissedTickBehavior, interval};

/// How long after its end a probe that ended early starts again.
const AGAIN_AFTER: Duration = Duration::from_secs(1);
/// Silence that is never long, whatever the turn (choice: a busy machine and a slow driver are not a stuck probe).
const SLACK: Duration = Duration::from_mins(2);
/// So many turns without a report are too many (choice).
const TURNS: u32 = 5;
/// Reports on their way from one probe.
const ON_THE_WAY: usize = 16;

/// Starts the probes of the plan; `restarts` counts those that had to be started again.
pub(super) fn spawn(context: Context, gateways: watch::Receiver<Option<IpAddr>>, restarts: Arc<AtomicU64>) {
    let c = context.plan.cadence;
    let mut probes = Vec::new();
    if !context.plan.loopback {
        let offers = c.offers.max(cadence::FLOOR_OFFERS);
        probes.push(Probe::new("link", c.local, &context, probe::link::run));
        probes.push(Probe::new("address", c.local.times(5), &context, probe::address::run));
        probes.push(Probe::new("offers", offers, &context, probe::offers::run));
        probes.push(Probe::new("conflict", offers, &context, probe::conflict::run));
        probes.push(Probe::new("gateway-arp", c.router, &context, probe::gateway_arp::run));
        let echo = move |context| probe::gateway_echo::run(context, gateways.clone());
        probes.push(Probe::new("gateway-echo", c.router, &context, echo));
    }
    watch_for_signs(&context, &mut probes);
    probes.push(Probe::new("names", c.names, &context, probe::names::run));
    probes.push(Probe::new("outside", c.outside.max(cadence::FLOOR_OUTSIDE_BUILTIN), &context, probe::outside::run));
    probes.push(Probe::new("receiver", c.receiver, &context, probe::receiver::run));
    probes.extend(between(&context));
    tokio::spawn(keep_running(probes, context.seen, SLACK, restarts));
}

/// The signs of lost power that the plan looks for; the others are not started at all.
fn watch_for_signs(context: &Context, probes: &mut Vec<Probe>) {
    let signs = &context.plan.signs;
    let (mains, slow) = (signs.mains_every, signs.signs_every);
    if signs.own_supply {
        probes.push(Probe::new("mains", mains, context, probe::mains::run));
    }
    if signs.nut.is_some() {
        probes.push(Probe::new("nut", mains, context, probe::nut::run));
    }
    if signs.upnp {
        probes.push(Probe::new("upnp", slow, context, probe::upnp::run));
    }
    if signs.snmp.is_some() {
        probes.push(Probe::new("snmp", slow, context, probe::snmp::run));
    }
    if signs.kernel_tables {
        probes.push(Probe::new("neighbours", slow, context, probe::neighbours::run));
        probes.push(Probe::new("radio", slow, context, probe::radio::run));
    }
    if signs.communicator.is_some() {
        probes.push(Probe::new("communicator", slow, context, probe::communicator::run));
    }
}

/// What lies between here and the receiver: asked only of those the site file names, and of the plan's resolvers.
fn between(context: &Context) -> Vec<Probe> {
    let (plan, between) = (&context.plan, &context.plan.between);
    let slowest = |all: &mut dyn Iterator<Item = Micros>| all.max().unwrap_or(Micros::ZERO);
    let mut probes = Vec::new();
    if !plan.resolvers.is_empty() {
        probes.push(Probe::new("translation", between.translation, context, probe::translation::run));
    }
    if !plan.loopback && plan.references.iter().any(|r| !r.builtin) {
        probes.push(Probe::new("second-hop", between.second_hop, context, probe::second_hop::run));
        probes.push(Probe::new("path-mtu", between.path_mtu, context, probe::path_mtu::run));
    }
    if !between.stun_servers.is_empty() {
        let every = slowest(&mut between.stun_servers.iter().map(|s| s.every));
        probes.push(Probe::new("seen-from", every, context, probe::seen_from::run));
    }
    if !between.control_pages.is_empty() {
        let every = slowest(&mut between.control_pages.iter().map(|p| p.at.every));
        probes.push(Probe::new("portal", every, context, probe::portal::run));
    }
    if !between.time_sources.is_empty() {
        let every = slowest(&mut between.time_sources.iter().map(|t| t.every));
        probes.push(Probe::new("clock-offset", every, context, probe::clock_offset::run));
    }
    if !between.idle_tests.is_empty() {
        // A measurement says nothing while its longest trial waits.
        let every = slowest(&mut between.idle_tests.iter().map(|t| t.at.every + t.longest.times(2)));
        probes.push(Probe::new("idle", every, context, probe::idle::run));
    }
    probes
}

type Work = Pin<Box<dyn Future<Output = ()> + Send>>;

/// A probe that can be started again.
struct Probe {
    name: &'static str,
    /// The longest it lets pass between two reports.
    turn: Duration,
    start: Box<dyn Fn(mpsc::Sender<Observation>) -> Work + Send>,
}

impl Probe {
    fn new<F>(name: &'static str, turn: Micros, context: &Context, run: impl Fn(Context) -> F + Send + 'static) -> Self
    where
        F: Future<Output = ()> + Send + 'static,
    {
        let context = context.clone();
        Self {
            name,
            turn: turn.to_std(),
            start: Box::new(move |seen| Box::pin(run(Context { seen, ..context.clone() }))),
        }
    }
}

/// A probe at work.
struct Running {
    probe: Probe,
    beat: Arc<Mutex<Instant>>,
    handle: AbortHandle,
    stuck: bool,
}

fn start(work: &mut JoinSet<()>, probe: Probe, after: Duration, agent: &mpsc::Sender<Observation>) -> Running {
    // Its silence counts from its start.
    let beat = Arc::new(Mutex::new(Instant::now() + after));
    let (seen, reports) = mpsc::channel(ON_THE_WAY);
    let begin = (probe.start)(seen);
    let forward = forward(reports, agent.clone(), Arc::clone(&beat));
    let handle = work.spawn(async move {
        tokio::time::sleep(after).await;
        tokio::join!(begin, forward);
    });
    Running { probe, beat, handle, stuck: false }
}

/// Hands reports on and notes when. Ends with the probe or the agent.
async fn forward(
    mut reports: mpsc::Receiver<Observation>,
    agent: mpsc::Sender<Observation>,
    beat: Arc<Mutex<Instant>>,
) {
    loop {
        let report = tokio::select! {
            () = agent.closed() => return,
            report = reports.recv() => report,
        };
        let Some(report) = report else { return };
        *beat.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
        if agent.send(report).await.is_err() {
            return;
        }
    }
}

/// Runs the probes until the agent is gone. One that ends before, or falls silent, would be silence nobody can explain:
/// it is said, counted, and the probe starts again a second later.
async fn keep_running(probes: Vec<Probe>, seen: mpsc::Sender<Observation>, slack: Duration, restarts: Arc<AtomicU64>) {
    let mut work = JoinSet::new();
    let mut running = HashMap::new();
    for probe in probes {
        let r = start(&mut work, probe, Duration::ZERO, &seen);
        running.insert(r.handle.id(), r);
    }
    let mut look = interval(slack / 4);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        let ended = tokio::select! {
            ended = work.join_next_with_id() => ended,
            _ = look.tick() => {
                let now = Instant::now();
                for r in running.values_mut() {
                    let last = *r.beat.lock().unwrap_or_else(PoisonError::into_inner);
                    if now.saturating_duration_since(last) > slack + TURNS * r.probe.turn {
                        r.stuck = true;
                        r.handle.abort();
                    }
                }
                continue;
            }
        };
        let Some(ended) = ended else { return };
        let (id, why) = match ended {
            Ok((id, ())) => (id, "it returned".to_owned()),
            Err(e) => (e.id(), e.to_string()),
        };
        let Some(Running { probe, stuck, .. }) = running.remove(&id) else { continue };
        if seen.is_closed() {
            continue;
        }
        let why = if stuck { "it had sent nothing for far too long".to_owned() } else { why };
        tracing::error!(probe = probe.name, why, "a probe ended; it starts again");
        restarts.fetch_add(1, Ordering::Relaxed);
        let r = start(&mut work, probe, AGAIN_AFTER, &seen);
        running.insert(r.handle.id(), r);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Detail, Moment, Outcome, Question};
    use std::sync::atomic::AtomicUsize;
    use tokio::time::timeout;

    /// Unwinds only in builds that unwind, as tests do; a release build aborts by design.
    #[tokio::test]
    async fn a_probe_that_panics_or_returns_starts_again_a_second_later_and_ends_with_the_agent() {
        let (seen, entries) = mpsc::channel::<Observation>(1);
        let (started, mut starts) = mpsc::unbounded_channel();
        let count = Arc::new(AtomicUsize::new(0));
        let start = move |until: mpsc::Sender<Observation>| -> Work {
            let (count, started) = (count.clone(), started.clone());
            Box::pin(async move {
                let _ = started.send(Instant::now());
                match count.fetch_add(1, Ordering::Relaxed) {
                    0 => panic!("the first run"),
                    1 => {}
                    _ => until.closed().await,
                }
            })
        };
        let restarts = Arc::new(AtomicU64::new(0));
        let trial = Probe { name: "trial", turn: Duration::from_mins(1), start: Box::new(start) };
        let running = tokio::spawn(keep_running(vec![trial], seen, SLACK, restarts.clone()));
        let mut last = None;
        for _ in 0..3 {
            let at = timeout(Duration::from_secs(10), starts.recv()).await.expect("in time").expect("a start");
            assert!(last.is_none_or(|l| at - l >= AGAIN_AFTER));
            last = Some(at);
        }
        assert_eq!(restarts.load(Ordering::Relaxed), 2);
        drop(entries);
        timeout(Duration::from_secs(10), running).await.expect("ends").expect("no panic");
    }

    #[tokio::test]
    async fn a_probe_that_falls_silent_is_started_again_and_counted_and_a_slow_one_is_not() {
        let (seen, mut entries) = mpsc::channel::<Observation>(1);
        let probe = |name: &'static str, every: Duration, reports: usize| {
            let start = move |seen: mpsc::Sender<Observation>| -> Work {
                Box::pin(async move {
                    for _ in 0..reports {
                        tokio::time::sleep(every).await;
                        let o = Observation {
                            asked: Moment(0),
                            known: Moment(0),
                            question: Question::Connect,
                            target: name.into(),
                            outcome: Outcome::Timeout,
                            rtt: None,
                            detail: Detail::None,
                        };
                        let _ = seen.send(o).await;
                    }
                    std::future::pending::<()>().await;
                })
            };
            Probe { name, turn: every, start: Box::new(start) }
        };
        let restarts = Arc::new(AtomicU64::new(0));
        let slack = Duration::from_millis(800);
        let all = vec![
            probe("slow", Duration::from_millis(500), 1_000),
            probe("stuck", Duration::from_millis(20), 20),
            probe("dumb", Duration::from_millis(500), 0),
        ];
        tokio::spawn(keep_running(all, seen, slack, restarts.clone()));
        let mut counts: HashMap<Arc<str>, u64> = HashMap::new();
        let end = Instant::now() + Duration::from_secs(9);
        while let Ok(Some(o)) = tokio::time::timeout_at(end, entries.recv()).await {
            *counts.entry(o.target).or_insert(0) += 1;
        }
        // The stuck one reports for 0.4 s, is borne for a second and pauses for one; the dumb one is borne for 3.3 s.
        let stuck = counts["stuck"] / 20;
        assert!((3..=5).contains(&stuck), "{counts:?}");
        assert!(counts["slow"] >= 12, "the slow one was left alone: {counts:?}");
        let restarts = restarts.load(Ordering::Relaxed);
        assert!((stuck..=stuck + 3).contains(&restarts), "{restarts} {counts:?}");
    }
}
