//! Which measurements there are: their tags, fields and units.
//!
//! Times are nanoseconds since 1970-01-01T00:00:00Z. Temperatures are °C (ITS-90),
//! differences K, times s, concentrations mg/L, unless the name says otherwise.
//! Every code has its word beside it as a text field, and every word its code,
//! since some servers keep no text (VictoriaMetrics keeps a zero). A value that
//! is not known is left out.
//!
//! | measurement | tags | fields | a point is |
//! |---|---|---|---|
//! | `reading` | site, machine, probe, place | `celsius` float: converted and calibrated; `raw` float: as delivered, in the unit of the probe, where that is not `celsius` itself; `flag` boolean: a run signal; `fault` integer and `fault_name` text: in place of a value, or what a value reveals; `mg_per_l`, `ph` float: the sanitizer | one reading, at the time of its measurement |
//! | `cycle` | site, machine | `rinse_min`, `limit`, `margin` (minimum less limit, K), `rinse_min_raw`, `rinse_min_corrected`, `rinse_peak`, `wash_min`, `wash_limit` float; `uncertainty` (k = 2, K), `conformance` (0 to 1) float; `dwell`, `dwell_required`, `settled_after`, `rinse_duration`, `duration`, `delay` (end of the rinse to arrival) float, s; `area_below` float, °C·s; `a0` float, s at 80 °C; `hue` float; `mg_per_l`, `ph` float; `verdict` integer, `verdict_name` text; `rinse_too_hot`, `wash_low` boolean; `readings`, `spikes`, `record` integer | one judged cycle, at the start of its final rinse |
//! | `check` | site, machine, check | `mg_per_l`, `ph` float; `enough` boolean (supply); `by` text; `record` integer | a check that somebody entered, at the time it was made |
//! | `alert` | site, machine, condition (when raised), event | `number`, `record` integer; `measured`, `limit` float, in the unit of the condition; `racks` integer; `needed_action`, `ended` boolean; `attempts` integer; `change`, `clearing`, `by`, `via`, `done`, `contact`, `outcome` text | an alert raised, changed, acknowledged, cleared or closed; a corrective action, a notification, a maintenance window: `event` is the kind of the record |
//! | `service` | site, machine, probe, event | `count` integer: always 1, to be summed; `clean` boolean, `replayed` integer (start); `step` float, s, `clock` text (clock step); `fault`, `fault_name`, `duration` float, `open`, `filled` boolean (gap); `stopped` boolean (machine failure); `detail` text; `record` integer | an event of the service: `service-start`, `service-stop`, `clock-step`, `gap`, `configuration-change`, `machine-failure` |
//! | `gateway` | site | `records`, `inputs`, `records_waiting`, `inputs_waiting`, `set_aside` integer | how the gateway and its series are, once a minute |
//! | `test` | site | `value` float | written by `rinseward series test` |
//!
//! `record` is the index of the record in the ledger. Tags are few on purpose:
//! a site with M machines, P probes and signals has P series of `reading`, M of
//! `cycle`, and less than 10 · (M + P) of all others together, each times its
//! fields. Verdict, fault and people are fields, not tags: as tags they would
//! cut a machine's history into pieces.
//!
//! ## Same point, same key
//!
//! A server knows a point by measurement, tags and time; writing it again
//! replaces it. Nothing in a point depends on when or how often it is sent, so
//! that sending twice changes nothing. Records are stamped with their index
//! modulo 1,000 as nanoseconds below the microsecond, so that two records of one
//! instant stay two points. Two readings of one probe at the same microsecond
//! with different values share a key: the later one wins on the server; the
//! ledger keeps both.
//!
//! The conversion of a reading is that of the configuration in force when it is
//! sent. A reading sent before a calibration was entered keeps what it was
//! written with, until it is sent again.

use crate::core::cycle::verdict::Verdict;
use crate::core::reading::Fault;

/// One reading of one channel.
pub const READING: &str = "reading";
/// One judged cycle.
pub const CYCLE: &str = "cycle";
/// A check that somebody entered.
pub const CHECK: &str = "check";
/// An alert and what became of it.
pub const ALERT: &str = "alert";
/// An event of the service.
pub const SERVICE: &str = "service";
/// How the gateway is.
pub const GATEWAY: &str = "gateway";
/// Written and read back by a person.
pub const TEST: &str = "test";

/// The number of a fault: 1 open-circuit, 2 short, 3 reversed, 4 out-of-range, 5 stuck, 6 silent,
/// 7 no-cold-junction, 8 reported. A number is never given to another fault.
#[must_use]
pub const fn fault_code(fault: Fault) -> i64 {
    match fault {
        Fault::OpenCircuit => 1,
        Fault::Short => 2,
        Fault::Reversed => 3,
        Fault::OutOfRange => 4,
        Fault::Stuck => 5,
        Fault::Silent => 6,
        Fault::NoColdJunction => 7,
        Fault::Reported => 8,
    }
}

/// The number of a verdict, worst lowest: 0 cold, 1 brief, 2 weak, 3 unproven, 4 narrow, 5 pass. At
/// or above 4 the cycle passes. A number is never given to another verdict.
#[must_use]
pub const fn verdict_code(verdict: Verdict) -> i64 {
    match verdict {
        Verdict::Cold => 0,
        Verdict::Brief => 1,
        Verdict::Weak => 2,
        Verdict::Unproven => 3,
        Verdict::Narrow => 4,
        Verdict::Pass => 5,
    }
}
