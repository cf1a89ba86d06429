//! The provider exchanges its router: other hardware address, other subnet, other address server.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "newbox",
    site: "",
    prepare: |p| {
        // What the site file names must stay where it is: a resolver of the provider.
        let path = p.dir().join("site.toml");
        let text = std::fs::read_to_string(&path).expect("site file");
        std::fs::write(&path, text.replace("address = \"192.168.50.1\"", "address = \"198.51.100.11\""))
            .expect("site file");
        p.lease_client();
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("addresses");
        s.place.kill("client");
        s.place.ip("sw", "link set port0 down");
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "router-swap");
        s.pause(12.0);
        s.place.ip("router", "addr flush dev lan0");
        s.place.ip("router", "link set lan0 address 02:00:00:00:77:02");
        s.place.ip("router", "addr add 192.168.60.1/24 dev lan0");
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.place.dnsmasq(
            "addresses",
            "router",
            "--port=0 --interface=lan0 --no-ping --dhcp-range=192.168.60.100,192.168.60.150,10m",
        );
        s.place.ip("sw", "link set port0 up");
        s.place.lease_client();
        s.ended(fault);
        s.edges(fault, Edges::Hidden("the lead is out and the address gone meanwhile, each a trouble of its own"));
    },
    seconds: 90,
};
