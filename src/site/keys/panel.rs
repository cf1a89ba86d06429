//! Rows of the table of keys for the alarm panel and the run to its communicator: `[panel]`, `[[device]]`, `[wiring]`,
//! `[[conductor]]`.

use super::key::{DATA, Key, MOST_CONDUCTORS, MOST_GEAR, NAME, STANDBYS, STRANDS, Section, TERMINALS, Unset};
use crate::site::value::Form;
use crate::worksheet::units::{AmpHours, Celsius, Metres, Milliamps, Volts, Years};

const MILLIAMPERES: Form = Form::Whole { least: 0, most: 20_000 };

/// The alarm panel.
pub(super) const PANEL: Section = Section {
    name: "panel",
    many: None,
    about: &["The alarm panel, for the worksheets. Nothing is ever sent to it or powered from it."],
    keys: &[
        Key {
            name: "aux_limit_ma",
            form: MILLIAMPERES,
            unset: Unset::Later("not known"),
            example: "850",
            about: "What its auxiliary output may deliver, in mA, from its manual.",
        },
        Key {
            name: "aux_load_ma",
            form: MILLIAMPERES,
            unset: Unset::Later("not known"),
            example: "240",
            about: "What already hangs on that output, in mA, without the communicator. Devices named below go before it.",
        },
        Key {
            name: "communicator_mac",
            form: Form::HardwareAddress,
            unset: Unset::Later("not known"),
            example: "\"02:00:5e:10:00:01\"",
            about: "The hardware address of the communicator, to see whether it is on the network while its cover stays shut.",
        },
        Key {
            name: "communicator_serial",
            form: NAME,
            unset: Unset::Later("left out of the survey record"),
            example: "\"0012345678\"",
            about: "The communicator's serial number, for the survey record alone: it is kept in no record.",
        },
        Key {
            name: "activation",
            form: NAME,
            unset: Unset::Later("left out of the survey record"),
            example: "\"A1B2-C3D4\"",
            about: "Its activation code as the station gave it, for the survey record alone: it is kept in no record, and \
                    shown in part unless --unmasked is given.",
        },
        Key {
            name: "communicator_idle",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("its greatest draw"),
            example: "\"40 mA\"",
            about: "What the communicator usually draws.",
        },
        Key {
            name: "communicator_most",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("75 mA, common practice, no source"),
            example: "\"75 mA\"",
            about: "What it draws at the most, while it sends.",
        },
        Key {
            name: "board_standby",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("not known, and the battery is not worked out"),
            example: "\"120 mA\"",
            about: "What the panel's own board draws on standby.",
        },
        Key {
            name: "board_alarm",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("not known, and the battery is not worked out"),
            example: "\"900 mA\"",
            about: "What the panel's own board and its sounders draw in alarm.",
        },
        Key {
            name: "battery",
            form: Form::Amount(&AmpHours::DIMENSION),
            unset: Unset::Later("not known"),
            example: "\"9 Ah\"",
            about: "The panel's battery.",
        },
        Key {
            name: "battery_age",
            form: Form::Amount(&Years::DIMENSION),
            unset: Unset::Later("not known"),
            example: "\"2 years\"",
            about: "How old it is.",
        },
        Key {
            name: "battery_at",
            form: Form::Amount(&Celsius::DIMENSION),
            unset: Unset::Later("25 C"),
            example: "\"10 C\"",
            about: "How cold it gets where it is.",
        },
        Key {
            name: "standby",
            form: Form::Word(STANDBYS),
            unset: Unset::Later("the sheet shows every rule and decides by none"),
            example: "\"us-household\"",
            about: "By whose rule the panel must run without mains. The listing, the contract or local code say which.",
        },
        Key {
            name: "firmware",
            form: Form::Version,
            unset: Unset::Later("not known"),
            example: "\"2.31\"",
            about: "The panel's firmware.",
        },
        Key {
            name: "firmware_least",
            form: Form::Version,
            unset: Unset::Later("not known"),
            example: "\"2.8\"",
            about: "The least firmware the communicator works with, from its manual.",
        },
    ],
};

/// What hangs on the panel.
pub(super) const DEVICE: Section = Section {
    name: "device",
    many: Some(MOST_GEAR),
    about: &["What hangs on the panel's auxiliary output, without the communicator."],
    keys: &[
        Key {
            name: "name",
            form: NAME,
            unset: Unset::Refused,
            example: "\"keypad\"",
            about: "What the sheet calls it.",
        },
        Key {
            name: "standby",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Refused,
            example: "\"35 mA\"",
            about: "What it draws on standby.",
        },
        Key {
            name: "alarm",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("the same as on standby"),
            example: "\"60 mA\"",
            about: "What it draws in alarm.",
        },
    ],
};

/// The run to the communicator.
pub(super) const WIRING: Section = Section {
    name: "wiring",
    many: None,
    about: &["The run between the panel and the communicator."],
    keys: &[
        Key {
            name: "length",
            form: Form::Amount(&Metres::DIMENSION),
            unset: Unset::Later("not known"),
            example: "\"100 ft\"",
            about: "Length of the cable, one way.",
        },
        Key {
            name: "gauge",
            form: Form::Gauge,
            unset: Unset::Later("not known"),
            example: "\"22 AWG\"",
            about: "Size of its conductors.",
        },
        Key {
            name: "strand",
            form: Form::Word(STRANDS),
            unset: Unset::Later("stranded, the worse"),
            example: "\"solid\"",
            about: "How they are made.",
        },
        Key {
            name: "at",
            form: Form::Amount(&Celsius::DIMENSION),
            unset: Unset::Later("30 C, a choice of this program"),
            example: "\"86 F\"",
            about: "How warm the cable gets.",
        },
        Key {
            name: "current",
            form: Form::Amount(&Milliamps::DIMENSION),
            unset: Unset::Later("the communicator's greatest draw"),
            example: "\"75 mA\"",
            about: "The current it carries.",
        },
        Key {
            name: "source",
            form: Form::Amount(&Volts::DIMENSION),
            unset: Unset::Later("10.5 V, common practice, no source"),
            example: "\"10.5 V\"",
            about: "The supply's voltage when the panel's battery is low.",
        },
        Key {
            name: "least",
            form: Form::Amount(&Volts::DIMENSION),
            unset: Unset::Later("not known, and only the drop is shown"),
            example: "\"9.5 V\"",
            about: "The least voltage the communicator works with, from its manual.",
        },
        Key {
            name: "data",
            form: Form::Word(DATA),
            unset: Unset::Later("not known, and only the supply is checked"),
            example: "\"crossed\"",
            about: "How the data lines run: crossed (in to out) or straight (in to in). The manual of the panel says.",
        },
    ],
};

/// Its conductors.
pub(super) const CONDUCTOR: Section = Section {
    name: "conductor",
    many: Some(MOST_CONDUCTORS),
    about: &["A conductor of that run, and the terminals it is on."],
    keys: &[
        Key {
            name: "colour",
            form: NAME,
            unset: Unset::Refused,
            example: "\"violet\"",
            about: "What tells it from the others.",
        },
        Key {
            name: "panel",
            form: Form::Word(TERMINALS),
            unset: Unset::Refused,
            example: "\"positive\"",
            about: "The terminal at the panel.",
        },
        Key {
            name: "device",
            form: Form::Word(TERMINALS),
            unset: Unset::Refused,
            example: "\"positive\"",
            about: "The terminal at the communicator.",
        },
    ],
};
