//! What the script did beside what the survey saw.
//!
//! Decides, fault by fault, whether it was seen, named right, and how far its edges were off, and which troubles were
//! invented. A trouble during a fault that is neither its own nor one that must follow from it is invented. Pure. Does not judge the site.
//!
//! Edges are compared with the midpoints of the trouble's brackets. A second address server and made-up names are only
//! looked for in rounds, so of them only the start is compared, and by the bracket: the truth must lie in it, and the
//! trouble must be known by the round after the one in which it could first be seen.

use super::script::FaultKind;
use crate::judge::{Cause, Lane, Moment};
use crate::snapshot::Trouble;
use std::fmt::Write as _;

/// A fault as it really took effect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Truth {
    /// What.
    pub fault: FaultKind,
    /// From.
    pub from: Moment,
    /// To.
    pub to: Moment,
}

/// How close is right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// How far an edge may be off, seconds; a trouble further than this from every truth is invented.
    pub edge_s: f64,
    /// Seconds between two rounds of discover.
    pub offers_round_s: f64,
    /// Seconds a round listens.
    pub listening_s: f64,
    /// Seconds between two questions for a name that must not exist; made-up answers take two.
    pub control_round_s: f64,
}

impl Rules {
    /// Seconds within which a fault that is looked for in rounds must be known; `None` where it is watched all along.
    fn known_within_s(&self, fault: FaultKind) -> Option<f64> {
        match fault {
            FaultKind::SecondAddressServer => Some(self.offers_round_s + self.listening_s),
            FaultKind::NamesRewritten => Some(2.0 * self.control_round_s + self.edge_s),
            _ => None,
        }
    }
}

impl Default for Rules {
    /// One second at the edges; rounds every 10 s that listen for up to 4 s, and every 6 s, as on the practice site.
    fn default() -> Self {
        Self { edge_s: 1.0, offers_round_s: 10.0, listening_s: 4.0, control_round_s: 6.0 }
    }
}

/// One fault and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The truth.
    pub truth: Truth,
    /// Number of the trouble set beside it; `None`: missed.
    pub trouble: Option<u32>,
    /// The cause the survey named.
    pub named: Option<Cause>,
    /// Seen minus true start, seconds. For what is looked for in rounds: 0 inside the bracket, else the distance to it.
    pub start_error_s: Option<f64>,
    /// Seen minus true end, seconds; `None` while open and where it is not compared.
    pub end_error_s: Option<f64>,
    /// Everything about it is right.
    pub right: bool,
    /// Other troubles seen during it that follow from it: number and cause.
    pub beside: Vec<(u32, Cause)>,
}

impl Row {
    /// Whether the cause was named right.
    pub fn named_right(&self) -> bool {
        self.named == Some(self.truth.fault.cause())
    }
}

/// A trouble nothing in the script accounts for.
#[derive(Clone, Debug, PartialEq)]
pub struct Invented {
    /// Its number.
    pub number: u32,
    /// The cause named.
    pub cause: Cause,
    /// From, seconds (midpoint).
    pub from_s: f64,
    /// To, seconds (midpoint); `None` while open.
    pub to_s: Option<f64>,
}

/// The whole comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What was asked of it.
    pub rules: Rules,
    /// One row a fault, in order of time.
    pub rows: Vec<Row>,
    /// Troubles that were not there.
    pub invented: Vec<Invented>,
}

/// Sets truth beside the seen.
pub fn compare(truths: &[Truth], seen: &[Trouble], rules: Rules) -> Comparison {
    let mut truths = truths.to_vec();
    truths.sort_by_key(|t| t.from);
    let touches = |t: &Truth, s: &Trouble| {
        s.start_s[1] <= t.to.secs() + rules.edge_s && s.end_s.is_none_or(|e| e[1] >= t.from.secs() - rules.edge_s)
    };
    let rows: Vec<Row> = truths.iter().map(|t| row(*t, seen.iter().filter(|s| touches(t, s)), rules)).collect();
    let accounted = |s: &Trouble| {
        rows.iter().any(|r| r.trouble == Some(s.number)) || truths.iter().any(|t| touches(t, s) && follows(t.fault, s))
    };
    let invented = seen
        .iter()
        .filter(|s| !accounted(s))
        .map(|s| Invented { number: s.number, cause: s.cause, from_s: s.start_s[1], to_s: s.end_s.map(|e| e[1]) })
        .collect();
    Comparison { rules, rows, invented }
}

