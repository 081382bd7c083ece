//! The figures of the gateway in the text format of OpenMetrics 1.0.

use std::fmt;
use std::sync::atomic::AtomicU64;

use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};

use super::Figures;

/// Media type (OpenMetrics 1.0, «Protocol Negotiation»).
pub(super) const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

type Labels = Vec<(&'static str, String)>;
type Counts = Family<Labels, Counter>;
type Levels = Family<Labels, Gauge<f64, AtomicU64>>;

/// The figures as text, to its last line `# EOF`.
///
/// # Errors
/// The crate's, where a text takes no more.
pub(super) fn text(figures: &Figures) -> Result<String, fmt::Error> {
    let mut registry = Registry::with_prefix("rinseward");
    let version = vec![("version", env!("CARGO_PKG_VERSION"))];
    registry.register("build", "The running program", Info::new(version));

    let readings = Counts::default();
    for (source, count) in &figures.readings {
        readings.get_or_create(&vec![("source", source.clone())]).inc_by(*count);
    }
    registry.register("readings", "Readings received since the start", readings);

    let cycles = Counts::default();
    for (machine, verdict, count) in &figures.cycles {
        let labels = vec![("machine", machine.clone()), ("verdict", verdict.as_str().to_owned())];
        cycles.get_or_create(&labels).inc_by(*count);
    }
    registry.register("cycles", "Cycles put on record since the start", cycles);

    let level = |name: &'static str, rows: &mut dyn Iterator<Item = (&String, f64)>| {
        let levels = Levels::default();
        for (value, level) in rows {
            levels.get_or_create(&vec![(name, value.clone())]).set(level);
        }
        levels
    };
    let alerts = level("condition", &mut figures.alerts.iter().map(|(name, count)| (name, *count as f64)));
    registry.register("alerts_open", "Open alerts", alerts);
    let letters = level("channel", &mut figures.letters.iter().map(|(name, count)| (name, *count as f64)));
    registry.register("letters_waiting", "Messages that wait to be sent", letters);
    let ages = level("probe", &mut figures.ages_s.iter().map(|(name, age_s)| (name, *age_s)));
    registry.register_with_unit("reading_age", "Time since the newest reading came", Unit::Seconds, ages);

    let single = |value: f64| {
        let gauge = Gauge::<f64, AtomicU64>::default();
        gauge.set(value);
        gauge
    };
    registry.register("ledger_records", "Records in the ledger", single(figures.records as f64));
    let bytes = single(figures.ledger_bytes as f64);
    registry.register_with_unit("ledger_size", "Size of the ledger on disk", Unit::Bytes, bytes);
    if let Some(behind_s) = figures.series_behind_s {
        let help = "Age of the oldest reading that the series server has not taken";
        registry.register_with_unit("series_behind", help, Unit::Seconds, single(behind_s));
    }
    if let Some(commits) = &figures.commits_s {
        let help = "From handing a commit over to having it on the device";
        registry.register_with_unit("commit", help, Unit::Seconds, commits.clone());
    }
    let mut text = String::new();
    encode(&mut text, &registry)?;
    Ok(text)
}
