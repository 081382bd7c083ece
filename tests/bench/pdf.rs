//! How long a report takes, how large it is and how much memory it needs: a month and a year of
//! the made-up kitchen (two machines, 40 racks a day each), and a month with thousands of
//! exceptions. Each is made by the program itself, as `export` runs it.
//!
//! `cargo bench --features pdf --bench pdf`; SAMPLES=N for more than 5 of each.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![expect(clippy::disallowed_methods, reason = "a bench measures real time")]

use std::path::PathBuf;
use std::time::Instant;

use rinseward::app::export::pdf::{Attachments, Limits, Typesetter};
use rinseward::report::account::{Account, samples};
use rinseward::report::pdf::Options;

/// As many exceptions as a span may have on paper with some to spare.
fn thousands() -> Account {
    let mut account = samples::month();
    let exceptions = account.machines[0].exceptions.clone();
    account.machines[0].exceptions = exceptions.into_iter().cycle().take(7000).collect();
    account
}

fn main() {
    let count = std::env::var("SAMPLES").ok().and_then(|text| text.parse().ok()).unwrap_or(5_usize);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("report.pdf");
    let program = PathBuf::from(env!("CARGO_BIN_EXE_rinseward-report"));
    let typesetter = Typesetter { program, limits: Limits::default() };
    println!("{:<22} {:>10} {:>10} {:>10} {:>12}", "account", "median s", "least s", "most s", "bytes");
    for (name, account) in
        [("a month", samples::month()), ("a year", samples::span(365)), ("7000 exceptions", thousands())]
    {
        let mut seconds: Vec<f64> = (0..count.max(1))
            .map(|_| {
                let started = Instant::now();
                let made = typesetter.render(&account, Attachments::default(), Options::default(), &out);
                made.expect("a report");
                started.elapsed().as_secs_f64()
            })
            .collect();
        seconds.sort_by(f64::total_cmp);
        let bytes = std::fs::metadata(&out).expect("the report").len();
        println!(
            "{name:<22} {:>10.2} {:>10.2} {:>10.2} {bytes:>12}",
            seconds[seconds.len() / 2],
            seconds[0],
            seconds[seconds.len() - 1]
        );
    }
}