/// Whether a trouble may come of a fault: by its lane, and where losses are drawn at random, by a far end that the draw
/// happened to silence several times in a row while the others answered.
fn follows(fault: FaultKind, seen: &Trouble) -> bool {
    followers(fault).contains(&seen.lane)
        || (fault == FaultKind::LossBurst && seen.lane == Lane::Outside && seen.cause == Cause::TargetMissing)
}

/// Lanes that may be in trouble of their own because of a fault: those beyond it, as far as the practice site carries
/// them over it. A second address server breaks nothing else for a host that has its lease.
const fn followers(fault: FaultKind) -> &'static [Lane] {
    match fault {
        FaultKind::LinkFlap => &[Lane::Address, Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver],
        FaultKind::RouterRestart => &[Lane::Names, Lane::Outside, Lane::Receiver],
        FaultKind::AddressRemoved => &[Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver],
        FaultKind::RouteRemoved => &[Lane::Names, Lane::Outside, Lane::Receiver],
        FaultKind::AccessCut | FaultKind::LossBurst | FaultKind::LineCongested => &[Lane::Names, Lane::Receiver],
        FaultKind::ResolverFailure
        | FaultKind::NamesRewritten
        | FaultKind::ReferencesFiltered
        | FaultKind::ReceiverRefusing
        | FaultKind::ReceiverSilent
        | FaultKind::SecondAddressServer => &[],
    }
}

fn row<'a>(truth: Truth, near: impl Iterator<Item = &'a Trouble>, rules: Rules) -> Row {
    let (from, to) = (truth.from.secs(), truth.to.secs());
    let mut near: Vec<_> = near.collect();
    let overlap = |s: &Trouble| s.end_s.map_or(f64::INFINITY, |e| e[1]).min(to) - s.start_s[1].max(from);
    let fits = |s: &Trouble| s.cause == truth.fault.cause();
    // The right cause first, then the one that covers most of it.
    near.sort_by(|a, b| fits(b).cmp(&fits(a)).then(overlap(b).total_cmp(&overlap(a))));
    let Some((best, others)) = near.split_first() else {
        return Row {
            truth,
            trouble: None,
            named: None,
            start_error_s: None,
            end_error_s: None,
            right: false,
            beside: Vec::new(),
        };
    };
    let rounds = rules.known_within_s(truth.fault);
    let [earliest, middle, latest] = best.start_s;
    let start = if rounds.is_some() { (earliest - from).max(0.0) + (latest - from).min(0.0) } else { middle - from };
    let end = if rounds.is_some() { None } else { best.end_s.map(|e| e[1] - to) };
    let in_time = match rounds {
        Some(within) => latest <= from + within,
        None => end.is_some_and(|e| e.abs() <= rules.edge_s),
    };
    Row {
        truth,
        trouble: Some(best.number),
        named: Some(best.cause),
        start_error_s: Some(start),
        end_error_s: end,
        right: fits(best) && start.abs() <= rules.edge_s && in_time,
        beside: others.iter().filter(|s| follows(truth.fault, s)).map(|s| (s.number, s.cause)).collect(),
    }
}

impl Comparison {
    /// Every fault seen, named right, edges close enough, and nothing invented.
    pub fn all_right(&self) -> bool {
        self.invented.is_empty() && self.rows.iter().all(|r| r.right)
    }

