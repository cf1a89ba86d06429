//! What a record says of itself, enough to judge it again: the plan and the header.

use super::exit;
use crate::judge::requirement::RequirementSet;
use crate::judge::{Lane, Micros, Settings};
use crate::record::RecordError;
use crate::site::{Plan, Transport, requirements};
use crate::snapshot::{Header, VerdictKind};
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

impl About {
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
            Lane::Address => Micros(plan.cadence.local.0.saturating_mul(5)),
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

/// The exit code of a verdict.
pub(super) fn verdict_code(kind: VerdictKind) -> i32 {
    match kind {
        VerdictKind::IpAlone => exit::IP_ALONE,
        VerdictKind::MendFirst => exit::MEND_FIRST,
        VerdictKind::AddCellular => exit::ADD_CELLULAR,
        VerdictKind::KeepWatching => exit::KEEP_WATCHING,
    }
}

/// The exit code of a record that can't be used.
pub(super) fn record_code(e: &RecordError) -> i32 {
    match e {
        RecordError::NoFile { .. } => exit::NO_INPUT,
        RecordError::Exists(_) => exit::USAGE,
        RecordError::Foreign { .. } | RecordError::Newer { .. } | RecordError::Header(_) => exit::BAD_RECORD,
        RecordError::NotPermitted(_) => exit::PERMISSION,
        RecordError::NotMade { .. } | RecordError::Store(_) => exit::IO,
    }
}
