//! Times the fold: a week at one question a second to each of twelve targets, then on to a year, what memory it takes,
//! what a look costs then; and the same week in numpy and scipy in the same run, both by the time on one core.
//! `cargo bench --bench judge [weeks]`; a year takes some minutes, most of them for making the entries, which is not timed.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use nix::time::{ClockId, clock_gettime};
use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::settings::Known;
use pathproof::judge::{
    Detail, Entry, Judge, Lane, Micros, Moment, NameAnswer, Observation, Outcome, Question, Rtt, Session, Settings,
    WallTime,
};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use std::collections::BTreeSet;
use std::hint::black_box;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

const SEED: u64 = 7;
const WEEK: i64 = 7 * 86_400;
const SECOND: i64 = 1_000_000;
const PATIENCE: i64 = 2 * SECOND;

const TARGETS: [(Question, &str); 12] = [
    (Question::GatewayArp, "gw"),
    (Question::GatewayEcho, "gw"),
    (Question::Name, "resolver-a"),
    (Question::Name, "resolver-b"),
    (Question::Reference, "ref-a"),
    (Question::Reference, "ref-b"),
    (Question::Reference, "ref-c"),
    (Question::Reference, "ref-d"),
    (Question::Reference, "ref-e"),
    (Question::Reference, "ref-f"),
    (Question::Connect, "receiver-a"),
    (Question::Connect, "receiver-b"),
];

/// The site's entries a minute at a time, so that nothing but the judge grows.
struct Stream {
    names: Vec<Arc<str>>,
    draw: Xoshiro256PlusPlus,
    /// Made already, known in a later minute.
    ahead: Vec<Entry>,
}

impl Stream {
    /// One question in two hundred is lost; two outages a week, ten minutes and half a minute.
    fn down(second: i64) -> bool {
        let (hour, within) = (second % WEEK / 3_600, second % 3_600);
        (hour == 40 && within < 600) || (hour == 120 && within < 30)
    }

    fn minute(&mut self, minute: i64) -> Vec<Entry> {
        let mut out = std::mem::take(&mut self.ahead);
        for second in minute * 60..(minute + 1) * 60 {
            for (i, ((question, _), name)) in TARGETS.iter().zip(&self.names).enumerate() {
                let asked = second * SECOND + i as i64 * 80_000;
                let outside = matches!(question.lane(), Lane::Outside | Lane::Receiver);
                let lost = (outside && Self::down(second)) || self.draw.random::<f64>() < 0.005;
                let took = if lost { PATIENCE } else { 8_000 + self.draw.random_range(0..20_000) };
                let detail = if lost || !matches!(question, Question::Name | Question::Reference) {
                    Detail::None
                } else {
                    Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() })
                };
                out.push(Entry::Seen(Observation {
                    asked: Moment(asked),
                    known: Moment(asked + took),
                    question: *question,
                    target: Arc::clone(name),
                    outcome: if lost { Outcome::Timeout } else { Outcome::Answered },
                    rtt: (!lost).then_some(Rtt { took: Micros(took), kernel: true }),
                    detail,
                }));
            }
        }
        out.sort_by_key(Entry::known);
        let end = Moment((minute + 1) * 60 * SECOND);
        self.ahead = out.split_off(out.partition_point(|e| e.known() < end));
        out
    }
}

