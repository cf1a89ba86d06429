//! The receiver accepts connections and tears them down before the TLS handshake is done.

use crate::trial::{Side, Trial};

fn shakes(p: &mut crate::place::Place) {
    let dir = p.dir().display().to_string();
    let (key, cert) = (format!("{dir}/key.pem"), format!("{dir}/cert.pem"));
    p.start(
        "receiver",
        "net",
        &["openssl", "s_server", "-quiet", "-accept", "198.51.100.40:7700", "-key", &key, "-cert", &cert],
    );
}

pub(crate) const TRIAL: Trial = Trial {
    name: "rxtls",
    site: "",
    prepare: |p| {
        let path = p.dir().join("site.toml");
        let text = std::fs::read_to_string(&path).expect("site file");
        std::fs::write(&path, text.replace("port = 7700\n", "port = 7700\ntransport = \"tls\"\n")).expect("site file");
        p.kill("receiver");
        let dir = p.dir().display().to_string();
        crate::place::must(&format!(
            "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=receiver.test -keyout {dir}/key.pem -out {dir}/cert.pem 2>&1"
        ));
        shakes(p);
        p.until_open("net", "tcp", 7_700);
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("receiver");
        s.place.receiver_that_hangs_up();
        let fault = s.began(Side::Station, "receiver-resetting");
        s.pause(25.0);
        s.place.kill("receiver");
        shakes(s.place);
        s.ended(fault);
    },
    seconds: 80,
};
