//! The fuzz bodies of the STUN, NTP and HTTP parsers, two seconds each, from good messages spoilt and from noise.
#![allow(clippy::print_stderr, reason = "a failing seed has to be seen")]

use pathproof::wire::{fuzz, http, ntp, stun};
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
            _ => bytes.insert(at, rng.random()),
        }
        bytes.truncate(40_000);
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
    assert!(runs > 100, "{name} is too slow: {runs} rounds in two seconds");
}

#[test]
fn stun_holds() {
    // The attributes of a success response: SOFTWARE, XOR-MAPPED-ADDRESS, OTHER-ADDRESS, ERROR-CODE.
    let attributes = [
        &[0x80, 0x22, 0, 3, b'a', b'b', b'c', 0, 0, 0x20, 0, 8, 0, 1, 0xa1, 0x47, 0xe1, 0x12, 0xa6, 0x43][..],
        &[0x80, 0x2c, 0, 8, 0, 1, 0, 5, 192, 0, 2, 9, 0, 9, 0, 4, 0, 0, 4, 20],
    ]
    .concat();
    attack("stun", fuzz::stun, &[&attributes, &stun::request([7; 12], Some(5))]);
}

#[test]
fn ntp_holds() {
    let mut reply = ntp::request(9);
    (reply[0], reply[1]) = (0x24, 2);
    reply[32..40].copy_from_slice(&ntp::timestamp(1_800_000_000_000_000).to_be_bytes());
    reply.copy_within(32..40, 40);
    attack("ntp", fuzz::ntp, &[&reply]);
}

#[test]
fn http_holds() {
    let chunked = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n2;a=b\r\nye\r\n1\r\ns\r\n0\r\n\r\n";
    let redirect = b"HTTP/1.1 302 Found\r\nLocation: http://u@[2001:db8::1]:80/x\r\nContent-Length: 3\r\n\r\nyes";
    let long = [&b"HTTP/1.1 200 OK\r\n\r\n"[..], &[b'x'; 15_000], &[b'x'; 15_000]].concat();
    attack("http", fuzz::http, &[chunked, redirect, &long, &http::request("a.example", "/")]);
}
