//! The four verdicts, and which of them the evidence alone gives.

use crate::judge::decide::requirement::Standing;
use crate::judge::decide::settings::Stands;

/// The four verdicts.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum VerdictKind {
    /// IP alone is enough.
    IpAlone,
    /// Mend this first.
    MendFirst,
    /// Add a cellular backup.
    AddCellular,
    /// Keep watching: not enough evidence yet.
    #[default]
    KeepWatching,
}

impl VerdictKind {
    /// The verdict in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::IpAlone => "IP alone is enough",
            Self::MendFirst => "Mend this first",
            Self::AddCellular => "Add a cellular backup",
            Self::KeepWatching => "Keep watching: not enough evidence yet",
        }
    }
}

/// How standing without mains counts as a requirement: one that a battery mends is mended first, and one that is met
/// decides nothing, as no week of watching could have shown it.
pub(crate) fn standby(stands: Option<Stands>) -> Option<Standing> {
    stands.filter(|s| *s == Stands::NoBatteryMends).map(|_| Standing::NotMet)
}

/// The verdict from how the requirements stand, on the evidence alone.
pub fn by_evidence(standings: impl IntoIterator<Item = Standing>, mendable: bool, out_of_scope: bool) -> VerdictKind {
    let standings: Vec<Standing> = standings.into_iter().collect();
    if standings.contains(&Standing::NotMet) {
        VerdictKind::AddCellular
    } else if mendable {
        VerdictKind::MendFirst
    } else if !out_of_scope && !standings.is_empty() && standings.iter().all(|s| *s == Standing::Met) {
        VerdictKind::IpAlone
    } else {
        VerdictKind::KeepWatching
    }
}
