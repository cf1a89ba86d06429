//! The network interface vanishes in the middle of a survey and comes back; and surveys of hosts that have none.

use crate::lateness::fairly;
use crate::place::{Place, must};
use std::process::Command;

#[test]
fn an_interface_that_goes_and_comes_back_is_followed() {
    fairly("an_interface_that_goes_and_comes_back_is_followed", || {
        let mut p = Place::new("iface");
        p.site_file("");
        let running = p.begin(60, &[]);
        running.until(20.0);
        p.ip("host", "link del eth0");
        let from = running.now();
        running.until(30.0);
        must(&format!("ip link add eth0 netns {} type veth peer name port0 netns {}", p.ns("host"), p.ns("sw")));
        p.ip("sw", "link set port0 master br0 up");
        p.ip("host", "link set eth0 up");
        p.ip("host", "addr add 192.168.50.20/24 dev eth0");
        p.ip("host", "route add default via 192.168.50.1");
        let to = running.now();
        let said = p.end(running);
        said.only("interface-gone", from, Some(to));
        assert_eq!(said.verdict(), "mend-first");
        said.same_when_judged_again();
    });
}

#[test]
fn without_an_interface_or_a_route_it_says_so_and_ends() {
    fairly("without_an_interface_or_a_route_it_says_so_and_ends", || {
        let mut p = Place::new("bare");
        p.ip("host", "route del default");
        p.site_file("");
        let bare = p.dir().join("site.toml");
        let text = std::fs::read_to_string(&bare).expect("site file");
        std::fs::write(&bare, text.replace("id = \"lab\"", "id = \"lab\"\ninterface = \"eth0\"")).expect("site file");
        let running = p.begin(12, &[]);
        let said = p.end(running);
        assert_eq!(said.causes().first(), Some(&"route-lost"), "{:#}", said.json["troubles"]);
        p.ip("host", "link del eth0");
        let out = Command::new("ip")
            .args([
                "netns",
                "exec",
                &p.ns("host"),
                env!("CARGO_BIN_EXE_pathproof"),
                "survey",
                "--for",
                "6s",
                "--record",
            ])
            .arg(p.dir().join("bare.db"))
            .output()
            .expect("runs");
        let text = String::from_utf8_lossy(&out.stdout);
        assert_eq!(out.status.code(), Some(12), "{text}{}", String::from_utf8_lossy(&out.stderr));
        assert!(text.contains("not observed"), "{text}");
    });
}
