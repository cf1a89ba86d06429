//! Hand-built snapshots for the golden and outside checks: one for each verdict, one mostly blind, one hostile.
//!
//! Addresses are documentation ranges (RFC 5737, RFC 3849); numbers are invented but consistent with each other.

mod drilled;
mod hostile;
mod views;

pub(crate) use drilled::drilled;
#[allow(unused_imports, reason = "not every test that shares this uses both")]
pub(crate) use hostile::{HOSTILE, hostile};

use jiff::tz::TimeZone;
use pathproof::judge::{Lane, WallTime};
use pathproof::snapshot::{
    Blind, FORMAT, Fact, LaneState, LaneView, LossView, Mend, Requirement, Snapshot, Standing, Stretch, TargetView,
    Trouble, Verdict, VerdictKind, Watch,
};

/// The zone of every golden file: Central European, spelt out so that no zone data is needed [POSIX1003].
pub(crate) fn zone() -> TimeZone {
    TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a valid POSIX zone")
}

/// All snapshots with their golden names.
pub(crate) fn all() -> Vec<(&'static str, Snapshot)> {
    vec![
        ("ip-alone", ip_alone()),
        ("mend-first", mend_first()),
        ("add-cellular", add_cellular()),
        ("keep-watching", keep_watching()),
        ("drilled", drilled()),
        ("mostly-blind", mostly_blind()),
        ("hostile", hostile()),
    ]
}

const GOOD: LaneState = LaneState::Good;
const STRAINED: LaneState = LaneState::Strained;
const BAD: LaneState = LaneState::Bad;
const BLIND: LaneState = LaneState::Blind;

/// A lane from its changes: each state holds from its second until the next.
fn lane(lane: Lane, end_s: f64, last: &str, changes: &[(f64, LaneState)]) -> LaneView {
    let until = changes.iter().skip(1).map(|c| c.0).chain([end_s]);
    let stretches: Vec<Stretch> =
        changes.iter().zip(until).map(|(&(from_s, state), to_s)| Stretch { from_s, to_s, state }).collect();
    let state = stretches.last().map_or(BLIND, |s| s.state);
    let last_s = (state != BLIND).then_some(end_s - 1.0);
    LaneView { lane, state, last: last.to_owned(), last_s, stretches }
}

fn strings(all: &[&str]) -> Vec<String> {
    all.iter().map(|s| (*s).to_owned()).collect()
}

fn base(site: &str, elapsed_s: f64, coverage: f64) -> Snapshot {
    Snapshot {
        format: FORMAT,
        version: "0.1.0".to_owned(),
        site: site.to_owned(),
        practice: false,
        watch: Watch {
            // 2026-03-10 08:15:30 UTC
            began: WallTime(1_773_130_530_000_000),
            clock_synced: Some(true),
            elapsed_s,
            observed_s: elapsed_s * coverage,
            coverage,
            ended: Some("the planned time was over".to_owned()),
            planned_s: Some(elapsed_s),
        },
        cautions: strings(&[
            "Burglary signalling only. Not for decisions on fire, carbon monoxide, medical or hold-up signals.",
            "This is not listed equipment; local code, the authority having jurisdiction and the insurer decide.",
            "It does not show that the panel, the communicator or the station works.",
        ]),
        ..Snapshot::default()
    }
}

fn target(lane: Lane, question: &str, target: &str, asked: u64, missing: u64, rtt_ms: Option<[f64; 4]>) -> TargetView {
    let otherwise = if missing > 0 { vec![("no answer".to_owned(), missing)] } else { Vec::new() };
    TargetView {
        lane,
        question: question.to_owned(),
        target: target.to_owned(),
        asked,
        answered: asked - missing,
        otherwise,
        rtt_ms,
        course: None,
        loss: (missing > 0).then(|| loss(asked, missing)),
        jitter_ms: rtt_ms.map(|[_, median, ..]| median / 12.0),
    }
}

/// Losses that came in one burst: they count as few.
fn loss(asked: u64, lost: u64) -> LossView {
    let share = lost as f64 / asked as f64;
    LossView {
        share,
        bounds: [share / 3.0, (share * 4.0).min(1.0)],
        effective: asked as f64 / 9.0,
        bursts: 1,
        density: [Some(0.9), Some(0.0)],
    }
}

