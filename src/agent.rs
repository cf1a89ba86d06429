//! The agent: wiring only. Probes -> record and judge -> whoever looks. Survey and watch are the same agent.

use crate::judge::{Detail, Ending, Entry, Judge, Micros, Moment, Observation, Question, Session};
use crate::probe::{self, Context, Pace};
use crate::record::Writer;
use crate::site::Plan;
use crate::sys::clock::{self, Clock};
use std::collections::HashMap;
use std::future::Future;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tokio::time::{Duration, MissedTickBehavior, interval};

/// Observations that may wait for the agent; a full queue makes probes wait, it loses nothing.
const QUEUE: usize = 1_024;
/// How often the record is told that the agent is alive when nothing else was.
const ALIVE_EVERY: Micros = Micros::from_secs(5);
/// A wall clock that moved this far against the boot-time clock was stepped (facts: NTP slews stay under it).
const STEP: Micros = Micros::from_millis(500);

/// How long after its end a probe that ended early starts again.
const AGAIN_AFTER: Duration = Duration::from_secs(1);

/// An agent about to run.
#[derive(Debug)]
pub struct Agent {
    /// What to do.
    pub plan: Arc<Plan>,
    /// The clock, on the record's axis.
    pub clock: Clock,
    /// The judge, fresh or fed from the record.
    pub judge: Judge,
    /// Where entries are kept; `None` keeps nothing.
    pub writer: Option<Writer>,
    /// How long to run; `None` until stopped.
    pub length: Option<Micros>,
}

/// What is left when the agent has ended.
#[derive(Debug)]
pub struct Finished {
    /// The judge, holding everything seen.
    pub judge: Judge,
    /// How it ended.
    pub how: Ending,
    /// What went wrong with the record, if anything.
    pub record_trouble: Option<String>,
}

/// What is shown each second.
#[derive(Debug)]
pub struct Turn<'a> {
    /// The judge so far.
    pub judge: &'a Judge,
    /// Time left, where the end is known.
    pub left: Option<Micros>,
}

