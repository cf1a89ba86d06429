//! Half of what the host sends on the LAN is lost.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "lanloss",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.nft("sw", "add table bridge cut\nadd chain bridge cut in { type filter hook prerouting priority -300; }\nadd rule bridge cut in iifname port0 numgen random mod 10 < 5 drop");
        let fault = s.began(Side::Site, "lan-loss");
        s.edges(fault, Edges::Waived("of scattered losses chance decides when enough fell in a row to stop the path"));
        s.pause(30.0);
        s.place.nft("sw", "delete table bridge cut");
        s.ended(fault);
    },
    seconds: 90,
};
