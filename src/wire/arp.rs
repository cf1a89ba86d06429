//! ARP for IPv4 over Ethernet (RFC 826) and the address-conflict probe (RFC 5227).
//!
//! Decides which bytes are a request or a probe and what an ARP frame says. Does not decide who is right: two
//! claimants are two facts. Tagged (802.1Q) frames and other hardware or protocol types are `None`: not for us.

use crate::judge::Mac;
use pnet::packet::Packet;
use pnet::packet::arp::{ArpHardwareTypes, ArpOperation, ArpOperations, ArpPacket, MutableArpPacket};
use pnet::packet::ethernet::{EtherTypes, EthernetPacket, MutableEthernetPacket};
use pnet::util::MacAddr;
use std::net::Ipv4Addr;

/// Length of an ARP frame without padding: Ethernet header 14, ARP for IPv4 28.
pub const FRAME: usize = 42;

/// What an ARP frame says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arp {
    /// True for a reply (operation 2), false for a request (operation 1).
    pub reply: bool,
    /// Hardware address of the sender, as the ARP body claims it.
    pub sender: Mac,
    /// Address the sender claims; 0.0.0.0 in a probe.
    pub sender_ip: Ipv4Addr,
    /// Hardware address asked of, zero in a request.
    pub target: Mac,
    /// Address asked for.
    pub target_ip: Ipv4Addr,
}

/// A broadcast request for `wanted`, in the name of `own` at `mac` (RFC 826).
pub fn request(mac: Mac, own: Ipv4Addr, wanted: Ipv4Addr) -> [u8; FRAME] {
    encode(mac, own, wanted)
}

/// A probe for `wanted` (RFC 5227 section 2.1.1): the sender's address is all zero, so that no neighbour's cache changes.
pub fn probe(mac: Mac, wanted: Ipv4Addr) -> [u8; FRAME] {
    encode(mac, Ipv4Addr::UNSPECIFIED, wanted)
}

fn encode(mac: Mac, own: Ipv4Addr, wanted: Ipv4Addr) -> [u8; FRAME] {
    let mut frame = [0; FRAME];
    if let Some(mut ethernet) = MutableEthernetPacket::new(&mut frame) {
        ethernet.set_destination(MacAddr::broadcast());
        ethernet.set_source(to_pnet(mac));
        ethernet.set_ethertype(EtherTypes::Arp);
    }
    if let Some(mut arp) = MutableArpPacket::new(&mut frame[14..]) {
        arp.set_hardware_type(ArpHardwareTypes::Ethernet);
        arp.set_protocol_type(EtherTypes::Ipv4);
        arp.set_hw_addr_len(6);
        arp.set_proto_addr_len(4);
        arp.set_operation(ArpOperations::Request);
        arp.set_sender_hw_addr(to_pnet(mac));
        arp.set_sender_proto_addr(own);
        arp.set_target_proto_addr(wanted);
    }
    frame
}

/// Reads an Ethernet frame. `None` for anything but an ARP request or reply for IPv4 over Ethernet.
pub fn parse(frame: &[u8]) -> Option<Arp> {
    let ethernet = EthernetPacket::new(frame).filter(|e| e.get_ethertype() == EtherTypes::Arp)?;
    let arp = ArpPacket::new(ethernet.payload())?;
    let shape = (arp.get_hardware_type(), arp.get_protocol_type(), arp.get_hw_addr_len(), arp.get_proto_addr_len());
    if shape != (ArpHardwareTypes::Ethernet, EtherTypes::Ipv4, 6, 4) {
        return None;
    }
    let reply = match arp.get_operation() {
        ArpOperations::Request => false,
        ArpOperations::Reply => true,
        ArpOperation(_) => return None,
    };
    Some(Arp {
        reply,
        sender: from_pnet(arp.get_sender_hw_addr()),
        sender_ip: arp.get_sender_proto_addr(),
        target: from_pnet(arp.get_target_hw_addr()),
        target_ip: arp.get_target_proto_addr(),
    })
}

pub(super) fn to_pnet(mac: Mac) -> MacAddr {
    MacAddr::from(mac.0)
}

pub(super) fn from_pnet(mac: MacAddr) -> Mac {
    Mac(mac.octets())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const OURS: Mac = Mac([2, 0, 0, 0, 0, 1]);

    #[test]
    fn a_request_is_the_bytes_of_rfc_826() {
        // Field order, sizes and values: RFC 826 "Packet format"; hardware type 1, operation 1, protocol 0x0800.
        let frame = request(OURS, Ipv4Addr::new(192, 0, 2, 7), Ipv4Addr::new(192, 0, 2, 1));
        let expected: [&[u8]; 9] = [
            &[0xff; 6],
            &OURS.0,
            &[0x08, 0x06],
            &[0, 1, 0x08, 0, 6, 4, 0, 1],
            &OURS.0,
            &[192, 0, 2, 7],
            &[0; 6],
            &[192, 0, 2, 1],
            &[],
        ];
        assert_eq!(frame.to_vec(), expected.concat());
    }

    #[test]
    fn a_probe_claims_nothing() {
        let said = parse(&probe(OURS, Ipv4Addr::new(192, 0, 2, 7))).expect("our own frame reads back");
        assert_eq!((said.sender_ip, said.reply, said.sender), (Ipv4Addr::UNSPECIFIED, false, OURS));
        assert_eq!((said.target_ip, said.target), (Ipv4Addr::new(192, 0, 2, 7), Mac([0; 6])));
    }

    #[test]
    fn other_frames_are_not_for_us() {
        let good = request(OURS, Ipv4Addr::new(192, 0, 2, 7), Ipv4Addr::new(192, 0, 2, 1));
        for (at, byte) in [(12, 0x81), (15, 6), (17, 0xdd), (18, 8), (19, 16), (21, 3)] {
            let mut frame = good;
            frame[at] = byte;
            assert_eq!(parse(&frame), None, "byte {at}");
        }
        assert_eq!(parse(&good[..FRAME - 1]), None);
    }

    proptest! {
        #[test]
        fn whatever_is_asked_reads_back(mac: [u8; 6], own: [u8; 4], wanted: [u8; 4], padding in 0usize..32) {
            let mut frame = request(Mac(mac), own.into(), wanted.into()).to_vec();
            frame.resize(FRAME + padding, 0);
            let said = parse(&frame).expect("a request");
            prop_assert_eq!((said.sender, said.sender_ip, said.target_ip), (Mac(mac), own.into(), wanted.into()));
        }
    }
}
