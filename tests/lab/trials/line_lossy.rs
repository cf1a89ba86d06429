//! The line loses four packets in ten for a while.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "lossy",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0 numgen random mod 10 < 4");
        let fault = s.began(&["loss-burst"]);
        s.pause(30.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 90,
};