    /// The comparison as plain text.
    pub fn text(&self) -> String {
        let mut out = String::from("What the script did, and what the survey made of it\n\n");
        for r in &self.rows {
            let (from, to) = (r.truth.from.secs(), r.truth.to.secs());
            // Writing to a String cannot fail.
            let _ = write!(out, "  {:<22} {from:>6.1} s to {to:>6.1} s   ", r.truth.fault);
            let said = match &r.named {
                None => "missed".to_owned(),
                Some(cause) if r.named_right() => format!("seen as {}, {}", cause.word(), self.edges(r)),
                Some(cause) => format!("seen as {}, but it was {}", cause.word(), r.truth.fault.cause().word()),
            };
            let _ = writeln!(out, "{}{said}", if r.right { "" } else { "WRONG: " });
            for (number, cause) in &r.beside {
                let _ = writeln!(out, "  {:<22} also seen meanwhile: no. {number}, {}", "", cause.word());
            }
        }
        for i in &self.invented {
            let to = i.to_s.map_or("the end".to_owned(), |t| format!("{t:.1} s"));
            let _ = writeln!(
                out,
                "  WRONG: no. {}, {} from {:.1} s to {to}, was not there",
                i.number,
                i.cause.word(),
                i.from_s
            );
        }
        let right = self.rows.iter().filter(|r| r.right).count();
        let _ = writeln!(out, "\n  {right} of {} right, {} invented", self.rows.len(), self.invented.len());
        out
    }

