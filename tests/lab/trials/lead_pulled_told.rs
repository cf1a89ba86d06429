//! The lead is pulled; the router's SNMP agent tells afterwards that it never restarted.

use crate::servers::SNMP_SITE;
use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "toldlead",
    site: SNMP_SITE,
    prepare: |p| p.snmp_agent(),
    play: |s| {
        s.wait_for_start();
        s.place.ip("sw", "link set port0 down");
        let fault = s.began(Side::Site, "own-link");
        s.pause(14.0);
        s.place.ip("sw", "link set port0 up");
        s.ended(fault);
    },
    seconds: 80,
};
