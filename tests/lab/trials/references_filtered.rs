//! All reference points are filtered; the receiver is not, and names come from the site's own.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "refs",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("router", "cut", "iifname lan0 ip daddr { 198.51.100.11, 203.0.113.12, 192.0.2.13 }");
        let fault = s.began(Side::Site, "references-filtered");
        s.pause(25.0);
        s.place.let_pass("router", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
