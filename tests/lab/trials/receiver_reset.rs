//! A box on the way answers connections to the receiver with a reset, which looks like the receiver's own refusal.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "rxreset",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.refuse_passing("router", "cut", "ip daddr 198.51.100.40 tcp dport 7700", "tcp reset");
        let fault = s.began(Side::Site, "receiver-filtered");
        s.looks_like(fault, &["receiver-refusing"]);
        s.pause(25.0);
        s.place.let_pass("router", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
