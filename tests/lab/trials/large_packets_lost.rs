//! Large packets vanish on the line from the start, and nobody says so (RFC 2923 section 2.1).

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "mtu",
    site: "",
    prepare: |p| {
        p.nft("router", "add table inet cut\nadd chain inet cut through { type filter hook forward priority -300; }\nadd rule inet cut through meta length > 1404 drop");
    },
    play: |s| {
        let fault = s.began(Side::Site, "mtu-black-hole");
        s.edges(fault, Edges::Waived("a property of the line from the start: there is no edge"));
    },
    seconds: 60,
};
