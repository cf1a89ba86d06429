//! The practice site beside a survey: prepared before it, played during it, compared after it.

use super::exit::CommandError;
use super::options::SurveyOptions;
use super::site_file;
use crate::judge::Micros;
use crate::practice::{self, Ground, Playing, Rules, Script, Site};
use crate::site::Settled;
use crate::site::keys::LONGEST_FILE;
use crate::snapshot::Snapshot;
use crate::sys::clock::Clock;
use std::fmt::Write as _;

/// Watched on after the last step, so that its end is seen and cleared.
const AFTERWARDS: Micros = Micros::from_secs(6);

/// The practice line being later than this is worth a word when something went wrong (choice: a third of the patience).
const HELD_UP: Micros = Micros::from_millis(250);

/// A practice site standing ready.
pub(super) struct Rehearsal {
    site: Site,
    notes: Vec<String>,
}

/// A practice site being played.
pub(super) struct UnderWay {
    site: Site,
    playing: Playing,
}

impl Rehearsal {
    /// Builds the site: in namespaces or, where they are refused, on loopback addresses.
    pub(super) fn prepare(o: &SurveyOptions) -> Result<Self, CommandError> {
        let script = match &o.script {
            Some(path) => {
                let name = path.display().to_string();
                let bytes = site_file::read(path)
                    .map_err(|e| CommandError::reading(&e, format!("The script {name} can't be read: {e}")))?;
                if bytes.len() > LONGEST_FILE {
                    return Err(CommandError::BadSiteFile(format!("{name}: more than {LONGEST_FILE} bytes")));
                }
                let text = String::from_utf8(bytes).map_err(|e| CommandError::BadSiteFile(format!("{name}: {e}")))?;
                Script::read(&name, &text).map_err(|e| CommandError::BadSiteFile(e.to_string()))?
            }
            None => practice::generate(o.seed.unwrap_or(1)),
        };
        let ground = practice::prepare();
        let mut notes = match &ground {
            Ground::Namespaces(_) => {
                vec!["The practice site stands in network namespaces of its own: nothing leaves this machine.".into()]
            }
            Ground::Loopback { why, allow } => vec![
                format!("Namespaces are refused here ({why}). To allow them: {allow}"),
                "The practice site stands on loopback addresses instead: names, outside and receiver are real, link, address and router can't be seen.".into(),
            ],
        };
        let site = Site::start(ground, script).map_err(CommandError::Internal)?;
        notes.extend(
            site.unplayable.iter().map(|(step, why)| {
                format!("Not played here: {} at {:.0} s ({why})", step.fault.kind().word(), step.at_s)
            }),
        );
        Ok(Self { site, notes })
    }

    /// The plan, and what there is to know before the start.
    pub(super) fn settled(&self) -> Settled {
        let mut plan = self.site.plan.clone();
        plan.lease_file.clone_from(&self.site.lease_file);
        Settled { plan, notes: self.notes.clone() }
    }

    /// How long to watch.
    pub(super) fn length(&self) -> Micros {
        let end = self.site.script.steps.iter().map(practice::Step::until_s).fold(0.0, f64::max);
        Micros((end * 1e6) as i64) + AFTERWARDS
    }

    /// Plays the script from now on.
    pub(super) fn play(self, clock: Clock) -> Result<UnderWay, CommandError> {
        let playing = self.site.play(clock).map_err(CommandError::Internal)?;
        Ok(UnderWay { site: self.site, playing })
    }
}

impl UnderWay {
    /// Sets what the script did beside what the survey saw: the table, and whether all was right.
    pub(super) fn compare(self, seen: &Snapshot) -> Result<(String, bool), CommandError> {
        let truths = self.playing.finish().map_err(CommandError::Internal)?;
        let comparison = practice::compare(&truths, &seen.troubles, Rules::default());
        let mut text = comparison.text();
        let mut all_right = comparison.all_right();
        let late = self.site.line().held_up();
        if !all_right && late > HELD_UP {
            let _ = writeln!(
                text,
                "\nThis machine was busy: the practice line gave frames out up to {late} late, which looks like a fault \
                 of the line.\nRun it again when less else is running."
            );
        }
        let octets = self.site.visits().octets();
        if octets > 0 {
            all_right = false;
            let _ = writeln!(text, "\nThe receiver was sent {octets} octets; nothing may be sent to it.");
        }
        Ok((text, all_right))
    }
}
