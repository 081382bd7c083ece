//! A serial source on real pseudo-terminals: a cable is a symbolic link to one
//! end, the device is whoever writes to the other.

use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use rinseward::config::source::{LineFormat, Parity, SerialSource};
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::{Fault, Value};
use rinseward::core::time::Timestamp;
use rinseward::probe::serial::SerialProbe;
use rinseward::probe::{Delivery, FromSource, SourceState};
use rinseward::wire::directory::{Directory, WireUnit};
use rinseward::wire::refusal::RefusedBecause;
use serialport::{SerialPort, TTYPort};
use tempfile::TempDir;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Longest that anything here may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);
const LINE_BYTES_MAX: usize = 256;
const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// A device behind a stable name, as below `/dev/serial/by-id`.
struct Device {
    directory: TempDir,
    master: Option<TTYPort>,
}

impl Device {
    fn plugged() -> Self {
        let mut device = Self { directory: TempDir::new().expect("a directory"), master: None };
        device.plug();
        device
    }

    fn link(&self) -> PathBuf {
        self.directory.path().join("probe-port")
    }

    fn plug(&mut self) {
        let (mut master, slave) = TTYPort::pair().expect("a pseudo-terminal");
        master.set_timeout(PATIENCE).expect("a pseudo-terminal takes a time-out");
        let name = slave.name().expect("a pseudo-terminal has a name");
        std::os::unix::fs::symlink(name, self.link()).expect("a free name");
        self.master = Some(master);
    }

    /// The name goes first, so that it never leads to somebody else's terminal.
    fn unplug(&mut self) {
        std::fs::remove_file(self.link()).expect("plugged in");
        self.master = None;
    }

    fn print(&mut self, bytes: impl AsRef<[u8]>) {
        let master = self.master.as_mut().expect("plugged in");
        master.write_all(bytes.as_ref()).expect("somebody reads, or there is room");
    }
}

/// The application's end of one or more sources.
struct Application {
    to: mpsc::Sender<FromSource>,
    from: mpsc::Receiver<FromSource>,
    stop: CancellationToken,
}

impl Application {
    fn new(room: usize) -> Self {
        let (to, from) = mpsc::channel(room);
        Self { to, from, stop: CancellationToken::new() }
    }

    fn listen(&self, number: u16, settings: SerialSource) -> tokio::task::JoinHandle<()> {
        tokio::spawn(self.source(number, settings))
    }

    fn source(&self, number: u16, settings: SerialSource) -> impl Future<Output = ()> + Send + 'static {
        let mut directory = Directory::default();
        directory.insert("dm1/rinse".to_owned(), ChannelId(0), WireUnit::Celsius);
        directory.insert("dm1/wash".to_owned(), ChannelId(1), WireUnit::Celsius);
        let probe = SerialProbe {
            source: SourceId(number),
            name: format!("port {number}"),
            settings,
            directory,
            now: || NOW,
        };
        probe.run(self.to.clone(), self.stop.clone())
    }

    async fn next(&mut self) -> FromSource {
        let next = tokio::time::timeout(PATIENCE, self.from.recv()).await;
        next.expect("the source says something in time").expect("the source runs")
    }

    async fn state(&mut self) -> SourceState {
        match self.next().await {
            FromSource::State { state, .. } => state,
            FromSource::Delivery(delivery) => panic!("a state, not {delivery:?}"),
            FromSource::Unit { unit, .. } => panic!("a state, not that of unit {unit}"),
        }
    }

    async fn delivery(&mut self) -> Delivery {
        match self.next().await {
            FromSource::Delivery(delivery) => delivery,
            FromSource::State { state, .. } => panic!("a delivery, not {state:?}"),
            FromSource::Unit { unit, .. } => panic!("a delivery, not the state of unit {unit}"),
        }
    }

    /// Values and refusals of one source until as many values came.
    async fn values(&mut self, source: u16, count: usize) -> (Vec<Value>, Vec<RefusedBecause>) {
        let (mut values, mut refusals) = (Vec::new(), Vec::new());
        while values.len() < count {
            let delivery = self.delivery().await;
            if delivery.source == SourceId(source) {
                values.extend(delivery.samples.iter().map(|sample| sample.value));
                refusals.extend(delivery.refusals.iter().map(|refusal| refusal.why));
            }
        }
        (values, refusals)
    }
}

fn settings(device: &Device, format: LineFormat) -> SerialSource {
    SerialSource {
        device: device.link(),
        baud: 115_200,
        parity: Parity::None,
        stop_bits: 1,
        format,
        line_bytes_max: LINE_BYTES_MAX,
        reopen_after_max: Duration::from_millis(200),
    }
}

