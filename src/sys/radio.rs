//! The kernel's own view of a radio link (nl80211, Linux `include/uapi/linux/nl80211.h`).
//!
//! Decides how the kernel's attributes become our values. Needs no capability. An interface that is no radio, and a kernel
//! without radios, are told apart from a radio that is not associated.

use super::netlink::NetlinkError;
use crate::judge::{Mac, Radio};
use futures_util::TryStreamExt;
use std::io;
use tokio::task::JoinHandle;
use wl_nl80211::{Nl80211Attr, Nl80211Error, Nl80211Handle, Nl80211RateInfo, Nl80211StationInfo};

/// A connection for questions.
#[derive(Debug)]
pub struct Radios {
    handle: Nl80211Handle,
    task: JoinHandle<()>,
}

impl Drop for Radios {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Radios {
    /// Connects; must run inside a tokio runtime.
    pub fn connect() -> Result<Self, NetlinkError> {
        let (connection, handle, _) = wl_nl80211::new_connection()?;
        Ok(Self { handle, task: tokio::spawn(connection) })
    }

    /// The radio link of an interface; `None` where it is no radio. A radio that is not associated has no access point.
    pub async fn link(&self, index: u32) -> Result<Option<Radio>, NetlinkError> {
        let of_interface = vec![Nl80211Attr::IfIndex(index)];
        let answers = self.handle.interface().get(of_interface).execute().await;
        let interface: Vec<_> = match answers.try_collect().await {
            Ok(answers) => answers,
            Err(e) => return absent(e),
        };
        let mut radio = Radio::default();
        for answer in interface {
            read(&answer.payload.attributes, &mut radio);
        }
        // An interface's own address is under the same name as a station's.
        radio.access_point = None;
        let answers = self.handle.station().dump(index).execute().await;
        // A client has one station: its access point. On an access point of our own each client would be one.
        let stations: Vec<_> = match answers.try_collect().await {
            Ok(answers) => answers,
            Err(e) => return absent(e),
        };
        if let [station] = stations.as_slice() {
            read(&station.payload.attributes, &mut radio);
        }
        Ok(Some(radio))
    }
}

/// "No such device" and "no such family" mean that this is no radio; anything else is an error.
fn absent(e: Nl80211Error) -> Result<Option<Radio>, NetlinkError> {
    let e: NetlinkError = match e {
        Nl80211Error::NetlinkError(m) => m.to_io().into(),
        // The family could not be resolved: a kernel without radios.
        Nl80211Error::RequestFailed(_) => return Ok(None),
        other => NetlinkError::Kernel(io::Error::other(other.to_string())),
    };
    let unsupported = |e: &io::Error| matches!(e.raw_os_error(), Some(libc::EOPNOTSUPP));
    match &e {
        NetlinkError::Kernel(inner) if e.is_absent() || unsupported(inner) => Ok(None),
        _ => Err(e),
    }
}

fn read(attributes: &[Nl80211Attr], radio: &mut Radio) {
    for attribute in attributes {
        match attribute {
            Nl80211Attr::Mac(bytes) => radio.access_point = Some(Mac(*bytes)),
            Nl80211Attr::WiphyFreq(mhz) => radio.frequency_mhz = Some(*mhz),
            Nl80211Attr::StationInfo(told) => told.iter().for_each(|t| station(t, radio)),
            _ => {}
        }
    }
}

fn station(told: &Nl80211StationInfo, radio: &mut Radio) {
    match told {
        // The average is steadier than the last frame, but not every driver has it.
        Nl80211StationInfo::SignalAvg(dbm) => radio.signal_dbm = Some(i16::from(*dbm)),
        Nl80211StationInfo::Signal(dbm) => radio.signal_dbm = radio.signal_dbm.or(Some(i16::from(*dbm))),
        Nl80211StationInfo::TxFailed(n) => radio.tx_failed = Some(*n),
        Nl80211StationInfo::BeaconLoss(n) => radio.beacons_lost = Some(*n),
        Nl80211StationInfo::TxBitrate(rates) => {
            // In units of 100 kbit/s; the narrow form stops at 6.5 Gbit/s.
            let wide = rates.iter().find_map(|r| if let Nl80211RateInfo::Bitrate32(n) = r { Some(*n) } else { None });
            let narrow =
                rates.iter().find_map(|r| if let Nl80211RateInfo::Bitrate(n) = r { Some(u32::from(*n)) } else { None });
            radio.tx_kbps = wide.or(narrow).map(|n| n.saturating_mul(100));
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use netlink_packet_core::ParseableParametrized;
    use netlink_packet_generic::GenlHeader;
    use wl_nl80211::Nl80211Message;

    /// An attribute as the kernel writes it: length, type, value, padding to four bytes (netlink(7)).
    fn attribute(kind: u16, value: &[u8]) -> Vec<u8> {
        let length = u16::try_from(value.len() + 4).expect("short");
        let mut out = [&length.to_ne_bytes()[..], &kind.to_ne_bytes(), value].concat();
        out.resize(out.len().next_multiple_of(4), 0);
        out
    }

    fn told(bytes: &[u8]) -> Radio {
        // NL80211_CMD_NEW_STATION.
        let message = Nl80211Message::parse_with_param(bytes, GenlHeader { cmd: 19, version: 1 }).expect("it reads");
        let mut radio = Radio::default();
        read(&message.attributes, &mut radio);
        radio
    }

    /// Numbers of attributes: Linux `include/uapi/linux/nl80211.h`, as installed with Debian's linux-libc-dev 6.1, counted
    /// with a C compiler.
    #[test]
    fn a_station_as_the_kernel_writes_it() {
        let (mac, freq, info) = (6, 38, 21);
        let (signal, rate, failed, average, lost) = (7, 8, 12, 13, 18);
        let rates = [attribute(1, &650_u16.to_ne_bytes()), attribute(5, &8_667_u32.to_ne_bytes())].concat();
        let inside = [
            attribute(average, &[(-61_i8).to_ne_bytes()[0]]),
            attribute(signal, &[(-67_i8).to_ne_bytes()[0]]),
            attribute(rate, &rates),
            attribute(failed, &41_u32.to_ne_bytes()),
            attribute(lost, &3_u32.to_ne_bytes()),
        ];
        let bytes = [
            attribute(mac, &[2, 0, 0x5e, 0x10, 0, 1]),
            attribute(freq, &5_180_u32.to_ne_bytes()),
            attribute(info, &inside.concat()),
        ];
        let expected = Radio {
            signal_dbm: Some(-61),
            access_point: Some(Mac([2, 0, 0x5e, 0x10, 0, 1])),
            frequency_mhz: Some(5_180),
            tx_kbps: Some(866_700),
            tx_failed: Some(41),
            beacons_lost: Some(3),
        };
        assert_eq!(told(&bytes.concat()), expected);
        let plain =
            attribute(info, &[inside[1].clone(), attribute(rate, &attribute(1, &650_u16.to_ne_bytes()))].concat());
        assert_eq!((told(&plain).signal_dbm, told(&plain).tx_kbps), (Some(-67), Some(65_000)));
    }
}
