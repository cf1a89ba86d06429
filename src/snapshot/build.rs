//! From the judge to the snapshot: views and words, no judgement of its own.

use super::asked::requirement;
use super::decision;
use super::drills;
use super::figures;
use super::known::facts;
use super::reasons;
use super::sharpness;
use super::words;
use super::{Blind, CourseView, FORMAT, LaneView, Mend, Snapshot, Stretch, TargetView, Trouble, Verdict, Watch};
use crate::judge::cause::LaneRecord;
use crate::judge::timeline::Timeline;
use crate::judge::{
    self, Clue, Detail, Edge, Ending, Judge, Judgement, Lane, LaneState, Micros, Moment, NotAsked, Outcome, Question,
    Sign,
};
use crate::words::{causes, lanes, signs};

use std::collections::BTreeSet;

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
    let if_wrong = figures::if_wrong(outlook.as_ref(), judge.settings().known.assumed.monthly_fee, j.look.observed);
    let today = if live { Vec::new() } else { decision::lines(j, judge, outlook.as_ref()) };
    let now = j.look.now;
    let elapsed = (now - Moment(0)).secs();
    let troubles: Vec<Trouble> = j.look.troubles.iter().zip(1..).map(|(t, n)| trouble(t, n, judge, now)).collect();
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
        verdict: Verdict { today, if_wrong, ..reasons::verdict(j, judge, &troubles, live) },
        mend: mend(j, judge, live),
        lanes: Lane::ALL.iter().map(|l| lane(*l, judge, j, now)).collect(),
        troubles,
        requirements: j.held.iter().map(|h| requirement(h, j)).collect(),
        delivery: if live { None } else { figures::delivery(j) },
        supervision: figures::supervision(j),
        outlook,
        flaps: figures::flap_views(j),
        prior: (!live).then(|| figures::prior(j, judge)),
        targets: targets(judge, live),
        detection: if live { None } else { sharpness::detection(judge) },
        lengths: if live { None } else { sharpness::lengths(j) },
        drills: if live { Vec::new() } else { drills::views(j, judge) },
        facts: facts(judge, header, j),
        blind: blind(judge, header, j),
        agent: None,
        cautions: judge
            .settings()
            .out_of_scope
            .iter()
            .map(|u| format!("This site file names {u} signalling: that is out of scope here. The authority having jurisdiction decides."))
            .chain(CAUTIONS.iter().map(|c| (*c).to_owned()))
            .collect(),
    }
}

fn mend(j: &Judgement, judge: &Judge, live: bool) -> Vec<Mend> {
    let now = j.look.now;
    let mut out: Vec<(judge::Cause, Mend)> = Vec::new();
    for t in &j.look.troubles {
        if out.iter().any(|(c, _)| *c == t.cause) || (!t.cause.mendable() && t.path_down.is_none()) {
            continue;
        }
        let said = causes::row(t.cause);
        let mend = Mend {
            cause: Some(t.cause),
            what: causes::household(t, now),
            who: t.cause.actor(),
            step: said.step.into(),
            proof: said.proof.into(),
        };
        out.push((t.cause, mend));
    }
    // What stopped the path longest comes first.
    let weight = |c: judge::Cause| -> f64 {
        j.look.troubles.iter().filter(|t| t.cause == c).map(|t| t.down_for(now).secs()).sum()
    };
    out.sort_by(|(a, _), (b, _)| b.mendable().cmp(&a.mendable()).then(weight(*b).total_cmp(&weight(*a))));
    let mut out: Vec<Mend> = out.into_iter().map(|(_, m)| m).collect();
    // What was seen to stop the path comes before what mains would do to it.
    let at = j.look.troubles.iter().filter(|t| t.cause.mendable()).map(|t| t.cause).collect::<BTreeSet<_>>().len();
    let standby = judge.settings().known.standby.as_ref().filter(|_| !live);
    if let Some(m) = standby.and_then(drills::mend) {
        out.insert(at.min(out.len()), m);
    }
    out
}

fn edge(e: Edge) -> [f64; 3] {
    [e.earliest.secs(), e.midpoint().secs(), e.latest.secs()]
}

fn trouble(t: &judge::Trouble, number: u32, judge: &Judge, now: Moment) -> Trouble {
    let clues = |speaks: bool| -> Vec<Clue> {
        let mut clues: Vec<_> = t.clues.iter().copied().filter(|c| c.speaks_for() == Some(speaks)).collect();
        // The strongest first.
        clues.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()));
        clues
    };
    let (yes, no) = (clues(true), clues(false));
    let told = |clues: &[Clue]| -> Vec<String> { clues.iter().map(|c| signs::sign(*c).to_owned()).collect() };
    // What was there at the first look is said last, and what that means.
    let at_first_look = |c: &Clue| t.root.from_first_look && c.sign == Sign::FromFirstLook && c.holds;
    let mut evidence_for = told(&yes.iter().copied().filter(|c| !at_first_look(c)).collect::<Vec<_>>());
    evidence_for.extend(lanes::failures(&t.root));
    if t.root.from_first_look {
        evidence_for.push(signs::SINCE_FIRST_LOOK.into());
    }
    Trouble {
        number,
        lane: t.root.lane,
        cause: t.cause,
        sentence: causes::household(t, now),
        start_s: edge(t.root.start),
        end_s: t.root.end.map(edge),
        outage: t.path_down.is_some(),
        down_from_s: t.path_down.map(|(from, _)| edge(from)),
        down_to_s: t.path_down.and_then(|(_, to)| to).map(edge),
        unwatched: t.root.oddity.state() == LaneState::Blind && t.path_down.is_none(),
        confidence: t.confidence,
        evidence_for,
        evidence_against: told(&no),
        evidence: [yes, no].concat(),
        not_excluded: t.alternatives.iter().map(|(c, _)| *c).collect(),
        alternatives: t.alternatives.clone(),
        technician: causes::trade(t, now),
        step: causes::row(t.cause).step.into(),
        proof: causes::row(t.cause).proof.into(),
        who: t.cause.actor(),
        station_would_know: t
            .path_down
            .zip(judge.settings().supervision)
            .and_then(|((from, to), interval)| judge::supervision::known(&judge::Outage { from, to }, interval, now)),
    }
}

