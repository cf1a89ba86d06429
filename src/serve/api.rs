//! What programs read of the snapshot: the verdict, what happened page by page. Every type here is in the document.

use super::query::Pairs;
use crate::judge::{Lane, WallTime};
use crate::record::Line;
use crate::snapshot::{Mend, Requirement, Snapshot, Trouble, Verdict};
use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

/// Troubles a page unless asked otherwise, and at most.
const TROUBLES: [usize; 2] = [100, 500];
/// What a time is, for whoever gave something else.
const TIME: &str = "a time such as 2026-05-01T00:00:00Z";
/// Observations a page unless asked otherwise, and at most.
const LINES: [usize; 2] = [200, 1_000];

/// The verdict in force.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct VerdictNow {
    /// When the lanes were last looked over, seconds on the record's axis.
    pub(super) looked_s: f64,
    /// When the verdict was reached, seconds on the record's axis; null before the first.
    pub(super) reached_s: Option<f64>,
    /// The verdict; null before the first.
    pub(super) verdict: Option<Verdict>,
    /// Requirement by requirement.
    pub(super) requirements: Vec<Requirement>,
    /// What to mend, most useful first.
    pub(super) mend: Vec<Mend>,
}

/// A page of what happened.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct TroublePage {
    /// In order of time.
    pub(super) items: Vec<TroubleItem>,
    /// Give this as `after` for the next page; null at the end.
    pub(super) next: Option<u32>,
    /// How many there are in all, on every page together.
    pub(super) total: usize,
}

/// One of it.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct TroubleItem {
    /// When it began, most likely, by this host's clock.
    #[schemars(extend("format" = "date-time"))]
    pub(super) began: Option<String>,
    /// When it ended likewise; null while it lasts.
    #[schemars(extend("format" = "date-time"))]
    pub(super) ended: Option<String>,
    /// The rest.
    #[serde(flatten)]
    pub(super) trouble: Trouble,
}

/// A page of the record.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LinePage {
    /// In the order in which things became known. There may be fewer than asked for, even none, and more to come.
    pub(super) items: Vec<Line>,
    /// Give this as `cursor` for the next page; null at the end of the record.
    pub(super) next: Option<String>,
}

/// What may be asked of troubles.
#[derive(Debug, Default, PartialEq, JsonSchema)]
pub(super) struct TroubleQuery {
    /// How many at most; 100 unless given.
    #[schemars(range(min = 1, max = 500))]
    pub(super) limit: Option<usize>,
    /// Only those with a greater number: the `next` of the page before.
    #[schemars(range(min = 0, max = 4_294_967_295u32))]
    pub(super) after: Option<u32>,
}

/// What may be asked of the record.
#[derive(Debug, Default, PartialEq, JsonSchema)]
pub(super) struct LineQuery {
    /// Leave out what was before this.
    #[schemars(with = "Option<String>", extend("format" = "date-time"))]
    pub(super) from: Option<Timestamp>,
    /// Leave out this and what was after it.
    #[schemars(with = "Option<String>", extend("format" = "date-time"))]
    pub(super) to: Option<Timestamp>,
    /// Only what this layer was asked.
    pub(super) lane: Option<Lane>,
    /// How many at most; 200 unless given.
    #[schemars(range(min = 1, max = 1000))]
    pub(super) limit: Option<usize>,
    /// Where to go on: the `next` of the page before.
    #[schemars(with = "Option<String>", regex(pattern = "^[0-9]{1,18}-[0-9]{1,18}$"))]
    pub(super) cursor: Option<(i64, u64)>,
}

impl TroubleQuery {
    /// Reads it; else what is wrong.
    pub(super) fn read(pairs: &Pairs) -> Result<Self, String> {
        known(pairs, &["limit", "after"])?;
        Ok(Self { limit: limit(pairs, TROUBLES[1])?, after: value(pairs, "after", "a whole number", digits)? })
    }
}

impl LineQuery {
    /// Reads it; else what is wrong.
    pub(super) fn read(pairs: &Pairs) -> Result<Self, String> {
        known(pairs, &["from", "to", "lane", "limit", "cursor"])?;
        let time = |t: &str| t.parse::<Timestamp>().ok();
        let lane = |t: &str| Lane::ALL.into_iter().find(|l| l.word() == t);
        let cursor = |t: &str| {
            let (chunk, entry) = t.split_once('-')?;
            Some((digits(chunk).filter(|_| chunk.len() <= 18)?, digits(entry).filter(|_| entry.len() <= 18)?))
        };
        Ok(Self {
            from: value(pairs, "from", TIME, time)?,
            to: value(pairs, "to", TIME, time)?,
            lane: value(pairs, "lane", "power, link, address, router, names, outside or receiver", lane)?,
            limit: limit(pairs, LINES[1])?,
            cursor: value(pairs, "cursor", "the `next` of a page before", cursor)?,
        })
    }