// Baud rates of POSIX `termios.h`, and 250,000 that only Linux's BOTHER can set. A pseudo-terminal
// takes every rate and slows none.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn reads_both_formats_at_any_baud_rate() {
    for (baud, stop_bits) in [(1_200, 2), (9_600, 1), (115_200, 1), (250_000, 1), (921_600, 1)] {
        for (format, lines) in [
            (LineFormat::Plain, "\ndm1/rinse 82.4\ndm1/wash open-circuit\r\n"),
            (
                LineFormat::Senml,
                "[{\"bn\":\"dm1/\",\"n\":\"rinse\",\"u\":\"Cel\",\"v\":82.4},{\"n\":\"wash\",\"vs\":\"open-circuit\"}]\n",
            ),
        ] {
            let mut device = Device::plugged();
            let mut application = Application::new(16);
            let settings = SerialSource { baud, stop_bits, ..settings(&device, format) };
            let task = application.listen(0, settings);
            assert_eq!(application.state().await, SourceState::Up);
            device.print(lines);
            let (values, refusals) = application.values(0, 2).await;
            assert_eq!(values, [Value::Number(82.4), Value::Fault(Fault::OpenCircuit)], "{baud} {format:?}");
            assert_eq!(refusals, [], "{baud} {format:?}");
            application.stop.cancel();
            tokio::time::timeout(PATIENCE, task).await.expect("it stops in time").expect("it does not panic");
        }
    }
}

