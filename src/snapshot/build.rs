//! From the judge to the snapshot: views and words, no judgement of its own.

use super::asked::{asks, measured, requirement};
use super::figures;
use super::words;
use super::{Blind, FORMAT, Fact, LaneView, Mend, Snapshot, Stretch, TargetView, Trouble, Verdict, Watch};
use crate::judge::cause::LaneRecord;
use crate::judge::{
    self, Detail, Edge, Ending, Judge, Judgement, Lane, LaneState, Micros, Moment, NotAsked, Outcome, Question,
    Standing, VerdictKind,
};
use std::collections::BTreeMap;

/// What always stands under a result.
const CAUTIONS: [&str; 5] = [
    "Burglary signalling only. Not listed equipment. Not for decisions on fire, carbon monoxide, medical or hold-up signalling.",
    "Local code, the authority having jurisdiction, the insurer and licensed practice decide; this is evidence for them.",
    "It watched the network from this device. It did not test the panel, the communicator, the station or a cellular path.",
    "A short watch is not a year: a mains failure is rarely seen in a week, and cellular too depends on mains.",
    "Before any wiring, take the panel off mains and battery. Do not drop a monitored path on the strength of this report alone.",
];

/// What the record says of itself.
#[derive(Clone, Debug, Default)]
pub struct Header {
    /// Opaque site id.
    pub site: String,
    /// True on the practice site.
    pub practice: bool,
    /// Length asked for, where one was.
    pub planned: Option<Micros>,
    /// Lanes that cannot be seen here by design, with the reason (the practice site on loopback).
    pub blind_by_design: Vec<(Lane, String)>,
    /// Troubles that no receiver is named, and so on: notes made before the first packet.
    pub notes: Vec<String>,
}

/// The snapshot of a judge as it stands.
pub fn take(judge: &Judge, header: &Header) -> Snapshot {
    view(judge, header, &judge.judgement(), false)
}

/// The snapshot for a live view: as [`take`], but no requirement is held against the evidence yet, which costs more
/// than a view each second should. Its verdict is `keep-watching` with nothing behind it, or `mend-first`.
pub fn take_live(judge: &Judge, header: &Header) -> Snapshot {
    view(judge, header, &judge.glance(), true)
}

fn view(judge: &Judge, header: &Header, j: &Judgement, live: bool) -> Snapshot {
    let outlook = if live { None } else { figures::outlook(j, judge) };
    let if_wrong = figures::if_wrong(outlook.as_ref(), judge.settings().known.assumed.monthly_fee);
    let now = j.look.now;
    let elapsed = (now - Moment(0)).secs();
    Snapshot {
        format: FORMAT,
        version: env!("CARGO_PKG_VERSION").into(),
        site: header.site.clone(),
        practice: header.practice,
        watch: Watch {
            began: judge.began().unwrap_or_default(),
            clock_synced: judge.sessions().last().and_then(|s| s.synced),
            elapsed_s: elapsed,
            observed_s: j.look.observed.secs(),
            coverage: if elapsed > 0.0 { (j.look.observed.secs() / elapsed).min(1.0) } else { 0.0 },
            ended: judge.ended().map(|e| match e {
                Ending::Complete => "complete".into(),
                Ending::Interrupted => "interrupted".into(),
            }),
            planned_s: header.planned.map(Micros::secs),
        },
        verdict: Verdict { if_wrong, ..verdict(j, judge) },
        mend: mend(j, now),
        lanes: Lane::ALL.iter().map(|l| lane(*l, judge, j, now)).collect(),
        troubles: j.look.troubles.iter().zip(1..).map(|(t, n)| trouble(t, n, judge, now)).collect(),
        requirements: j.held.iter().map(|h| requirement(h, j)).collect(),
        delivery: if live { None } else { figures::delivery(j) },
        supervision: figures::supervision(j),
        outlook,
        flaps: figures::flap_views(j),
        prior: (!live).then(|| figures::prior(j, judge)),
        targets: targets(judge),
        facts: facts(judge, header, j),
        blind: blind(judge, header, j),
        cautions: judge
            .settings()
            .out_of_scope
            .iter()
            .map(|u| format!("This site file names {u} signalling: that is out of scope here. The authority having jurisdiction decides."))
            .chain(CAUTIONS.iter().map(|c| (*c).to_owned()))
            .collect(),
    }
}

