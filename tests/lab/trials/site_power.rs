//! The mains fail and the router, which has no battery, goes with them; this host has one.

use crate::servers::NUT_SITE;
use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "sitepwr",
    site: NUT_SITE,
    prepare: |p| p.backup_unit(),
    play: |s| {
        s.wait_for_start();
        s.place.mains(false);
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "site-power");
        s.pause(20.0);
        s.place.mains(true);
        s.pause(8.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(fault);
        s.edges(fault, Edges::Hidden("the router is back eight seconds after the mains"));
    },
    seconds: 85,
};