/// Memory of this process, KiB: `VmRSS` now, `VmHWM` the most ever (Linux, /proc/self/status).
fn memory(of: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix(of)?.strip_prefix(':'));
    line.and_then(|l| l.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// Time this thread has run on its core: what other processes take from a busy machine is not in it.
fn cpu() -> Duration {
    clock_gettime(ClockId::CLOCK_THREAD_CPUTIME_ID).expect("Linux has the clock").into()
}

fn settings() -> Settings {
    let set: RequirementSet =
        toml::from_str(include_str!("../../config/requirements/household.toml")).expect("the shipped set parses");
    Settings {
        receivers: BTreeSet::from(["receiver-a".into(), "receiver-b".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros(PATIENCE),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: set,
        out_of_scope: vec![],
        known: Known::default(),
    }
}

fn begun() -> Judge {
    let mut judge = Judge::new(settings());
    judge.take(&Entry::Began(Session {
        at: Moment(0),
        boot_id: "b".into(),
        boot: Micros(0),
        wall: WallTime(1_700_000_000 * SECOND),
        synced: Some(true),
    }));
    judge
}

fn stream() -> Stream {
    let names = TARGETS.iter().map(|t| t.1.into()).collect();
    Stream { names, draw: Xoshiro256PlusPlus::seed_from_u64(SEED), ahead: Vec::new() }
}

fn main() {
    let weeks: i64 = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(52);
    println!("before the first entry: {} KiB resident", memory("VmRSS"));
    let (mut judge, mut stream) = (begun(), stream());
    let mut per_week: Vec<Duration> = Vec::new();
    for week in 1..=weeks {
        let (mut spent, mut wall, mut count) = (Duration::ZERO, Duration::ZERO, 0u64);
        for minute in (week - 1) * WEEK / 60..week * WEEK / 60 {
            let entries = stream.minute(minute);
            let (began, on_wall) = (cpu(), Instant::now());
            for e in &entries {
                judge.take(e);
            }
            (spent, wall) = (spent + cpu().saturating_sub(began), wall + on_wall.elapsed());
            count += entries.len() as u64;
        }
        if matches!(week, 1 | 8 | 52) || week == weeks {
            println!(
                "week {week}: {count} observations folded in {:.2} s of one core, {:.2} s by the clock (aim: under 1.0); \
                 {:.0} ns each; {} KiB resident, {} at most",
                spent.as_secs_f64(),
                wall.as_secs_f64(),
                spent.as_secs_f64() / count as f64 * 1e9,
                memory("VmRSS"),
                memory("VmHWM")
            );
            looks(&judge);
        }
        per_week.push(spent);
    }
    // The middle of many weeks: what else the machine does comes and goes.
    let middle = |w: &[Duration]| {
        let mut w = w.to_vec();
        w.sort_unstable();
        w[w.len() / 2]
    };
    let quarter = per_week.len().div_ceil(4);
    println!(
        "{weeks} weeks in {:.1} s of one core; a week of the last quarter costs {:.2} of one of the first (aim: 1)",
        per_week.iter().sum::<Duration>().as_secs_f64(),
        middle(&per_week[per_week.len() - quarter..]).as_secs_f64() / middle(&per_week[..quarter]).as_secs_f64()
    );
    one_by_one();
    numpy(middle(&per_week));
}

/// What a look costs now: the least of five, as other processes only add to it.
fn looks(judge: &Judge) {
    let least = |f: &dyn Fn()| {
        let time = |_| {
            let began = cpu();
            f();
            cpu().saturating_sub(began).as_secs_f64() * 1e3
        };
        (0..5).map(time).fold(f64::INFINITY, f64::min)
    };
    println!(
        "  is anything wrong {:.3} ms, a look {:.2} ms ({} troubles), a glance {:.2} ms, a judgement {:.1} ms ({:?})",
        least(&|| _ = black_box(judge.anything_wrong())),
        least(&|| _ = black_box(judge.look())),
        judge.look().troubles.len(),
        least(&|| _ = black_box(judge.glance())),
        least(&|| _ = black_box(judge.judgement())),
        judge.judgement().kind
    );
}

/// Every update of a first week timed by itself, the clock's own cost included. Three judges take in the same, and the
/// least of the three counts: interruptions of this process hit one of them, what an update really costs hits all.
fn one_by_one() {
    let (mut judges, mut stream) = ((0..3).map(|_| begun()).collect::<Vec<Judge>>(), stream());
    let mut updates: Vec<u32> = Vec::with_capacity((WEEK * TARGETS.len() as i64) as usize);
    let mut longest_single = Duration::ZERO;
    for minute in 0..WEEK / 60 {
        for e in stream.minute(minute) {
            let mut least = Duration::MAX;
            for judge in &mut judges {
                let began = Instant::now();
                judge.take(&e);
                let took = began.elapsed();
                (least, longest_single) = (least.min(took), longest_single.max(took));
            }
            updates.push(u32::try_from(least.as_nanos()).unwrap_or(u32::MAX));
        }
    }
    updates.sort_unstable();
    let at = |share: f64| f64::from(updates[(share * (updates.len() - 1) as f64) as usize]) / 1e3;
    println!(
        "an update, {} timed one by one, least of three judges: median {:.2} us, 99.9th percentile {:.2} us, most {:.2} us \
         (aim: under 50); with interruptions by others, most {:.0} us",
        updates.len(),
        at(0.5),
        at(0.999),
        at(1.0),
        longest_single.as_secs_f64() * 1e6
    );
}

/// The same work on arrays: per lane the runs of failures and answers, pauses and losses outside runs; per target counts
/// and percentiles of round trips; then the availability posterior. Making the data is not timed, in either.
const SCRIPT: &str = r"
import time, numpy as np
from scipy import stats, special
rng = np.random.default_rng(7)
n = 7 * 86400
lanes = [0, 0, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3]
t = np.arange(n)
down = ((t // 3600 == 40) & (t % 3600 < 600)) | ((t // 3600 == 120) & (t % 3600 < 30))
asked = np.stack([t * 1_000_000 + i * 80_000 for i in range(12)])
good = np.stack([(rng.random(n) >= .005) & ~(down & (lanes[i] >= 2)) for i in range(12)])
took = np.where(good, 8_000 + rng.integers(0, 20_000, (12, n)), 2_000_000)
order = np.argsort((asked + took).ravel(), kind='stable')
tgt = np.repeat(np.arange(12), n)[order]; asked = asked.ravel()[order]; good = good.ravel()[order]; took = took.ravel()[order]
lane_of = np.array(lanes)
def work():
    outages = []
    lane = lane_of[tgt]
    for l in range(4):
        m = lane == l
        a, g, w = asked[m], good[m], tgt[m]
        o = np.argsort(a, kind='stable'); a, g, w = a[o], g[o], w[o]
        gaps = np.flatnonzero(np.diff(a) > 5_000_000)
        edge = np.flatnonzero(np.diff(g.astype(np.int8))) + 1
        starts = np.r_[0, edge]; ends = np.r_[edge, len(g)]
        bad = ~g[starts]
        s, e = starts[bad], ends[bad]
        need = len(set(w[:24]))
        long = (e - s) >= max(3, need)
        silent = [(a[max(i - 1, 0)], a[min(j, len(a) - 1)]) for i, j in zip(s[long], e[long])]
        losses = (e - s)[~long].sum()
        if l == 2: outages = [(y - x) / 1e6 for x, y in silent]
    for i in range(12):
        m = tgt == i
        counts = np.bincount(good[m])
        r = took[m][good[m]]
        np.percentile(r, [0, 50, 95, 100])
    x = np.log(np.array(outages)); k = len(x); up = n - sum(outages)
    p, wt = np.polynomial.legendre.leggauss(200); p = (p + 1) / 2; wt = wt / 2
    kn, mn = 1 + k, (np.log(300) + x.sum()) / (1 + k)
    vn = 6 + k; s2 = 6 * 1.75**2 + ((x - x.mean())**2).sum() + k / kn * (x.mean() - np.log(300))**2
    sig = np.sqrt(s2 / stats.chi2.ppf(p, vn))[:, None]; mu = mn + sig / np.sqrt(kn) * special.ndtri(p)[None, :]
    c = np.log(259200.)
    mean = np.exp(mu + sig**2 / 2) * special.ndtr((c - mu) / sig - sig) + 259200. * special.ndtr(-(c - mu) / sig)
    holds = (wt[:, None] * wt[None, :] * special.gammainc(k + .5, .005 / .995 * up / mean)).sum()
    return len(outages), holds
times = []
for _ in range(3):
    began = time.process_time()
    found = work()
    times.append(time.process_time() - began)
print(sorted(times)[1], *found)
";

fn numpy(ours: Duration) {
    let python = Command::new("/usr/bin/python3")
        .args(["-c", SCRIPT])
        .envs([("OPENBLAS_NUM_THREADS", "1"), ("OMP_NUM_THREADS", "1")])
        .stderr(Stdio::null())
        .output();
    let text = python.ok().filter(|o| o.status.success()).map(|o| String::from_utf8_lossy(&o.stdout).into_owned());
    let theirs = text.as_deref().and_then(|t| t.split_whitespace().next()?.parse::<f64>().ok());
    match theirs {
        Some(seconds) => println!(
            "the same week in numpy and scipy, all at once: {seconds:.2} s of one core, middle of three ({}); theirs / ours {:.2}",
            text.unwrap_or_default().trim(),
            seconds / ours.as_secs_f64()
        ),
        None => println!(
            "not compared with numpy: /usr/bin/python3 has no numpy and scipy here (Debian python3-scipy), so no ratio is given"
        ),
    }
}
