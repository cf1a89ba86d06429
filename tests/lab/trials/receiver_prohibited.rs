//! A filter forbids the receiver and says so (ICMP administratively prohibited).

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "rxforbid",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.refuse_passing("router", "cut", "ip daddr 198.51.100.40", "icmp type admin-prohibited");
        let fault = s.began(Side::Site, "receiver-filtered");
        s.pause(25.0);
        s.place.let_pass("router", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
