//! Servers and boxes that only some trials need: a backup unit with its NUT server, an SNMP agent, a UPnP router, leases
//! handed out by kea and taken by a client, router advertisements, a line with delay.

use crate::lateness::Stretch;
use crate::place::{GATEWAY, Place, must};
use pathproof::practice::line::{Fate, Line, Manner};
use pathproof::sys::{cable_end, clock};
use std::collections::VecDeque;
use std::fs::File;
use std::io::Read as _;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::sleep;
use std::time::Duration;

/// Added to the cadences: signs as often as may be.
pub(crate) const QUICK_SIGNS: &str = "mains = \"1s\"\nsigns = \"10s\"\n";
/// The site file's part for [`Place::backup_unit`].
pub(crate) const NUT_SITE: &str =
    "mains = \"1s\"\nsigns = \"10s\"\n[power]\nnut = \"127.0.0.1\"\nnut_unit = \"house\"\nask_router = false\n";
/// The site file's part for [`Place::snmp_agent`].
pub(crate) const SNMP_SITE: &str =
    "mains = \"1s\"\nsigns = \"10s\"\n[power]\nsnmp = \"192.168.50.1\"\nsnmp_community = \"lab\"\nask_router = false\n";

/// The lease client's script (busybox udhcpc): the kernel is told how long the address holds.
const LEASE_SCRIPT: &str = "#!/bin/sh\ncase \"$1\" in\nbound|renew)\n ip addr replace $ip/24 dev eth0 valid_lft $lease preferred_lft $lease\n ip route replace default via $router\n ;;\nesac\n";

impl Place {
    fn file(&self, name: &str, text: &str) -> String {
        let path = self.dir().join(name);
        std::fs::write(&path, text).expect("written");
        path.display().to_string()
    }

    /// A backup battery unit beside the host, with its NUT server (the driver is the dummy of dummy-ups(8)).
    pub(crate) fn backup_unit(&mut self) {
        let dir = self.dir().display().to_string();
        self.file("ups.conf", &format!("pollinterval = 1\n[house]\ndriver = dummy-ups\nport = {dir}/house.dev\n"));
        self.file("upsd.conf", "LISTEN 127.0.0.1 3493\nMAXAGE 15\n");
        self.file("upsd.users", "");
        self.mains(true);
        let (conf, state, pid) =
            (format!("NUT_CONFPATH={dir}"), format!("NUT_STATEPATH={dir}"), format!("NUT_ALTPIDPATH={dir}"));
        let env = ["env", &conf, &state, &pid];
        self.start("driver", "host", &[&env[..], &["/lib/nut/dummy-ups", "-u", "root", "-F", "-a", "house"]].concat());
        self.start("upsd", "host", &[&env[..], &["/lib/nut/upsd", "-u", "root", "-F"]].concat());
        self.until_open("host", "tcp", 3_493);
        sleep(Duration::from_secs(2));
    }

    /// What the unit tells of the mains from the driver's next look on (it looks every second).
    pub(crate) fn mains(&self, present: bool) {
        let status = if present { "OL CHRG" } else { "OB DISCHRG" };
        let new = self.file("new.dev", &format!("ups.status: {status}\nbattery.charge: 87\nbattery.runtime: 1860\n"));
        // At once, so that the driver never reads half of it.
        must(&format!("mv {new} {}", self.dir().join("house.dev").display()));
    }

    /// The router's SNMP agent; started anew, its time begins anew.
    pub(crate) fn snmp_agent(&mut self) {
        let config = self.file("agent.conf", "rocommunity lab 192.168.50.0/24\n");
        let dir = format!("SNMP_PERSISTENT_DIR={}", self.dir().display());
        let listen = format!("udp:{GATEWAY}:161");
        let argv = ["env", &dir, "MIBS=", "/usr/sbin/snmpd", "-f", "-Lo", "-C", "-c", &config, "-I", "-smux", &listen];
        self.start("snmpd", "router", &argv);
        self.until_open("router", "udp", 161);
    }

    /// The router's UPnP service.
    pub(crate) fn upnp_service(&mut self) {
        let text = "ext_ifname=wan0\nlistening_ip=lan0\nenable_natpmp=no\nenable_upnp=yes\nsystem_uptime=no\n\
                    uuid=00000000-0000-4000-8000-000000000001\n";
        let config = self.file("upnp.conf", text);
        let pid = self.dir().join("upnp.pid").display().to_string();
        let _ = std::fs::remove_file(&pid);
        self.start("upnp", "router", &["/usr/sbin/miniupnpd", "-d", "-f", &config, "-P", &pid]);
        sleep(Duration::from_secs(1));
    }

