//! The fuzz bodies of the ARP, DHCP, lease and `Host` parsers, two seconds each: random bytes, and good messages with a
//! few bytes changed, cut or repeated. The random seed is printed; `PATHPROOF_SEED` repeats a run.
#![allow(clippy::print_stdout, reason = "a failing seed has to be seen")]
#![allow(clippy::print_stderr, reason = "seeds and rounds are for people")]

use pathproof::judge::Mac;
use pathproof::wire::{arp, dhcp, fuzz};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use std::time::{Duration, Instant};

const OURS: Mac = Mac([2, 0, 0x5e, 0x10, 0, 1]);

/// An offer made of our own discover: the operation, the ports and the message type turned round.
fn offer() -> Vec<u8> {
    let mut frame = dhcp::discover(OURS, 7);
    frame[34..38].copy_from_slice(&[0, 67, 0, 68]);
    frame[42] = 2;
    frame[58..62].copy_from_slice(&[192, 0, 2, 50]);
    let options: &[u8] = &[
        53, 1, 2, 52, 1, 3, 54, 4, 192, 0, 2, 1, 51, 4, 0, 0, 14, 16, 1, 4, 255, 255, 255, 0, 3, 8, 192, 0, 2, 1, 192,
        0, 2, 2, 6, 4, 192, 0, 2, 1, 255,
    ];
    frame[282..282 + options.len()].copy_from_slice(options);
    assert!(matches!(dhcp::offer(&frame, 7), Ok(Some(_))), "the sample has to be good before it is spoilt");
    frame
}

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
            _ => bytes.insert(at, [0, 1, 52, 255][rng.random_range(0..4)]),
        }
        bytes.truncate(4_096);
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
fn arp_holds() {
    let request = arp::request(OURS, [192, 0, 2, 7].into(), [192, 0, 2, 1].into());
    attack("arp", fuzz::arp, &[&request, &[&request[..], &[0; 18]].concat()]);
}

#[test]
fn dhcp_holds() {
    let frame = offer();
    attack("dhcp", fuzz::dhcp, &[&frame, &frame[42..], &dhcp::discover(OURS, 7)]);
}

#[test]
fn host_fields_hold() {
    let samples: [&[u8]; 4] = [b"127.0.0.1:9760", b"[::1]:9760", b"LocalHost.", b"agent.home.arpa:80"];
    attack("host_field", fuzz::host_field, &samples);
}

#[test]
fn recorded_leases_hold() {
    let networkd = b"ADDRESS=192.0.2.50\nNETMASK=255.255.255.0\nROUTER=192.0.2.1 192.0.2.2\nT1=30min\nLIFETIME=1h 5s\nDNS=192.0.2.1\n";
    attack("lease_networkd", fuzz::lease_networkd, &[networkd]);
    let dhclient =
        b"lease {\n interface \"eth0\";\n fixed-address 192.0.2.50;\n option subnet-mask 255.255.255.0;\n option \
        routers 192.0.2.1,192.0.2.2;\n option dhcp-lease-time 600;\n}\n";
    attack("lease_dhclient", fuzz::lease_dhclient, &[dhclient]);
    attack("lease_dhcpcd", fuzz::lease_dhcpcd, &[&offer()[42..]]);
}
