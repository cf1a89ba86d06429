//! What is believed of a line before it is watched: from its kind, and from the outages the customer recalls.
//!
//! Holds the published rates and what a customer recalls. It weighs nothing: `belief` does.
//!
//! Sources. Days between dropouts by kind of line [PADMAN19], sampled around severe weather, so rather too bad. The share
//! of dropouts confirmed as outages (the rest are renumberings), and the lengths [PADMAN18]. Outages under eleven minutes
//! were not seen there; their share is from [PADMAN16]. Check, not input: share of time with at most 10 % loss
//! [BISCHOF18] (the median of the named services of each kind).

use crate::judge::facts::Micros;
use serde::{Deserialize, Serialize};

/// The kind of line the site's internet comes by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Access {
    /// Glass to the building.
    Fibre,
    /// The television cable.
    Cable,
    /// The telephone pair.
    Dsl,
    /// Radio from a mast, at a fixed place.
    FixedWireless,
    /// Radio from orbit.
    Satellite,
    /// Not known.
    #[default]
    Unknown,
}

/// What is published of one kind of line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Published {
    /// Days between dropouts.
    pub days_between: f64,
    /// Share of dropouts confirmed as outages.
    pub confirmed: f64,
    /// Share of time with at most 10 % loss; `None` where none is published.
    pub availability: Option<f64>,
}

impl Access {
    /// The kind in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Fibre => "fibre",
            Self::Cable => "cable",
            Self::Dsl => "DSL",
            Self::FixedWireless => "fixed wireless",
            Self::Satellite => "satellite",
            Self::Unknown => "a line of unknown kind",
        }
    }

    /// The published figures. Unknown is all kinds together. Lengths are in `belief`.
    pub const fn published(self) -> Published {
        let (days_between, confirmed, availability) = match self {
            Self::Fibre => (30.0, 0.563, Some(0.997_85)),
            Self::Cable => (16.0, 0.88, Some(0.995_9)),
            Self::Dsl => (9.0, 0.31, Some(0.994_05)),
            Self::FixedWireless => (8.0, 0.815, Some(0.981_3)),
            Self::Satellite => (2.0, 0.723, Some(0.956_05)),
            Self::Unknown => (8.0, 0.601, None),
        };
        Published { days_between, confirmed, availability }
    }
}

/// Outages the customer recalls of the last year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recalled {
    /// How many.
    pub last_year: u32,
    /// How long the worst lasted.
    pub worst: Option<Micros>,
}

/// What one recalled outage is worth against one that was measured (choice: people miss what happens while they sleep
/// or are out, and mistake lengths; a quarter lets a year's memory weigh like three months of watching at the most).
pub const RECALL_WEIGHT: f64 = 0.25;
/// Share of outages that are noticed at all (choice: waking hours at home).
pub const RECALL_NOTICED: f64 = 0.5;

/// Share of the line's outages that end the router's outer connection, so that its count of time connected begins anew
/// (choice: a fault further out in the provider's network leaves the connection standing).
pub const DROPS_SEEN: f64 = 0.7;
/// How often that count begins anew for another reason than an outage, a second: restarts, updates, renewals of the
/// address (choice: once a quarter).
pub const OTHER_RESTARTS: f64 = 1.0 / (90.0 * 86_400.0);

/// How long the outer connection had stood when the watch began, by the router's own count.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unbroken {
    /// Since its last drop, seconds before the watch began.
    pub seconds: f64,
    /// Share of the line's outages that such a count shows; [`DROPS_SEEN`] unless something else is to be tried.
    pub visible: f64,
}

/// What is known of a site's line before it is watched.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Prior {
    /// Its kind; `None` uses no published rate.
    pub access: Option<Access>,
    /// What the customer recalls; `None` when nobody was asked.
    pub recalled: Option<Recalled>,
    /// How long the router's outer connection had stood; `None` where nothing told it.
    #[serde(default)]
    pub unbroken: Option<Unbroken>,
}
