//! Rows of the table of keys for mains, network gear, its backups and a cellular second path: `[mains]`, `[[gear]]`,
//! `[[backup]]`, `[cellular]`.

use super::key::{GEAR_KINDS, Key, MOST_GEAR, NAME, POWERED_BY, Section, Unset};
use crate::site::value::Form;
use crate::worksheet::indices::AREAS;
use crate::worksheet::units::{AmpHours, Dimension, Exponent, Hours, PerYear, Volts, WattHours, Watts, Years};

const HOURS_PER_YEAR: Form = Form::Whole { least: 0, most: 8_760 };
const PERCENT: Form = Form::Whole { least: 10, most: 100 };
const PRICE: Form = Form::Whole { least: 0, most: 1_000_000 };
/// A mean length of sustained interruptions.
const CAIDI: Dimension = Dimension { least: 1.0 / 12.0, most: 240.0, ..Hours::DIMENSION };
/// How often mains is interrupted; never is not believed.
const SAIFI: Dimension = Dimension { least: 0.01, most: 100.0, ..PerYear::DIMENSION };

/// Mains, and how long the gear stands without it.
pub(super) const MAINS: Section = Section {
    name: "mains",
    many: None,
    about: &[
        "What is known of the power of the network gear. A week almost never shows a power cut, so the sheet of",
        "\"pathproof power\" works it out from published figures and what stands here.",
    ],
    keys: &[
        Key {
            name: "backed",
            form: Form::Flag,
            unset: Unset::Later("not known"),
            example: "true",
            about: "Whether the whole chain of network gear is on a battery backup.",
        },
        Key {
            name: "minutes",
            form: Form::Whole { least: 0, most: 10_080 },
            unset: Unset::Later("worked out from the gear and its backups, where they are named"),
            example: "90",
            about: "How long that backup carries the gear, in minutes, measured rather than from the label.",
        },
        Key {
            name: "hours_down_per_year",
            form: HOURS_PER_YEAR,
            unset: Unset::Later(
                "worked out where the state or the indices are given, else left out of the outlook, which says so",
            ),
            example: "4",
            about: "Hours a year in which the network gear is without power, after its backup.",
        },
        Key {
            name: "state",
            form: Form::Word(AREAS),
            unset: Unset::Later("no published figures are used"),
            example: "\"united-states-average\"",
            about: "The US state, for its published interruption indices.",
        },
        Key {
            name: "saifi",
            form: Form::Amount(&SAIFI),
            unset: Unset::Later("the published figure of the state"),
            example: "1.35",
            about: "Sustained interruptions a year (SAIFI of IEEE 1366), from the utility. Give caidi with it.",
        },
        Key {
            name: "caidi",
            form: Form::Amount(&CAIDI),
            unset: Unset::Later("the published figure of the state"),
            example: "\"272 min\"",
            about: "Their mean length (CAIDI of IEEE 1366), from the utility. Give saifi with it.",
        },
        Key {
            name: "momentary",
            form: Form::Amount(&PerYear::DIMENSION),
            unset: Unset::Later("not counted, and the sheet says so"),
            example: "4",
            about: "Momentary interruptions a year, five minutes or less (MAIFI of IEEE 1366). They restart gear without a backup.",
        },
        Key {
            name: "restart",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("5 min, a choice of this program"),
            example: "\"4 min\"",
            about: "How long the gear takes to carry again after mains returns.",
        },
        Key {
            name: "street",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("not known; taken never to be what fails first, and the sheet says so"),
            example: "\"4 h\"",
            about: "How long the provider's equipment in the street runs without mains. Ask the provider.",
        },
        Key {
            name: "needed",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("the panel's own standby time, where its rule is named"),
            example: "\"4 h\"",
            about: "How long the path must stand without mains.",
        },
        Key {
            name: "bigger_battery",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("a table of usual times"),
            example: "\"8 h\"",
            about: "How long a bigger battery would carry the gear.",
        },
        Key {
            name: "battery_price",
            form: PRICE,
            unset: Unset::Later("not entered, and nothing is said of its cost"),
            example: "120",
            about: "What that battery costs, in your own money.",
        },
        Key {
            name: "battery_lasts",
            form: Form::Amount(&Years::DIMENSION),
            unset: Unset::Later("not entered, and nothing is said of its cost"),
            example: "\"4 years\"",
            about: "How long such a battery lasts before it is replaced.",
        },
    ],
};

