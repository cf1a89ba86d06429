//! The mains fail and the router's backup battery gives up after a quarter of a minute.

use crate::servers::NUT_SITE;
use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "deadbat",
    site: NUT_SITE,
    prepare: |p| p.backup_unit(),
    play: |s| {
        s.wait_for_start();
        s.place.mains(false);
        let fault = s.began(Side::Site, "dead-backup");
        s.edges(
            fault,
            Edges::Hidden("it begins with the mains, and the path goes with the battery a quarter of a minute later"),
        );
        s.pause(14.0);
        s.place.ip("router", "link set lan0 down");
        s.pause(12.0);
        s.place.mains(true);
        s.ended(fault);
        s.pause(5.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
    },
    seconds: 90,
};