fn verdict(j: &Judgement, judge: &Judge) -> Verdict {
    let troubles = &j.look.troubles;
    let now = j.look.now;
    let watched = j.look.observed;
    let outages = troubles.iter().filter(|t| t.path_down.is_some()).count();
    let mut reasons: Vec<String> = Vec::new();
    for u in &judge.settings().out_of_scope {
        reasons
            .push(format!("{u} signalling is out of scope: the authority having jurisdiction decides, not this tool."));
    }
    match j.kind {
        VerdictKind::MendFirst => {
            let mut causes: BTreeMap<_, (usize, f64, String)> = BTreeMap::new();
            for t in j.mendable() {
                let entry = causes.entry(t.cause).or_insert_with(|| (0, 0.0, words::sentence(t, now)));
                (entry.0, entry.1) = (entry.0 + 1, entry.1 + t.down_for(now).secs());
            }
            let mut causes: Vec<_> = causes.into_values().collect();
            // What stopped the path longest is the strongest reason.
            causes.sort_by(|a, b| b.1.total_cmp(&a.1));
            reasons
                .extend(causes.into_iter().map(|(n, _, s)| if n > 1 { format!("{s} ({n} times like it)") } else { s }));
        }
        VerdictKind::AddCellular => {
            reasons.extend(
                j.held
                    .iter()
                    .filter(|h| h.standing == Standing::NotMet)
                    .map(|h| format!("Required: {}. Seen: {}.", asks(&h.require.ask), measured(&h.measured))),
            );
            reasons.extend(
                troubles
                    .iter()
                    .filter(|t| !t.cause.mendable() && t.path_down.is_some())
                    .map(|t| words::sentence(t, now)),
            );
        }
        VerdictKind::IpAlone | VerdictKind::KeepWatching => {}
    }
    if watched.0 == 0 {
        reasons.push("The path was not observed at all.".into());
    } else if outages == 0 {
        reasons.push(format!("No outage in {watched} of watching; that alone proves little."));
    } else {
        let down: f64 = troubles.iter().map(|t| t.down_for(now).secs()).sum();
        let down = Micros((down * 1e6) as i64);
        reasons.push(format!("{}, {down} in all, in {watched} of watching.", words::count(outages, "outage")));
    }
    for h in j.held.iter().filter(|h| h.standing == Standing::Open) {
        let more = h
            .needs
            .map_or("more watching alone will not settle it".to_owned(), |n| format!("needs {}", words::about(n)));
        reasons.push(format!("Open: {} (required: {}); {more}.", h.require.name, asks(&h.require.ask)));
    }
    if j.kind != j.kind_with_prior
        && let Some((alone, with)) = j.odds
    {
        reasons.push(format!(
            "What is believed of this kind of line and recalled by the customer would say \"{}\": it moves the odds that the line is up as required from {} to {} in 100. The verdict does not rest on it.",
            j.kind_with_prior.words(),
            words::hundred(alone),
            words::hundred(with)
        ));
    }
    // A live view holds nothing against the evidence, and this costs more than a view each second should.
    if !j.held.is_empty()
        && let Some((require, Some(least))) = judge.settings().requirements.shortest_watch(&j.evidence)
        && watched < least
    {
        reasons.push(format!(
            "No watch shorter than {} can meet all of the set \"{}\", however well it goes: {} takes that long to show.",
            words::days(least),
            judge.settings().requirements.name,
            require.name
        ));
    }
    let sentence = match j.kind {
        VerdictKind::KeepWatching if !judge.settings().out_of_scope.is_empty() => {
            format!("Out of scope: {}", reasons.first().map_or("", String::as_str))
        }
        VerdictKind::KeepWatching if watched == Micros::ZERO => {
            "Nothing of the path could be asked from here; see what could not be seen, and why.".to_owned()
        }
        VerdictKind::KeepWatching => match j.needs {
            Some(n) => format!("What was watched does not decide it; {} without trouble would.", words::about(n)),
            None => "What was watched does not decide it, and how much more would can't be said yet.".to_owned(),
        },
        VerdictKind::IpAlone => "What was watched shows every requirement to hold.".to_owned(),
        // The heading says the verdict; the sentence says what for.
        kind => reasons.first().cloned().unwrap_or_else(|| kind.words().to_owned()),
    };
    let (safer_today, safer_because) = safer(j, outages, watched);
    Verdict {
        kind: j.kind,
        sentence,
        confidence: j.confidence,
        reasons,
        needs_s: j.needs.map(Micros::secs),
        safer_today,
        safer_because,
        if_wrong: Vec::new(),
    }
}

