//! Lines of text from a serial port.
//!
//! The port is opened for this program alone, read as soon as bytes arrive, and
//! opened again when it fails: a cable pulled out and pushed back in needs
//! nobody. Everything that is there at one moment makes one delivery. Where the
//! application is slow, reading waits; the driver then holds about 4 KiB, and
//! what a device sends beyond that is lost in the hardware.
//!
//! The port is only listened to. Nothing is ever written to it.

use std::convert::Infallible;
use std::future::poll_fn;
use std::io;
use std::path::Path;
use std::pin::Pin;
use std::task::Poll;
use std::time::Duration;

use tokio::io::{AsyncRead, ReadBuf};
use tokio::sync::mpsc;
use tokio_serial::{DataBits, ErrorKind, FlowControl, SerialPortBuilderExt, SerialStream, StopBits};
use tokio_util::sync::CancellationToken;

use super::outlet::{Outlet, Stop};
use super::ports::{WhyNoPort, device_at};
use super::refusals::RefusalLog;
use super::text::TextDecoder;
use super::{FromSource, SourceState};
use crate::config::source::{Parity, SerialSource};
use crate::core::id::SourceId;
use crate::core::time::Timestamp;
use crate::transport::backoff::Backoff;
use crate::wire::decoded::Decoded;
use crate::wire::directory::Directory;

/// Shortest wait before the port is opened again (own choice: a plug pushed back in is found at once).
const REOPEN_AFTER_MIN: Duration = Duration::from_millis(100);
/// Bytes taken from the port at once.
const READ_BYTES: usize = 4096;
/// Bytes after which a delivery goes out although more is waiting.
const DELIVERY_BYTES_MAX: usize = 65_536;

/// A serial port to listen to.
#[derive(Clone, Debug)]
pub struct SerialProbe<N> {
    /// Number of the source.
    pub source: SourceId,
    /// Name of the source, for the log.
    pub name: String,
    /// How to open it.
    pub settings: SerialSource,
    /// Channels it may deliver.
    pub directory: Directory,
    /// The gateway's clock.
    pub now: N,
}

impl<N: Fn() -> Timestamp + Send + Sync> SerialProbe<N> {
    /// Listens until `stop` is cancelled or nobody takes what arrives.
    pub async fn run(self, to: mpsc::Sender<FromSource>, stop: CancellationToken) {
        let settings = &self.settings;
        let mut backoff = Backoff::new(REOPEN_AFTER_MIN, settings.reopen_after_max);
        let mut listener = Listener {
            decoder: TextDecoder::new(settings.format, settings.line_bytes_max, self.directory),
            outlet: Outlet::new(self.source, to, stop.clone()),
            name: &self.name,
            now: &self.now,
            log: RefusalLog::default(),
        };
        loop {
            let end = match open(&settings.device, settings.baud, settings.parity, settings.stop_bits) {
                Ok(port) => {
                    let Err(end) = listener.listen(port, &mut backoff).await;
                    end
                }
                Err(error) => Stop::Failed(open_cause(&settings.device, &error)),
            };
            let Stop::Failed(cause) = end else { return };
            if listener.outlet.state(SourceState::Down { cause }).await.is_err() {
                return;
            }
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(backoff.after_failure()) => {}
            }
        }
    }
}

/// What stays over every opening of the port.
struct Listener<'s, N> {
    decoder: TextDecoder,
    outlet: Outlet,
    /// For the log.
    name: &'s str,
    now: &'s N,
    log: RefusalLog,
}

impl<N: Fn() -> Timestamp> Listener<'_, N> {
    async fn listen(&mut self, mut port: SerialStream, backoff: &mut Backoff) -> Result<Infallible, Stop> {
        self.decoder.join();
        self.outlet.state(SourceState::Up).await?;
        let mut buffer = [0; READ_BYTES];
        loop {
            let mut received = None;
            let mut decoded = Decoded::default();
            let taken = take(&mut port, &mut buffer, |bytes| {
                let received = *received.get_or_insert_with(self.now);
                self.decoder.feed(bytes, received, &mut decoded);
            });
            let outcome = tokio::select! {
                () = self.outlet.stop().cancelled() => return Err(Stop::Asked),
                outcome = taken => outcome,
            };
            if let Some(received) = received
                && !decoded.is_empty()
            {
                backoff.after_success();
                self.log.note(self.name, received, &decoded.refusals);
                self.outlet.deliver(received, decoded).await?;
            }
            outcome?;
        }
    }
}

/// Waits for bytes, then takes what is there, up to [`DELIVERY_BYTES_MAX`].
///
/// This goes through `poll_read` since that alone forgets a readiness that
/// has been used up: `SerialStream::readable` with `try_read` spins.
async fn take(port: &mut SerialStream, buffer: &mut [u8], mut each: impl FnMut(&[u8])) -> Result<(), Stop> {
    let mut taken = 0;
    poll_fn(|context| {
        while taken < DELIVERY_BYTES_MAX {
            let mut room = ReadBuf::new(buffer);
            match Pin::new(&mut *port).poll_read(context, &mut room) {
                Poll::Pending if taken == 0 => return Poll::Pending,
                Poll::Pending => break,
                Poll::Ready(Ok(())) if room.filled().is_empty() => {
                    let cause = "the port has gone; is it unplugged?".to_owned();
                    return Poll::Ready(Err(Stop::Failed(cause)));
                }
                Poll::Ready(Ok(())) => {
                    each(room.filled());
                    taken += room.filled().len();
                }
                Poll::Ready(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                Poll::Ready(Err(error)) => return Poll::Ready(Err(Stop::Failed(read_cause(&error)))),
            }
        }
        Poll::Ready(Ok(()))
    })
    .await
}

/// Opens a port for this program alone, 8 bits of data each.
pub(super) fn open(
    device: &Path,
    baud: u32,
    parity: Parity,
    stop_bits: u8,
) -> Result<SerialStream, tokio_serial::Error> {
    let parity = match parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Odd => tokio_serial::Parity::Odd,
        Parity::Even => tokio_serial::Parity::Even,
    };
    let stop_bits = if stop_bits == 2 { StopBits::Two } else { StopBits::One };
    tokio_serial::new(device.to_string_lossy(), baud)
        .data_bits(DataBits::Eight)
        .parity(parity)
        .stop_bits(stop_bits)
        .flow_control(FlowControl::None)
        .open_native_async()
}

/// What hinders, and what to look at first.
pub(super) fn open_cause(path: &Path, error: &tokio_serial::Error) -> String {
    let device = path.display();
    match error.kind() {
        // The `serialport` crate gives this kind for a port that somebody else has locked.
        ErrorKind::NoDevice => format!("cannot open {device}: another program uses it"),
        ErrorKind::Io(io::ErrorKind::NotFound) => {
            format!("cannot open {device}: there is no such device; is it plugged in?")
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            format!(
                "cannot open {device}: permission denied; is the user in the device's group, often «dialout»?"
            )
        }
        ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) if is_no_port(path, error) => {
            format!("cannot open {device}: it is no serial port")
        }
        ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) => {
            format!("cannot open {device}: {error}")
        }
    }
}

/// A file, or a device without the settings of a line: the system then speaks of a typewriter (ENOTTY).
fn is_no_port(path: &Path, error: &tokio_serial::Error) -> bool {
    matches!(device_at(path), Err(WhyNoPort::NoDevice | WhyNoPort::NoLine))
        || error.description.contains("typewriter")
}

fn read_cause(error: &io::Error) -> String {
    format!("the port failed: {error}; is it unplugged?")
}