    /// Leases of so many seconds, handed out by kea in the place of dnsmasq.
    pub(crate) fn kea(&mut self, lease_s: u32) {
        let dir = self.dir().display().to_string();
        let text = format!(
            r#"{{"Dhcp4":{{"interfaces-config":{{"interfaces":["lan0"]}},"lease-database":{{"type":"memfile","persist":false}},
"valid-lifetime":{lease_s},"authoritative":true,"subnet4":[{{"subnet":"192.168.50.0/24","pools":[{{"pool":"192.168.50.100-192.168.50.150"}}],
"option-data":[{{"name":"routers","data":"{GATEWAY}"}},{{"name":"domain-name-servers","data":"{GATEWAY}"}}]}}]}}}}"#
        );
        let config = self.file("kea.json", &text);
        let (lock, pid) = (format!("KEA_LOCKFILE_DIR={dir}"), format!("KEA_PIDFILE_DIR={dir}"));
        // A pid file of a server that was killed would stop the next.
        let _ = std::fs::remove_file(self.dir().join("kea.kea-dhcp4.pid"));
        self.start("kea", "router", &["env", &lock, &pid, "/usr/sbin/kea-dhcp4", "-c", &config]);
        self.until_open("router", "udp", 67);
    }

    /// The host asks for its address and keeps it renewed, instead of having it set by hand.
    pub(crate) fn lease_client(&mut self) {
        let script = self.file("lease.sh", LEASE_SCRIPT);
        must(&format!("chmod 755 {script}"));
        self.ip("host", "addr flush dev eth0");
        self.start(
            "client",
            "host",
            &["busybox", "udhcpc", "-f", "-i", "eth0", "-s", &script, "-t", "3", "-T", "1", "-A", "2"],
        );
        self.until_address(true);
    }

    /// Waits until the host has an IPv4 address, or has none.
    pub(crate) fn until_address(&self, there: bool) {
        let has = || {
            let out = Command::new("ip").args(["-n", &self.ns("host"), "-4", "-o", "addr", "show", "eth0"]).output();
            out.is_ok_and(|o| !o.stdout.is_empty())
        };
        let words = || format!("an address there: {there}");
        Stretch::begin(&[]).until(Duration::from_secs(90), words, || has() == there);
    }

    /// The site's resolver as unbound, asking a reference point for everything.
    pub(crate) fn unbound(&mut self) {
        let text = format!(
            "server:\n interface: {GATEWAY}\n access-control: 0.0.0.0/0 allow\n do-daemonize: no\n username: \"\"\n chroot: \"\"\n pidfile: \"\"\n use-syslog: no\n module-config: \"iterator\"\n cache-max-ttl: 0\n local-zone: \"invalid.\" always_nxdomain\nforward-zone:\n name: \".\"\n forward-addr: 198.51.100.11\n"
        );
        let config = self.file("unbound.conf", &text);
        self.start("names", "router", &["/usr/sbin/unbound", "-d", "-p", "-c", &config]);
        self.until_open("router", "udp", 53);
    }

    /// A resolver that translates IPv4 addresses (unbound's dns64 module; the zone as RFC 7050 sections 8.2 and 8.3
    /// describe it) and otherwise asks a reference point.
    pub(crate) fn translating_resolver(&mut self, at: &str) {
        let zone = "ipv4only.arpa. 3600 IN SOA a.test. b.test. 1 2 3 4 5\nipv4only.arpa. 3600 IN NS a.test.\n\
                    ipv4only.arpa. 3600 IN A 192.0.0.170\nipv4only.arpa. 3600 IN A 192.0.0.171\n";
        let zone = self.file("translation.zone", zone);
        let text = format!(
            "server:\n interface: {at}\n access-control: ::0/0 allow\n do-daemonize: no\n username: \"\"\n chroot: \"\"\n pidfile: \"\"\n use-syslog: no\n module-config: \"dns64 iterator\"\n dns64-prefix: 64:ff9b::/96\n dns64-ignore-aaaa: ipv4only.arpa\n local-zone: \"invalid.\" always_nxdomain\nauth-zone:\n name: \"ipv4only.arpa\"\n for-upstream: yes\n for-downstream: no\n zonefile: \"{zone}\"\nforward-zone:\n name: \"example.com.\"\n forward-addr: 198.51.100.11\n"
        );
        let config = self.file("translation.conf", &text);
        self.start("translation", "router", &["/usr/sbin/unbound", "-d", "-p", "-c", &config]);
    }

    /// A web server whose every page is what a line of Python says.
    pub(crate) fn web(&mut self, name: &str, ns: &str, at: &str, port: u16, answer: &str) {
        let program = format!(
            "import http.server as h\nclass H(h.BaseHTTPRequestHandler):\n def do_GET(self):\n  {answer}; self.end_headers()\nh.ThreadingHTTPServer(('{at}',{port}),H).serve_forever()"
        );
        self.start(name, ns, &["/usr/bin/python3", "-c", &program]);
        self.until_open(ns, "tcp", port);
    }

    /// The router offers IPv6 addresses by advertisements (radvd).
    pub(crate) fn router_advertisements(&mut self) {
        let text = "interface lan0 { AdvSendAdvert on; MinRtrAdvInterval 3; MaxRtrAdvInterval 4; prefix 2001:db8:50::/64 { }; };\n";
        let config = self.file("radvd.conf", text);
        let pid = self.dir().join("radvd.pid").display().to_string();
        must(&format!("ip netns exec {} sysctl -qw net.ipv6.conf.all.forwarding=1", self.ns("router")));
        self.start("radvd", "router", &["/usr/sbin/radvd", "-n", "-m", "stderr", "-C", &config, "-p", &pid]);
    }

    /// A receiver that hangs up on everybody, with a reset.
    pub(crate) fn receiver_that_hangs_up(&mut self) {
        let program = "import socket,struct\ns=socket.socket()\ns.setsockopt(socket.SOL_SOCKET,socket.SO_REUSEADDR,1)\ns.bind(('198.51.100.40',7700))\ns.listen(64)\nwhile True:\n c,a=s.accept()\n c.setsockopt(socket.SOL_SOCKET,socket.SO_LINGER,struct.pack('ii',1,0))\n c.close()\n";
        self.start("receiver", "net", &["/usr/bin/python3", "-c", program]);
    }

    /// Sets how the line of [`Place::lay_cable`] behaves from now on.
    pub(crate) fn line_manner(&self, manner: Manner) {
        self.line.as_ref().expect("a cable was laid").set_manner(manner);
    }

    /// Puts a line with a manner of its own between the router and the internet, instead of the plain lead.
    pub(crate) fn lay_cable(&mut self, seed: u64) {
        let line = Arc::new(Line::new(seed));
        self.line = Some(Arc::clone(&line));
        self.ip("router", "link del wan0");
        let (router, net, sw) = (self.ns("router"), self.ns("net"), self.ns("sw"));
        must(&format!("ip link add wan0 netns {router} type veth peer name c0 netns {sw}"));
        must(&format!("ip link add far0 netns {net} type veth peer name c1 netns {sw}"));
        for (ns, dev) in [("router", "wan0"), ("net", "far0"), ("sw", "c0"), ("sw", "c1")] {
            self.ip(ns, &format!("link set {dev} up"));
        }
        self.ip("router", "addr add 100.64.50.2/30 dev wan0");
        self.ip("router", "route add default via 100.64.50.1");
        self.ip("net", "addr add 100.64.50.1/30 dev far0");
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let pump = std::thread::spawn(move || carry(&sw, &line, &told));
        self.cables.push((stop, pump));
        // The server that looks the outside up listened on addresses that stay; nothing else was bound to the leads.
        sleep(Duration::from_millis(300));
    }
}

