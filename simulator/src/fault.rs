//! What goes wrong, on request: a fault, its machine, and its span.

use crate::plant::Weakness;

/// Which probe of a machine.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Place {
    /// In the wash tank or sump.
    Wash,
    /// In the final-rinse line or sump.
    Rinse,
}

/// A fault that can be asked for.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum FaultKind {
    /// The booster gives no heat.
    BoosterDead,
    /// Only this part of the booster's element works, 0 to 1.
    BoosterUndersized {
        /// Part that works.
        part: f64,
    },
    /// The booster's thermostat moves from the start of the span on.
    ThermostatDrift {
        /// Rate, K/h; negative is colder.
        c_per_hour: f64,
    },
    /// The booster's thermostat is set this much too high.
    RinseTooHot {
        /// Shift, K.
        by_c: f64,
    },
    /// The booster's thermostat is set this much too low.
    ThermostatLow {
        /// Shift, K.
        by_c: f64,
    },
    /// The booster's element loses power from the start of the span on, as scale and age take it.
    ElementAges {
        /// Part of its power lost in an hour.
        part_per_hour: f64,
    },
    /// The timer ends the final rinse too early; the run signal ends with it.
    RinseTimerShort {
        /// Length of the final rinse, s.
        length_s: f64,
    },
    /// The rinse probe answers slowly.
    SlowProbe {
        /// Its time constant, s.
        tau_s: f64,
    },
    /// The probe's circuit is open; the node says so.
    OpenCircuit {
        /// Which probe.
        place: Place,
    },
    /// The probe delivers nothing, not even a fault.
    Silent {
        /// Which probe.
        place: Place,
    },
    /// Single and double wild readings.
    Spikes {
        /// Which probe.
        place: Place,
        /// Mean number per minute.
        per_minute: f64,
    },
    /// The reading does not change any more.
    Stuck {
        /// Which probe.
        place: Place,
    },
    /// Readings of both probes go missing.
    Dropouts {
        /// Mean number of gaps per minute.
        per_minute: f64,
        /// Mean length of a gap, s.
        mean_s: f64,
    },
    /// The door is opened too early.
    Aborted {
        /// Part of the cycles that end during the wash, with no rinse at all.
        in_wash: f64,
        /// Part of the cycles that end during the final rinse.
        in_rinse: f64,
    },
    /// The node's clock is wrong by this during the span; it steps at both ends.
    ClockStep {
        /// Node's clock less the true time, s.
        by_s: f64,
    },
    /// The node keeps its packs and sends them all, in order, at the end of the span.
    Buffering,
    /// Only this part of the tank heater works.
    WashHeaterWeak {
        /// Part that works.
        part: f64,
    },
    /// The dosing pump fails: the strip reads this at the start of a shift.
    SanitizerWeak {
        /// Reading, mg/L.
        mg_per_l: f64,
    },
    /// Nobody reads a test strip.
    CheckForgotten,
    /// The supply is colder.
    SupplyCold {
        /// By how much, K.
        by_c: f64,
    },
}

impl FaultKind {
    /// The word for it in truth files.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::BoosterDead => "booster-dead",
            Self::BoosterUndersized { .. } => "booster-undersized",
            Self::ThermostatDrift { .. } => "thermostat-drift",
            Self::RinseTooHot { .. } => "rinse-too-hot",
            Self::ThermostatLow { .. } => "thermostat-low",
            Self::ElementAges { .. } => "element-ages",
            Self::RinseTimerShort { .. } => "rinse-timer-short",
            Self::SlowProbe { .. } => "slow-probe",
            Self::OpenCircuit { .. } => "open-circuit",
            Self::Silent { .. } => "silent",
            Self::Spikes { .. } => "spikes",
            Self::Stuck { .. } => "stuck",
            Self::Dropouts { .. } => "dropouts",
            Self::Aborted { .. } => "aborted",
            Self::ClockStep { .. } => "clock-step",
            Self::Buffering => "buffering",
            Self::WashHeaterWeak { .. } => "wash-heater-weak",
            Self::SanitizerWeak { .. } => "sanitizer-weak",
            Self::CheckForgotten => "check-forgotten",
            Self::SupplyCold { .. } => "supply-cold",
        }
    }
}

/// A fault and its span, in seconds from the start of the run.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// From when.
    pub from_s: f64,
    /// Until when.
    pub until_s: f64,
}

impl Fault {
    /// A fault of the whole run.
    #[must_use]
    pub const fn always(kind: FaultKind) -> Self {
        Self { kind, from_s: 0.0, until_s: f64::INFINITY }
    }

    /// A fault of a span, in hours from the start of the run.
    #[must_use]
    pub const fn hours(kind: FaultKind, from_h: f64, until_h: f64) -> Self {
        Self { kind, from_s: from_h * 3_600.0, until_s: until_h * 3_600.0 }
    }

    /// Whether it holds at `now_s`.
    #[must_use]
    pub fn holds(&self, now_s: f64) -> bool {
        self.from_s <= now_s && now_s < self.until_s
    }
}

/// What the faults that hold at `now_s` do to the plant.
#[must_use]
pub fn weakness(faults: &[Fault], now_s: f64) -> Weakness {
    let mut weakness = Weakness::default();
    for fault in faults.iter().filter(|fault| fault.holds(now_s)) {
        match fault.kind {
            FaultKind::BoosterDead => weakness.booster = 0.0,
            FaultKind::BoosterUndersized { part } => weakness.booster *= part,
            FaultKind::ThermostatDrift { c_per_hour } => {
                weakness.booster_shift_c += c_per_hour * (now_s - fault.from_s) / 3_600.0;
            }
            FaultKind::RinseTooHot { by_c } => weakness.booster_shift_c += by_c,
            FaultKind::ThermostatLow { by_c } => weakness.booster_shift_c -= by_c,
            FaultKind::ElementAges { part_per_hour } => {
                let lost = part_per_hour * (now_s - fault.from_s) / 3_600.0;
                weakness.booster *= (1.0 - lost).max(0.0);
            }
            FaultKind::WashHeaterWeak { part } => weakness.tank *= part,
            FaultKind::SupplyCold { by_c } => weakness.supply_shift_c -= by_c,
            FaultKind::RinseTimerShort { .. }
            | FaultKind::SlowProbe { .. }
            | FaultKind::Silent { .. }
            | FaultKind::OpenCircuit { .. }
            | FaultKind::Spikes { .. }
            | FaultKind::Stuck { .. }
            | FaultKind::Dropouts { .. }
            | FaultKind::Aborted { .. }
            | FaultKind::ClockStep { .. }
            | FaultKind::Buffering
            | FaultKind::CheckForgotten
            | FaultKind::SanitizerWeak { .. } => {}
        }
    }
    weakness
}
