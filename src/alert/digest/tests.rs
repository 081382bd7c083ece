mod told;

use std::path::PathBuf;
use std::time::Duration;

use jiff::tz::TimeZone;

use super::*;
use crate::alert::message::Illustration;
use crate::config::resolve::Configuration;
use crate::core::alert::{AlertNumber, Condition, Racks};
use crate::core::cycle::plate::Profile;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::core::monitored::Monitored;
use crate::core::reader::{Language, Scale};
use crate::core::record::{
    Amendment, AmendmentChange, Basis, Body, Check, Cycle, DoseBasis, Record, Rule, WindowFrom,
};

/// A checkpoint with the signature of a log and a cosignature; the bytes are those of the example of
/// C2SP tlog-cosignature, under a name of ours.
const NOTE: &str = "rinseward/north-kitchen\n48211\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n\u{2014} rinseward/north-kitchen Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n\u{2014} rinseward/north-kitchen jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZqhf5nNo0xUe+mbIUBkBIfZ+qnA==\n";

fn zone() -> TimeZone {
    TimeZone::get("America/New_York").expect("the zone data is built in")
}

fn at(text: &str) -> Timestamp {
    text.parse().expect("RFC 3339")
}

fn cycle(start: Timestamp, verdict: Verdict, minimum: Option<f64>) -> Body {
    let second = |count| start.plus(Duration::from_secs(count));
    Body::Cycle(Box::new(Cycle {
        started: start,
        rinse_started: second(45),
        rinse_ended: second(57),
        received: second(60),
        machine_kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        window_from: WindowFrom::Trace,
        verdict,
        reasons: Vec::new(),
        findings: Vec::new(),
        rinse_min_c: minimum,
        rinse_min_raw_c: minimum,
        rinse_min_corrected_c: None,
        basis: Basis::Raw,
        limit_c: 82.222_222,
        limit_source: LimitSource::FoodCode,
        rinse_peak_c: minimum,
        settled_after_s: None,
        dwell_s: 9.0,
        dwell_required_s: 5.0,
        area_below_c_s: 0.0,
        wash_min_c: Some(67.0),
        wash_limit_c: 66.0,
        a0: 12.0,
        hue: 40.0,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 0.9,
        conformance: Some(0.9),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    }))
}

fn record(at: Timestamp, machine: &str, body: Body) -> Record {
    let machine = (!machine.is_empty()).then(|| machine.to_owned());
    Record::new(at, machine, body)
}

fn alert(number: u64, condition: Condition, about: &[&str]) -> Alert {
    Alert {
        number: AlertNumber(number),
        condition,
        machine: Some("dish machine 1".to_owned()),
        place: None,
        raised: at("2026-11-25T18:00:00Z"),
        since: at("2026-11-25T18:00:00Z"),
        measured: None,
        worst: None,
        limit: None,
        racks: Racks::default(),
        earlier: 0,
        beside: 0,
        last_good: None,
        before_return: 0,
        returns: crate::core::alert::Returns::default(),
        pattern: None,
        about: about.iter().map(|text| (*text).to_owned()).collect(),
        acknowledged: None,
        cleared: None,
        needs_action: condition.needs_action(),
        action: None,
        amended: None,
        rest_since: None,
        lapsed: false,
        other_side: None,
    }
}

const MIDNIGHT: &str = "2026-11-25T05:00:00Z";
const NEXT_MIDNIGHT: &str = "2026-11-26T05:00:00Z";

/// A machine of this name that sanitizes with chlorine: at least 25 mg/L (Food Code 4-501.114(A)).
fn chlorine(name: &str) -> Profile {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("config/chlorine.toml");
    let loaded = Configuration::load(&[path], []).expect("a shipped configuration");
    let machine = loaded.configuration.machines.first().expect("it has a machine");
    Profile { name: name.to_owned(), ..machine.clone() }
}

fn strip(at: Timestamp, mg_per_l: f64) -> Check {
    Check::Sanitizer { at, mg_per_l, ph: Some(7.0), solution_c: None, method: None, by: "Ana".to_owned() }
}

fn amendment(of: u64, change: AmendmentChange) -> Body {
    let (reason, by) = ("typed wrong".to_owned(), "Cy".to_owned());
    Body::Amendment(Box::new(Amendment { of, reason, by, change }))
}

