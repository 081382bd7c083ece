//! Other hands' Modbus in both directions: the gateway asks units of pymodbus, and pymodbus asks
//! the simulator's.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rinseward::config::modbus::ModbusLink;
use rinseward::core::reading::{Fault, Value};
use rinseward::wire::registers::{RegisterType, WordOrder};
use rinseward_simulator::node::modbus::{Layout, Line, Unit, Units};
use serde_json::{Value as Json, json};

use super::listener::{Listener, line, ms, register, unit, with_link};

fn python(script: &str) -> Command {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    assert!(python.is_file(), "target/peers is made by tests/all");
    let mut command = Command::new(python);
    command.arg(root.join("tests/tests/modbus/peers").join(script)).stderr(Stdio::null());
    command
}

/// Units of pymodbus; they end when their standard input does.
pub(super) struct Served {
    child: Child,
    /// The path of a line, or the number of a port of TCP.
    pub(super) port: Json,
}

impl Served {
    pub(super) fn start(kind: &str) -> Self {
        let mut child = python("units.py")
            .arg(kind)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the peers' Python starts");
        let mut said = String::new();
        let out = child.stdout.take().expect("it is piped");
        BufReader::new(out).read_line(&mut said).expect("it tells its port");
        let said: Json = serde_json::from_str(&said).expect("JSON");
        Self { child, port: said["port"].clone() }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        assert!(self.child.wait().is_ok_and(|status| status.success()), "the units end in order");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn reads_units_of_another_hand_on_a_line_and_over_tcp() {
    for kind in ["rtu", "tcp"] {
        let served = Served::start(kind);
        let mut float = register(20, 3, 0, RegisterType::F32, 1.0);
        float.shape.order = WordOrder::HighFirst;
        let first = vec![
            register(0, 3, 0, RegisterType::U16, 0.1),
            register(1, 3, 31, RegisterType::U16, 0.1),
            register(2, 4, 7, RegisterType::U16, 0.1),
            register(3, 4, 32, RegisterType::U16, 1.0),
        ];
        let mut units =
            vec![unit(1, first), unit(2, vec![float, register(21, 3, 2, RegisterType::I16, 1.0)])];
        // It does not answer for a unit that it has not.
        units.push(unit(3, vec![register(30, 3, 0, RegisterType::U16, 1.0)]));
        units.iter_mut().for_each(|unit| unit.time_out = ms(1_000));
        let settings = match &served.port {
            Json::String(path) => line(&PathBuf::from(path), units),
            port @ (Json::Null | Json::Bool(_) | Json::Number(_) | Json::Array(_) | Json::Object(_)) => {
                let port = port.as_u64().and_then(|port| u16::try_from(port).ok()).expect("a port");
                with_link(ModbusLink::Tcp { host: "127.0.0.1".to_owned(), port }, units)
            }
        };
        let mut listener = Listener::start(settings);
        let values = listener.with(0).await;
        // What `units.py` puts in.
        assert_eq!(values[&0], Value::Number(70.0), "{kind}");
        assert_eq!(values[&1], Value::Number(73.1), "{kind}");
        assert_eq!(values[&2], Value::Number(170.7), "{kind}");
        assert_eq!(values[&3], Value::Fault(Fault::Reported), "{kind}: there is no such register");
        let values = listener.with(20).await;
        assert_eq!(values[&20], Value::Number(f64::from(82.2_f32)), "{kind}");
        assert_eq!(values[&21], Value::Number(-5.0), "{kind}");
        let missing = listener.with(30).await[&30];
        assert!(matches!(missing, Value::Fault(_)), "{kind}: {missing:?}");
        assert_eq!(listener.with(0).await[&0], Value::Number(70.0), "{kind}: the others go on");
    }
}

#[test]
fn another_hand_reads_the_simulated_units() {
    for baud in [None, Some(19_200)] {
        let units = Units::default();
        units.insert(1, Unit::new(Layout::Tenths));
        for (register, word) in [(0, 715), (1, 822), (3, 0xFFFE), (16, 1)] {
            units.put(1, register, word);
        }
        let line = Line::open(units, None, baud).expect("a pseudo-terminal");
        let output = python("master.py").arg(line.path()).stdin(Stdio::null()).output().expect("it starts");
        assert!(output.status.success());
        let told: Json = serde_json::from_slice(&output.stdout).expect("JSON");
        assert_eq!(told["holding"], json!({ "registers": [715, 822, 0, 0xFFFE] }));
        assert_eq!(told["input"], json!({ "registers": [1] }));
        assert_eq!(told["all"]["registers"].as_array().map(Vec::len), Some(32));
        assert_eq!(told["beyond"], json!({ "exception": 2 }));
        assert_eq!(told["write"], json!({ "exception": 1 }), "nobody may write");
    }
}
