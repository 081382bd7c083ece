use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::core::time::Timestamp;
use crate::series::batch::Batch;
use crate::series::point::Point;

fn batch(lines: i64) -> Batch {
    let mut batch = Batch::default();
    for number in 0..lines {
        let point = Point::new("r", Timestamp::from_micros(number)).integer("n", number);
        batch.push(&point).expect("a plain point");
    }
    batch
}

/// Numbers of the points in these lines.
fn numbers(lines: &[u8]) -> Vec<i64> {
    let text = std::str::from_utf8(lines).expect("text");
    let number = |line: &str| line.split(['=', 'i']).nth(1).and_then(|digits| digits.parse().ok());
    text.lines().map(|line| number(line).unwrap_or_else(|| panic!("a number in {line}"))).collect()
}

/// What a run against a server ends with: what it took, what was set aside, how many requests.
struct Outcome {
    taken: BTreeSet<i64>,
    aside: Vec<i64>,
    requests: usize,
    all_refused: bool,
}

/// Sends a batch to a server that refuses parts with a bad line in them, and bodies above a size.
fn run(lines: i64, bad: &[i64], bytes_max: usize, in_a_row: usize) -> Outcome {
    let batch = batch(lines);
    let mut sieve = Sieve::new(batch.lines(), in_a_row);
    let mut outcome = Outcome { taken: BTreeSet::new(), aside: Vec::new(), requests: 0, all_refused: false };
    while let Some(part) = sieve.next() {
        outcome.requests += 1;
        let inside = numbers(part.bytes());
        let sifted = if part.bytes().len() > bytes_max {
            Sifted::TooLarge
        } else if inside.iter().any(|number| bad.contains(number)) {
            Sifted::Refused { reason: "unable to parse".to_owned(), dropped: None }
        } else {
            outcome.taken.extend(inside);
            Sifted::Taken
        };
        if sieve.answer(sifted).is_err() {
            outcome.all_refused = true;
            return outcome;
        }
    }
    let (_, aside) = sieve.finish();
    outcome.aside = aside.iter().flat_map(|aside| numbers(&aside.lines)).collect();
    outcome.aside.sort_unstable();
    outcome
}

#[test]
fn one_bad_line_in_the_middle_is_found_and_the_rest_is_taken() {
    let outcome = run(5_000, &[2_345], usize::MAX, 0);
    assert_eq!(outcome.aside, [2_345]);
    assert_eq!(outcome.taken.len(), 4_999);
    assert!(outcome.requests <= 2 * 13 + 1, "{} requests", outcome.requests);
}

#[test]
fn a_body_too_large_is_halved_down_to_one_line() {
    let whole = batch(64).lines().bytes().len();
    for (bytes_max, aside) in [(whole, 0), (whole / 2 + 20, 0), (40, 0), (3, 64)] {
        let outcome = run(64, &[], bytes_max, 0);
        assert_eq!((outcome.aside.len(), outcome.taken.len()), (aside, 64 - aside), "{bytes_max} bytes");
    }
}

// The limit of 16 is the project's own, no outside source.
#[test]
fn everything_refused_is_no_poison() {
    let all: Vec<i64> = (0..5_000).collect();
    let outcome = run(5_000, &all, usize::MAX, 0);
    assert!(outcome.all_refused && outcome.aside.is_empty());
    assert!(outcome.requests < 100, "{} requests", outcome.requests);
    // Twenty bad ones side by side, and good ones behind them: poison after all.
    let outcome = run(5_000, &all[..20], usize::MAX, 0);
    assert!(!outcome.all_refused);
    assert_eq!(outcome.aside, all[..20]);
    assert_eq!(outcome.taken.len(), 4_980);
    // Small batches, all refused, one after another.
    assert!(!run(3, &all, usize::MAX, 0).all_refused);
    assert!(run(3, &all, usize::MAX, 15).all_refused);
}

// The text of InfluxDB 2.7 for points older than the bucket keeps, from memory.
#[test]
fn an_old_ledger_meets_a_bucket_of_thirty_days() {
    let batch = batch(5_000);
    let mut sieve = Sieve::new(batch.lines(), 0);
    let (mut requests, mut taken) = (0, 0);
    while let Some(part) = sieve.next() {
        requests += 1;
        let old = numbers(part.bytes()).into_iter().filter(|number| *number < 3_000).count();
        let reason = format!(
            "failure writing points to database: partial write: points beyond retention policy dropped={old}"
        );
        let sifted = if old > 0 { Sifted::Refused { reason, dropped: Some(old) } } else { Sifted::Taken };
        taken += if old == 0 { part.len() } else { 0 };
        sieve.answer(sifted).expect("retention is no fault");
    }
    let (in_a_row, aside) = sieve.finish();
    assert_eq!((in_a_row, taken), (0, 2_000));
    assert_eq!(aside.iter().map(|aside| aside.points).sum::<usize>(), 3_000);
    assert!(aside.iter().all(|aside| aside.lines.len() <= ASIDE_BYTES_MAX + 100));
    assert!(requests < 40, "{requests} requests");
}

proptest! {
    #[test]
    fn every_line_is_taken_or_set_aside(
        lines in 1..400_i64,
        bad in prop::collection::btree_set(0..400_i64, 0..12),
        bytes_max in 20..4_000_usize,
    ) {
        let bad: Vec<i64> = bad.into_iter().filter(|number| *number < lines).collect();
        let outcome = run(lines, &bad, bytes_max, 0);
        prop_assert!(!outcome.all_refused, "fewer than 16 are bad");
        prop_assert_eq!(&outcome.aside, &bad);
        prop_assert_eq!(outcome.taken.len() + bad.len(), usize::try_from(lines).expect("few"));
    }
}
