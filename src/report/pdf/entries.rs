//! What the measuring itself stands on: calibrations, gaps, early warnings, and what happened to the program.

use super::Draft;
use super::sheet::Tone;
use super::tell::Teller;
use super::words::Word;
use crate::core::drift::Learning;
use crate::report::account::{
    CalibrationAccount, Chart, DriftAccount, DriftSignal, GapAccount, ServiceEvent,
};

/// Most signals of the charts that are told of one machine.
const SIGNALS_MAX: usize = 40;

impl Draft<'_> {
    pub(super) fn calibrations(&mut self) {
        self.section(Word::CalibrationsHeading);
        let columns = vec![
            self.wide(Word::Probe, 3),
            self.wide(Word::InForceSince, 3),
            self.wide(Word::CalibrationMade, 2),
            self.wide(Word::PointsColumn, 4),
            self.number(Word::UncertaintyColumn),
            self.number(Word::TauColumn),
        ];
        let row = |calibration: &CalibrationAccount| {
            let teller = self.teller;
            let absent = || teller.say(Word::NotOnFile).to_owned();
            let point = |(reference, shown): &(f64, f64)| {
                let scale = teller.reader.scale;
                let (reference, shown) = (scale.temperature(*reference), scale.temperature(*shown));
                format!("{reference:.2} / {shown:.2} {}", scale.symbol())
            };
            let points: Vec<String> = calibration.points.iter().map(point).collect();
            vec![
                Teller::text(&calibration.probe),
                teller.minute(calibration.since),
                match calibration.made {
                    Some(made) if calibration.doubted => format!("{made}, {}", teller.say(Word::InDoubt)),
                    Some(made) => made.to_string(),
                    None => absent(),
                },
                if points.is_empty() { absent() } else { points.join("; ") },
                calibration.uncertainty_c.map_or_else(absent, |width| teller.reader.difference(width)),
                match calibration.tau_s {
                    Some(tau) => format!("{tau:.1} s"),
                    None if calibration.response_doubted => teller.say(Word::InDoubt).to_owned(),
                    None => absent(),
                },
            ]
        };
        let calibrations = &self.account.calibrations;
        let rows = calibrations.iter().map(row).collect();
        self.table(columns, rows);
        if calibrations.iter().any(|calibration| calibration.doubted || calibration.response_doubted) {
            self.text(Tone::Small, self.teller.say(Word::InDoubtNote));
        }
    }

    pub(super) fn gaps(&mut self) {
        self.section(Word::GapsHeading);
        self.text(Tone::Small, self.teller.say(Word::GapsNote));
        let columns = vec![
            self.wide(Word::Machine, 3),
            self.wide(Word::Probe, 3),
            self.wide(Word::Cause, 4),
            self.wide(Word::From, 4),
            self.wide(Word::To, 4),
            self.number(Word::Length),
        ];
        let machines = self.account.machines.iter();
        let rows = machines
            .flat_map(|machine| machine.gaps.iter().map(|gap| self.gap(&machine.machine, gap)))
            .collect();
        self.table(columns, rows);
    }

    fn gap(&self, machine: &str, gap: &GapAccount) -> Vec<String> {
        let teller = self.teller;
        let cause = gap.fault.map_or_else(|| teller.say(Word::ServiceDown), |fault| teller.fault(fault));
        let cause =
            if gap.filled { format!("{cause}; {}", teller.say(Word::FilledLater)) } else { cause.to_owned() };
        let lasts = || match self.account.ends {
            Some(ends) => teller.with(Word::LastedAt, &[("at", &teller.stamp(ends))]),
            None => teller.say(Word::Lasts).to_owned(),
        };
        vec![
            Teller::text(machine),
            gap.probe.as_deref().map_or_else(|| "–".to_owned(), Teller::text),
            cause,
            teller.stamp(gap.from),
            gap.to.map_or_else(lasts, |to| teller.stamp(to)),
            gap.to.map_or_else(lasts, |to| Teller::length(to.seconds_since(gap.from))),
        ]
    }

    /// What is not known yet: since when it is learnt, and how far.
    fn learning(&self, drift: &DriftAccount) -> String {
        let teller = self.teller;
        let Some(Learning { since, racks, of }) = drift.learning else {
            return teller.say(Word::NotOnFile).to_owned();
        };
        let (racks, of) = (racks.to_string(), of.to_string());
        let counted = [("racks", racks.as_str()), ("of", &of)];
        let told = match since {
            Some(since) => {
                let since = teller.stamp(since);
                teller.with(Word::LearningAnew, &[&counted[..], &[("since", &since)]].concat())
            }
            None => teller.with(Word::Learning, &counted),
        };
        let before = if drift.signals.is_empty() { "" } else { teller.say(Word::LearntBefore) };
        format!("{told}{before}")
    }

    pub(super) fn drift(&mut self) {
        let teller = self.teller;
        self.section(Word::DriftHeading);
        self.text(Tone::Small, teller.say(Word::DriftNote));
        for machine in &self.account.machines {
            let drift = &machine.drift;
            let usual = match (drift.usual_c, drift.sigma_c) {
                (Some(mean), Some(sigma)) => {
                    let (mean, sigma) =
                        (teller.reader.temperature(mean), teller.reader.scale.difference(sigma));
                    let sigma = format!("{sigma:.2} {}", teller.reader.scale.symbol());
                    teller.with(Word::UsualValue, &[("mean", &mean), ("sigma", &sigma)])
                }
                (Some(mean), None) => teller.reader.temperature(mean),
                (None, _) => self.learning(drift),
            };
            let seconds =
                |time: Option<f64>| time.map_or_else(|| "–".to_owned(), |time| format!("{time:.0} s"));
            let recovery = format!("{}, {}", seconds(drift.recovery_first_s), seconds(drift.recovery_last_s));
            let rows = vec![
                self.row(Word::Usual, usual),
                self.row(Word::ColdFirst, drift.cold_first_racks.to_string()),
                self.row(Word::RecoveryRow, recovery),
                self.row(Word::Signals, self.signals(&drift.signals)),
            ];
            self.heading(2, Teller::text(&machine.machine));
            self.rows(rows);
        }
    }

    fn signals(&self, signals: &[DriftSignal]) -> String {
        let teller = self.teller;
        if signals.is_empty() {
            return teller.say(Word::NoneF).to_owned();
        }
        let told = |signal: &DriftSignal| {
            let chart = teller.say(match signal.chart {
                Chart::Ewma => Word::Ewma,
                Chart::Cusum => Word::Cusum,
            });
            let shift = teller.reader.scale.difference(signal.shift_c);
            // U+2212, as wide as the plus sign.
            let shift = format!("{shift:+.1} {}", teller.reader.scale.symbol()).replace('-', "−");
            let at = teller.minute(signal.at);
            let mut values = vec![("at", at.as_str()), ("chart", chart), ("shift", &shift)];
            let since = signal.since.map(|since| teller.minute(since));
            match &since {
                Some(since) => {
                    values.push(("since", since));
                    teller.with(Word::Signal, &values)
                }
                None => teller.with(Word::SignalPlain, &values),
            }
        };
        let mut all: Vec<String> = signals.iter().take(SIGNALS_MAX).map(told).collect();
        let more = signals.len().saturating_sub(SIGNALS_MAX);
        if more > 0 {
            all.push(teller.with(Word::MoreSignals, &[("count", &more.to_string())]));
        }
        all.join("; ")
    }

    pub(super) fn service(&mut self) {
        self.section(Word::ServiceHeading);
        self.text(Tone::Small, self.teller.say(Word::ServiceNote));
        self.text(Tone::Small, self.teller.say(Word::ServiceLeftOut));
        let columns = vec![
            self.wide(Word::Recorded, 3),
            self.wide(Word::Event, 3),
            self.wide(Word::Text, 6),
            self.number(Word::RecordRow),
        ];
        let row = |event: &ServiceEvent| {
            vec![
                self.teller.stamp(event.at),
                self.teller.event(&event.kind),
                Teller::text(&event.text),
                event.index.to_string(),
            ]
        };
        let rows = self.account.service.iter().map(row).collect();
        self.table(columns, rows);
        if self.account.renewals > 0 {
            let count = self.account.renewals.to_string();
            self.text(Tone::Small, self.teller.with(Word::ServiceFolded, &[("count", &count)]));
        }
    }
}
