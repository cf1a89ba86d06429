//! What the survey record says beside what the snapshot and the power sheet say of themselves.

use crate::show::words::span;
use crate::worksheet::sheet::Stand;

/// Over the title.
pub const KICKER: &str = "Survey record for the customer file";
/// Part.
pub const MENDED: &str = "What was mended and proved, and what is to be mended";
/// Where there is none.
pub const NOTHING_MENDED: &str = "No fault that could be mended was seen.";
/// Part.
pub const HAPPENED: &str = "What happened";
/// Part.
pub const PICTURES: &str = "Pictures";
/// Part.
pub const POWER: &str = "Power sheet";
/// Its columns.
pub const POWER_HEAD: [&str; 4] = ["Line", "Result", "Stands", "Source"];
/// Where there is none.
pub const NO_POWER: &str = "Nothing of the site's power was entered, so nothing was worked out.";
/// What it is.
pub const POWER_ABOUT: &str = "Worked out from the site file and published figures, with what drills measured; formulas and inputs stand in the power sheet itself (pathproof power).";
/// Part.
pub const DRILLS: &str = "Drills";
/// Where there is none.
pub const NO_DRILLS: &str =
    "No drill stands in this record: what is said of power was worked out or entered, not tried.";
/// Part.
pub const SITE: &str = "The site";
/// Piece.
pub const ENTERED: &str = "As entered in the site file";
/// Piece.
pub const FOUND: &str = "Found on the way";
/// On what is masked.
pub const MASKED: &str = "Hardware and public addresses, serial number and activation code are shown in part. The whole is shown on request (--unmasked).";
/// Where they are not.
pub const UNMASKED: &str = "Addresses and activation details are shown whole: keep this paper as you keep keys.";
/// Part.
pub const OFFER: &str = "Offer of a cellular backup";
/// What is offered.
pub const OFFER_ABOUT: &str = "The alarm company offers a second signal path over the mobile network. Its price and terms are in the written offer. A cellular path needs power and coverage too, and is no promise that every signal arrives.";
/// What may be ticked.
pub const CHOICES: [&str; 3] = [
    "I accept the offer of a cellular backup.",
    "I decline the offer of a cellular backup. I have read what this record says may happen without one, and what it does not know.",
    "No cellular backup was offered, because: ____________________________",
];
/// Who signs.
pub const SIGNERS: [&str; 2] = ["Customer: name, signature, date", "Installer: name, licence, signature, date"];
/// Part.
pub const RECORD: &str = "This record";
/// Said where there are no outages to draw.
pub const NO_OUTAGES_DRAWN: &str = "Outages by hour and by day are not drawn: there was none.";
/// Said where nothing was worked out of the chain.
pub const NO_CHAIN_DRAWN: &str =
    "How long the chain runs without mains is not drawn: no box of it is named in the site file.";
/// Said where no time was taken.
pub const NO_DELAY_DRAWN: &str = "Delays are not drawn: no answer was timed.";
/// Said where nothing was delivered against time.
pub const NO_DELIVERY_DRAWN: &str = "Alarms against time are not drawn: nothing of the path was seen.";
/// Said where there is no outlook.
pub const NO_HOURS_DRAWN: &str = "Hours a year are not drawn: there is no outlook.";

/// The title.
pub fn title(site: &str) -> String {
    format!("Site {site}: survey record")
}

/// The state of a fault.
pub fn mended(open: bool, asked: bool, quiet_s: f64) -> String {
    match (open, asked) {
        (true, _) => "not mended: it lasts at the record's end".to_owned(),
        (_, true) => {
            format!("to be mended; not seen again in the {} of record since, which is no proof yet", span(quiet_s))
        }
        (_, false) => format!("counts as mended: not seen again in the {} of record since", span(quiet_s)),
    }
}

/// A fault of which nothing more is known.
pub const TO_MEND: &str = "to be mended";

/// How a line of the power sheet stands.
pub const fn stand(s: Stand) -> &'static str {
    match s {
        Stand::Enough => "enough",
        Stand::Short => "SHORT",
        Stand::Open => "open",
        Stand::Figure => "figure",
    }
}

/// Labels of what was entered and of the record.
pub mod label {
    /// Label.
    pub const SITE: &str = "Site";
    /// Label.
    pub const FROM: &str = "From";
    /// Label.
    pub const TO: &str = "To";
    /// Label.
    pub const ENDED: &str = "Ended";
    /// Label.
    pub const CLOCK: &str = "Clock";
    /// Label.
    pub const MADE: &str = "Made";
    /// Label.
    pub const BY: &str = "Made by";
    /// Label.
    pub const FILE: &str = "Record";
    /// Label.
    pub const SHA256: &str = "Its SHA-256";
    /// Label.
    pub const PLAN: &str = "SHA-256 of its plan";
    /// Label.
    pub const BOOT: &str = "Boot of the device";
}

/// In the place of a hash that would not cover all that was read.
pub const NO_HASH: &str = "not given: it was still being written, so that its file did not hold all of it";

/// What is entered in a site file, by name.
pub mod entered {
    /// Label.
    pub const KIND: &str = "Kind of site";
    /// Label.
    pub const ACCESS: &str = "Access line";
    /// Label.
    pub const USES: &str = "The alarm system signals";
    /// Label.
    pub const SET: &str = "Requirement set";
    /// Label.
    pub const SUPERVISION: &str = "Station's supervision interval";
    /// Label.
    pub const RECEIVER: &str = "Receiver";
    /// Label.
    pub const RESOLVER: &str = "Resolver";
    /// Label.
    pub const RETRIES: &str = "Communicator tries after";
    /// Label.
    pub const WITHIN: &str = "An alarm must be through within";
    /// Label.
    pub const RECALLED: &str = "Outages recalled of the last year";
    /// Label.
    pub const BOX: &str = "Box of the chain";
    /// Label.
    pub const BACKUP: &str = "Battery backup";
    /// Label.
    pub const MAC: &str = "Communicator's hardware address";
    /// Label.
    pub const SERIAL: &str = "Communicator's serial number";
    /// Label.
    pub const ACTIVATION: &str = "Activation code";
    /// Where nobody said.
    pub const NOT_SAID: &str = "not said";
}

/// Of a record that has not ended.
pub const RUNNING: &str = "still running, or cut off";
