//! Alerts: what is wrong, since when, who is told, and how it ends.
//!
//! The [`Desk`] reads committed records, and is told of time, health and what
//! people do; it answers with records and notices. It touches nothing: its
//! state, its records and its notices go into one commit, so that it can be
//! killed anywhere.
//!
//! # Conditions
//!
//! | condition | raised by | clears by | severity | action |
//! |---|---|---|---|---|
//! | cold | one cycle | 3 good cycles in a row | critical | yes |
//! | brief | one cycle | 3 good cycles in a row | critical | yes |
//! | weak | one cycle; a test of the sanitizer outside its range | 1 good cycle, or a good test; withdrawn | critical | yes |
//! | unproven | 3 cycles in a row without proof that no probe explains; the judging of a machine failed | 1 cycle with proof | serious | yes |
//! | wash-low | one cycle | 3 cycles in a row whose wash reached its limit | serious | yes |
//! | rinse-hot | one cycle | 3 cycles in a row below the maximum | warning | no |
//! | narrow | 5 narrow passes in a row | 3 plain passes in a row | warning | no |
//! | drifting | moving average (λ = 0.2, L = 3) outside its limits and 0.5 K off, and cumulative sum (k = 0.5) above h = 5, both learned from 50 good cycles, the first two after idle left out | the average is back inside; a maintenance window | warning | no |
//! | tank-cold | tank below its limit 15 min after opening | tank or wash at its limit; the hours are over | serious | no |
//! | probe-fault, probe-silent | a gap that opens; a cycle unproven by the final-rinse probe | the gap closes; a cycle with proof | serious | once a rack was washed unproven |
//! | check-overdue | a machine in use 30 min after the check was due; a cycle without any concentration on file | the check is made | warning | once a rack was washed unproven |
//! | calibration-overdue | its last day is over | calibrated anew | warning | no |
//! | thermometer-off | the latest comparison of a thermometer is off by more than its tolerance | a good one, a calibration of that probe, or withdrawn | serious | once a rack passed by what it shows too much |
//! | supplies-short | a look at the supplies found something short that was not filled up | a later look finds everything there, or withdrawn | serious | no |
//! | record-damaged | a record of a calibration, of a response test or of a withdrawal cannot be read at the start | every probe it may have been of has a later one, or it can be read again | serious | no |
//! | disk-filling | less than 10 % free | 15 % free | serious | no |
//! | clock-unsynchronised | for 1 h | synchronised | warning | no |
//! | series-backlog | oldest waiting reading older than 1 h | younger than 30 min | warning | no |
//! | undelivered | a message was given up | one was delivered by that route | serious | no |
//!
//! A good cycle passes, narrowly or not. A cycle whose final-rinse probe was at
//! fault is told as that fault, whatever its readings say: never as cold water.
//! Each default stands with its reason in `src/config/keys/alert.rs`.
//!
//! # The life of an alert
//!
//! ```text
//! raised ──▶ grows: racks, pattern, probes ──▶ cleared ──▶ lasted 30 min ──▶ closed
//!   ▲            │                                │ ▲            │
//!   └── returned ◀───────────────────────────────┘ └── with a corrective action written after it
//!                                                        cleared: closed at once; where one is
//!                                                        needed and missing: never by itself
//! ```
//!
//! One alert at most is open for each machine (or the site) and condition.
//! Further racks grow it. What comes back before it has closed is the same
//! alert; where it had lasted the 30 min it wants to be acknowledged anew. A
//! corrective action covers the racks that its writer was shown; for one that came after, another is missing.
//! A check that is missed once more while its alert is open is on record with the time it was due, and not told again.
//!
//! # Messages
//!
//! - *raised*: at once, to the first step with somebody on duty.
//! - *grew*: at once where it has become another matter: a first rack after idle
//!   has become several in a row (the booster), one more probe, proof missing.
//! - *summary*: more racks, at most once an hour; never for a warning.
//! - *escalated*: nobody acknowledged in 10 min; at the end of the steps they
//!   start over after 30 min, three rounds in all, then it is on record that
//!   nobody answered. Not for a warning, which waits for somebody on duty.
//! - *cleared*: the first time at once; after a return once it has lasted.
//! - *returned*: at most once in 30 min.
//! - *action-missing*: 4 h after it cleared, three times at most.
//! - *closed*: to all who were told, where an action was needed.
//! - *after-maintenance*: what is still open when a window ends.
//!
//! # What people withdraw or correct
//!
//! A check that is withdrawn counts no more, one that is corrected counts as corrected, from then
//! on: what is due is reckoned anew from the latest 8 checks of its kind. What was raised, told or
//! judged stays, but that racks which had passed are in doubt no longer where nothing else says so, see
//! [`earlier`]. A thermometer is off by the latest comparison of it that counts, also where an
//! earlier one counts again; supplies likewise are short by the looks that count.
//!
//! # Limits
//!
//! Named racks of an alert 20, things it is about 32, looks at the supplies of a machine 32, routes known to fail 256,
//! one maintenance window for each machine and one for the site; what people
//! enter 4,000 bytes. At a limit the rest is counted or the oldest forgotten.

pub mod affected;
mod beside;
pub mod condition;
pub mod contact;
pub mod cover;
mod cycles;
pub mod desk;
pub mod dialog;
pub mod did;
pub mod doubts;
pub mod due;
pub mod earlier;
pub mod entered;
pub mod event;
mod foreseen;
mod health;
pub mod hours;
pub mod notice;
pub mod open;
pub mod past;
mod people;
pub mod quantity;
mod raise;
pub mod returns;
pub mod settings;
mod state;
pub mod story;
mod strips;
pub mod supplies;
mod tell;
mod thermometers;
mod timetable;
pub mod trial;
pub mod words;

pub use condition::{Condition, Severity, UnknownCondition};
pub use contact::{Contact, Route, UnknownRoute};
pub use desk::{Desk, StateError};
pub use due::{Again, DueCheck};
pub use earlier::{ByProbe, Earlier};
pub use event::{DialogStands, Effects, Event, Health, Refusal, TEXT_BYTES_MAX};
pub use foreseen::Foreseen;
pub use hours::{Hours, HoursError};
pub use notice::{Notice, Occasion};
pub use open::{
    Acknowledgement, Action, Alert, AlertNumber, Amended, Pattern, Quantity, RACKS_NAMED_MAX, Rack, Racks,
};
pub use people::{LETTERS_MIN, says_something};
pub use returns::Returns;
pub use settings::{MachineSettings, Period, Rules, Settings};
#[cfg(test)]
mod tests;