/// The safer choice for today and what it rests on.
fn safer(j: &Judgement, outages: usize, watched: Micros) -> (String, String) {
    match j.kind {
        VerdictKind::IpAlone => (
            "IP alone, with the network gear on backup power.".into(),
            "Every requirement is met by what was watched; a mains failure was not part of it.".into(),
        ),
        _ if watched == Micros::ZERO => (
            "Add a cellular backup, or survey again where the path can be asked.".into(),
            "Nothing of the path could be asked from here, and watching longer will not change that.".into(),
        ),
        _ if outages == 0 => (
            "Add a cellular backup, or keep watching before going without one.".into(),
            format!(
                "Not on any fault seen, but on how little {watched} can show: a home connection that fails once a month looks just like this."
            ),
        ),
        _ => (
            "Add a cellular backup.".into(),
            format!(
                "{} in {watched} of watching, and nothing yet that shows that was the last.",
                words::count(outages, "outage")
            ),
        ),
    }
}

fn mend(j: &Judgement, now: Moment) -> Vec<Mend> {
    let mut out: Vec<(judge::Cause, Mend)> = Vec::new();
    for t in &j.look.troubles {
        if out.iter().any(|(c, _)| *c == t.cause) || (!t.cause.mendable() && t.path_down.is_none()) {
            continue;
        }
        let (step, proof) = words::step(t.cause);
        let mend = Mend {
            what: words::sentence(t, now),
            who: words::actor(t.cause.actor()).into(),
            step: step.into(),
            proof: proof.into(),
        };
        out.push((t.cause, mend));
    }
    // What stopped the path longest comes first.
    let weight = |c: judge::Cause| -> f64 {
        j.look.troubles.iter().filter(|t| t.cause == c).map(|t| t.down_for(now).secs()).sum()
    };
    out.sort_by(|(a, _), (b, _)| b.mendable().cmp(&a.mendable()).then(weight(*b).total_cmp(&weight(*a))));
    out.into_iter().map(|(_, m)| m).collect()
}

fn edge(e: Edge) -> [f64; 3] {
    [e.earliest.secs(), e.midpoint().secs(), e.latest.secs()]
}

fn trouble(t: &judge::Trouble, number: u32, judge: &Judge, now: Moment) -> Trouble {
    let clues = |speaks: Option<bool>| -> Vec<String> {
        t.clues.iter().filter(|c| c.speaks_for == speaks).filter_map(|c| words::clue(*c)).collect()
    };
    let mut evidence_for = clues(Some(true));
    evidence_for.extend(words::failures(&t.root));
    if t.root.from_first_look {
        evidence_for.push("it was already so at the first look; when it began is not known".into());
    }
    Trouble {
        number,
        lane: t.root.lane,
        cause: t.cause.word().into(),
        sentence: words::sentence(t, now),
        start_s: edge(t.root.start),
        end_s: t.root.end.map(edge),
        outage: t.path_down.is_some(),
        confidence: t.confidence,
        evidence_for,
        evidence_against: clues(Some(false)),
        not_excluded: t.not_excluded.iter().map(|c| c.word().to_owned()).collect(),
        who: words::actor(t.cause.actor()).into(),
        station_would_know: t
            .path_down
            .zip(judge.settings().supervision)
            .and_then(|((from, to), interval)| judge::supervision::known(&judge::Outage { from, to }, interval, now)),
    }
}

