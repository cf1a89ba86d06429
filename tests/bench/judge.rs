//! Times the fold: a week at one question a second to each of twelve targets, then on towards a year, and the same work
//! in numpy and scipy in the same run. `cargo bench --bench judge [weeks]`.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::settings::Known;
use pathproof::judge::{
    Detail, Entry, Judge, Lane, Micros, Moment, NameAnswer, Observation, Outcome, Question, Rtt, Session, Settings,
    WallTime,
};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use std::collections::BTreeSet;
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

/// One hour of entries: one question in two hundred is lost, and everything outside is down for `down` seconds.
fn hour(from: i64, names: &[Arc<str>], down: i64, draw: &mut Xoshiro256PlusPlus) -> Vec<Entry> {
    let mut out = Vec::with_capacity(3_600 * TARGETS.len());
    for second in 0..3_600 {
        for (i, ((question, _), name)) in TARGETS.iter().zip(names).enumerate() {
            let asked = (from + second) * SECOND + i as i64 * 80_000;
            let outside = matches!(question.lane(), Lane::Outside | Lane::Receiver);
            let lost = (outside && second < down) || draw.random::<f64>() < 0.005;
            let took = if lost { PATIENCE } else { 8_000 + draw.random_range(0..20_000) };
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
    out
}

/// Resident memory, KiB (Linux, /proc/self/status).
fn resident() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:"));
    line.and_then(|l| l.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

fn main() {
    let weeks: i64 = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(8);
    let set: RequirementSet =
        toml::from_str(include_str!("../../config/requirements/household.toml")).expect("the shipped set parses");
    let settings = Settings {
        receivers: BTreeSet::from(["receiver-a".into(), "receiver-b".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros(PATIENCE),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: set,
        out_of_scope: vec![],
        known: Known::default(),
    };
    let names: Vec<Arc<str>> = TARGETS.iter().map(|t| t.1.into()).collect();
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut judge = Judge::new(settings);
    judge.take(&Entry::Began(Session {
        at: Moment(0),
        boot_id: "b".into(),
        boot: Micros(0),
        wall: WallTime(1_700_000_000 * SECOND),
        synced: Some(true),
    }));
    let mut updates: Vec<u32> = Vec::new();
    let mut first = Duration::ZERO;
    let mut per_week = Vec::new();
    for week in 0..weeks {
        let (mut spent, mut count) = (Duration::ZERO, 0u64);
        for h in 0..168 {
            // Two outages a week: ten minutes and half a minute.
            let down = match h {
                40 => 600,
                120 => 30,
                _ => 0,
            };
            let entries = hour(week * WEEK + h * 3_600, &names, down, &mut draw);
            let sampled = week == 0 && h % 21 == 19;
            if sampled {
                // Timed one by one, and left out of the total, which the clock's own cost would distort.
                for e in &entries {
                    let began = Instant::now();
                    judge.take(e);
                    updates.push(u32::try_from(began.elapsed().as_nanos()).unwrap_or(u32::MAX));
                }
            } else {
                let began = Instant::now();
                for e in &entries {
                    judge.take(e);
                }
                spent += began.elapsed();
                count += entries.len() as u64;
            }
        }
        let each = spent.as_secs_f64() / count as f64;
        println!("week {}: {:.0} ns an observation, {} KiB resident", week + 1, each * 1e9, resident());
        per_week.push(each);
        if week == 0 {
            first = Duration::from_secs_f64(each * (WEEK * TARGETS.len() as i64) as f64);
            let began = Instant::now();
            let look = judge.look();
            let looked = began.elapsed();
            let began = Instant::now();
            let judgement = judge.judgement();
            println!(
                "a look {:.1} ms ({} troubles), a judgement with every requirement {:.1} ms ({:?})",
                looked.as_secs_f64() * 1e3,
                look.troubles.len(),
                began.elapsed().as_secs_f64() * 1e3,
                judgement.kind
            );
        }
    }
    updates.sort_unstable();
    let at = |share: f64| f64::from(updates[(share * (updates.len() - 1) as f64) as usize]) / 1e3;
    println!(
        "an update, {} timed one by one: median {:.2} us, 99th percentile {:.2} us, most {:.2} us (aim: under 50)",
        updates.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
    println!(
        "a week of {} observations folded in {:.2} s (aim: under 1.0); last week costs {:.2} of the first (aim: 1)",
        WEEK * TARGETS.len() as i64,
        first.as_secs_f64(),
        per_week[per_week.len() - 1] / per_week[0]
    );
    numpy(first);
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
began = time.perf_counter()
down_s = 0.0; outages = []
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
print(time.perf_counter() - began, len(outages), holds)
";

fn numpy(ours: Duration) {
    let python = Command::new("/usr/bin/python3").args(["-c", SCRIPT]).stderr(Stdio::null()).output();
    let text = python.ok().filter(|o| o.status.success()).map(|o| String::from_utf8_lossy(&o.stdout).into_owned());
    let theirs = text.as_deref().and_then(|t| t.split_whitespace().next()?.parse::<f64>().ok());
    match theirs {
        Some(seconds) => println!(
            "the same in numpy and scipy, whole week at once: {seconds:.2} s ({}); theirs / ours {:.2}",
            text.unwrap_or_default().trim(),
            seconds / ours.as_secs_f64()
        ),
        None => println!(
            "not compared with numpy: /usr/bin/python3 has no numpy and scipy here (Debian python3-scipy), so no ratio is given"
        ),
    }
}
