//! Everything that decides, and nothing that touches the world.
//!
//! No clock, no file, no thread, no socket and no log: time is an argument and
//! what must be done comes back as [`effect::Effects`]. The daemon, `replay`,
//! the simulation tests and the fuzz targets drive the same [`site::Site`].

pub mod access;
pub mod address;
pub mod alert;
pub mod audit;
pub mod boiling;
pub mod calibration;
pub mod causes;
pub mod cautions;
pub mod channel;
pub mod checkpoint;
pub mod counted;
pub mod cycle;
pub mod daily;
pub mod dose;
pub mod drift;
pub mod effect;
pub mod evidence;
pub mod file_name;
pub mod food_code;
pub mod id;
pub mod intake;
pub mod keys;
pub mod late;
pub mod linear;
pub mod logbook;
pub mod machine;
pub mod merkle;
pub mod monitored;
pub mod note;
pub mod on_file;
pub mod one_line;
pub mod presence;
pub mod reader;
pub mod reading;
pub mod readout;
pub mod record;
pub mod reorder;
pub mod response;
pub mod rtd;
pub mod sanitizer;
pub mod signoff;
pub mod site;
pub mod steady;
pub mod technician;
pub mod thermocouple;
pub mod time;
pub mod trend;
pub mod uncertainty;
pub mod units;
pub mod wall_clock;
pub mod wiring;