// A line cut by the unplugging must not be joined with the first one after it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn goes_on_after_unplugging_in_the_middle_of_a_line() {
    let mut device = Device::plugged();
    let mut application = Application::new(16);
    let _task = application.listen(0, settings(&device, LineFormat::Plain));
    assert_eq!(application.state().await, SourceState::Up);
    device.print("\ndm1/rinse 81\n");
    let mut number = application.delivery().await.number;
    for round in 0..5_u8 {
        device.print("dm1/rinse 8");
        device.unplug();
        let SourceState::Down { cause } = application.state().await else { panic!("it is unplugged") };
        assert!(cause.contains("unplugged"), "{cause}");
        let SourceState::Down { cause } = application.state().await else { panic!("it is unplugged") };
        assert!(cause.contains("cannot open") && cause.contains("plugged in"), "{cause}");
        device.plug();
        assert_eq!(application.state().await, SourceState::Up);
        device.print(format!("2.5\ndm1/rinse {round}\n"));
        let delivery = application.delivery().await;
        number += 1;
        assert_eq!((delivery.number, delivery.received), (number, NOW));
        let values: Vec<_> = delivery.samples.iter().map(|sample| sample.value).collect();
        assert_eq!(values, [Value::Number(f64::from(round))]);
        assert_eq!(delivery.refusals, []);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn waits_for_a_port_that_is_not_there_and_one_in_use() {
    let mut device = Device::plugged();
    device.unplug();
    let mut first = Application::new(16);
    let _task = first.listen(0, settings(&device, LineFormat::Plain));
    assert!(matches!(first.state().await, SourceState::Down { .. }));
    device.plug();
    assert_eq!(first.state().await, SourceState::Up);

    let mut second = Application::new(16);
    let _task = second.listen(1, settings(&device, LineFormat::Plain));
    let SourceState::Down { cause } = second.state().await else { panic!("the port is taken") };
    assert!(cause.contains("another program uses it"), "{cause}");
    first.stop.cancel();
    assert_eq!(second.state().await, SourceState::Up);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn counts_garbage_and_overlong_lines_and_reads_on() {
    let mut device = Device::plugged();
    let mut application = Application::new(64);
    let _task = application.listen(0, settings(&device, LineFormat::Plain));
    assert_eq!(application.state().await, SourceState::Up);
    let mut bytes = b"\n\0\0\xff\xfe\x1b[2J\ndm1/rinse 82.4\n".to_vec();
    bytes.extend([b'x'; 4 * LINE_BYTES_MAX]);
    bytes.extend(b"dm1/rinse 1\ndm1/rinse 82,5\ndm1/rinse 82.6\n");
    device.print(bytes);
    let (values, refusals) = application.values(0, 2).await;
    assert_eq!(values, [Value::Number(82.4), Value::Number(82.6)]);
    assert_eq!(refusals, [RefusedBecause::NotText, RefusedBecause::TooLong, RefusedBecause::DecimalComma]);
}

/// Bytes without order (xorshift64, Marsaglia 2003), no line of them a good one.
fn noise(mut seed: u64, count: usize) -> Vec<u8> {
    let mut next = || {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        seed.to_le_bytes()[3]
    };
    (0..count).map(|_| next()).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn garbage_on_one_port_leaves_the_other_alone() {
    let (mut bad, mut good) = (Device::plugged(), Device::plugged());
    let mut application = Application::new(4);
    let _tasks = [
        application.listen(0, settings(&bad, LineFormat::Senml)),
        application.listen(1, settings(&good, LineFormat::Plain)),
    ];
    assert_eq!(application.state().await, SourceState::Up);
    assert_eq!(application.state().await, SourceState::Up);
    let writers = [
        std::thread::spawn(move || {
            bad.print(noise(7, 200_000));
            bad.print("\n[{\"n\":\"dm1/rinse\",\"v\":82.4}]\n");
            bad
        }),
        std::thread::spawn(move || {
            good.print("\n");
            (0..500).for_each(|number| good.print(format!("dm1/rinse {number}\n")));
            good
        }),
    ];
    let mut values = [Vec::new(), Vec::new()];
    let mut refused = [0, 0];
    while values[0].is_empty() || values[1].len() < 500 {
        let delivery = application.delivery().await;
        let port = usize::from(delivery.source.0);
        values[port].extend(delivery.samples.iter().map(|sample| sample.value));
        refused[port] += delivery.refusals.len();
    }
    let expected: Vec<_> = (0..500).map(|number| Value::Number(f64::from(number))).collect();
    assert_eq!(values, [vec![Value::Number(82.4)], expected]);
    assert!(refused[0] > 500 && refused[1] == 0, "{refused:?}");
    for writer in writers {
        drop(writer.join().expect("the writer does not panic"));
    }
}

// 1.5 MB is far more than the channel, one delivery in hand and the terminal can hold: the device has to wait.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_application_loses_nothing() {
    const LINES: usize = 100_000;
    let mut device = Device::plugged();
    let mut application = Application::new(1);
    let _task = application.listen(0, settings(&device, LineFormat::Plain));
    assert_eq!(application.state().await, SourceState::Up);
    let printed = Arc::new(AtomicUsize::new(0));
    let progress = Arc::clone(&printed);
    let writer = std::thread::spawn(move || {
        device.print("\n");
        for first in (0..LINES).step_by(100) {
            let lines: String = (first..first + 100).map(|number| format!("dm1/rinse {number}\n")).collect();
            device.print(lines);
            progress.store(first + 100, Ordering::SeqCst);
        }
        device
    });
    let deadline = tokio::time::Instant::now() + PATIENCE;
    while printed.load(Ordering::SeqCst) < 1_000 {
        assert!(tokio::time::Instant::now() < deadline, "the terminal and the channel hold 1,000 lines");
        tokio::task::yield_now().await;
    }
    let (mut expected, mut number) = (0_usize, 0);
    while expected < LINES {
        assert!(printed.load(Ordering::SeqCst) < expected + 40_000, "memory is bounded");
        let delivery = application.delivery().await;
        number += 1;
        assert_eq!(delivery.number, number);
        assert_eq!(delivery.refusals, []);
        for sample in delivery.samples {
            assert_eq!(sample.value, Value::Number(expected as f64));
            expected += 1;
        }
    }
    drop(writer.join().expect("the writer does not panic"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stops_although_nobody_takes_what_it_has() {
    let mut device = Device::plugged();
    let mut application = Application::new(1);
    let task = application.listen(0, settings(&device, LineFormat::Plain));
    assert_eq!(application.state().await, SourceState::Up);
    device.print("\ndm1/rinse 1\n");
    let deadline = tokio::time::Instant::now() + PATIENCE;
    while application.to.capacity() > 0 {
        assert!(tokio::time::Instant::now() < deadline, "the first delivery fills the channel");
        tokio::task::yield_now().await;
    }
    device.print("dm1/rinse 2\n");
    application.stop.cancel();
    tokio::time::timeout(PATIENCE, task).await.expect("it stops in time").expect("it does not panic");
}

// A source that spins takes a core for itself and starves the others of its thread.
#[tokio::test]
async fn is_woken_by_bytes_alone() {
    const LINES: usize = 50;
    let mut device = Device::plugged();
    let mut application = Application::new(16);
    let polls = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&polls);
    let mut source = Box::pin(application.source(0, settings(&device, LineFormat::Plain)));
    let _task = tokio::spawn(std::future::poll_fn(move |context| {
        count.fetch_add(1, Ordering::SeqCst);
        source.as_mut().poll(context)
    }));
    assert_eq!(application.state().await, SourceState::Up);
    device.print("\n");
    for number in 0..LINES {
        device.print(format!("dm1/rinse {number}\n"));
        application.values(0, 1).await;
    }
    // Once for the start, and a line may come in two pieces.
    assert!(polls.load(Ordering::SeqCst) <= 2 * LINES + 4, "{polls:?} polls");
}
