//! From the judge to the snapshot: views and words, no judgement of its own.

use super::asked::requirement;
use super::known::facts;
use super::lanes::lane;
use super::unseen::blind;
use super::{
    FORMAT, Header, Mend, Ruling, Snapshot, Trouble, Verdict, Watch, decision, drills, figures, reasons, sharpness,
    targets,
};
use crate::judge::{self, Clue, Edge, Ending, Judge, Judgement, Lane, LaneState, Micros, Moment, Sign};
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

/// The snapshot of a judge as it stands, with its ruling.
pub fn take(judge: &Judge, header: &Header) -> Snapshot {
    let j = judge.judgement();
    let look = look(judge, header, &j);
    let ruling = ruled(&j, judge, &look.troubles);
    look.with_ruling(ruling)
}

/// The snapshot for a live view: as [`take`], but nothing is held against what is required, which costs more than a
/// view each second should. What is said so far is `keep-watching` with nothing behind it, or `mend-first`.
pub fn take_live(judge: &Judge, header: &Header) -> Snapshot {
    let j = judge.glance();
    let look = look(judge, header, &j);
    let if_wrong = figures::if_wrong(None, judge.settings().known.assumed.monthly_fee, j.look.observed);
    Snapshot { so_far: Verdict { if_wrong, ..reasons::verdict(&j, judge, &look.troubles) }, ..look }
}

/// The ruling alone, for a view that takes its looks itself.
pub fn rule(judge: &Judge) -> Ruling {
    let j = judge.judgement();
    ruled(&j, judge, &troubles(&j, judge))
}

fn ruled(j: &Judgement, judge: &Judge, troubles: &[Trouble]) -> Ruling {
    let outlook = figures::outlook(j, judge);
    let if_wrong = figures::if_wrong(outlook.as_ref(), judge.settings().known.assumed.monthly_fee, j.look.observed);
    let today = decision::lines(j, judge, outlook.as_ref());
    let could_change = reasons::could_change(j, judge);
    Ruling {
        reached_s: (j.look.now - Moment(0)).secs(),
        losses: targets::losses(judge),
        verdict: Verdict { today, if_wrong, could_change, ..reasons::verdict(j, judge, troubles) },
        requirements: j.held.iter().map(|h| requirement(h, j)).collect(),
        delivery: figures::delivery(j),
        outlook,
        prior: Some(figures::prior(j, judge)),
        detection: sharpness::detection(judge),
        lengths: sharpness::lengths(j),
        drills: drills::views(j, judge),
    }
}

fn look(judge: &Judge, header: &Header, j: &Judgement) -> Snapshot {
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
        mend: mend(j, judge),
        lanes: Lane::ALL.iter().map(|l| lane(*l, judge, j, now)).collect(),
        troubles: troubles(j, judge),
        supervision: figures::supervision(j),
        flaps: figures::flap_views(j),
        targets: targets::targets(judge),
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
        so_far: Verdict::default(),
        ruling: None,
    }
}

fn troubles(j: &Judgement, judge: &Judge) -> Vec<Trouble> {
    j.look.troubles.iter().zip(1..).map(|(t, n)| trouble(t, n, judge, j.look.now)).collect()
}

fn mend(j: &Judgement, judge: &Judge) -> Vec<Mend> {
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
    let standby = judge.settings().known.standby.as_ref();
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
