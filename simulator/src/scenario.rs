//! The named scenarios.

mod aim;
mod alarms;
mod plans;
#[cfg(test)]
mod tests;

pub use aim::{Aim, Condition, Expected, NOT_FROM_WATER, Pattern};

use std::fmt;
use std::str::FromStr;

use crate::catalog::MachineSpec;
use crate::day::Meal;
use crate::fault::Fault;

/// A scenario worked out: what runs, when, and what goes wrong.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Start, seconds after midnight.
    pub clock_s: f64,
    /// Length, h.
    pub hours: f64,
    /// When the tanks must be up to temperature, seconds after midnight; `None` where nobody says.
    pub opens_s: Option<f64>,
    /// The machines.
    pub machines: Vec<MachinePlan>,
}

/// One machine of a plan.
#[derive(Clone, Debug)]
pub struct MachinePlan {
    /// The machine.
    pub spec: MachineSpec,
    /// Its meal periods.
    pub meals: Vec<Meal>,
    /// Its faults.
    pub faults: Vec<Fault>,
    /// Whether the run starts in the middle of service.
    pub warm: bool,
}

macro_rules! aim {
    (raises $expected:expr) => {{
        const EXPECTED: &[Expected] = &$expected;
        Aim::Raises(EXPECTED)
    }};
    (nearly $condition:expr) => {
        Aim::NearlyRaises($condition)
    };
}