/// Boxes of the chain.
pub(super) const GEAR: Section = Section {
    name: "gear",
    many: Some(MOST_GEAR),
    about: &[
        "A piece of network gear on the path: line terminal, router, switch, radio bridge. In order from the street in.",
    ],
    keys: &[
        Key { name: "name", form: NAME, unset: Unset::Refused, example: "\"router\"", about: "What reports call it." },
        Key {
            name: "powered_by",
            form: Form::Word(POWERED_BY),
            unset: Unset::Is("\"unknown\""),
            example: "\"wall\"",
            about: "Where its power comes from.",
        },
        Key {
            name: "kind",
            form: Form::Word(GEAR_KINDS),
            unset: Unset::Is("\"unknown\""),
            example: "\"router\"",
            about: "What it is. The agent is the host this program runs on: without it nothing is measured, but the path stands.",
        },
        Key {
            name: "draws",
            form: Form::Amount(&Watts::DIMENSION),
            unset: Unset::Later("twice the published allowance of its kind, a choice of this program"),
            example: "\"7 W\"",
            about: "What it draws, from a meter or its label.",
        },
        Key {
            name: "backup",
            form: NAME,
            unset: Unset::Later("the only backup there is"),
            example: "\"shelf backup\"",
            about: "The name of the backup it hangs on.",
        },
        Key {
            name: "measured",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("worked out from its backup"),
            example: "\"95 min\"",
            about: "How long it ran without mains, measured by a drill.",
        },
    ],
};

/// Battery backups.
pub(super) const BACKUP: Section = Section {
    name: "backup",
    many: Some(MOST_GEAR),
    about: &["A battery backup for network gear. Give its energy in Wh, or its charge in Ah with its voltage."],
    keys: &[
        Key {
            name: "name",
            form: NAME,
            unset: Unset::Refused,
            example: "\"shelf backup\"",
            about: "What the gear calls it.",
        },
        Key {
            name: "energy",
            form: Form::Amount(&WattHours::DIMENSION),
            unset: Unset::Later("from charge and volts"),
            example: "\"84 Wh\"",
            about: "Its battery's energy.",
        },
        Key {
            name: "charge",
            form: Form::Amount(&AmpHours::DIMENSION),
            unset: Unset::Later("from energy"),
            example: "\"7 Ah\"",
            about: "Its battery's charge. Given with volts it goes before energy, and a fast discharge is reckoned with.",
        },
        Key {
            name: "volts",
            form: Form::Amount(&Volts::DIMENSION),
            unset: Unset::Later("not known"),
            example: "\"12 V\"",
            about: "Its battery's voltage.",
        },
        Key {
            name: "rated_over",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("20 h, usual for sealed lead-acid"),
            example: "\"20 h\"",
            about: "The time over which that charge is rated.",
        },
        Key {
            name: "exponent",
            form: Form::Amount(&Exponent::DIMENSION),
            unset: Unset::Later("1.15, the worse of what is said of sealed lead-acid"),
            example: "1.15",
            about: "Its Peukert exponent.",
        },
        Key {
            name: "inverter_percent",
            form: PERCENT,
            unset: Unset::Later("85, the worse of what is usual"),
            example: "90",
            about: "What its inverter passes on, in percent.",
        },
        Key {
            name: "usable_percent",
            form: PERCENT,
            unset: Unset::Later("100"),
            example: "100",
            about: "How much of the battery may be drawn, in percent.",
        },
        Key {
            name: "age",
            form: Form::Amount(&Years::DIMENSION),
            unset: Unset::Later("4 years: a battery of unknown age is taken to be due"),
            example: "\"2 years\"",
            about: "How old its battery is.",
        },
        Key {
            name: "own_draw",
            form: Form::Amount(&Watts::DIMENSION),
            unset: Unset::Later("nothing, so that the time worked out is an upper bound"),
            example: "\"3 W\"",
            about: "What it draws for itself.",
        },
    ],
};

/// A second path.
pub(super) const CELLULAR: Section = Section {
    name: "cellular",
    many: None,
    about: &["A cellular second path, for the outlook. Nothing here can be seen from the network."],
    keys: &[
        Key {
            name: "hours_down_per_year",
            form: HOURS_PER_YEAR,
            unset: Unset::Later("44 hours (0.5 % of the year), a choice of this program"),
            example: "44",
            about: "Hours a year in which the cellular path is down.",
        },
        Key {
            name: "shared_percent",
            form: Form::Whole { least: 0, most: 100 },
            unset: Unset::Later("10, a choice of this program"),
            example: "10",
            about: "Of the better path's failures, how many in a hundred take both paths (a wide power cut, one trench).",
        },
        Key {
            name: "monthly_fee",
            form: PRICE,
            unset: Unset::Later("not entered, and nothing is said of cost"),
            example: "10",
            about: "What it costs a month, in your own money.",
        },
        Key {
            name: "holds",
            form: Form::Amount(&Hours::DIMENSION),
            unset: Unset::Later("not known"),
            example: "\"4 h\"",
            about: "How long the mast runs without mains. Ask the operator; it is often not long.",
        },
    ],
};
