//! What is said of an export that was checked: what holds, and what is to be known beside it.

use jiff::tz::TimeZone;

use super::account::{Faults, NEVER};
use super::pages::Pages;
use super::parts::Parts;
use super::table::Beyond;
use crate::core::counted::Noun;
use crate::core::cycle::words::verdict;
use crate::core::evidence::Header;
use crate::core::evidence::examine::{Examined, Kept, SealedBy};
use crate::core::reader::Language;

/// Of a table that does not reach over all of the evidence: how far it goes, and what it leaves out.
fn of_shorter(name: &str, rows: usize, beyond: &Beyond) -> String {
    let Beyond { first, last, racks, .. } = beyond;
    let of_them = match beyond.not_plain.values().sum::<u64>() {
        0 => "all of which plainly passed".to_owned(),
        count => {
            let each: Vec<String> = beyond
                .not_plain
                .iter()
                .map(|(judged, racks)| format!("{racks} {}", verdict(*judged, Language::English)))
                .collect();
            format!("{count} of which did not plainly pass: {}", each.join(", "))
        }
    };
    let of_them = if *racks == 0 { String::new() } else { format!(", {of_them}") };
    format!(
        "the {rows} rows of {name} are those of the records from {first} to {last}, none missing between; {racks} racks \
         of the evidence lie outside{of_them}"
    )
}

/// What holds, one sentence each. `beyond` is what of the evidence has no row in a table that was made by
/// itself.
pub(super) fn holds(
    examined: &Examined,
    parts: &Parts,
    (rows, beyond): (Option<usize>, Option<&Beyond>),
    (account, pages): (bool, Option<&Pages>),
) -> Vec<String> {
    let Header { first, end, size, .. } = examined.header;
    let mut holds = vec![format!(
        "records {first} to {} are as they were sealed, each in its place, none missing; the checkpoint counts {size} records",
        end - 1
    )];
    if let Some(SealedBy { key, since, at }) = &examined.sealed_by {
        let since = since.map_or(String::new(), |since| format!(", in force since record {since}"));
        let at = at.map_or(String::new(), |at| format!(" at {at}"));
        holds.push(format!("the checkpoint was sealed{at} by {key}{since}"));
    }
    if examined.counted.apart > 0 {
        holds.push(format!(
            "belonging to the span and sealed too: {} made at another time",
            Noun::Records.of(examined.counted.apart, Language::English)
        ));
    }
    if examined.counted.traces > 0 {
        holds.push(format!(
            "the readings of {} are those that were judged",
            Noun::Cycles.of(examined.counted.traces, Language::English)
        ));
    }
    for (size, kept) in &examined.kept {
        if *kept == Kept::Holds {
            holds.push(format!(
                "the kept checkpoint of {size} records fits: nothing it sealed was changed since"
            ));
        }
    }
    if let (Some((name, _, _)), Some(rows)) = (&parts.table, rows) {
        holds.push(match beyond {
            Some(beyond) => of_shorter(name, rows, beyond),
            None => format!("the {rows} rows of {name} are those of the records, none missing, none added"),
        });
    }
    if account {
        holds.push(
            "account.json was made again from these records and agrees, but for what a note names: nothing left out, nothing added"
                .to_owned(),
        );
    }
    match pages {
        Some(Pages::Same { to_the_byte: true }) => holds.push(
            "the printed pages were made again from account.json: the file is the same to the byte".to_owned(),
        ),
        Some(Pages::Same { to_the_byte: false }) => holds.push(
            "the printed pages were made again from account.json and show the same; the rest of the file is not the same to the byte: another program saved it anew, or it was changed where nothing is shown"
                .to_owned(),
        ),
        Some(Pages::Other | Pages::NotCompared(_)) | None => {}
    }
    holds
}

/// What is to be known beside it.
pub(super) fn remarks(
    examined: &Examined,
    parts: &Parts,
    (named, account): (bool, &Faults),
    pages: Option<&Pages>,
    beyond: Option<&Beyond>,
) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(Beyond { before, after, .. }) = beyond {
        remarks.push(format!(
            "nothing in such a table says of which span it is: it may have been asked for so or cut; {before} sealed \
             records of the evidence before its first row and {after} after its last one have no row in it"
        ));
    }
    if TimeZone::get(&examined.header.zone).is_err() {
        remarks.push(format!(
            "the time zone «{}» is not known here: days and local times were compared as if it were UTC",
            examined.header.zone
        ));
    }
    match examined.readings_left_out {
        0 => {}
        1 => remarks.push(
            "the readings of 1 cycle that passed are not in this file; its record names their hash"
                .to_owned(),
        ),
        count => remarks.push(format!(
            "the readings of {count} cycles that passed are not in this file; their records name the hashes"
        )),
    }
    if !named {
        remarks.push(
            "no configuration in this file names the site: its name and its time zone are the word of whoever made the file"
                .to_owned(),
        );
    }
    if examined.ends_with_the_checkpoint() {
        remarks.push(
            "the span was not over when the checkpoint was made: what was recorded of it afterwards is not in this file"
                .to_owned(),
        );
    }
    if let Some((_, last)) = examined.recorded {
        remarks.push(format!(
            "what was recorded after {last} about the span (late cycles, amendments) is in the file as far as the ledger had it; that nothing else was added later is shown by verifying the ledger itself"
        ));
    }
    for (size, kept) in &examined.kept {
        if *kept == Kept::Outside {
            remarks.push(format!(
                "the kept checkpoint of {size} records ends outside the records of this file: verify the ledger with it"
            ));
        }
    }
    if let Some(Pages::NotCompared(why)) = pages {
        remarks.push(format!(
            "the printed pages were not compared ({why}): they should say what account.json and cycles.csv say, and those were checked, but for what a note names"
        ));
    }
    if parts.printed.is_some() {
        let open: Vec<&str> = [NEVER].into_iter().chain(account.open.iter().copied()).collect();
        remarks.push(format!("not reckoned again in account.json: {}", open.join("; ")));
    }
    remarks
}