fn usual_targets(n: u64, lost: u64) -> Vec<TargetView> {
    vec![
        target(Lane::Router, "gateway echo", "192.0.2.1", n, 0, Some([0.31, 0.42, 0.9, 14.2])),
        target(Lane::Names, "name lookup", "192.0.2.1", n / 5, 0, Some([1.1, 8.4, 31.0, 120.0])),
        target(
            Lane::Outside,
            "reference point",
            "reference-a 198.51.100.7",
            n / 5,
            lost,
            Some([9.2, 11.0, 24.5, 1_340.0]),
        ),
        target(
            Lane::Outside,
            "reference point",
            "reference-b 2001:db8:5::53",
            n / 5,
            lost,
            Some([12.0, 14.1, 27.0, 410.0]),
        ),
        target(
            Lane::Receiver,
            "receiver connection",
            "main 203.0.113.20:4500",
            n / 10,
            lost,
            Some([18.3, 20.9, 44.0, 380.0]),
        ),
    ]
}

fn usual_facts() -> Vec<Fact> {
    [
        ("Interface", "eth0, 1000 Mbit/s, full duplex"),
        ("Own address", "192.0.2.40/24"),
        ("Lease", "24 h from 192.0.2.1, renewed every 12 h"),
        ("Gateway", "192.0.2.1 at 02:00:5e:10:00:01"),
    ]
    .map(|(label, value)| Fact { label: label.to_owned(), value: value.to_owned() })
    .to_vec()
}

fn power_blind(for_s: f64) -> Blind {
    Blind {
        lane: Lane::Power,
        what: "mains at the network gear".to_owned(),
        why: "no supply is named in the site file".to_owned(),
        opens: "name the supply's server under [power] in the site file".to_owned(),
        for_s,
    }
}

fn requirement(name: &str, asks: &str, measured: &str, standing: Standing, needs_s: Option<f64>) -> Requirement {
    Requirement {
        name: name.to_owned(),
        asks: asks.to_owned(),
        measured: measured.to_owned(),
        source: "trade practice, not a standard (choice)".to_owned(),
        standing,
        needs_s,
        holds: None,
        least_s: None,
    }
}

const AVAILABLE: &str = "a path down at most 1 h 26 min in 30 days, in the long run";

fn trouble(number: u32, lane: Lane, cause: &str, sentence: &str, at: f64, slack: f64, end: Option<f64>) -> Trouble {
    let outage = matches!(lane, Lane::Link | Lane::Address | Lane::Router | Lane::Outside);
    let start_s = [at - slack, at, at + slack];
    let end_s = end.map(|e| [e - slack, e, e + slack]);
    Trouble {
        number,
        lane,
        cause: cause.to_owned(),
        sentence: sentence.to_owned(),
        start_s,
        end_s,
        outage,
        down_from_s: outage.then_some(start_s),
        down_to_s: end_s.filter(|_| outage),
        confidence: 0.93,
        evidence_for: strings(&["the router answered throughout", "all three reference points fell silent within 1 s"]),
        evidence_against: Vec::new(),
        not_excluded: strings(&["the provider's own fault further out"]),
        unwatched: false,
        alternatives: vec![("router-silent".to_owned(), 0.04)],
        technician: "Gateway answering, every outside target lost.".to_owned(),
        step: "Report the times to the internet provider.".to_owned(),
        proof: "No loss of the line in a month.".to_owned(),
        who: "provider".to_owned(),
        station_would_know: Some(false),
    }
}

