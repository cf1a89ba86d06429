//! The router alone loses its power for a while; a backup unit says that the mains were there.

use crate::servers::NUT_SITE;
use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "unplug",
    site: NUT_SITE,
    prepare: |p| p.backup_unit(),
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "router-power");
        s.looks_like(fault, &["router-restart"]);
        s.pause(25.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(fault);
    },
    seconds: 85,
};
