//! Frames for the probes: a packet socket made asynchronous, with a kernel filter so that only what was asked for wakes us.

use super::packet;
use crate::judge::Mac;
use nix::libc;
use socket2::SockFilter;
use std::io;
use std::net::Ipv4Addr;
use std::os::fd::OwnedFd;
use tokio::net::UdpSocket;

/// Room for any frame we have a use for; a longer one is cut and then fails its own length checks.
pub const MOST_BYTES: usize = 2_048;

/// Whole frames of one protocol on one interface.
#[derive(Debug)]
pub struct Frames {
    // tokio's own AsyncFd can only be made by an unsafe call; a UDP socket type is a safe owner of any descriptor that
    // understands send(2) and recv(2), and nothing else is called on it.
    socket: UdpSocket,
}

impl Frames {
    /// ARP in which the sender claims `address`. Needs `CAP_NET_RAW` (`EPERM` otherwise).
    pub fn arp_from(index: u32, address: Ipv4Addr) -> io::Result<Self> {
        // Frame offset 28: sender protocol address (14 Ethernet + 14, RFC 826).
        let program = [
            load(libc::BPF_B, TAG_PRESENT),
            unless_equal(0, 3),
            load(libc::BPF_W, 28),
            unless_equal(address.to_bits(), 1),
            take(),
            drop_frame(),
        ];
        Self::open(index, packet::ARP, &program)
    }

    /// ARP in which the sender gives `mac` as its hardware address. Needs `CAP_NET_RAW` (`EPERM` otherwise).
    pub fn arp_of(index: u32, mac: Mac) -> io::Result<Self> {
        let [a, b, c, d, e, f] = mac.0;
        // Frame offset 22: sender hardware address (14 Ethernet + 8, RFC 826).
        let program = [
            load(libc::BPF_B, TAG_PRESENT),
            unless_equal(0, 5),
            load(libc::BPF_W, 22),
            unless_equal(u32::from_be_bytes([a, b, c, d]), 3),
            load(libc::BPF_H, 26),
            unless_equal(u32::from(u16::from_be_bytes([e, f])), 1),
            take(),
            drop_frame(),
        ];
        Self::open(index, packet::ARP, &program)
    }

    /// Unfragmented UDP over IPv4 to port 68. Needs `CAP_NET_RAW` (`EPERM` otherwise).
    pub fn to_dhcp_client(index: u32) -> io::Result<Self> {
        const UDP: u32 = 17;
        const CLIENT_PORT: u32 = 68;
        let program = [
            load(libc::BPF_B, TAG_PRESENT),
            unless_equal(0, 8),
            load(libc::BPF_B, 23),
            unless_equal(UDP, 6),
            load(libc::BPF_H, 20),
            SockFilter::new((libc::BPF_JMP | libc::BPF_JSET | libc::BPF_K) as u16, 4, 0, 0x3fff),
            // X = length of the IPv4 header; then the destination port behind it.
            SockFilter::new((libc::BPF_LDX | libc::BPF_B | libc::BPF_MSH) as u16, 0, 0, 14),
            SockFilter::new((libc::BPF_LD | libc::BPF_H | libc::BPF_IND) as u16, 0, 0, 16),
            unless_equal(CLIENT_PORT, 1),
            take(),
            drop_frame(),
        ];
        Self::open(index, packet::IPV4, &program)
    }

    fn open(index: u32, protocol: u16, program: &[SockFilter]) -> io::Result<Self> {
        let socket = packet::open(index, protocol)?;
        socket.attach_filter(program)?;
        Ok(Self { socket: UdpSocket::from_std(OwnedFd::from(socket).into())? })
    }

    /// Sends one frame as it is.
    pub async fn send(&self, frame: &[u8]) -> io::Result<()> {
        self.socket.send(frame).await.map(drop)
    }

    /// The next frame. `ENETDOWN` when the interface went down: open anew.
    pub async fn hear<'a>(&self, room: &'a mut [u8; MOST_BYTES]) -> io::Result<&'a [u8]> {
        let length = self.socket.recv(room).await?;
        Ok(&room[..length])
    }
}

/// Where a filter reads whether the kernel took an 802.1Q tag off the frame (`SKF_AD_VLAN_TAG_PRESENT`): a frame of
/// another virtual LAN is not ours.
const TAG_PRESENT: u32 = (libc::SKF_AD_OFF + libc::SKF_AD_VLAN_TAG_PRESENT) as u32;

pub(super) fn load(size: u32, at: u32) -> SockFilter {
    SockFilter::new((libc::BPF_LD | size | libc::BPF_ABS) as u16, 0, 0, at)
}

/// Goes on if what was loaded is `value`, else skips `skip` instructions.
pub(super) fn unless_equal(value: u32, skip: u8) -> SockFilter {
    SockFilter::new((libc::BPF_JMP | libc::BPF_JEQ | libc::BPF_K) as u16, 0, skip, value)
}

pub(super) fn take() -> SockFilter {
    SockFilter::new((libc::BPF_RET | libc::BPF_K) as u16, 0, 0, MOST_BYTES as u32)
}

pub(super) fn drop_frame() -> SockFilter {
    SockFilter::new((libc::BPF_RET | libc::BPF_K) as u16, 0, 0, 0)
}
