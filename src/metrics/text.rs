//! The table filled in: OpenMetrics 1.0.0 or the text exposition format 0.0.4.

use super::board::Board;
use super::form::Form;
use super::table::{Kind, Metric, TABLE, Unit};
use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, NoLabelSet, prometheus_text, text};
use prometheus_client::metrics::MetricType;
use prometheus_client::registry::{Registry, Unit as Suffix};
use std::fmt;

/// The board as it stands at a moment on the record's axis.
#[derive(Debug)]
struct Moment {
    board: Board,
    now_s: f64,
}

/// The exposition of a board at a moment on the record's axis, seconds.
pub fn exposition(board: &Board, now_s: f64, form: Form) -> String {
    let mut registry = Registry::default();
    registry.register_collector(Box::new(Moment { board: board.clone(), now_s }));
    let mut out = String::new();
    // Writing to a string does not fail, and no series of the table refuses to be encoded.
    let encoded = match form {
        Form::OpenMetrics => text::encode(&mut out, &registry),
        Form::Text => prometheus_text::encode(&mut out, &registry),
    };
    debug_assert!(encoded.is_ok(), "a string can always be written to");
    out
}

impl Collector for Moment {
    fn encode(&self, mut encoder: DescriptorEncoder<'_>) -> fmt::Result {
        TABLE.iter().try_for_each(|metric| encode(metric, self, &mut encoder))
    }
}

fn encode(metric: &Metric, at: &Moment, encoder: &mut DescriptorEncoder<'_>) -> fmt::Result {
    let series = (metric.series)(&at.board, at.now_s);
    // A family without series is left out whole.
    if series.is_empty() {
        return Ok(());
    }
    let unit = match metric.unit {
        Unit::None => None,
        Unit::Seconds => Some(Suffix::Seconds),
        Unit::Bytes => Some(Suffix::Bytes),
    };
    let help = format!("{}.", metric.help);
    let kind = match metric.kind {
        Kind::Gauge => MetricType::Gauge,
        Kind::Counter => MetricType::Counter,
        Kind::Info => MetricType::Info,
    };
    let mut family = encoder.encode_descriptor(metric.name, &help, unit.as_ref(), kind)?;
    for (labels, value) in series {
        if metric.kind == Kind::Info {
            family.encode_info(&labels)?;
            continue;
        }
        let mut one = family.encode_family(&labels)?;
        match metric.kind {
            // Counts: whole numbers far below what an f64 holds.
            Kind::Counter => one.encode_counter::<NoLabelSet, _, u64>(&(value as u64), None)?,
            Kind::Gauge | Kind::Info => one.encode_gauge(&value)?,
        }
    }
    Ok(())
}
