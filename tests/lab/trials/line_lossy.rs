//! The line loses four packets in ten for a while.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "lossy",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0 numgen random mod 10 < 4");
        let fault = s.began(Side::Provider, "loss-burst");
        s.edges(fault, Edges::Waived("of scattered losses chance decides when enough fell in a row to stop the path"));
        s.pause(30.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 90,
};
