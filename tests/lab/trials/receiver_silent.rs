//! What is sent to the receiver vanishes: the host can't tell a dead receiver from a silent filter.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "rxmute",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "ip daddr 198.51.100.40");
        let fault = s.began(Side::Station, "receiver-silent");
        s.looks_like(fault, &["receiver-filtered"]);
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
