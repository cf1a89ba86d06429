//! The panel's auxiliary output: does it carry what hangs on it and the communicator?
//!
//! Decides the sums, on standby and in alarm, with the communicator at its greatest draw in both (it may send at any
//! time), against the output's limit and a margin.

use super::given::{Device, Panel};
use super::units::Milliamps;

/// The communicator's greatest draw where nobody says: common practice, no source.
pub const COMMUNICATOR_MOST: Milliamps = Milliamps::of(75.0);
/// Share of the limit kept free: common practice, no source.
pub const MARGIN: f64 = 0.20;

/// How an output stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    /// With the margin free.
    Well,
    /// Within the limit, but into the margin.
    IntoMargin,
    /// Over the limit: an external supply is needed.
    Over,
}

/// The sums.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// On standby.
    pub standby: Milliamps,
    /// In alarm.
    pub alarm: Milliamps,
}

impl Load {
    /// The larger, which the output must carry.
    pub fn greatest(self) -> Milliamps {
        self.standby.max(self.alarm)
    }
}

/// The communicator's greatest draw.
pub fn communicator_most(panel: &Panel) -> Milliamps {
    panel.communicator_most.unwrap_or(COMMUNICATOR_MOST)
}

/// What the devices draw without the communicator; `None` if nobody said what hangs there.
pub fn devices(panel: &Panel, devices: &[Device]) -> Option<Load> {
    if devices.is_empty() {
        let all = Milliamps::of(f64::from(panel.aux_load_ma?));
        return Some(Load { standby: all, alarm: all });
    }
    Some(Load { standby: devices.iter().map(|d| d.standby).sum(), alarm: devices.iter().map(|d| d.alarm).sum() })
}

/// With the communicator at its greatest draw.
pub fn load(panel: &Panel, hanging: &[Device]) -> Option<Load> {
    let (load, most) = (devices(panel, hanging)?, communicator_most(panel));
    Some(Load { standby: load.standby + most, alarm: load.alarm + most })
}

/// How an output of this limit carries it.
pub fn carries(limit: Milliamps, load: Load) -> Carries {
    let greatest = load.greatest();
    if greatest > limit {
        Carries::Over
    } else if greatest > limit.times(1.0 - MARGIN) {
        Carries::IntoMargin
    } else {
        Carries::Well
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn device(standby: f64, alarm: f64) -> Device {
        Device { name: "d".into(), standby: Milliamps::of(standby), alarm: Milliamps::of(alarm) }
    }

    #[test]
    fn the_communicator_counts_at_its_greatest_draw_on_standby_and_in_alarm() {
        // Common practice, no source: 75 mA for an IP communicator.
        let panel = Panel::default();
        let l = load(&panel, &[device(35.0, 60.0), device(100.0, 250.0)]).expect("named");
        assert_eq!((l.standby.get(), l.alarm.get()), (210.0, 385.0));
        let panel = Panel { communicator_most: Some(Milliamps::of(220.0)), aux_load_ma: Some(410), ..panel };
        let l = load(&panel, &[]).expect("entered");
        assert_eq!((l.standby.get(), l.alarm.get()), (630.0, 630.0));
        assert_eq!(load(&Panel::default(), &[]), None);
    }

    #[test]
    fn the_margin_and_the_limit_are_where_they_say() {
        let at = |ma| carries(Milliamps::of(850.0), Load { standby: Milliamps::of(10.0), alarm: Milliamps::of(ma) });
        assert_eq!(
            [680.0, 680.1, 850.0, 850.1].map(at),
            [Carries::Well, Carries::IntoMargin, Carries::IntoMargin, Carries::Over]
        );
    }

    proptest! {
        #[test]
        fn more_on_the_output_is_never_better(a in 0.0f64..950.0, more in 0.0f64..200.0) {
            let rank = |ma| match carries(Milliamps::of(850.0), load(&Panel::default(), &[device(ma, ma)]).unwrap()) {
                Carries::Well => 0,
                Carries::IntoMargin => 1,
                Carries::Over => 2,
            };
            prop_assert!(rank(a + more) >= rank(a));
        }
    }
}