/// Sixty days without a trouble that mattered.
pub(crate) fn ip_alone() -> Snapshot {
    let end = 60.0 * 86_400.0;
    let mut s = base("willow-12", end, 0.997);
    s.verdict = Verdict {
        kind: VerdictKind::IpAlone,
        sentence: "The line carried whenever it was looked at, and the time watched is long enough to rely on it."
            .to_owned(),
        confidence: Some(0.962),
        reasons: strings(&[
            "one outage of 41 s in 60 days",
            "each requirement is shown to hold; the least certain is \"availability\": the odds are about 24 in 25 that it does in the long run",
        ]),
        needs_s: None,
        safer_today: String::new(),
        safer_because: String::new(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    let cut = 21.3 * 86_400.0;
    s.lanes = Lane::ALL
        .into_iter()
        .map(|l| match l {
            Lane::Power => lane(l, end, "", &[(0.0, BLIND)]),
            Lane::Outside | Lane::Receiver => lane(
                l,
                end,
                "answers in 11 ms",
                &[(0.0, GOOD), (cut, BAD), (cut + 41.0, GOOD), (40.0 * 86_400.0, BLIND), (40.18 * 86_400.0, GOOD)],
            ),
            _ => lane(l, end, "answers in 0.4 ms", &[(0.0, GOOD), (40.0 * 86_400.0, BLIND), (40.18 * 86_400.0, GOOD)]),
        })
        .collect();
    s.troubles = vec![trouble(1, Lane::Outside, "access-line", "The access line was out.", cut, 0.6, Some(cut + 41.0))];
    s.requirements = vec![
        requirement("availability", AVAILABLE, "down for 41 s of the 60 days watched", Standing::Met, None),
        requirement("longest silence", "under 5 min", "41 s (39.8 to 42.2 s)", Standing::Met, None),
    ];
    s.targets = usual_targets(2_592_000, 9);
    s.facts = usual_facts();
    s.blind = vec![power_blind(end)];
    s.verdict.if_wrong = strings(&[
        "Going without one, and the line is worse than it looks: up to 12 hours a year without a signal path that a second path would have carried (odds about 19 in 20 that it is no more).",
        "Adding one, and the line is as good as it may be: 180 a year in fees, for 20 minutes a year less without a signal path.",
    ]);
    s.verdict.could_change =
        strings(&["One more outage, if it lasts about 1 h 10 min or longer, would put it in doubt again."]);
    s.requirements[0].holds = Some(0.962);
    s.requirements[0].least_s = Some(52.0 * 86_400.0);
    s.delivery = Some(views::delivery(
        0.0,
        0.02,
        0.0,
        35.0,
        "Of 1000 alarms raised at random moments in the 60 days watched, all would have got through within 1 min 30 s.",
    ));
    s.supervision = views::supervision(&[41.0]);
    s.outlook = Some(views::outlook(
        [0.4, 3.1, 13.0],
        [0.04, 0.33, 1.4],
        "Without a signal path, if the year is like what was watched: IP alone about 3.1 hours a year (between 24 minutes and 13 hours); with a cellular second path about 20 minutes a year (between 2 minutes and 1.4 hours). The odds are about 9 in 10 that the truth lies between the two numbers. Power cuts are not in it: nobody entered them.",
    ));
    s.prior = Some(views::prior(
        0.962,
        0.975,
        [VerdictKind::IpAlone; 2],
        "On what was watched alone, the odds are about 24 in 25 that the line is up as much as required in the long run; with what is believed of it, about 39 in 40. The verdict is the same either way.",
    ));
    s.detection = Some(views::detection());
    s.lengths = Some(views::lengths(1, 41.0, [None, None], None));
    s
}

/// Half an hour with a second address server and a loose lead.
pub(crate) fn mend_first() -> Snapshot {
    let end = 1_800.0;
    let mut s = base("corner-shop-3", end, 1.0);
    s.verdict = Verdict {
        kind: VerdictKind::MendFirst,
        sentence: "Two faults inside the building stop the path; a second path would not cure them.".to_owned(),
        confidence: Some(0.97),
        reasons: strings(&[
            "the network lead dropped three times in 30 min",
            "two address servers answer on this network",
        ]),
        needs_s: None,
        safer_today: "Add a cellular backup until it is mended".to_owned(),
        safer_because: "the path was interrupted three times in the time seen".to_owned(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    s.mend = vec![
        Mend {
            what: "The network lead between this host and the switch loses contact".to_owned(),
            who: "installer".to_owned(),
            step: "replace the patch lead; seat it in another port".to_owned(),
            proof: "no carrier change for 24 h".to_owned(),
        },
        Mend {
            what: "A second address server at 192.0.2.77 answers".to_owned(),
            who: "customer".to_owned(),
            step: "switch off address service on the box at 192.0.2.77".to_owned(),
            proof: "one server answers a discover, three times in a row".to_owned(),
        },
    ];
    let drops = [(412.4, 415.9), (433.0, 434.1), (1_290.2, 1_304.8)];
    let mut changes = vec![(0.0, GOOD)];
    for (from, to) in drops {
        changes.extend([(from, BAD), (to, GOOD)]);
    }
    s.lanes = vec![
        lane(Lane::Power, end, "on mains", &[(0.0, GOOD)]),
        lane(Lane::Link, end, "carrier, 1000 Mbit/s, full duplex", &changes),
        lane(Lane::Address, end, "two address servers answer", &[(0.0, GOOD), (600.0, STRAINED)]),
        lane(Lane::Router, end, "answers in 0.4 ms", &changes),
        lane(Lane::Names, end, "answers in 8 ms", &changes),
        lane(Lane::Outside, end, "2 of 3 reference points answer", &[&changes[..], &[(1_500.0, STRAINED)]].concat()),
        lane(Lane::Receiver, end, "accepts in 21 ms", &changes),
    ];
    s.troubles = drops
        .iter()
        .zip(1..)
        .map(|(&(from, to), number)| Trouble {
            who: "installer".to_owned(),
            evidence_for: strings(&["the kernel announced loss of carrier", "everything beyond fell silent with it"]),
            not_excluded: strings(&["the switch lost power for a moment"]),
            ..trouble(number, Lane::Link, "own-link", "The network lead lost contact.", from, 0.02, Some(to))
        })
        .collect();
    s.troubles.push(Trouble {
        outage: false,
        down_from_s: None,
        down_to_s: None,
        who: "customer".to_owned(),
        confidence: 0.99,
        station_would_know: None,
        evidence_for: strings(&["offers from 192.0.2.1 and 192.0.2.77 to the same discover"]),
        not_excluded: Vec::new(),
        ..trouble(4, Lane::Address, "second-server", "A second address server answers.", 600.0, 30.0, None)
    });
    s.requirements = vec![requirement("faults inside", "none open", "two open", Standing::NotMet, None)];
    s.targets = usual_targets(1_800, 4);
    s.facts = usual_facts();
    s.verdict.could_change = strings(&["Once it is mended, about 11 more days without an outage would decide it."]);
    s.supervision = views::supervision(&[3.5, 1.1, 14.6]);
    s.detection = Some(views::detection());
    s.lengths = Some(views::lengths(3, 3.5, [Some(1.1), None], None));
    s
}

/// A week on a poor access line.
pub(crate) fn add_cellular() -> Snapshot {
    let end = 7.0 * 86_400.0;
    let mut s = base("farm-lane-7", end, 0.981);
    s.watch.clock_synced = Some(false);
    s.verdict = Verdict {
        kind: VerdictKind::AddCellular,
        sentence: "The access line is out too often and too long for an alarm to rely on it alone.".to_owned(),
        confidence: Some(0.998),
        reasons: strings(&[
            "14 outages in 7 days, the longest 47 min",
            "\"availability\" does not hold: down for 4 h 20 min of the 7 days watched",
        ]),
        needs_s: None,
        safer_today: String::new(),
        safer_because: String::new(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    let cuts: Vec<(f64, f64)> =
        (0..14).map(|i| (f64::from(i) * 41_000.0 + 9_000.0, f64::from((i * 7 + 1) % 14) * 200.0 + 35.0)).collect();
    let mut far = vec![(0.0, GOOD)];
    for (at, length) in &cuts {
        far.extend([(*at, BAD), (at + length, GOOD)]);
    }
    // A quarter of an hour of flapping, far too fast for a week's scale.
    far.retain(|c| !(300_000.0..320_000.0).contains(&c.0));
    let after = far.iter().position(|c| c.0 > 320_000.0).unwrap_or(far.len());
    let flaps = (0..60).flat_map(|k| {
        let at = 305_000.0 + f64::from(k) * 180.0;
        [(at, BAD), (at + 60.0, GOOD)]
    });
    far.splice(after..after, flaps);
    s.lanes = Lane::ALL
        .into_iter()
        .map(|l| match l {
            Lane::Power => lane(l, end, "", &[(0.0, BLIND)]),
            Lane::Names => {
                let changes: Vec<_> = far.iter().map(|&(at, st)| (at, if st == BAD { STRAINED } else { st })).collect();
                lane(l, end, "answers in 31 ms", &changes)
            }
            Lane::Outside | Lane::Receiver => lane(l, end, "answers in 48 ms", &far),
            _ => lane(l, end, "answers in 0.4 ms", &[(0.0, GOOD), (200_000.0, BLIND), (211_500.0, GOOD)]),
        })
        .collect();
    s.troubles = cuts
        .iter()
        .zip(1..)
        .map(|(&(at, length), number)| Trouble {
            station_would_know: Some(length > 1_800.0),
            ..trouble(number, Lane::Outside, "access-line", "The access line was out.", at, 15.0, Some(at + length))
        })
        .collect();
    s.requirements = vec![
        requirement("availability", AVAILABLE, "down for 4 h 20 min of the 7 days watched", Standing::NotMet, None),
        requirement("longest silence", "under 5 min", "47 min", Standing::NotMet, None),
    ];
    s.targets = usual_targets(302_400, 1_130);
    s.facts = usual_facts();
    s.blind = vec![power_blind(end)];
    s.verdict.if_wrong = strings(&[
        "Going without one, and the line is worse than it looks: up to 260 hours a year without a signal path that a second path would have carried (odds about 19 in 20 that it is no more).",
        "Adding one, and the line is as good as it may be: a year's fees (none were entered), for 80 hours a year less without a signal path.",
    ]);
    s.verdict.could_change =
        strings(&["About 64 more days of watching without an outage would put it in doubt; less would not."]);
    s.requirements[0].holds = Some(0.002);
    s.delivery = Some(views::delivery(
        0.019,
        0.9,
        0.0,
        75.0,
        "Of 1000 alarms raised at random moments in the 7 days watched, between 18 and 21 would not have got through within 1 min 30 s, by what the edges of outages and unseen time leave open; those that did waited 0.9 s on average for a free path, 95 of 100 not at all, none more than 1 min 15 s.",
    ));
    let lasted: Vec<f64> = cuts.iter().map(|c| c.1).collect();
    s.supervision = views::supervision(&lasted);
    s.outlook = Some(views::outlook(
        [90.0, 160.0, 280.0],
        [9.0, 16.0, 28.0],
        "Without a signal path, if the year is like what was watched: IP alone about 160 hours a year (between 90 hours and 280 hours); with a cellular second path about 16 hours a year (between 9.0 hours and 28 hours). The odds are about 9 in 10 that the truth lies between the two numbers. Power cuts are not in it: nobody entered them.",
    ));
    s.detection = Some(views::detection());
    s.lengths = Some(views::lengths(14, 1_035.0, [Some(235.0), Some(1_635.0)], Some(0.06)));
    s
}

/// The first 90 seconds, on the practice site, with the receiver still silent.
pub(crate) fn keep_watching() -> Snapshot {
    let end = 90.0;
    let mut s = base("practice", end, 0.99);
    s.practice = true;
    s.watch.planned_s = Some(600.0);
    s.watch.ended = None;
    s.verdict = Verdict {
        kind: VerdictKind::KeepWatching,
        sentence: "Too little was seen to say either way.".to_owned(),
        confidence: None,
        reasons: strings(&[
            "2 outages, 22 s in all, in 1 min 30 s of watching",
            "\"availability\" is still open: it needs about 11 more days",
        ]),
        needs_s: Some(11.0 * 86_400.0),
        safer_today: "Add a cellular backup".to_owned(),
        safer_because: "nothing yet excludes long outages, and a missed alarm costs more than an unneeded modem"
            .to_owned(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    s.lanes = vec![
        lane(Lane::Power, end, "", &[(0.0, BLIND)]),
        lane(Lane::Link, end, "carrier, 10000 Mbit/s, full duplex", &[(0.0, GOOD), (20.0, BAD), (22.5, GOOD)]),
        lane(Lane::Address, end, "192.0.2.40/24, lease 2 min", &[(0.0, GOOD)]),
        lane(Lane::Router, end, "answers in 0.3 ms", &[(0.0, GOOD), (20.1, BAD), (23.0, GOOD)]),
        lane(Lane::Names, end, "answers in 12 ms", &[(0.0, GOOD), (20.4, BAD), (23.4, GOOD), (48.0, STRAINED)]),
        lane(Lane::Outside, end, "3 of 3 reference points answer", &[(0.0, GOOD), (20.4, BAD), (23.4, GOOD)]),
        lane(Lane::Receiver, end, "refused", &[(0.0, BLIND), (3.0, GOOD), (20.4, BAD), (23.4, GOOD), (70.0, BAD)]),
    ];
    s.troubles = vec![
        Trouble {
            who: "installer".to_owned(),
            evidence_for: strings(&["the kernel announced loss of carrier", "everything beyond fell silent with it"]),
            not_excluded: Vec::new(),
            ..trouble(1, Lane::Link, "own-link", "The network lead lost contact.", 20.0, 0.01, Some(22.5))
        },
        Trouble {
            outage: true,
            down_from_s: Some([69.0, 70.0, 71.0]),
            who: "station".to_owned(),
            confidence: 0.88,
            evidence_for: strings(&["the receiver refuses the connection", "the internet answers"]),
            evidence_against: strings(&["it accepted connections until 09:16:40"]),
            not_excluded: strings(&["a filter on the way that answers in its name"]),
            station_would_know: None,
            ..trouble(2, Lane::Receiver, "receiver", "The receiver refuses connections.", 70.0, 1.0, None)
        },
    ];
    s.requirements = vec![requirement(
        "availability",
        AVAILABLE,
        "down for 22 s of the 1 min 30 s watched",
        Standing::Open,
        Some(11.0 * 86_400.0),
    )];
    s.targets = usual_targets(90, 2);
    s.facts = usual_facts();
    s.blind = vec![power_blind(end)];
    s.verdict.if_wrong = strings(&[
        "Going without one, and the line is worse than it looks: up to 600 hours a year without a signal path that a second path would have carried (odds about 19 in 20 that it is no more).",
        "Adding one, and the line is as good as it may be: 180 a year in fees, for 20 minutes a year less without a signal path.",
    ]);
    s.verdict.could_change = strings(&[
        "About 11 more days of watching without an outage would make it \"IP alone is enough\".",
        "No watch shorter than 11 days can meet all of the set \"household\", however well it goes: \"availability\" takes that long to show.",
    ]);
    s.requirements[0].holds = Some(0.21);
    s.requirements[0].least_s = Some(11.0 * 86_400.0);
    s.supervision = views::supervision(&[2.5, 20.0]);
    s.prior = Some(views::prior(
        0.21,
        0.64,
        [VerdictKind::KeepWatching; 2],
        "With what is believed of it, the odds are about 13 in 20 that the line is up as much as required in the long run; 1 min 29 s of watching alone supports none. The verdict is the same either way.",
    ));
    s.detection = Some(views::detection());
    s
}

/// No capability, no receiver named: only names and outside were seen, and the agent was cut off.
pub(crate) fn mostly_blind() -> Snapshot {
    let end = 3_600.0;
    let mut s = base("flat-4", end, 0.31);
    s.watch.clock_synced = None;
    s.watch.ended = None;
    s.watch.planned_s = None;
    s.verdict = Verdict {
        kind: VerdictKind::KeepWatching,
        sentence: "Most of the path could not be seen.".to_owned(),
        confidence: None,
        reasons: strings(&["five of seven lanes were not seen", "the path was seen for 31 % of the 1 h watched"]),
        needs_s: None,
        safer_today: "Add a cellular backup".to_owned(),
        safer_because: "what was not seen can't be relied on".to_owned(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    s.lanes = Lane::ALL
        .into_iter()
        .map(|l| match l {
            Lane::Names | Lane::Outside => {
                lane(l, end, "answers in 25 ms", &[(0.0, GOOD), (700.0, BLIND), (3_184.0, GOOD)])
            }
            _ => lane(l, end, "not permitted here", &[(0.0, BLIND)]),
        })
        .collect();
    s.targets = vec![
        target(Lane::Router, "gateway echo", "192.0.2.1", 0, 0, None),
        target(Lane::Names, "name lookup", "192.0.2.1", 223, 0, Some([11.0, 25.0, 80.2, 140.0])),
    ];
    s.blind = vec![
        power_blind(end),
        Blind {
            lane: Lane::Router,
            what: "whether the gateway answers".to_owned(),
            why: "this user may not open a ping socket".to_owned(),
            opens: "widen net.ipv4.ping_group_range, or give the program CAP_NET_RAW".to_owned(),
            for_s: end,
        },
        Blind {
            lane: Lane::Receiver,
            what: "the station's receiver".to_owned(),
            why: "none is named in the site file".to_owned(),
            opens: "name it under [[receiver]]".to_owned(),
            for_s: end,
        },
    ];
    s
}
