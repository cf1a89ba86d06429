//! The site's resolver (unbound) runs, but nothing it asks outside comes back.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "unbound",
    site: "",
    prepare: |p| {
        p.kill("names");
        p.unbound();
    },
    play: |s| {
        s.wait_for_start();
        s.place.nft("router", "add table inet cut\nadd chain inet cut out { type filter hook output priority -300; }\nadd rule inet cut out oifname wan0 udp dport 53 drop\nadd rule inet cut out oifname wan0 tcp dport 53 drop");
        let fault = s.began(Side::Site, "name-service");
        s.pause(25.0);
        s.place.let_pass("router", "cut");
        s.ended(fault);
        s.edges(fault, Edges::Hidden("the resolver answers from what it keeps until that has run out"));
    },
    seconds: 90,
};
