//! The line goes dead and the router says by UPnP that its outer side is not connected.

use crate::servers::QUICK_SIGNS;
use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "toldline",
    site: QUICK_SIGNS,
    prepare: |p| p.upnp_service(),
    play: |s| {
        s.wait_for_start();
        s.place.ip("net", "link set far0 down");
        let fault = s.began(Side::Provider, "access-line");
        s.pause(25.0);
        s.place.ip("net", "link set far0 up");
        s.ended(fault);
    },
    seconds: 80,
};
