//! The router is exchanged: other hardware address, gone for a quarter of a minute. A new hardware address alone is no sign
//! of an exchange to the judge (`Sign::Swapped` asks for a new subnet or address server as well): it says a restart, without
//! naming the exchange beside it, and is counted as wrong.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "swap",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "router-swap");
        s.pause(20.0);
        s.place.ip("router", "link set lan0 address 02:00:00:00:77:01");
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(fault);
    },
    seconds: 80,
};
