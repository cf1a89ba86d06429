//! Compound: the resolver is not running when the agent starts.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c6",
    site: "",
    prepare: |p| p.kill("names"),
    play: |s| {
        let names = s.began(Side::Site, "name-service");
        s.wait_for_start();
        s.place.names();
        s.ended(names);
        s.edges(names, Edges::Hidden("it began before anybody looked"));
    },
    seconds: 60,
};
