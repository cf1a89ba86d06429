//! The switch forwards nothing for a while; the router's SNMP agent tells afterwards that it never restarted.

use crate::servers::SNMP_SITE;
use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "toldsw",
    site: SNMP_SITE,
    prepare: |p| p.snmp_agent(),
    play: |s| {
        s.wait_for_start();
        s.place.ip("sw", "link set br0 down");
        let fault = s.began(Side::Site, "lan-segment");
        s.pause(20.0);
        s.place.ip("sw", "link set br0 up");
        s.ended(fault);
    },
    seconds: 90,
};
