//! One of three reference points is filtered.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "oneref",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "ip daddr 203.0.113.12");
        let fault = s.began(Side::Provider, "target-missing");
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
