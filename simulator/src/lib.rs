//! Commercial dish machines from physics: probe readings, and the truth of every cycle.
//!
//! The simulator knows nothing of the gateway and shares no code with it, so that its truth can
//! check the gateway. Everything flows from one `u64` seed: the same scenario and seed give the
//! same bytes.
//!
//! | module | what it is |
//! |---|---|
//! | [`plant`] | heat and water: tank, booster, rinse line, supply, ware |
//! | [`day`] | what people do with the machine: racks, fills, cleaning |
//! | [`machine`] | the automatic cycle, driven by the day, driving the plant |
//! | [`fault`] | what goes wrong, and when |
//! | [`probe`] | lag, noise, quantisation, probe faults |
//! | [`node`] | the node that reads the probes and speaks SenML: file, serial, MQTT; or has registers: Modbus |
//! | [`truth`] | what really happened |
//! | [`scenario`], [`catalog`] | named scenarios, and the machines in them |
//! | [`mod@bench`] | probes that a person holds, and a machine at their word: to practise with |
//! | [`world`] | all of it, stepped together |
//! | [`checker`] | the gateway's cycles against the truth |
//!
//! ```
//! use rinseward_simulator::{scenario::Scenario, world::World};
//! let mut world = World::new(Scenario::QuietDay, 1);
//! let first = world.next().expect("a day has readings");
//! assert!(first.line().starts_with("[{\"bn\":\"dm1/\""));
//! ```

pub mod bench;
pub mod catalog;
pub mod checker;
pub mod day;
pub mod dice;
pub mod fault;
pub mod machine;
pub mod node;
pub mod plant;
pub mod probe;
pub mod scenario;
pub mod time;
pub mod truth;
pub mod world;
