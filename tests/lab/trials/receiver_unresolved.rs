//! The receiver's name is no longer known, while other names are.

use crate::trial::{Side, Trial};

const NAMES: &str = "--listen-address=192.168.50.1 --bind-interfaces --no-resolv --server=198.51.100.11 --cache-size=0 --local=/invalid/";

pub(crate) const TRIAL: Trial = Trial {
    name: "rxname",
    site: "",
    prepare: |p| {
        let path = p.dir().join("site.toml");
        let text = std::fs::read_to_string(&path).expect("site file");
        std::fs::write(&path, text.replace("host = \"198.51.100.40\"", "host = \"receiver.test\"")).expect("site file");
        p.kill("names");
        p.dnsmasq("names", "router", &format!("{NAMES} --address=/receiver.test/198.51.100.40"));
        p.until_open("router", "udp", 53);
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("names");
        s.place.dnsmasq("names", "router", &format!("{NAMES} --local=/test/"));
        let fault = s.began(Side::Site, "receiver-unresolved");
        s.pause(25.0);
        s.place.kill("names");
        s.place.dnsmasq("names", "router", &format!("{NAMES} --address=/receiver.test/198.51.100.40"));
        s.ended(fault);
    },
    seconds: 80,
};
