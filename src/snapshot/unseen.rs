//! What could not be seen: of the site by design, of a question, of a while; why, and what would open it.

use super::{Blind, Header, words};
use crate::judge::{self, Detail, Judge, Judgement, Lane, Micros, Moment, NotAsked, Outcome, Question};

pub(super) fn blind(judge: &Judge, header: &Header, j: &Judgement) -> Vec<Blind> {
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