fn lane(lane: Lane, judge: &Judge, j: &Judgement, now: Moment) -> LaneView {
    let record = j.look.lanes.iter().find(|l| l.lane == lane);
    let stretches = record.map_or_else(Vec::new, |r| stretches(r, now));
    let last = judge.tallies().iter().filter(|(q, ..)| q.lane() == lane).max_by_key(|(_, _, t)| t.last.0);
    LaneView {
        lane,
        state: stretches.last().map_or(LaneState::Blind, |s| s.state),
        last: last_words(lane, judge),
        last_s: last.map(|(_, _, t)| t.last.0.secs()),
        stretches,
    }
}

/// The lane from 0 to now without gaps.
fn stretches(r: &LaneRecord, now: Moment) -> Vec<Stretch> {
    let Some((first, last)) = r.reach else {
        return vec![Stretch { from_s: 0.0, to_s: now.secs(), state: LaneState::Blind }];
    };
    // Nothing answered yet and nothing bad enough to be a trouble: not known to be good.
    let unknown = r.is_asked() && r.answers.is_empty();
    let mut cuts = vec![Moment(0), first, last, now];
    cuts.extend(r.blind.iter().flat_map(|(a, b)| [*a, *b]));
    cuts.extend(r.spans.iter().flat_map(|s| [s.start.midpoint(), s.end_or(now)]));
    cuts.retain(|c| *c >= Moment(0) && *c <= now);
    cuts.sort_unstable();
    cuts.dedup();
    // Looks are spaced: the stretch after the last one, up to a few turns long, still counts as seen.
    let fresh = Micros::from_secs(10);
    let mut out: Vec<Stretch> = Vec::new();
    for pair in cuts.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let middle = from.midpoint(to);
        let state = if middle < first
            || middle > last + fresh
            || r.blind.iter().any(|(a, b)| *a < middle && middle < *b)
        {
            LaneState::Blind
        } else {
            let during =
                r.spans.iter().filter(|s| s.start.midpoint() <= middle && middle < s.end_or(now).max(s.start.latest));
            let mut state = if unknown { LaneState::Blind } else { LaneState::Good };
            for s in during {
                match s.oddity.state() {
                    LaneState::Bad => state = LaneState::Bad,
                    LaneState::Strained if state != LaneState::Bad => state = LaneState::Strained,
                    _ => {}
                }
            }
            state
        };
        match out.last_mut() {
            Some(last) if last.state == state => last.to_s = to.secs(),
            _ => out.push(Stretch { from_s: from.secs(), to_s: to.secs(), state }),
        }
    }
    out
}

fn last_words(lane: Lane, judge: &Judge) -> String {
    match lane {
        Lane::Power => "not watched yet".into(),
        Lane::Link => match judge.link().last() {
            None => "not seen".into(),
            Some((_, None)) => "interface gone".into(),
            Some((_, Some(c))) if !c.up => "no carrier".into(),
            Some((_, Some(c))) => {
                let speed = c.speed_mbps.map(|s| format!(", {s} Mbit/s")).unwrap_or_default();
                let duplex = c.full_duplex.map_or("", |f| if f { ", full duplex" } else { ", half duplex" });
                format!("carrier{speed}{duplex}")
            }
        },
        Lane::Address => {
            let (held, gateway) = judge.standings().own();
            match (held.first(), gateway, judge.standings().reach()) {
                (_, _, None) => "not seen".into(),
                (None, ..) => "no address".into(),
                (Some(a), None, _) => format!("{}/{}, no default route", a.address, a.prefix),
                (Some(a), Some(g), _) => format!("{}/{} by {g}", a.address, a.prefix),
            }
        }
        _ => {
            let mine = || judge.tallies().iter().filter(|(q, ..)| q.lane() == lane && *q != Question::ControlName);
            let Some((_, target, tally)) = mine().max_by_key(|(_, _, t)| t.last.0) else {
                return "not asked yet".into();
            };
            match (tally.last.1, tally.rtt_ms()) {
                (Outcome::Answered, Some([_, median, ..])) => format!("{target} answers, half within {median:.1} ms"),
                (outcome, _) => format!("{target}: {}", outcome.words()),
            }
        }
    }
}