/// A weak sanitizer, a gauge that is off and supplies that are short; one that failed was withdrawn.
fn checks(tally: &mut Tally) {
    let made = at("2026-11-25T16:30:00Z");
    let gauge = Check::Thermometer {
        at: made,
        what: "rinse gauge".to_owned(),
        shown_c: 84.0,
        reference_c: 81.5,
        tolerance_c: 1.5,
        reference: "calibrated probe".to_owned(),
        by: "Ben".to_owned(),
    };
    let supply = Check::Supply {
        at: made,
        enough: false,
        short: Vec::new(),
        note: Some("detergent".to_owned()),
        by: "Ben".to_owned(),
    };
    tally.take(101, &record(made, "bar glasswasher", Body::Check(strip(made, 0.0))));
    tally.take(102, &record(made, "", amendment(101, AmendmentChange::Withdrawn)));
    tally.take(103, &record(made, "bar glasswasher", Body::Check(strip(made, 10.0))));
    tally.take(104, &record(made, "dish machine 1", Body::Check(gauge)));
    tally.take(105, &record(made, "dish machine 1", Body::Check(supply)));
}

/// 60 racks of one machine, 4 of them cold, 1 without proof; 3 racks of the bar; a third machine at rest.
fn day() -> Digest {
    let machines = ["bar glasswasher", "dish machine 1", "spare"].map(str::to_owned);
    let mut tally = Tally::new(Span::Day, at(MIDNIGHT), at(NEXT_MIDNIGHT), zone(), machines);
    tally = tally.judging(vec![chlorine("bar glasswasher")]);
    checks(&mut tally);
    let open = at("2026-11-25T15:00:00Z");
    for number in 0..60_u64 {
        let (verdict, minimum) = match number {
            30..34 => (Verdict::Cold, Some(81.0 - 2.4 * (number - 30) as f64)),
            40 => (Verdict::Unproven, None),
            _ => (Verdict::Pass, Some(85.0)),
        };
        let start = open.plus(Duration::from_secs(number * 300));
        tally.take(0, &record(start, "dish machine 1", cycle(start, verdict, minimum)));
    }
    for number in 0..3_u64 {
        let start = open.plus(Duration::from_secs(number * 600));
        tally.take(0, &record(start, "bar glasswasher", cycle(start, Verdict::Pass, Some(84.2))));
    }
    let checkpoint = Checkpoint {
        origin: "rinseward/north-kitchen".to_owned(),
        records: 48_211,
        root: "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=".to_owned(),
        note: Some(NOTE.to_owned()),
    };
    let open = vec![
        alert(17, Condition::Cold, &[]),
        alert(18, Condition::CheckOverdue, &["sanitizer", "drain-and-clean"]),
    ];
    // 36 min of 24 h are missing of one machine, in two gaps.
    let watched = |machine: &str| {
        let (gaps, gap_s) = if machine == "dish machine 1" { (2, 2160.0) } else { (0, 0.0) };
        Monitored { operating_s: 86_400.0, monitored_s: 86_400.0 - gap_s, filled_s: 0.0, gaps }
    };
    tally.finish(Standing { open, missed_checks: 3, checkpoint: Some(checkpoint) }, watched)
}

fn facts(language: Language, scale: Scale) -> Facts<'static> {
    Facts {
        site: "North kitchen",
        reader: Reader { language, scale, zone: zone() },
        link: Some("https://kitchen.example.org/"),
    }
}

fn golden(name: &str, found: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden/digest").join(name);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("the folder can be made");
        std::fs::write(&path, found).expect("the golden file is writable");
    }
    let kept = std::fs::read_to_string(&path).expect("a golden file; UPDATE_GOLDEN=1 writes it");
    assert_eq!(found, kept, "{name}; UPDATE_GOLDEN=1 rewrites it");
}

#[test]
fn digests_read_as_agreed() {
    let picture = Illustration { id: "day", description: "Settled minima of dish machine 1" };
    for (language, scale) in [(Language::English, Scale::Fahrenheit), (Language::Spanish, Scale::Celsius)] {
        let message = compose(&day(), &facts(language, scale), Some(&picture));
        golden(&format!("day-{language}.txt"), &format!("Subject: {}\n\n{}", message.subject, message.text));
        golden(&format!("day-{language}.html"), &message.html);
    }
}

// What is missing from the numbers must not look like nothing: in the subject, and with what to do.
#[test]
fn records_that_cannot_be_read_are_told() {
    for (language, subject, advice) in [
        (Language::English, "records that cannot be read: 3", "rinseward verify"),
        (Language::Spanish, "asientos que no se pueden leer: 3", "rinseward verify"),
    ] {
        let facts = facts(language, Scale::Celsius);
        let message = compose(&Digest { unreadable: 3, ..day() }, &facts, None);
        assert!(message.subject.contains(subject), "{}", message.subject);
        assert!(message.text.contains(advice) && message.html.contains(advice), "{}", message.text);
        assert!(!compose(&day(), &facts, None).text.contains(advice));
    }
}

