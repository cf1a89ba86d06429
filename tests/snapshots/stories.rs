//! Twelve stories of lines and how they were watched, for readers: what each is told, and whether it would know what to do.

use super::{DAY, Fault, May, Site, farmhouse};
use pathproof::judge::{Access, Known, Micros, Prior, Recalled, VerdictKind};
use pathproof::worksheet::outlook::standby;

use VerdictKind::{AddCellular, IpAlone, KeepWatching, MendFirst};

fn line(access: Access) -> Known {
    Known { prior: Prior { access: Some(access), ..Prior::default() }, ..Known::default() }
}

/// Each with what happened, in words.
pub(crate) fn stories() -> Vec<(&'static str, Site)> {
    let fibre = || line(Access::Fibre);
    let cuts = |at: &[(i64, i64)]| at.iter().map(|(from, s)| (Fault::Line, *from, from + s)).collect::<Vec<_>>();
    let mut recalls = fibre();
    recalls.prior.recalled = Some(Recalled { last_year: 6, worst: Some(Micros::from_secs(20 * 3_600)) });
    let nights: Vec<(i64, i64)> = (0..10).map(|night| (night * DAY + 10_800, 90)).collect();
    vec![
        (
            "A fibre line, a week of watching, nothing failed.",
            Site { known: fibre(), ..Site::new("fibre-week", IpAlone, 7 * DAY, 60) },
        ),
        (
            "A survey of three minutes; the line was down for 82 seconds of them. The kind of line was not entered.",
            Site { faults: cuts(&[(60, 82)]), ..Site::new("short-survey", AddCellular, 180, 2) },
        ),
        (
            "A fibre line, a week of watching, two short outages a few minutes apart.",
            Site {
                faults: cuts(&[(200_000, 100), (200_400, 300)]),
                known: fibre(),
                ..Site::new("two-cuts", KeepWatching, 7 * DAY, 30)
            },
        ),
        (
            "A cable line that drops for a minute and a half each night at three, for ten nights.",
            Site {
                faults: cuts(&nights),
                known: line(Access::Cable),
                ..Site::new("each-night", AddCellular, 10 * DAY, 30)
            },
        ),
        (
            "A fibre line watched for 143 days, with one outage of 70 hours.",
            Site {
                faults: cuts(&[(2_000_000, 252_000)]),
                known: fibre(),
                ..Site::new("one-long", AddCellular, 143 * DAY, 600)
            },
        ),
        (
            "A week in which little could be asked: an hour in four, and not the whole path.",
            Site { may: May::Little, known: fibre(), ..Site::new("little-seen", KeepWatching, 7 * DAY, 60) },
        ),
        (
            "A cable line, half an hour of watching, nothing failed.",
            Site { known: line(Access::Cable), ..Site::new("half-hour", AddCellular, 1_800, 2) },
        ),
        (
            "A fibre line, a week without a fault; the network gear stands for two hours without mains where four are needed.",
            Site {
                known: Known { standby: standby(&farmhouse()), ..fibre() },
                ..Site::new("no-standby", AddCellular, 7 * DAY, 60)
            },
        ),
        (
            "A fibre line, a week without a fault, at a site where a cut must be known within five minutes.",
            Site { known: fibre(), supervision: Some(300), ..Site::new("cut-matters", IpAlone, 7 * DAY, 60) },
        ),
        (
            "A fibre line, a month without a fault; the customer recalls six outages of the last year, one of 20 hours.",
            Site { known: recalls, ..Site::new("recalled", IpAlone, 30 * DAY, 120) },
        ),
        ("A month without a fault on a line of unknown kind.", Site::new("kind-unknown", KeepWatching, 30 * DAY, 120)),
        (
            "A fibre line, a week; the lead to the router came loose four times on the last day.",
            Site {
                faults: (0..4).map(|i| (Fault::Lead, 6 * DAY + i * 9_000, 6 * DAY + i * 9_000 + 60)).collect(),
                known: fibre(),
                ..Site::new("loose-lead", MendFirst, 7 * DAY, 30)
            },
        ),
    ]
}
