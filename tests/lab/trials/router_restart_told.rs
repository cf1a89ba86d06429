//! The router restarts and its SNMP agent counts its time from the start.

use crate::servers::SNMP_SITE;
use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "toldre",
    site: SNMP_SITE,
    prepare: |p| p.snmp_agent(),
    play: |s| {
        s.wait_for_start();
        s.place.kill("snmpd");
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "router-restart");
        s.pause(20.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.place.snmp_agent();
        s.ended(fault);
    },
    seconds: 90,
};
