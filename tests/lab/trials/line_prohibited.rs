//! The provider's first box answers everything with "prohibited", as for an unpaid bill.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "wall",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.nft("net", "add table inet cut\nadd chain inet cut in { type filter hook input priority -300; }\nadd rule inet cut in iifname far0 reject with icmp type admin-prohibited");
        let fault = s.began(Side::Provider, "access-line");
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
