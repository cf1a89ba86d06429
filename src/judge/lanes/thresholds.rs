//! Times and counts that lanes and causes go by, each with its source.

use crate::judge::facts::Micros;

/// A lane is clear again only after this long without a failure (choice: longer than one TCP SYN retransmission,
/// RFC 6298 section 2, so that a retry is not read as a recovery).
pub const CLEAR_AFTER: Micros = Micros::from_secs(3);
/// ... and at least this many answers (choice).
pub const CLEAR_ANSWERS: u32 = 3;
/// The kernel asks for a connection again after this long without an answer (RFC 6298 section 2: the first timer is one
/// second).
pub const TRIED_AGAIN: Micros = Micros::from_secs(1);
/// Fewest consecutive failures that can declare a lane silent (choice: k comes from the loss measured, never under 3).
pub const LEAST_RUN: u32 = 3;
/// After a first failure each target is asked this often, where its floor allows (choice).
pub const CLOSE: Micros = Micros::from_secs(1);
/// Most consecutive failures asked for, however lossy the lane (choice).
pub const MOST_RUN: u32 = 12;
/// Fewest failures in one group that make a loss burst, however little is lost at random (choice). On a lossy lane more
/// are needed, see `lane`.
pub const BURST_LOSSES: u32 = 5;
/// ... and their least share among the questions of the group (choice, as above).
pub const BURST_DENSITY: f64 = 0.25;
/// Share of answers inside a span from which it is called a loss burst rather than silence (choice).
pub const BURST_ANSWERS: f64 = 0.10;
/// A router that comes back within this time is taken to have restarted (common practice, no source: 30 to 180 s).
pub const RESTART_WITHIN: Micros = Micros::from_secs(300);
/// How long outer lanes may take to follow an inner one back (choice: a few retries of ARP and TCP).
pub const RECOVERY: Micros = Micros::from_secs(10);
