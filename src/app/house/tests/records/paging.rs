//! Page by page through racks and gaps: each is met once, and a page goes on from its own list alone.

use super::*;

// Own promise: forward and back through all pages meets every rack once, past what is damaged.
#[test]
fn pages_meet_every_rack_once() {
    let site = Site::new();
    site.damage(FIRST + 7);
    let reader = site.reader();
    let (mut met, mut pages) = (Vec::new(), Vec::new());
    let mut next = Page::Newest;
    loop {
        let part = page(&reader, asked(View::Racks, next));
        assert!(lines(&part).len() <= LINES_MAX);
        met.extend(indices(&part));
        pages.push(indices(&part));
        match list(&part).older {
            Some(record) => next = Page::Older(record),
            None => break,
        }
    }
    assert_eq!(met, (FIRST..FIRST + RACKS).rev().collect::<Vec<u64>>());
    let last = *pages[2].first().expect("a full page");
    assert_eq!(indices(&page(&reader, asked(View::Racks, Page::Newer(last)))), pages[1]);
    let newest = page(&reader, asked(View::Racks, Page::Newest));
    assert!(list(&newest).newer.is_none() && list(&newest).older.is_some());
}

// Own promise: a page goes on from a record of its own list; from any other nothing is shown, rather than a page
// that was not asked for.
#[test]
fn a_page_goes_on_from_its_own_list_alone() {
    let site = Site::new();
    let reader = site.reader();
    let (alert, gap, none) = (RACKS + FIRST, RACKS + FIRST + 3, RACKS + 6);
    for (view, record, goes_on) in [
        (View::Racks, FIRST + 60, true),
        (View::Racks, alert, false),
        (View::Racks, none, false),
        (View::Alerts, alert, true),
        (View::Alerts, FIRST, false),
        (View::Checks, alert, false),
        (View::Records, 1, true),
        (View::Gaps, gap, true),
        // The record by which it was known while it lasted.
        (View::Gaps, gap - 1, true),
        (View::Gaps, FIRST, false),
        (View::Gaps, none, false),
    ] {
        let probe = (view == View::Gaps).then(|| "dm1/rinse".to_owned());
        for page in [Page::Older(record), Page::Newer(record)] {
            let question = Question { probe: probe.clone(), ..asked(view, page) };
            assert_eq!(asked_for(&reader, question).is_some(), goes_on, "{view:?} {page:?}");
        }
    }
}

// Modbus Application Protocol V1.1b3 §6.3: one answer holds a whole block of registers, so its probes fall silent at
// one instant. Own promise: a page goes on from the gap that was meant, also once it has ended.
#[test]
fn gaps_that_began_together_are_told_apart() {
    let directory = tempfile::tempdir().expect("room for a directory");
    let path = directory.path().join("ledger.sqlite");
    let gap = |minute, probe: &str, to| {
        let gap = Gap { probe: probe.to_owned(), fault: Fault::Silent, from: at(80), to, filled: false };
        plain(minute, Some("dm1"), Body::Gap(gap))
    };
    let mut records = opening(CONFIGURATION);
    records.push(gap(81, "dm1/wash", None));
    records.push(gap(81, "dm1/rinse", None));
    records.push(gap(90, "dm1/wash", Some(at(90))));
    records.push(gap(91, "dm1/rinse", Some(at(91))));
    ledger(&path, records).close().expect("it closes");
    let reader = Reader::open(&path).expect("a reader");
    let shown = |page: Page, probe: Option<&str>| {
        let found = gaps_found(&reader, page, probe).expect("a page");
        found.lines.iter().map(|line| line.blank.index).collect::<Vec<u64>>()
    };
    let all = shown(Page::Newest, None);
    // The newest is that of the service, which is silent since its last record.
    assert_eq!(all, [FIRST + 3, FIRST + 2, FIRST + 3]);
    for (probe, begun, ended, after) in
        [("dm1/wash", FIRST, FIRST + 2, 2), ("dm1/rinse", FIRST + 1, FIRST + 3, 3)]
    {
        for record in [begun, ended] {
            assert_eq!(shown(Page::Older(record), Some(probe)), all[after..], "{record}");
        }
    }
    assert_eq!(shown(Page::Older(FIRST + 3), None), all[1..], "the gap of the service");
    assert_eq!(gaps_found(&reader, Page::Older(FIRST + 3), Some("dm1/wash")), None);
}

fn gaps_found(reader: &Reader, page: Page, probe: Option<&str>) -> Option<Listed<GapLine>> {
    let question = Question { probe: probe.map(str::to_owned), ..asked(View::Gaps, page) };
    let Found::Gaps(gaps) = asked_for(reader, question)?.found else { panic!("gaps") };
    Some(gaps)
}

// Own promise: forward and back through all pages meets every gap once, also where that of the service, silent since
// its last record, ends a page and that record tells of the gap of a probe too. The clock of the source is ahead, so
// that its gaps are later than the record of them.
#[test]
fn pages_meet_every_gap_once() {
    let directory = tempfile::tempdir().expect("room for a directory");
    let path = directory.path().join("ledger.sqlite");
    let minutes = (10..20).chain(101..100 + u64::try_from(LINES_MAX).expect("few"));
    let gap = |minute| {
        let (from, to) = (at(minute), Some(at(minute).plus(Duration::from_secs(9))));
        let gap = Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from, to, filled: false };
        plain(100, Some("dm1"), Body::Gap(gap))
    };
    let mut records = opening(CONFIGURATION);
    records.extend(minutes.map(gap));
    ledger(&path, records).close().expect("it closes");
    let reader = Reader::open(&path).expect("a reader");
    let of = |line: &GapLine| (line.blank.from, line.blank.probe.clone());
    let (mut met, mut pages) = (Vec::new(), Vec::new());
    let (mut next, mut probe) = (Page::Newest, None);
    loop {
        let found = gaps_found(&reader, next, probe.as_deref()).expect("a page");
        pages.push(found.lines.iter().map(of).collect::<Vec<_>>());
        met.extend(found.lines.iter().map(of));
        let Some(older) = found.older else {
            let first = found.lines.first().expect("a line");
            let newer = Page::Newer(found.newer.expect("a page before"));
            let before = gaps_found(&reader, newer, first.blank.probe.as_deref()).expect("a page");
            assert_eq!(before.lines.iter().map(of).collect::<Vec<_>>(), pages[0]);
            break;
        };
        assert!(pages.len() < 3, "it comes to an end");
        next = Page::Older(older);
        probe = found.lines.last().expect("a line").blank.probe.clone();
    }
    assert_eq!(pages[0].last(), Some(&(at(100), None)), "the service ends the first page");
    assert_eq!(met.len(), LINES_MAX + 10);
    met.sort_unstable();
    met.dedup();
    assert_eq!(met.len(), LINES_MAX + 10, "each once");
}
