//! The fuzz bodies of the parsers for power signs (NUT, SNMP, UPnP, power supplies), two seconds each: random bytes, and
//! good messages with a few bytes changed, cut or repeated. The random seed is printed; `PATHPROOF_SEED` repeats a run.
#![allow(clippy::print_stderr, reason = "seeds and rounds are for people, and a failing seed has to be seen")]

use pathproof::wire::{fuzz, snmp};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use std::time::{Duration, Instant};

fn spoil(rng: &mut StdRng, sample: &[u8]) -> Vec<u8> {
    let mut bytes = sample.to_vec();
    for _ in 0..rng.random_range(0..6) {
        if bytes.is_empty() {
            break;
        }
        let at = rng.random_range(0..bytes.len());
        match rng.random_range(0..5) {
            0 => bytes[at] = rng.random(),
            1 => bytes[at] ^= 1 << rng.random_range(0..8),
            2 => bytes.truncate(at),
            3 => bytes.extend_from_within(at..),
            _ => bytes.insert(at, *b"<>/&\"\r\n 0\xff".get(rng.random_range(0..10)).expect("ten of them")),
        }
        bytes.truncate(8_192);
    }
    bytes
}

fn attack(name: &str, body: fn(&[u8]), samples: &[&[u8]]) {
    let seed = std::env::var("PATHPROOF_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(rand::random::<u64>);
    eprintln!("{name}: PATHPROOF_SEED={seed}");
    let mut rng = StdRng::seed_from_u64(seed);
    let until = Instant::now() + Duration::from_secs(2);
    let mut runs = 0_u64;
    while Instant::now() < until {
        for sample in samples {
            body(&spoil(&mut rng, sample));
        }
        let noise: Vec<u8> = (0..rng.random_range(0..600)).map(|_| rng.random()).collect();
        body(&noise);
        runs += 1;
    }
    eprintln!("{name}: {runs} rounds");
    assert!(runs > 100, "{name} is too slow: {runs} rounds in two seconds");
}

#[test]
fn nut_holds() {
    let good =
        b"VAR house ups.status \"OL CHRG\"\nVAR house battery.charge \"87\"\nVAR house battery.runtime \"1860\"\n";
    attack("nut", fuzz::nut, &[good, b"ERR UNKNOWN-UPS\n", b"ERR VAR-NOT-SUPPORTED\nERR DATA-STALE\n"]);
}

#[test]
fn snmp_holds() {
    // An answer of 123,456 hundredths, made by scapy 2.5.
    let answer =
        b"\x30\x29\x02\x01\x01\x04\x06public\xa2\x1c\x02\x01\x07\x02\x01\x00\x02\x01\x00\x30\x11\x30\x0f\x06\x08\
                   \x2b\x06\x01\x02\x01\x01\x03\x00\x43\x03\x01\xe2\x40";
    assert_eq!(snmp::read(answer, "public", 7), Some(snmp::Said::Up(123_456)));
    attack("snmp", fuzz::snmp, &[answer, &snmp::ask("public", 7)]);
}

#[test]
fn power_supplies_hold() {
    let laptop = b"Mains\nSystem\n1\n\n\n\n\n\nBattery\nSystem\n\nDischarging\n64\nNormal\nGood\n5400\n";
    attack("power_supply", fuzz::power_supply, &[laptop]);
}

#[test]
fn upnp_holds() {
    let kind = "urn:schemas-upnp-org:service:WANIPConnection:1";
    let found = b"HTTP/1.1 200 OK\r\nST: urn:schemas-upnp-org:device:InternetGatewayDevice:1\r\nLOCATION: \
                  http://192.0.2.1:5000/rootDesc.xml\r\n\r\n";
    let description = format!(
        "<?xml version=\"1.0\"?><root xmlns=\"urn:schemas-upnp-org:device-1-0\"><URLBase>http://192.0.2.1/</URLBase><device>\
         <serviceList><service><serviceType>{kind}</serviceType><controlURL>ctl</controlURL></service></serviceList></device></root>"
    );
    let state = "<a><NewConnectionStatus>Connected</NewConnectionStatus><NewUptime>7</NewUptime>\
                 <NewExternalIPAddress>203.0.113.7</NewExternalIPAddress></a>";
    attack("upnp", fuzz::upnp, &[found, description.as_bytes(), state.as_bytes()]);
}

#[test]
fn http_answers_hold() {
    let length = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nhello";
    let chunked = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nhell\r\n1\r\no\r\n0\r\n\r\n";
    attack("http_whole", fuzz::http_whole, &[length, chunked, b"HTTP/1.0 200 OK\r\n\r\nhello"]);
}
