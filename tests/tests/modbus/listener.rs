//! The application's end of a Modbus source.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use rinseward::config::modbus::{ModbusLine, ModbusLink, ModbusRegister, ModbusSource, ModbusUnit};
use rinseward::config::source::Parity;
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::Value;
use rinseward::core::time::Timestamp;
use rinseward::probe::modbus::ModbusProbe;
use rinseward::probe::{Delivery, FromSource, SourceState};
use rinseward::wire::directory::WireUnit;
use rinseward::wire::registers::{FaultValue, Function, RegisterShape, RegisterType, WordOrder};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Longest that anything here may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

pub(crate) const fn ms(millis: u64) -> Duration {
    Duration::from_millis(millis)
}

/// Listens to a source; it is asked to end when this goes.
pub(crate) struct Listener {
    from: mpsc::Receiver<FromSource>,
    stop: CancellationToken,
    number: u64,
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

impl Listener {
    pub(crate) fn start(settings: ModbusSource) -> Self {
        let (to, from) = mpsc::channel(64);
        let stop = CancellationToken::new();
        let now = || jiff::Timestamp::now().as_microsecond();
        let now = move || Timestamp::from_micros(now());
        let probe = ModbusProbe { source: SourceId(0), name: "bus".to_owned(), settings, now };
        tokio::spawn(probe.run(to, stop.clone()));
        Self { from, stop, number: 0 }
    }

    async fn next(&mut self) -> FromSource {
        let next = tokio::time::timeout(PATIENCE, self.from.recv()).await;
        next.expect("the source says something in time").expect("the source runs")
    }

    /// The next state; deliveries before it are passed over.
    pub(crate) async fn state(&mut self) -> SourceState {
        loop {
            match self.next().await {
                FromSource::State { state, .. } => return state,
                FromSource::Delivery(delivery) => self.number = delivery.number,
                FromSource::Unit { .. } => {}
            }
        }
    }

    /// The next delivery, numbered without a hole.
    pub(crate) async fn delivery(&mut self) -> Delivery {
        loop {
            if let FromSource::Delivery(delivery) = self.next().await {
                self.number += 1;
                assert_eq!(delivery.number, self.number);
                return delivery;
            }
        }
    }

    /// The next delivery with this channel, all its values by channel.
    pub(crate) async fn with(&mut self, channel: u16) -> BTreeMap<u16, Value> {
        loop {
            let delivery = self.delivery().await;
            let values: BTreeMap<u16, Value> =
                delivery.samples.iter().map(|sample| (sample.channel.0, sample.value)).collect();
            if values.contains_key(&channel) {
                return values;
            }
        }
    }

    /// The next value of this channel that `wanted` says yes to; gives how many came before it.
    pub(crate) async fn until(&mut self, channel: u16, wanted: impl Fn(Value) -> bool) -> usize {
        for count in 0..10_000 {
            if wanted(self.with(channel).await[&channel]) {
                return count;
            }
        }
        panic!("ten thousand other values of channel {channel}");
    }
}

/// A line at this path.
pub(crate) fn line(device: &Path, units: Vec<ModbusUnit>) -> ModbusSource {
    let line = ModbusLine {
        device: device.to_owned(),
        baud: 115_200,
        parity: Parity::None,
        stop_bits: 1,
        turnaround: ms(1),
    };
    with_link(ModbusLink::Rtu(line), units)
}

pub(crate) fn with_link(link: ModbusLink, units: Vec<ModbusUnit>) -> ModbusSource {
    ModbusSource { link, units, retry_after_max: ms(2_000), reopen_after_max: ms(200) }
}

/// A unit that is read every 200 ms and may think for 150 ms, so that a busy machine is not taken
/// for a dead unit.
pub(crate) fn unit(address: u8, registers: Vec<ModbusRegister>) -> ModbusUnit {
    ModbusUnit { address, poll: ms(200), time_out: ms(150), block_max: 125, gap_max: 0, registers }
}

/// One value: its channel, function and register.
pub(crate) fn register(
    channel: u16,
    code: u8,
    address: u16,
    kind: RegisterType,
    scale: f64,
) -> ModbusRegister {
    let order = if kind == RegisterType::F32 { WordOrder::LowFirst } else { WordOrder::HighFirst };
    let faults = match kind {
        RegisterType::I16 => vec![FaultValue::parse("0x7fff open-circuit", kind).expect("a fault value")],
        RegisterType::U16 | RegisterType::I32 | RegisterType::U32 | RegisterType::F32 => Vec::new(),
    };
    ModbusRegister {
        channel: ChannelId(channel),
        unit: WireUnit::Celsius,
        function: if code == 3 { Function::Holding } else { Function::Input },
        address,
        shape: RegisterShape { kind, order, scale, offset: 0.0, faults },
    }
}

/// A whole number without sign in one register.
pub(crate) fn word(channel: u16, address: u16) -> ModbusRegister {
    register(channel, 3, address, RegisterType::U16, 1.0)
}