// Own rule: an unproven rack that somebody caused by working there is told apart, in the sum and with its machine.
#[test]
fn racks_while_somebody_worked_are_told_apart() {
    let (from, to) = (at("2026-11-25T05:00:00Z"), at("2026-11-26T05:00:00Z"));
    let mut tally = Tally::new(Span::Day, from, to, zone(), ["dm1".to_owned()]);
    for place in 0..12_u64 {
        let start = from.plus(Duration::from_secs(40_000 + place * 120));
        let (verdict, minimum) =
            if place < 7 { (Verdict::Unproven, None) } else { (Verdict::Pass, Some(84.0)) };
        let mut body = cycle(start, verdict, minimum);
        if let Body::Cycle(cycle) = &mut body
            && place < 5
        {
            cycle.put_in_doubt(Reason::WorkedOn);
        }
        tally.take(place, &record(start.plus(Duration::from_secs(60)), "dm1", body));
    }
    let digest = tally.finish(Standing::default(), |_| Monitored::default());
    assert_eq!((digest.total().unproven, digest.total().worked_on), (7, 5));
    for (language, told) in [
        (Language::English, "unproven: 7 (5 of them while somebody worked on the machine)"),
        (Language::Spanish, "sin comprobar: 7 (5 de ellas mientras alguien trabajaba en la máquina)"),
    ] {
        let message = compose(&digest, &facts(language, Scale::Celsius), None);
        assert!(message.subject.contains(told), "{}", message.subject);
        assert_eq!(message.text.matches(told).count(), 2, "in all, and of the machine: {}", message.text);
    }
}

// Own promise: what is in doubt does not look as if nothing were to be done, and is what the picture shows.
#[test]
fn racks_in_doubt_show_in_colour_and_picture() {
    let from = at("2026-11-25T05:00:00Z");
    let names = ["dm1".to_owned(), "dm2".to_owned()];
    let mut tally = Tally::new(Span::Day, from, from.plus(Duration::from_secs(86_400)), zone(), names);
    for (index, machine, celsius) in [(0, "dm1", 90.0), (1, "dm2", 84.0)] {
        let start = from.plus(Duration::from_secs(40_000 + index));
        let body = cycle(start, Verdict::Pass, Some(celsius));
        tally.take(index, &record(start.plus(Duration::from_secs(60)), machine, body));
    }
    let mut digest = tally.finish(Standing::default(), |_| Monitored::default());
    let looks = |digest: &Digest| {
        let html = compose(digest, &facts(Language::English, Scale::Celsius), None).html;
        let ground = ["#00603f", "#8a4b00", "#a01818"].into_iter().find(|ground| html.contains(ground));
        (ground, digest.most_telling().map(|machine| machine.machine.clone()))
    };
    assert_eq!(looks(&digest), (Some("#00603f"), Some("dm2".to_owned())), "the smallest margin");
    digest
        .machines
        .iter_mut()
        .filter(|machine| machine.machine == "dm1")
        .for_each(|machine| machine.in_doubt = 1);
    assert_eq!(looks(&digest), (Some("#8a4b00"), Some("dm1".to_owned())));
}

/// Worked by hand: 60 racks, 36 min of gaps in a day are 97.5 %.
#[test]
fn the_day_is_added_up() {
    let digest = day();
    let machine = digest.most_telling().expect("something was washed");
    assert_eq!((machine.machine.as_str(), machine.counts.total()), ("dish machine 1", 60));
    assert_eq!((machine.counts.cold, machine.counts.unproven, machine.counts.pass), (4, 1, 55));
    assert_eq!(machine.gaps, 2);
    assert!(
        (machine.gap_s - 2160.0).abs() < 1e-6
            && machine.monitored.is_some_and(|share| (share - 0.975).abs() < 1e-9)
    );
    let coldest = machine.coldest.expect("the cold ones have a minimum");
    assert!((coldest.celsius - 73.8).abs() < 1e-9, "{}", coldest.celsius);
    assert_eq!(digest.total().total(), 63);
    assert_eq!(digest.machines.len(), 3, "the machine at rest is told too");
    let json = serde_json::to_string(&digest).expect("a digest has a JSON form");
    assert_eq!(serde_json::from_str::<Digest>(&json).expect("and reads back"), digest);
}

