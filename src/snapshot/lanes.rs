//! Lane by lane: its state now and over time, and what was last seen of it.

use super::{LaneView, Stretch, known};
use crate::judge::cause::LaneRecord;
use crate::judge::timeline::Timeline;
use crate::judge::{self, Judge, Judgement, Lane, LaneState, Micros, Moment, Outcome, Question};

pub(super) fn lane(lane: Lane, judge: &Judge, j: &Judgement, now: Moment) -> LaneView {
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
        Lane::Power => known::power(judge),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::requirement::RequirementSet;
    use crate::judge::{Detail, Entry, Known, Observation, Settings};
    use crate::snapshot::{Header, take_live};
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
