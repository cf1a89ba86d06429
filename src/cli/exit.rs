//! Exit codes: part of the interface, never renumbered.
//!
//! Verdicts are below 20 so that a script can tell them from errors; errors use the numbers of `sysexits.h`.

/// The verdict is "IP alone is enough". Also: `check` found nothing wrong.
pub const IP_ALONE: i32 = 0;
/// The verdict is "Mend this first". Also: a drill in which the path gave out too soon, or a receiver was not reached.
pub const MEND_FIRST: i32 = 10;
/// The verdict is "Add a cellular backup".
pub const ADD_CELLULAR: i32 = 11;
/// The verdict is "Keep watching".
pub const KEEP_WATCHING: i32 = 12;
/// The practice site's script and what the survey saw do not agree.
pub const PRACTICE_FAILED: i32 = 20;
/// A drill was cut short.
pub const DRILL_CUT_SHORT: i32 = 21;
/// The command line makes no sense (`EX_USAGE`).
pub const USAGE: i32 = 64;
/// A record is damaged or not ours (`EX_DATAERR`).
pub const BAD_RECORD: i32 = 65;
/// No such input file (`EX_NOINPUT`).
pub const NO_INPUT: i32 = 66;
/// A fault of ours (`EX_SOFTWARE`).
pub const INTERNAL: i32 = 70;
/// Reading or writing failed (`EX_IOERR`).
pub const IO: i32 = 74;
/// Another agent is writing to the record (`EX_TEMPFAIL`).
pub const BUSY: i32 = 75;
/// Not permitted (`EX_NOPERM`).
pub const PERMISSION: i32 = 77;
/// The site file is wrong (`EX_CONFIG`).
pub const BAD_SITE_FILE: i32 = 78;