/// Carries frames between c0 and c1 of a namespace until told to stop.
fn carry(ns: &str, line: &Line, stop: &AtomicBool) {
    let inside = File::open(format!("/run/netns/{ns}")).expect("the namespace is there");
    nix::sched::setns(inside, nix::sched::CloneFlags::CLONE_NEWNET).expect("root may enter a namespace");
    let ends = ["c0", "c1"].map(|name| {
        let index = nix::net::if_::if_nametoindex(name).expect("it was made");
        cable_end::open(index).expect("root may open a packet socket")
    });
    let mut flying: [VecDeque<(pathproof::judge::Micros, Vec<u8>)>; 2] = Default::default();
    let mut buffer = vec![0; 65_600];
    let look = pathproof::judge::Micros::from_millis(100);
    while !stop.load(Ordering::Relaxed) {
        let next = flying.iter().filter_map(|q| q.front().map(|(due, _)| *due)).min();
        let wait = next.map_or(look, |due| (due - clock::boot_time()).min(look));
        let readable = cable_end::wait_readable(&ends[0], &ends[1], wait).unwrap_or([true; 2]);
        for (way, queue) in flying.iter_mut().enumerate() {
            let mut from = &ends[way];
            while let Some(n) = if readable[way] { from.read(&mut buffer).ok() } else { None } {
                if let Fate::Arrives(due) = line.fate(way, false, clock::boot_time()) {
                    queue.push_back((due, buffer[..n].to_vec()));
                }
            }
            while let Some((due, frame)) = queue.front()
                && *due <= clock::boot_time()
            {
                // A frame for an end that is down is lost, as by pulling the plug.
                drop(ends[1 - way].send(frame));
                queue.pop_front();
            }
        }
    }
}
