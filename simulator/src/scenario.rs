//! The named scenarios.

mod plans;

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

macro_rules! scenarios {
    ($($(#[doc = $doc:literal])+ $variant:ident = $name:literal => $plan:ident,)+) => {
        /// A named scenario.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum Scenario { $($(#[doc = $doc])+ $variant,)+ }

        impl Scenario {
            /// Every scenario.
            pub const ALL: &[Self] = &[$(Self::$variant,)+];

            /// Its name.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// What it shows, in one line.
            #[must_use]
            pub const fn about(self) -> &'static str {
                match self { $(Self::$variant => concat!($($doc,)+),)+ }
            }

            /// The scenario worked out.
            #[must_use]
            pub fn plan(self) -> Plan {
                match self { $(Self::$variant => plans::$plan(),)+ }
            }
        }
    };
}

scenarios! {
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
