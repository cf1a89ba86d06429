//! What a record says of itself, enough to judge it again: the plan and the header.

use super::exit::CommandError;
use crate::judge::requirement::RequirementSet;
use crate::judge::{Judge, Lane, Micros, Settings};
use crate::site::{Plan, Settled, Transport, requirements};
use crate::snapshot::Header;
use serde::{Deserialize, Serialize};

/// Kept in the record; `judge` settings and the snapshot's header follow from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct About {
    /// Version of the program that wrote it.
    pub(super) version: String,
    /// The plan the survey ran by.
    pub(super) plan: Plan,
    /// Length asked for.
    pub(super) planned: Option<Micros>,
    /// What was assumed.
    pub(super) notes: Vec<String>,
    /// The set of thresholds, where it is none that ships: a record must be judged again without the file.
    #[serde(default)]
    pub(super) own_set: Option<RequirementSet>,
}

/// Most receivers, resolvers, retries, notes or planned spans of each kind in a header (choice: far above any site).
const MOST: usize = 1_000;
/// The longest pause or wait a header may ask for: a day (choice: `site::cadence` ends at an hour).
const LONGEST_PAUSE: Micros = Micros::from_secs(86_400);
/// The longest of every other length: ten years (choice).
const LONGEST: Micros = Micros::from_secs(3_652 * 86_400);
/// Planned spans lie within 200 years of the epoch, as rows do.
const FARTHEST: Micros = crate::record::FARTHEST;
/// Most outages a year that can be recalled (choice).
const MOST_RECALLED: u32 = 10_000;

impl About {
    /// What this version says of a record made under a settled plan.
    pub(super) fn new(settled: Settled, own_set: Option<RequirementSet>, planned: Option<Micros>) -> Self {
        Self { version: env!("CARGO_PKG_VERSION").into(), plan: settled.plan, planned, notes: settled.notes, own_set }
    }

    /// The text a record keeps of it.
    pub(super) fn text(&self) -> Result<String, CommandError> {
        serde_json::to_string(self).map_err(|e| CommandError::Internal(e.to_string()))
    }

    /// A judge who has seen nothing yet.
    pub(super) fn judge(&self) -> Result<Judge, CommandError> {
        self.settings().map(Judge::new).map_err(CommandError::BadSiteFile)
    }

    /// Reads the header of a record that may come from anybody. Errors are words.
    pub(super) fn read(text: &str) -> Result<Self, String> {
        let about: Self = serde_json::from_str(text).map_err(|e| e.to_string())?;
        about.check()?;
        Ok(about)
    }

    /// Whether every number is one that a survey could have been run by.
    fn check(&self) -> Result<(), String> {
        let plan = &self.plan;
        let back = &plan.background;
        let c = &plan.cadence;
        let pauses = [c.local, c.router, c.names, c.outside, c.receiver, c.offers, plan.patience];
        let lengths = [self.planned, plan.supervision, back.within, back.recalled.and_then(|r| r.worst)];
        let retries = back.retries.as_deref().unwrap_or_default();
        let far = |t: i64| t.unsigned_abs() > FARTHEST.0.unsigned_abs();
        let wrong = if pauses.iter().any(|p| !(Micros(1)..=LONGEST_PAUSE).contains(p)) {
            "a cadence or the patience"
        } else if lengths.iter().flatten().chain(retries).any(|l| !(Micros::ZERO..=LONGEST).contains(l)) {
            "a length of time"
        } else if back.planned.iter().any(|p| far(p.from.0) || far(p.to.0)) {
            "a planned span"
        } else if [plan.receivers.len(), plan.resolvers.len(), plan.references.len(), plan.uses.len()]
            .into_iter()
            .chain([retries.len(), back.planned.len(), back.gear.len(), self.notes.len()])
            .chain([back.backups.len(), back.devices.len(), back.wiring.conductors.len()])
            .any(|n| n > MOST)
        {
            "the length of a list"
        } else if back.recalled.is_some_and(|r| r.last_year > MOST_RECALLED)
            || back.shared_percent.is_some_and(|p| p > 100)
            || [back.mains_hours, back.cellular_hours].into_iter().flatten().any(|h| h > 8_784)
        {
            "a figure of the site's background"
        } else {
            return self.own_set.as_ref().map_or(Ok(()), RequirementSet::check);
        };
        Err(format!("{wrong} is out of all bounds"))
    }

    /// The judge's settings.
    pub(super) fn settings(&self) -> Result<Settings, String> {
        let plan = &self.plan;
        let requirements = self
            .own_set
            .clone()
            .or_else(|| requirements::shipped(&plan.requirements))
            .ok_or_else(|| format!("no requirement set goes by the name {}", plan.requirements))?;
        let slowest = |lane: Lane| match lane {
            Lane::Power | Lane::Link => plan.cadence.local,
            // The address is looked at five times less often than the link.
            Lane::Address => plan.cadence.local.times(5),
            Lane::Router => plan.cadence.router,
            Lane::Names => plan.cadence.names,
            Lane::Outside => plan.cadence.outside,
            Lane::Receiver => plan.cadence.receiver,
        };
        let named = |want: fn(&crate::site::Receiver) -> bool| {
            plan.receivers.iter().filter(|r| want(r)).map(|r| r.name.clone()).collect()
        };
        Ok(Settings {
            receivers: named(|_| true),
            tls_receivers: named(|r| r.transport == Transport::Tls),
            patience: plan.patience,
            cadence: Lane::ALL.map(|l| (l, slowest(l))),
            supervision: plan.supervision,
            requirements,
            known: plan.background.known(),
            out_of_scope: plan.uses.iter().filter(|u| !u.in_scope()).map(|u| u.word().to_owned()).collect(),
        })
    }

    /// What a verdict rests on besides the record: all but what the agent asks by alone.
    pub(super) fn judged_by(&self) -> (Plan, Option<RequirementSet>) {
        let plan = Plan { interface: None, lease_file: None, resolvers: Vec::new(), ..self.plan.clone() };
        (plan, self.own_set.clone())
    }

    /// The snapshot's header.
    pub(super) fn header(&self) -> Header {
        let blind_by_design = if self.plan.loopback {
            let why = "the practice site runs on loopback addresses, which have no lead, lease or router";
            [Lane::Link, Lane::Address, Lane::Router].map(|l| (l, why.to_owned())).to_vec()
        } else {
            Vec::new()
        };
        Header {
            site: self.plan.site.clone(),
            practice: self.plan.practice,
            planned: self.planned,
            blind_by_design,
            notes: self.notes.clone(),
        }
    }
}