macro_rules! scenarios {
    (
        recognition { $($(#[doc = $doc:literal])+ $variant:ident = $name:literal => $plan:ident,)+ }
        alerts {
            $($(#[doc = $alert_doc:literal])+
            $alert:ident = $alert_name:literal => $alert_plan:ident, $word:ident $what:expr;)+
        }
    ) => {
        /// A named scenario.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum Scenario {
            $($(#[doc = $doc])+ $variant,)+
            $($(#[doc = $alert_doc])+ $alert,)+
        }

        impl Scenario {
            /// Every scenario.
            pub const ALL: &[Self] = &[$(Self::$variant,)+ $(Self::$alert,)+];

            /// The scenarios that test how cycles are recognised.
            pub const RECOGNITION: &[Self] = &[$(Self::$variant,)+];

            /// The scenarios that test who is told of what: some raise an alert, the others
            /// nearly do. An hour or two each.
            pub const ALERTS: &[Self] = &[$(Self::$alert,)+];

            /// Its name.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)+
                    $(Self::$alert => $alert_name,)+
                }
            }

            /// What it shows, in one line.
            #[must_use]
            pub const fn about(self) -> &'static str {
                match self {
                    $(Self::$variant => concat!($($doc,)+),)+
                    $(Self::$alert => concat!($($alert_doc,)+),)+
                }
            }

            /// What it is for.
            #[must_use]
            pub const fn aim(self) -> Aim {
                match self {
                    $(Self::$variant => Aim::Recognition,)+
                    $(Self::$alert => aim!($word $what),)+
                }
            }

            /// The scenario worked out.
            #[must_use]
            pub fn plan(self) -> Plan {
                match self {
                    $(Self::$variant => plans::$plan(),)+
                    $(Self::$alert => alarms::$alert_plan(),)+
                }
            }
        }
    };
}

use Condition::{
    Brief, CheckOverdue, Cold, Drifting, Narrow, ProbeFault, ProbeSilent, RinseHot, TankCold, Unproven,
    WashLow, Weak,
};
use aim::{first_after_idle, on, repeated};

scenarios! {
    recognition {
        /// A door machine on a slow morning: long idle times between racks.
        QuietDay = "quiet-day" => quiet_day,
        /// A door machine at lunch: rack after rack.
        Rush = "rush" => rush,
        /// A line that stays near 80 °C between racks: the step of a rinse is small.
        HeatSoaked = "heat-soaked" => heat_soaked,
        /// The booster dies in the rush and is reset later: the step goes down.
        BoosterDead = "booster-dead" => booster_dead,
        /// A booster with less than half of its element: it falls behind in the rush.
        BoosterUndersized = "booster-undersized" => booster_undersized,
        /// The thermostat creeps down through the limit.
        ThermostatDrift = "thermostat-drift" => thermostat_drift,
        /// A rinse probe with a time constant of 6 s.
        SlowProbe = "slow-probe" => slow_probe,
        /// The rinse probe's circuit opens for an hour, the wash probe's for half an hour.
        OpenCircuit = "open-circuit" => open_circuit,
        /// Wild single and double readings on both probes.
        Spikes = "spikes" => spikes,
        /// Readings go missing for seconds.
        Dropouts = "dropouts" => dropouts,
        /// The rinse probe's reading freezes for a while.
        Stuck = "stuck" => stuck,
        /// The door is opened in the wash or in the rinse.
        Aborted = "aborted" => aborted,
        /// The node's clock jumps an hour ahead, and back again.
        ClockStep = "clock-step" => clock_step,
        /// The node loses its link for an hour and then sends everything in order.
        BufferedNode = "buffered-node" => buffered_node,
        /// A machine with a run signal, its booster dead for a while.
        RunSignal = "run-signal" => run_signal,
        /// A single-temperature machine.
        SingleTemperature = "single-temperature" => single_temperature,
        /// A single-tank conveyor.
        Conveyor = "conveyor" => conveyor,
        /// A multitank conveyor with an undersized booster in the rush.
        Multitank = "multitank" => multitank,
        /// A chlorine machine with a fresh rinse line; its supply runs cold for a while.
        Chlorine = "chlorine" => chlorine,
        /// A chlorine machine whose strip reads low.
        ChlorineWeak = "chlorine-weak" => chlorine_weak,
        /// A chlorine machine that dumps and refills; its supply runs cold for a while.
        DumpAndRefill = "dump-and-refill" => dump_and_refill,
        /// Three short meals, each with drain, hosing and refill.
        Cleaning = "cleaning" => cleaning,
        /// The end of dinner, the night, the first fill of the morning.
        Night = "night" => night,
        /// A tank heater that hardly works.
        WashLow = "wash-low" => wash_low,
        /// A booster thermostat set far too high.
        TooHot = "too-hot" => too_hot,
        /// Two machines in the middle of service; the booster of one trips and is reset.
        Demo = "demo" => demo,
        /// Seven days of three meals, two machines.
        Week = "week" => week,
    }
    alerts {
        /// The booster fails in the rush: every rack is cold once its water is used up.
        BoosterFails = "booster-fails" => booster_fails, raises [repeated("dm1")];
        /// The booster is off for forty seconds: its store carries the racks over.
        BoosterBlinks = "booster-blinks" => booster_blinks, nearly Cold;
        /// A long line cools between bursts: the first rack of each is cold, the next ones are not.
        FirstRackCold = "first-rack-cold" => first_rack_cold, raises [first_after_idle("dm1")];
        /// The same bursts on an ordinary line: the first rinse has settled in time.
        FirstRackWarm = "first-rack-warm" => first_rack_warm, nearly Cold;
        /// The timer ends the final rinse after four seconds.
        RinseBrief = "rinse-brief" => rinse_brief, raises [on("dm1", Brief)];
        /// The timer ends the final rinse a second and a half early: the limit was held long enough.
        RinseShortened = "rinse-shortened" => rinse_shortened, nearly Brief;
        /// The dosing pump hardly works: the strip reads 10 mg/L.
        SanitizerWeak = "sanitizer-weak" => sanitizer_weak, raises [on("dm1", Weak)];
        /// The strip reads 30 mg/L of chlorine where 25 are asked for.
        SanitizerThin = "sanitizer-thin" => sanitizer_thin, nearly Weak;
        /// Nobody reads a strip before the first rack: nothing proves the sanitizer.
        StripForgotten = "strip-forgotten" => strip_forgotten, raises [on("dm1", CheckOverdue)];
        /// The strip is read a minute before the first rack.
        StripInTime = "strip-in-time" => strip_in_time, nearly CheckOverdue;
        /// The tank heater fails in the rush.
        TankHeaterFails = "tank-heater-fails" => tank_heater_fails, raises [on("dm1", WashLow)];
        /// The tank heater has lost a third of its power and keeps up.
        TankHeaterWorn = "tank-heater-worn" => tank_heater_worn, nearly WashLow;
        /// The booster's thermostat is set 8 K too high: scald and flash-off above 90 °C.
        RinseScalds = "rinse-scalds" => rinse_scalds, raises [on("dm1", RinseHot)];
        /// The booster's thermostat is set 2 K too high.
        RinseWarmer = "rinse-warmer" => rinse_warmer, nearly RinseHot;
        /// The thermostat is set low: rack after rack passes inside the uncertainty of uncalibrated wire.
        ThermostatLow = "thermostat-low" => thermostat_low, raises [on("dm1", Narrow)];
        /// A line somewhat long: the first rack of a burst passes narrowly, the next ones well.
        OneNarrow = "one-narrow" => one_narrow, nearly Narrow;
        /// The thermostat creeps down by 1 K an hour and never reaches the limit.
        ThermostatCreeps = "thermostat-creeps" => thermostat_creeps, raises [on("dm1", Drifting)];
        /// Scale and age take a fifth of the element's power an hour: the rush gets colder, never cold.
        ElementScales = "element-scales" => element_scales, raises [on("dm1", Drifting)];
        /// A thermostat that moves by a twentieth of a kelvin an hour, inside the chart.
        SteadyService = "steady-service" => steady_service, nearly Drifting;
        /// The tank heater hardly works: the tank is not up to temperature at opening, and nobody washes.
        TankLate = "tank-late" => tank_late, raises [on("dm1", TankCold)];
        /// The same, and racks are washed in the cold tank all the same.
        TankColdUsed = "tank-cold-used" => tank_cold_used, raises [on("dm1", TankCold), on("dm1", WashLow)];
        /// The tank is filled late and is up to temperature a minute or two before the grace ends.
        TankJustWarm = "tank-just-warm" => tank_just_warm, nearly TankCold;
        /// The rinse probe's circuit is open for twenty minutes.
        ProbeOpen = "probe-open" => probe_open, raises [on("dm1", ProbeFault)];
        /// A loose terminal: open for six seconds again and again, in good rinses too. Never cold.
        ProbeLoose = "probe-loose" => probe_loose, raises [on("dm1", ProbeFault)];
        /// Open for eight seconds, several times, while nobody washes.
        ProbeFlickers = "probe-flickers" => probe_flickers, nearly ProbeFault;
        /// The rinse probe's cable is pulled for twenty minutes: nothing comes.
        ProbePulled = "probe-pulled" => probe_pulled, raises [on("dm1", ProbeSilent)];
        /// The rinse probe says nothing for eight seconds, several times, while nobody washes.
        ProbePauses = "probe-pauses" => probe_pauses, nearly ProbeSilent;
        /// A bad link: every rinse has a hole, rack after rack cannot be judged.
        ReadingsMissing = "readings-missing" => readings_missing, raises [on("dm1", Unproven)];
        /// The same for two minutes: a rack or two.
        ReadingsPatchy = "readings-patchy" => readings_patchy, nearly Unproven;
        /// Electrical noise: wild single and double readings on both probes.
        Noise = "noise" => noise, nearly Cold;
    }
}

impl fmt::Display for Scenario {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no scenario.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("no scenario is named {name}")]
pub struct UnknownScenario {
    /// What was given.
    pub name: String,
}

impl FromStr for Scenario {
    type Err = UnknownScenario;

    fn from_str(name: &str) -> Result<Self, UnknownScenario> {
        let found = Self::ALL.iter().find(|scenario| scenario.as_str() == name);
        found.copied().ok_or_else(|| UnknownScenario { name: name.to_owned() })
    }
}
