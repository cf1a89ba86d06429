//! One of two resolvers stops.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "onedns",
    site: "[[resolver]]\naddress = \"192.168.50.9\"\n",
    prepare: |p| {
        p.dnsmasq("second", "stray", "--listen-address=192.168.50.9 --bind-interfaces --no-resolv --address=/example.com/192.0.2.80 --local=/invalid/ --local=/com/");
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("second");
        s.began(Side::Site, "one-resolver");
    },
    seconds: 75,
};