/// What each check stands as after all that was said of it: own rule, the newest amendment counts.
/// 10 mg/L of chlorine is too weak, 75 mg/L is good (Food Code 4-501.114).
#[test]
fn failed_checks_count_as_they_stand() {
    let (early, inside, later) =
        (at("2026-11-25T04:30:00Z"), at("2026-11-25T12:00:00Z"), at("2026-11-26T06:00:00Z"));
    let weak = |at| Body::Check(strip(at, 10.0));
    let corrected = |mg_per_l| amendment(7, AmendmentChange::Corrected(strip(inside, mg_per_l)));
    let withdrawn = || amendment(7, AmendmentChange::Withdrawn);
    for (what, records, failed) in [
        ("a failed one", vec![(inside, weak(inside))], 1),
        ("one recorded the day before", vec![(early, weak(early))], 0),
        ("one recorded the day after", vec![(later, weak(inside))], 0),
        ("one of the day before that is entered late", vec![(inside, weak(early))], 1),
        ("withdrawn", vec![(inside, weak(inside)), (inside, withdrawn())], 0),
        ("withdrawn after the day", vec![(inside, weak(inside)), (later, withdrawn())], 0),
        ("corrected to a good one", vec![(inside, weak(inside)), (inside, corrected(75.0))], 0),
        (
            "withdrawn, then corrected",
            vec![(inside, weak(inside)), (inside, withdrawn()), (later, corrected(10.0))],
            1,
        ),
        (
            "corrected, then withdrawn",
            vec![(inside, weak(inside)), (inside, corrected(10.0)), (inside, withdrawn())],
            0,
        ),
        ("an old one that is corrected to a failed one", vec![(inside, corrected(10.0))], 1),
        ("a comment", vec![(inside, weak(inside)), (inside, amendment(7, AmendmentChange::Comment))], 1),
    ] {
        let mut tally = Tally::new(Span::Day, at(MIDNIGHT), at(NEXT_MIDNIGHT), zone(), []);
        for (recorded, body) in records {
            tally.take(7, &record(recorded, "bar", body));
        }
        let digest =
            tally.judging(vec![chlorine("bar")]).finish(Standing::default(), |_| Monitored::default());
        assert_eq!(digest.failed_checks.len(), failed, "{what}");
    }
    let mut unknown = Tally::new(Span::Day, at(MIDNIGHT), at(NEXT_MIDNIGHT), zone(), []);
    unknown.take(7, &record(inside, "bar", weak(inside)));
    let digest = unknown.finish(Standing::default(), |_| Monitored::default());
    assert!(digest.failed_checks.is_empty(), "a concentration is judged by its product only");
}

/// A week in which the clock goes back has 169 hours (2026-11-01, New York); its days are local dates.
#[test]
fn a_week_has_its_days() {
    let (from, to) = (at("2026-10-26T04:00:00Z"), at("2026-11-02T05:00:00Z"));
    let mut tally = Tally::new(Span::Week, from, to, zone(), []);
    for (start, verdict) in [
        ("2026-10-27T03:59:00Z", Verdict::Pass),
        ("2026-10-27T04:01:00Z", Verdict::Cold),
        ("2026-11-02T04:58:00Z", Verdict::Pass),
        ("2026-11-02T05:01:00Z", Verdict::Pass),
    ] {
        tally.take(0, &record(at(start), "a", cycle(at(start), verdict, Some(84.0))));
    }
    let digest = tally.finish(Standing::default(), |_| Monitored::default());
    let days: Vec<(&str, u64)> =
        digest.days.iter().map(|day| (day.date.as_str(), day.counts.total())).collect();
    assert_eq!(days, [("2026-10-26", 1), ("2026-10-27", 1), ("2026-11-01", 1)]);
    let message = compose(&digest, &facts(Language::English, Scale::Celsius), None);
    assert!(message.subject.contains("Mon 26 Oct 2026 – Sun 1 Nov 2026"), "{}", message.subject);
}

/// 200 machines, and names that try to be markup or a header line.
#[test]
fn a_large_site_stays_on_one_screen() {
    let name = |number: u32| format!("<b>{number:03}</b>\r\nBcc: x@example.org");
    let mut tally = Tally::new(Span::Day, at(MIDNIGHT), at(NEXT_MIDNIGHT), zone(), (0..200).map(name));
    let start = at("2026-11-25T15:00:00Z");
    tally.take(0, &record(start, &name(150), cycle(start, Verdict::Cold, Some(70.0))));
    let open = (0..50).map(|number| alert(number, Condition::Cold, &[])).collect();
    let digest = tally.finish(Standing { open, ..Standing::default() }, |_| Monitored::default());
    let message = compose(&digest, &facts(Language::Spanish, Scale::Celsius), None);
    assert!(message.text.lines().count() < 100, "{}", message.text);
    assert!(message.text.contains("150"), "the machine with the cold rack is named");
    assert!(!message.html.contains("<b>") && !message.subject.contains(['\r', '\n']));
    assert!(!message.text.contains("\nBcc"));
}

/// Own rule: 100 % is said only where nothing is missing.
#[test]
fn a_share_is_never_rounded_up_to_the_whole() {
    let mut digest = day();
    for (share, expected) in [(1.0, "100 %"), (0.999_99, "99.9 %"), (0.0, "0.0 %"), (0.000_01, "0.1 %")] {
        digest.machines.truncate(1);
        digest.machines[0].monitored = Some(share);
        let message = compose(&digest, &facts(Language::English, Scale::Celsius), None);
        assert!(message.text.contains(&format!("Monitored: {expected}")), "{expected}: {}", message.text);
    }
}