fn targets(judge: &Judge) -> Vec<TargetView> {
    judge
        .tallies()
        .iter()
        // No answer is the good answer to the conflict question: a count of answers would mislead. It is a fact instead.
        .filter(|(q, _, t)| t.asked() > 0 && *q != Question::Conflict)
        .map(|(q, target, t)| TargetView {
            lane: q.lane(),
            question: q.words().into(),
            target: target.to_string(),
            asked: t.asked(),
            answered: t.answered().saturating_sub(t.errors),
            otherwise: t
                .outcomes
                .iter()
                .filter(|(o, _)| **o != Outcome::Answered && o.was_asked())
                .map(|(o, n)| (o.words().to_owned(), *n))
                .chain((t.errors > 0).then(|| ("answered with an error".to_owned(), t.errors)))
                .collect(),
            rtt_ms: t.rtt_ms(),
        })
        .collect()
}

fn facts(judge: &Judge, header: &Header, j: &Judgement) -> Vec<Fact> {
    let mut out = Vec::new();
    let mut say = |label: &str, value: String| out.push(Fact { label: label.into(), value });
    let list = |ips: &[std::net::IpAddr]| ips.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let (held, gateway) = judge.standings().own();
    for a in held {
        let valid =
            a.valid_s.map_or("no end given".to_owned(), |s| format!("valid for {}", Micros::from_secs(s.into())));
        say("address of this device", format!("{}/{}, {valid}", a.address, a.prefix));
    }
    if let Some(g) = gateway {
        say("gateway", g.to_string());
    }
    for o in judge.last_details() {
        match &o.detail {
            Detail::Lease(l) => {
                let who = l.recorded_by.as_deref().unwrap_or("the host's client");
                let server = l.server.map_or("unknown server".to_owned(), |s| s.to_string());
                let length = l.lease_s.map_or("unknown length".to_owned(), |s| Micros::from_secs(s.into()).to_string());
                say(
                    "lease",
                    format!("from {server} for {length}, resolvers {} (recorded by {who})", list(&l.resolvers)),
                );
            }
            Detail::Offers { offers, discarded } => {
                for l in offers {
                    let server = l.server.map_or("unnamed".to_owned(), |s| s.to_string());
                    let from = l.from.map_or(String::new(), |m| format!(" ({m})"));
                    let length =
                        l.lease_s.map_or("unknown length".to_owned(), |s| Micros::from_secs(s.into()).to_string());
                    say("address server", format!("{server}{from}: router {}, lease {length}", list(&l.routers)));
                }
                if *discarded > 0 {
                    say("address replies that made no sense", discarded.to_string());
                }
            }
            Detail::Claimants(macs)
                if o.question == Question::GatewayArp || o.question == Question::GatewayNeighbour =>
            {
                say("gateway hardware address", macs.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "));
            }
            Detail::Tls(t) => {
                let trust = match t.trusted {
                    Some(true) => "certificate trusted",
                    Some(false) => "certificate not trusted by public roots (usual for receivers)",
                    None => "certificate not judged",
                };
                say(
                    &format!("TLS of {}", o.target),
                    format!("{}, {trust}", t.version.as_deref().unwrap_or("no version")),
                );
            }
            _ => {}
        }
    }
    let conflicts = || judge.tallies().iter().filter(|(q, ..)| *q == Question::Conflict).map(|(_, _, t)| t);
    let rounds: u64 = conflicts().map(crate::judge::tally::Tally::asked).sum();
    if rounds > 0 && conflicts().all(|t| t.answered() == 0) {
        say("address conflict", format!("asked {rounds} times; nobody else claims this device's address"));
    }
    for (question, name) in &j.look.never_answered {
        say("never answered", format!("{} by {name}: taken as filtered, not as a fault", question.words()));
    }
    for (lane, lost, asked) in &j.look.random_loss {
        if *lost > 0 {
            say("single losses", format!("{}: {lost} of {asked} questions outside any trouble", lane.word()));
        }
    }
    for note in &header.notes {
        say("taken as given", note.clone());
    }
    out
}

fn blind(judge: &Judge, header: &super::build::Header, j: &Judgement) -> Vec<Blind> {
    let elapsed = (j.look.now - Moment(0)).secs();
    let mut out: Vec<Blind> = header
        .blind_by_design
        .iter()
        .map(|(lane, why)| Blind {
            lane: *lane,
            what: format!("{} lane", lane.word()),
            why: why.clone(),
            opens: "network namespaces for the practice site, or a real site".into(),
            for_s: elapsed,
        })
        .collect();
    let designed = |lane: Lane| header.blind_by_design.iter().any(|(l, _)| *l == lane);
    out.push(Blind {
        lane: Lane::Power,
        what: "mains and backup power".into(),
        why: "a survey does not watch power".into(),
        opens: "asking the customer which boxes are on backup power".into(),
        for_s: elapsed,
    });
    if judge.settings().receivers.is_empty() {
        out.push(Blind {
            lane: Lane::Receiver,
            what: "the station's receiver".into(),
            why: "the site file names none, and nothing is sent to a receiver nobody named".into(),
            opens: "a [[receiver]] in the site file, with the station's consent".into(),
            for_s: elapsed,
        });
    }
    for (question, target, tally) in judge.tallies().iter() {
        // Until the gateway is known its questions go by another name; a resolver or receiver stands for itself.
        let elsewhere = question.lane() <= Lane::Router && judge.tallies().ever_asked(question);
        if tally.asked() > 0 || elsewhere || designed(question.lane()) {
            continue;
        }
        let Some((outcome, _)) = tally.outcomes.iter().max_by_key(|(_, n)| **n) else { continue };
        let why = judge
            .last_details()
            .find(|o| o.question == question && *o.target == **target)
            .and_then(
                |o| if let Detail::Why(w) = &o.detail { Some(format!("{} ({w})", outcome.words())) } else { None },
            )
            .unwrap_or_else(|| outcome.words().to_owned());
        let opens = match outcome {
            Outcome::NotAsked(NotAsked::Unresolved) => "a resolver that answers, or the receiver as a plain address",
            Outcome::NotAsked(NotAsked::NoTarget) => "naming one in the site file",
            Outcome::NotAsked(NotAsked::NoInterface | NotAsked::NoAddress | NotAsked::NoRoute) => {
                "a network interface with a carrier, an address and a default route"
            }
            _ => words::opens(question),
        };
        out.push(Blind {
            lane: question.lane(),
            what: question.words().into(),
            why,
            opens: opens.into(),
            for_s: elapsed,
        });
    }
    for r in &j.look.lanes {
        let paused: i64 = r.blind.iter().map(|(a, b)| (*b - *a).0).sum();
        if paused > 0 {
            out.push(Blind {
                lane: r.lane,
                what: format!("{} lane, in {}", r.lane.word(), words::count(r.blind.len(), "pause")),
                why: "nothing was asked for a while (agent off, suspended or held up)".into(),
                opens: "leaving it running".into(),
                for_s: Micros(paused).secs(),
            });
        }
    }
    out
}
