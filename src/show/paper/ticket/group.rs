//! Which outages make one ticket, and what it is called.
//!
//! Outages less than an hour apart (choice) are one storm and one ticket, whatever caused each: reading the causes anew
//! regroups nothing. A ticket is called after the last good answer before its first outage, to the minute in UTC, and
//! the site; later outages only join at its end. So an outage stands in one ticket only, and a ticket keeps its name
//! while the record grows.

use crate::show::words::zoned;
use crate::snapshot::{Bout, Snapshot};
use jiff::tz::TimeZone;

/// Outages with less than this between them are one storm, seconds (choice).
pub const STORM_S: f64 = 3_600.0;

/// Outages grouped into tickets, in order of time. Each outage is in one group.
pub(super) fn groups(s: &Snapshot) -> Vec<Vec<Bout<'_>>> {
    let mut bouts: Vec<Bout> = s.troubles.iter().filter_map(Bout::of).collect();
    bouts.sort_by(|a, b| a.from_s[0].total_cmp(&b.from_s[0]));
    let mut out: Vec<Vec<Bout>> = Vec::new();
    let mut reached = f64::NEG_INFINITY;
    for b in bouts {
        let joins = b.from_s[0] - reached < STORM_S;
        reached = reached.max(b.to_s.map_or(f64::INFINITY, |t| t[2]));
        match out.last_mut().filter(|_| joins) {
            Some(group) => group.push(b),
            None => out.push(vec![b]),
        }
    }
    out
}

/// The name of the ticket that begins with this outage.
pub(super) fn outage_id(s: &Snapshot, first: &Bout) -> String {
    let at = zoned(s.wall(first.from_s[0]), &TimeZone::UTC);
    format!("{}-{}", at.strftime("%Y%m%d-%H%M"), mark(&s.site))
}

/// The name of the ticket about a cause that lasts or comes again.
pub(super) fn cause_id(s: &Snapshot, prefix: &str, cause: &str) -> String {
    format!("{prefix}-{cause}-{}", mark(&s.site))
}

/// Six hexadecimal digits that keep the tickets of sites apart: FNV-1a, 64 bits, of the site's mark.
fn mark(site: &str) -> String {
    let hash = site.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    format!("{:06x}", (hash >> 24 ^ hash) & 0xff_ffff)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_is_the_published_hash() {
        // FNV-1a, 64 bits: published test vector for "foobar" (draft-eastlake-fnv, appendix): 0x85944171f73967e8.
        let h = 0x8594_4171_f739_67e8_u64;
        assert_eq!(mark("foobar"), format!("{:06x}", (h >> 24 ^ h) & 0xff_ffff));
    }
}
