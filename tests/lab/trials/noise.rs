//! Nothing but ordinary noise: one packet in a hundred is lost, a neighbour comes and goes. No trouble may be told.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "noise",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0 numgen random mod 100 < 1");
        for _ in 0..3 {
            s.place.ip("stray", "link set eth0 down");
            s.pause(8.0);
            s.place.ip("stray", "link set eth0 up");
            s.pause(6.0);
        }
    },
    seconds: 90,
};