    /// Items a page.
    pub(super) fn most(&self) -> usize {
        self.limit.unwrap_or(LINES[0])
    }
}

fn known(pairs: &Pairs, names: &[&str]) -> Result<(), String> {
    match pairs.unknown(names) {
        None => Ok(()),
        Some(_) if names.is_empty() => Err("nothing can be asked here".into()),
        Some(_) => Err(format!("only these can be asked: {}", names.join(", "))),
    }
}

/// Where nothing may be asked.
pub(super) fn nothing(pairs: &Pairs) -> Result<(), String> {
    known(pairs, &[])
}

fn value<T>(pairs: &Pairs, name: &str, is: &str, read: impl Fn(&str) -> Option<T>) -> Result<Option<T>, String> {
    pairs.of(name).map(|text| read(text).ok_or_else(|| format!("{name}: give {is}"))).transpose()
}

fn limit(pairs: &Pairs, most: usize) -> Result<Option<usize>, String> {
    value(pairs, "limit", &format!("a whole number from 1 to {most}"), |t| digits(t).filter(|n| (1..=most).contains(n)))
}

/// A number of digits alone: no sign.
fn digits<T: std::str::FromStr>(text: &str) -> Option<T> {
    text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

/// The verdict in force.
pub(super) fn verdict(s: &Snapshot, looked_s: f64, reached_s: Option<f64>) -> VerdictNow {
    VerdictNow {
        looked_s,
        reached_s,
        verdict: s.ruling.as_ref().map(|r| r.verdict.clone()),
        requirements: s.ruling.as_ref().map_or_else(Vec::new, |r| r.requirements.clone()),
        mend: s.mend.clone(),
    }
}

/// A page of troubles, or of those alone in which the path could not deliver.
pub(super) fn troubles(s: &Snapshot, outages: bool, query: &TroubleQuery) -> TroublePage {
    let most = query.limit.unwrap_or(TROUBLES[0]);
    let those = || s.troubles.iter().filter(|t| t.outage || !outages);
    let mut rest = those().filter(|t| query.after.is_none_or(|a| t.number > a));
    let items: Vec<TroubleItem> = rest.by_ref().take(most).map(|t| item(s, t)).collect();
    let next = rest.next().and_then(|_| items.last()).map(|i| i.trouble.number);
    TroublePage { items, next, total: those().count() }
}

fn item(s: &Snapshot, t: &Trouble) -> TroubleItem {
    TroubleItem {
        began: time(s.wall(t.start_s[1])),
        ended: t.end_s.and_then(|e| time(s.wall(e[1]))),
        trouble: t.clone(),
    }
}

/// A wall time as RFC 3339 has it; `None` where it is out of its range.
pub(super) fn time(at: WallTime) -> Option<String> {
    Timestamp::from_microsecond(at.0).ok().map(|t| format!("{t:.6}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Result<LineQuery, String> {
        LineQuery::read(&Pairs::read(text).expect("a query"))
    }

    #[test]
    fn what_is_asked_is_read_or_said_to_be_wrong() {
        let q = lines("from=2026-05-01T00:00:00Z&lane=router&limit=1000&cursor=12-0").expect("right");
        assert_eq!((q.lane, q.most(), q.cursor), (Some(Lane::Router), 1_000, Some((12, 0))));
        assert_eq!(lines("").expect("right").most(), 200);
        for wrong in ["limit=0", "limit=1001", "limit=+1", "limit=", "lane=moon", "from=yesterday", "cursor=1", "x=1"] {
            assert!(lines(wrong).is_err(), "{wrong}");
        }
        assert!(lines(&format!("cursor={}-1", "9".repeat(19))).is_err());
        assert!(lines(&format!("cursor={0}-{0}", "9".repeat(18))).is_ok());
    }

    #[test]
    fn the_schema_names_what_is_read() {
        let names = |schema: schemars::Schema| -> Vec<String> {
            let properties = schema.get("properties").and_then(|p| p.as_object()).expect("an object");
            properties.keys().cloned().collect()
        };
        for name in names(schemars::schema_for!(LineQuery)) {
            assert!(!lines(&format!("{name}=?")).expect_err("no value of any").starts_with("only"), "{name}");
        }
        for name in names(schemars::schema_for!(TroubleQuery)) {
            let read = TroubleQuery::read(&Pairs::read(&format!("{name}=?")).expect("a query"));
            assert!(!read.expect_err("no value of any").starts_with("only"), "{name}");
        }
    }
}