    fn edges(&self, r: &Row) -> String {
        let start = r.start_error_s.unwrap_or_default();
        if let Some(within) = self.rules.known_within_s(r.truth.fault) {
            let by = r.truth.from.secs() + within;
            return if r.right {
                format!("known by {by:.1} s as it should be")
            } else {
                format!("not known by {by:.1} s")
            };
        }
        let end = r.end_error_s.map_or("not over".to_owned(), |e| format!("end {e:+.2} s"));
        format!("start {start:+.2} s, {end}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Actor;

    fn truth(fault: FaultKind, from: i64, to: i64) -> Truth {
        Truth { fault, from: Moment(from * 1_000_000), to: Moment(to * 1_000_000) }
    }

    fn trouble(number: u32, cause: Cause, start: f64, end: Option<f64>) -> Trouble {
        Trouble {
            number,
            lane: Lane::Outside,
            cause,
            sentence: String::new(),
            start_s: [start - 0.4, start, start + 0.4],
            end_s: end.map(|e| [e - 0.4, e, e + 0.4]),
            outage: true,
            down_from_s: None,
            down_to_s: None,
            confidence: 0.9,
            evidence: vec![],
            evidence_for: vec![],
            evidence_against: vec![],
            not_excluded: vec![],
            unwatched: false,
            alternatives: Vec::new(),
            technician: String::new(),
            step: String::new(),
            proof: String::new(),
            who: Actor::Nobody,
            station_would_know: None,
        }
    }

    #[test]
    fn a_faithful_survey_is_all_right() {
        let truths = [truth(FaultKind::AccessCut, 10, 20), truth(FaultKind::LinkFlap, 30, 31)];
        let seen = [trouble(1, Cause::AccessLine, 10.6, Some(19.2)), trouble(2, Cause::OwnLink, 30.0, Some(31.0))];
        let c = compare(&truths, &seen, Rules::default());
        assert!(c.all_right(), "{}", c.text());
        assert!((c.rows[0].start_error_s.expect("seen") - 0.6).abs() < 1e-9);
        assert!((c.rows[0].end_error_s.expect("over") + 0.8).abs() < 1e-9);
        assert!(c.text().contains("start +0.60 s, end -0.80 s"), "{}", c.text());
    }

    #[test]
    fn each_way_of_being_wrong_shows() {
        let cut = [truth(FaultKind::AccessCut, 10, 20)];
        let wrongs = [
            vec![],
            vec![trouble(1, Cause::RouterRestart, 10.0, Some(20.0))],
            vec![trouble(1, Cause::AccessLine, 11.1, Some(20.0))],
            vec![trouble(1, Cause::AccessLine, 10.0, Some(21.1))],
            vec![trouble(1, Cause::AccessLine, 10.0, None)],
            vec![trouble(1, Cause::AccessLine, 10.0, Some(14.0)), trouble(2, Cause::AccessLine, 15.0, Some(20.0))],
            vec![trouble(1, Cause::AccessLine, 10.0, Some(20.0)), trouble(2, Cause::ReceiverSilent, 21.2, Some(22.0))],
            vec![trouble(1, Cause::AccessLine, 10.0, Some(20.0)), trouble(2, Cause::ReceiverSilent, 5.0, Some(8.9))],
        ];
        for seen in wrongs {
            let c = compare(&cut, &seen, Rules::default());
            assert!(!c.all_right(), "{}", c.text());
            assert!(c.text().contains("WRONG"), "{}", c.text());
        }
    }

    #[test]
    fn only_what_follows_from_a_fault_may_stand_beside_it() {
        use FaultKind as F;
        let inside_out = [Lane::Link, Lane::Address, Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver];
        for (fault, first_allowed) in [
            (F::LinkFlap, Some(Lane::Address)),
            (F::RouterRestart, Some(Lane::Names)),
            (F::AccessCut, Some(Lane::Names)),
            (F::LossBurst, Some(Lane::Names)),
            (F::ResolverFailure, None),
            (F::ReceiverRefusing, None),
        ] {
            for lane in inside_out {
                let own = trouble(1, fault.cause(), 10.0, Some(20.0));
                let other = Trouble { lane, ..trouble(2, Cause::IdleTimeout, 12.0, Some(18.0)) };
                let c = compare(&[truth(fault, 10, 20)], &[own, other], Rules::default());
                let own_lane = matches!(fault, F::AccessCut | F::LossBurst) && lane == Lane::Outside;
                let allowed = first_allowed.is_some_and(|first| lane >= first) && !own_lane;
                assert!(c.rows[0].right, "{}", c.text());
                assert_eq!(c.all_right(), allowed, "{fault} {lane:?}\n{}", c.text());
                assert_eq!((c.rows[0].beside.len(), c.invented.len()), (usize::from(allowed), usize::from(!allowed)));
            }
        }
    }

    #[test]
    fn random_losses_may_silence_one_far_end_but_a_cut_line_silences_all() {
        for (fault, right) in [(FaultKind::LossBurst, true), (FaultKind::AccessCut, false)] {
            let own = trouble(1, fault.cause(), 10.0, Some(20.0));
            let one = Trouble { lane: Lane::Outside, ..trouble(2, Cause::TargetMissing, 12.0, Some(18.0)) };
            assert_eq!(compare(&[truth(fault, 10, 20)], &[own, one], Rules::default()).all_right(), right, "{fault}");
        }
    }

    #[test]
    fn a_fault_is_not_invented_for_overlapping_another() {
        let truths = [truth(FaultKind::SecondAddressServer, 5, 30), truth(FaultKind::ReceiverRefusing, 10, 20)];
        let server = Trouble { lane: Lane::Address, ..trouble(1, Cause::SecondAddressServer, 6.0, None) };
        let refusing = Trouble { lane: Lane::Receiver, ..trouble(2, Cause::ReceiverRefusing, 10.0, Some(20.0)) };
        let c = compare(&truths, &[server, refusing], Rules::default());
        assert!(c.all_right() && c.rows.iter().all(|r| r.beside.is_empty()), "{}", c.text());
    }

    #[test]
    fn the_second_address_server_is_due_by_the_round_after() {
        let truths = [truth(FaultKind::SecondAddressServer, 10, 35)];
        let bracket = |earliest: f64, latest: f64| {
            let mut t = trouble(1, Cause::SecondAddressServer, 0.0, None);
            t.start_s = [earliest, f64::midpoint(earliest, latest), latest];
            compare(&truths, &[t], Rules::default())
        };
        assert!(bracket(5.0, 15.0).all_right());
        assert!(bracket(9.0, 23.9).all_right());
        assert!(!bracket(15.0, 24.5).all_right(), "a round too late");
        assert!(!bracket(12.0, 15.0).all_right(), "the bracket misses the truth by 2 s");
        assert!(!bracket(1.0, 8.5).all_right(), "seen before it was there");
    }

    #[test]
    fn nothing_scripted_and_nothing_seen_is_right() {
        assert!(compare(&[], &[], Rules::default()).all_right());
        assert!(!compare(&[], &[trouble(1, Cause::IdleTimeout, 1.0, Some(2.0))], Rules::default()).all_right());
    }
}
