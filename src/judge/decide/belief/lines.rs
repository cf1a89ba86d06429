//! What is believed of a line, number by number, each with its source: for the reader.

use super::sites::{KINDS, Kind, SCALES};
use crate::judge::decide::prior::{Prior, RECALL_WEIGHT};

/// One number of the belief, for the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What is believed.
    pub what: String,
    /// Where it comes from.
    pub source: &'static str,
    /// How well that was checked: D, M or choice.
    pub tag: &'static str,
}

/// The belief number by number.
pub fn lines(prior: Prior) -> Vec<Line> {
    // [PADMAN19], [PADMAN18]
    const SIGCOMM: &str = "days between dropouts by kind of line, SIGCOMM 2019, doi 10.1145/3341302.3342084; confirmed share from the \
         thesis of its first author, 2018; the weight is a choice";
    // [PADMAN16], [PADMAN18]
    const LENGTHS: &str = "outage lengths, IMC 2016, doi 10.1145/2987443.2987461, and the 2018 thesis of its first author; the weight is a choice";
    let line = |what: String, source, tag| Line { what, source, tag };
    let kinds = KINDS.iter().filter(|(a, _)| prior.access.is_none_or(|known| known == *a));
    let mut out = Vec::new();
    if prior.access.is_none() {
        let shares: Vec<String> =
            KINDS.iter().map(|(a, share)| format!("{} {:.0} in 100", a.words(), share * 100.0)).collect();
        out.push(line(
            format!("kind of line not known, so taken as: {}", shares.join(", ")),
            "a choice of this program",
            "choice",
        ));
    }
    for (access, _) in kinds {
        let p = access.published();
        out.push(line(
            format!(
                "{}: an outage of ten minutes or more every {:.0} days on average",
                access.words(),
                p.days_between / p.confirmed
            ),
            SIGCOMM,
            "D",
        ));
        let lengths = Kind::of(*access).lengths;
        let over = |seconds| 100.0 * lengths.long_over(SCALES / 2, seconds);
        out.push(line(
            format!(
                "{}: of outages of ten minutes or more, {:.0} in 100 last over an hour and {:.0} in 100 over half a day",
                access.words(),
                over(3_600.0),
                over(43_200.0)
            ),
            LENGTHS,
            "D",
        ));
    }
    out.push(line(
        "lines of one kind differ: in two of three the rate is between a third and three times the middle one, and in three of ten outages come in clusters".into(),
        "no study of single homes was found; a choice of this program",
        "choice",
    ));
    if let Some(r) = prior.recalled {
        let worst = r.worst.map_or(String::new(), |w| format!(", the worst {w}"));
        out.push(line(
            format!(
                "recalled: {} in the last year{worst}; each worth {RECALL_WEIGHT} of one measured, and half the year's taken as noticed",
                r.last_year
            ),
            "the customer's memory; its weight is this project's choice",
            "choice",
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::prior::{Access, Recalled};

    #[test]
    fn every_number_is_printed_with_a_source() {
        let p =
            Prior { access: Some(Access::Dsl), recalled: Some(Recalled { last_year: 3, worst: None }), unbroken: None };
        assert_eq!((lines(p).len(), lines(Prior::default()).len()), (4, 12));
        assert!(lines(p).iter().all(|l| !l.source.is_empty() && ["D", "M", "choice"].contains(&l.tag)));
        assert!(lines(p)[0].what.contains("29 days"), "{:?}", lines(p)[0]);
    }
}
