//! Records as points, each kind once.

use super::*;
use crate::core::cycle::verdict::Verdict;
use crate::core::reading::Fault;
use crate::core::record::{ClockStep, ConfigurationChange, MachineFailure, ServiceStart, ServiceStop};

fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(1_700_000_000.0 + seconds).expect("a time of this century")
}

fn line(index: u64, machine: Option<&str>, body: Body) -> String {
    let record = Record::new(at(9.0), machine.map(str::to_owned), body);
    let mut out = Vec::new();
    point("kitchen", index, &record).write_to(&mut out).expect("a record has a line");
    String::from_utf8(out).expect("UTF-8").trim_end().to_owned()
}

// Own design, as told in the table of `measurements`; one row for each kind of record.
#[test]
fn each_kind_of_record_has_its_line() {
    let sanitizer = Check::Sanitizer {
        at: at(1.0),
        mg_per_l: 75.0,
        ph: Some(8.0),
        solution_c: None,
        method: None,
        by: "A. Baker".to_owned(),
    };
    let gap = |to: Option<f64>| {
        let (fault, from) = (Fault::Silent, at(2.0));
        Body::Gap(Gap { probe: "dm1/rinse".to_owned(), fault, from, to: to.map(at), filled: false })
    };
    let start = ServiceStart {
        version: "0.1.0".to_owned(),
        last_record: None,
        after_clean_stop: true,
        from_file: false,
        replayed: 4,
    };
    let step = ClockStep { clock: Clock::Gateway, from: at(0.0), to: at(-2.5) };
    let change = ConfigurationChange { sha256: "ab12".to_owned(), toml: "[site]\n".to_owned() };
    let failure = MachineFailure { cause: "index out of\nbounds \"x\"".to_owned(), stopped: true };
    for (index, machine, body, expected) in [
        (
            5,
            Some("dm1"),
            Body::Check(sanitizer),
            r#"check,check=sanitizer,machine=dm1,site=kitchen by="A. Baker",mg_per_l=75,ph=8,record=5i 1700000001000000005"#,
        ),
        (
            6,
            Some("dm1"),
            gap(Some(14.5)),
            r#"service,event=gap,machine=dm1,probe=rinse,site=kitchen count=1i,duration=12.5,fault=6i,fault_name="silent",filled=f,open=f,record=6i 1700000002000000006"#,
        ),
        (
            1007,
            Some("dm1"),
            gap(None),
            r#"service,event=gap,machine=dm1,probe=rinse,site=kitchen count=1i,fault=6i,fault_name="silent",filled=f,open=t,record=1007i 1700000002000000007"#,
        ),
        (
            0,
            None,
            Body::ServiceStart(start),
            r#"service,event=service-start,site=kitchen clean=t,count=1i,detail="0.1.0",record=0i,replayed=4i 1700000009000000000"#,
        ),
        (
            1,
            None,
            Body::ServiceStop(ServiceStop { cause: StopCause::Signal }),
            r#"service,event=service-stop,site=kitchen count=1i,detail="signal",record=1i 1700000009000000001"#,
        ),
        (
            2,
            None,
            Body::ClockStep(step),
            r#"service,event=clock-step,site=kitchen clock="gateway",count=1i,record=2i,step=-2.5 1700000009000000002"#,
        ),
        (
            3,
            None,
            Body::ConfigurationChange(change),
            r#"service,event=configuration-change,site=kitchen count=1i,detail="ab12",record=3i 1700000009000000003"#,
        ),
        (
            4,
            Some("dm1"),
            Body::MachineFailure(failure),
            r#"service,event=machine-failure,machine=dm1,site=kitchen count=1i,detail="index out of bounds \"x\"",record=4i,stopped=t 1700000009000000004"#,
        ),
    ] {
        assert_eq!(line(index, machine, body), expected);
    }
}

#[test]
fn a_cycle_has_its_figures_and_leaves_out_what_is_not_known() {
    let mut cycle = crate::report::row::samples::cycle(0, Verdict::Cold, 78.2, Vec::new());
    cycle.wash_min_c = None;
    cycle.findings = vec![Finding::WashLow { measured_c: 60.0, limit_c: 66.0 }];
    let wanted = [
        format!("rinse_min={}", 78.2),
        format!("margin={}", 78.2 - cycle.limit_c),
        "verdict=0i".to_owned(),
        "verdict_name=\"cold\"".to_owned(),
        "wash_low=t".to_owned(),
        "rinse_too_hot=f".to_owned(),
        "record=41i".to_owned(),
    ];
    let nanos = cycle.rinse_started.micros() * 1_000 + 41;
    let text = line(41, Some("dm1"), Body::Cycle(Box::new(cycle)));
    assert!(text.starts_with("cycle,machine=dm1,site=kitchen a0="), "{text}");
    assert!(text.ends_with(&format!(" {nanos}")), "{text}");
    let (_, fields) = text.split_once(' ').expect("fields");
    let fields: Vec<&str> = fields.split([',', ' ']).collect();
    for wanted in &wanted {
        assert!(fields.contains(&wanted.as_str()), "{wanted} in {text}");
    }
    assert!(!text.contains("wash_min"), "{text}");
}

#[test]
fn gauges_have_their_line() {
    let shown = Gauges { records: 5, inputs: u64::MAX, records_waiting: 1, inputs_waiting: 2, set_aside: 3 };
    let mut out = Vec::new();
    gauges("kitchen", at(0.0), &shown).write_to(&mut out).expect("plain numbers");
    let expected = "gateway,site=kitchen inputs=9223372036854775807i,inputs_waiting=2i,records=5i,records_waiting=1i,set_aside=3i 1700000000000000000\n";
    assert_eq!(String::from_utf8(out).expect("UTF-8"), expected);
}