impl Agent {
    /// Runs until the length is over or `stop` resolves. `show` is called once a second.
    pub async fn run(mut self, stop: impl Future<Output = ()>, mut show: impl FnMut(&Turn<'_>)) -> Finished {
        let (seen, mut entries) = mpsc::channel::<Observation>(QUEUE);
        let (pace, paces) = watch::channel(Pace::Steady);
        let (gateway, gateways) = watch::channel::<Option<IpAddr>>(None);
        let context = Context { clock: self.clock, plan: Arc::clone(&self.plan), seen, pace: paces };
        spawn_probes(context, gateways);

        let start = self.clock.now();
        self.take(Entry::Began(Session {
            at: start,
            boot_id: clock::boot_id(),
            boot: clock::boot_time(),
            wall: clock::wall_time(),
            synced: clock::wall_synced(),
        }));
        let end = self.length.map(|l| start + l);
        let mut wall = wall_offset(self.clock.now());
        let mut last_entry = start;
        let mut second = interval(Duration::from_secs(1));
        second.set_missed_tick_behavior(MissedTickBehavior::Delay);
        tokio::pin!(stop);
        let how = loop {
            tokio::select! {
                biased;
                () = &mut stop => break Ending::Interrupted,
                Some(o) = entries.recv() => {
                    if let (Question::OwnAddress, Detail::OwnAddress { gateway: g, .. }) = (o.question, &o.detail) {
                        gateway.send_if_modified(|old| std::mem::replace(old, *g) != *g);
                    }
                    last_entry = o.known;
                    self.take(Entry::Seen(o));
                }
                _ = second.tick() => {
                    let now = self.clock.now();
                    if now - last_entry >= ALIVE_EVERY {
                        self.take(Entry::Alive { at: now });
                        last_entry = now;
                    }
                    let offset = wall_offset(now);
                    if (offset - wall).0.abs() > STEP.0 {
                        wall = offset;
                        self.take(Entry::Stepped { at: now, wall: clock::wall_time() });
                        tracing::warn!("the wall clock was stepped; lengths of time are not affected");
                    }
                    pace.send_if_modified(|old| {
                        let new = if self.judge.anything_wrong() { Pace::CloseIn } else { Pace::Steady };
                        std::mem::replace(old, new) != new
                    });
                    show(&Turn { judge: &self.judge, left: end.map(|e| Micros((e - now).0.max(0))) });
                    if end.is_some_and(|e| now >= e) {
                        break Ending::Complete;
                    }
                }
            }
        };
        self.take(Entry::Ended { at: self.clock.now(), how });
        tracing::info!(?how, "the agent ends");
        let record_trouble = self.close_record();
        Finished { judge: self.judge, how, record_trouble }
    }

    fn take(&mut self, entry: Entry) {
        self.judge.take(&entry);
        if let Some(writer) = &mut self.writer
            && !writer.keep(entry)
            && writer.dropped() == 1
        {
            tracing::warn!("an observation could not be kept; watching goes on");
        }
    }

    fn close_record(&mut self) -> Option<String> {
        let writer = self.writer.take()?;
        let dropped = writer.dropped();
        match writer.finish() {
            Err(e) => Some(e.to_string()),
            Ok(()) if dropped > 0 => Some(format!("{dropped} observation(s) could not be kept")),
            Ok(()) => None,
        }
    }
}

fn spawn_probes(context: Context, gateways: watch::Receiver<Option<IpAddr>>) {
    let mut probes = Vec::new();
    if !context.plan.loopback {
        probes.push(Probe::new("link", &context, probe::link::run));
        probes.push(Probe::new("address", &context, probe::address::run));
        probes.push(Probe::new("offers", &context, probe::offers::run));
        probes.push(Probe::new("conflict", &context, probe::conflict::run));
        probes.push(Probe::new("gateway-arp", &context, probe::gateway_arp::run));
        let echo = move |context| probe::gateway_echo::run(context, gateways.clone());
        probes.push(Probe::new("gateway-echo", &context, echo));
    }
    probes.push(Probe::new("names", &context, probe::names::run));
    probes.push(Probe::new("outside", &context, probe::outside::run));
    probes.push(Probe::new("receiver", &context, probe::receiver::run));
    tokio::spawn(keep_running(probes, context.seen));
}

/// A probe that can be started again.
struct Probe {
    name: &'static str,
    start: Box<dyn Fn() -> Pin<Box<dyn Future<Output = ()> + Send>> + Send>,
}

impl Probe {
    fn new<F>(name: &'static str, context: &Context, run: impl Fn(Context) -> F + Send + 'static) -> Self
    where
        F: Future<Output = ()> + Send + 'static,
    {
        let context = context.clone();
        Self { name, start: Box::new(move || Box::pin(run(context.clone()))) }
    }
}

/// Runs the probes until the agent is gone. One that ends before would be silence nobody can explain: it is said, and
/// the probe starts again a second later.
async fn keep_running(probes: Vec<Probe>, seen: mpsc::Sender<Observation>) {
    let mut running = JoinSet::new();
    let mut names = HashMap::new();
    for probe in probes {
        names.insert(running.spawn((probe.start)()).id(), probe);
    }
    while let Some(ended) = running.join_next_with_id().await {
        let (id, why) = match ended {
            Ok((id, ())) => (id, "it returned".to_owned()),
            Err(e) => (e.id(), e.to_string()),
        };
        let Some(probe) = names.remove(&id) else { continue };
        if seen.is_closed() {
            continue;
        }
        tracing::error!(probe = probe.name, why, "a probe ended; it starts again");
        let again = (probe.start)();
        let delayed = async {
            tokio::time::sleep(AGAIN_AFTER).await;
            again.await;
        };
        names.insert(running.spawn(delayed).id(), probe);
    }
}

/// Wall time less the axis: constant until somebody steps the wall clock.
fn wall_offset(now: Moment) -> Micros {
    Micros(clock::wall_time().0 - now.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use tokio::time::{Instant, timeout};

    /// Unwinds only in builds that unwind, as tests do; a release build aborts by design.
    #[tokio::test]
    async fn a_probe_that_panics_or_returns_starts_again_a_second_later_and_ends_with_the_agent() {
        let (seen, entries) = mpsc::channel::<Observation>(1);
        let (started, mut starts) = mpsc::unbounded_channel();
        let count = Arc::new(AtomicUsize::new(0));
        let until = seen.clone();
        let start = move || -> Pin<Box<dyn Future<Output = ()> + Send>> {
            let (count, started, until) = (count.clone(), started.clone(), until.clone());
            Box::pin(async move {
                let _ = started.send(Instant::now());
                match count.fetch_add(1, Ordering::Relaxed) {
                    0 => panic!("the first run"),
                    1 => {}
                    _ => until.closed().await,
                }
            })
        };
        let running = tokio::spawn(keep_running(vec![Probe { name: "trial", start: Box::new(start) }], seen));
        let mut last = None;
        for _ in 0..3 {
            let at = timeout(Duration::from_secs(10), starts.recv()).await.expect("in time").expect("a start");
            assert!(last.is_none_or(|l| at - l >= AGAIN_AFTER));
            last = Some(at);
        }
        drop(entries);
        timeout(Duration::from_secs(10), running).await.expect("ends").expect("no panic");
    }
}