fn lane(lane: Lane, judge: &Judge, j: &Judgement, now: Moment) -> LaneView {
    let record = j.look.lanes.iter().find(|l| l.lane == lane);
    let gap = judge.settings().gap_of(lane);
    let stretches = record.map_or_else(Vec::new, |r| stretches(r, now, gap));
    let last = judge.tallies().iter().filter(|(q, ..)| q.lane() == lane).max_by_key(|(_, _, t)| t.last.0);
    LaneView {
        lane,
        state: stretches.last().map_or(LaneState::Blind, |s| s.state),
        last: last_words(lane, judge),
        last_s: last.map(|(_, _, t)| t.last.0.secs()),
        stretches,
    }
}

/// The lane from 0 to now without gaps. What was last seen still counts for as long as a pause is no pause (`gap`).
fn stretches(r: &LaneRecord, now: Moment, gap: Micros) -> Vec<Stretch> {
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
    // Looks are spaced: the stretch after the last one still counts as seen, by its middle.
    let fresh = Micros(gap.0 / 2).max(Micros::from_secs(10));
    let shown = |s: &judge::Span| (s.start.midpoint(), s.end_or(now).max(s.start.latest));
    let spans: Timeline = r.spans.iter().map(shown).collect();
    let pauses: Timeline = r.blind.iter().copied().collect();
    let mut out: Vec<Stretch> = Vec::new();
    for pair in cuts.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let middle = from.midpoint(to);
        let state = if middle < first || middle > last + fresh || pauses.within(middle, middle).next().is_some() {
            LaneState::Blind
        } else {
            let meeting = spans.meeting(middle, middle).map(|place| &r.spans[place]);
            let during = meeting.filter(|s| middle < shown(s).1);
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
        Lane::Power => super::known::power(judge),
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

fn course(c: &judge::course::Course) -> CourseView {
    let steps = c.steps();
    CourseView {
        step_s: c.step().secs(),
        asked: steps.iter().map(|s| s.asked).collect(),
        answered: steps.iter().map(|s| s.answered).collect(),
        // A microsecond is as fine as it was taken.
        mean_ms: steps.iter().map(|s| s.mean_ms().map(|ms| (ms * 1e3).round() / 1e3)).collect(),
        most_ms: steps.iter().map(judge::course::CourseStep::most_ms).collect(),
    }
}

fn targets(judge: &Judge, live: bool) -> Vec<TargetView> {
    // Taking in what is still waited for costs more than a view each second should.
    let losses = if live { Vec::new() } else { judge.losses() };
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
            course: t.rtt.is_some().then(|| course(&t.course)),
            loss: sharpness::loss(&losses, q, target),
            jitter_ms: t.rtt_ms().map(|_| t.jitter.value()),
        })
        .collect()
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
    if !judge.tallies().iter().any(|(q, ..)| q == Question::Mains) {
        out.push(Blind {
            lane: Lane::Power,
            what: "mains and backup power".into(),
            why: "a survey does not watch power".into(),
            opens: "asking the customer which boxes are on backup power".into(),
            for_s: elapsed,
        });
    }
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
        // A lead has no signal to be blind to.
        if question == Question::Radio && *outcome == Outcome::NotAsked(NotAsked::Unsupported) {
            continue;
        }
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
            Outcome::NotAsked(NotAsked::NoAddress) if question == Question::Communicator => {
                "waiting until the communicator has spoken on this network once"
            }
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
        let paused = judge::outage::total(&r.blind).0;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::requirement::RequirementSet;
    use crate::judge::{Entry, Known, Observation, Settings};
    use std::collections::BTreeSet;

    /// One reference point asked each half minute, as a watch may: it is not blind between two looks.
    #[test]
    fn a_lane_is_not_blind_between_two_looks_and_is_after_three() {
        let set = include_str!("../../config/requirements/household.toml");
        let mut judge = Judge::new(Settings {
            receivers: BTreeSet::new(),
            tls_receivers: BTreeSet::new(),
            patience: Micros::from_secs(2),
            cadence: Lane::ALL.map(|l| (l, Micros::from_secs(30))),
            supervision: None,
            requirements: toml::from_str::<RequirementSet>(set).expect("the shipped set parses"),
            out_of_scope: vec![],
            known: Known::default(),
        });
        for n in 0..20 {
            let asked = Moment(n * 30_000_000);
            judge.take(&Entry::Seen(Observation {
                asked,
                known: asked + Micros(20_000),
                question: Question::Reference,
                target: "far".into(),
                outcome: Outcome::Answered,
                rtt: None,
                detail: Detail::None,
            }));
        }
        let mut states = Vec::new();
        for later in [1, 25, 60, 100] {
            judge.take(&Entry::Alive { at: Moment((570 + later) * 1_000_000) });
            let s = take_live(&judge, &Header::default());
            states.push(s.lanes.iter().find(|l| l.lane == Lane::Outside).expect("every lane").state);
        }
        assert_eq!(states, [LaneState::Good, LaneState::Good, LaneState::Good, LaneState::Blind]);
    }
}
