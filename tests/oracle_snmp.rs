//! SNMP against an independent implementation: scapy 2.5 (Debian `python3-scapy`, run with `/usr/bin/python3`).
//!
//! Our question is decoded by scapy, field by field; answers built by scapy are read by us. Fails, never skips, where
//! scapy is missing: `apt-get install python3-scapy`. A real agent answers in `tests/lab_signs.rs`.

use pathproof::wire::snmp::{Said, ask, read};
use std::process::Command;

fn scapy(script: &str) -> String {
    let prelude = "from scapy.layers.snmp import *\nfrom scapy.asn1.asn1 import *\nimport json\n";
    let out = Command::new("/usr/bin/python3")
        .args(["-c", &format!("{prelude}{script}")])
        .output()
        .expect("/usr/bin/python3 is needed for this test");
    let failed = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "scapy is needed for this test: apt-get install python3-scapy: {failed}");
    String::from_utf8(out.stdout).expect("UTF-8")
}

fn unhex(text: &str) -> Vec<u8> {
    let text = text.trim();
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).expect("hex")).collect()
}

#[test]
fn scapy_reads_every_field_of_our_question() {
    for (community, id) in [("public", 0), ("public", 0x80), ("a longer community of letters", 0x7fff), ("x", u16::MAX)]
    {
        let hex = ask(community, id).iter().fold(String::new(), |text, b| text + &format!("{b:02x}"));
        let told = scapy(&format!(
            "raw = bytes.fromhex('{hex}')\np = SNMP(raw)\nq = p.PDU\nb = q.varbindlist\n\
             print(json.dumps([p.version.val, p.community.val.decode(), type(q).__name__, q.id.val, q.error.val,\n\
             q.error_index.val, len(b), b[0].oid.val, type(b[0].value).__name__, bytes(p) == raw]))"
        ));
        let told: serde_json::Value = serde_json::from_str(&told).expect("JSON");
        // Version 1 in the message is 2c (RFC 1901); the object is sysUpTime.0 (RFC 3418).
        let wanted = serde_json::json!([1, community, "SNMPget", id, 0, 0, 1, "1.3.6.1.2.1.1.3.0", "ASN1_NULL", true]);
        assert_eq!(told, wanted);
    }
}

#[test]
fn answers_built_by_scapy_read() {
    let answer = |community: &str, id: u32, error: u8, oid: &str, value: &str| {
        unhex(&scapy(&format!(
            "p = SNMP(version=1, community='{community}', PDU=SNMPresponse(id={id}, error={error},\n\
             varbindlist=[SNMPvarbind(oid='{oid}', value={value})]))\nprint(bytes(p).hex())"
        )))
    };
    let up = "1.3.6.1.2.1.1.3.0";
    for ticks in [0_u32, 1, 127, 128, 8_640_000, i32::MAX as u32] {
        let bytes = answer("public", 4_660, 0, up, &format!("ASN1_TIME_TICKS({ticks})"));
        assert_eq!(read(&bytes, "public", 4_660), Some(Said::Up(ticks)), "{ticks}");
    }
    let bytes = answer("public", 7, 2, up, "ASN1_NULL(0)");
    assert_eq!(read(&bytes, "public", 7), Some(Said::Without), "noSuchName");
    for other in [
        answer("private", 7, 0, up, "ASN1_TIME_TICKS(5)"),
        answer("public", 8, 0, up, "ASN1_TIME_TICKS(5)"),
        answer("public", 7, 0, "1.3.6.1.2.1.1.5.0", "ASN1_TIME_TICKS(5)"),
        answer("public", 7, 0, up, "ASN1_STRING(b'5')"),
    ] {
        assert_eq!(read(&other, "public", 7), None);
    }
}
