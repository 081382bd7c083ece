//! The way to the units: a serial line, or a TCP connection.
//!
//! An answer on a serial line does not say which request it belongs to. One that comes after its
//! time-out would pass for the answer to the next request, so before each request the line is
//! listened to and what came is thrown away, once it was told whether it was the late answer of
//! somebody (`late.rs`); an answer of another unit, another function or another length is refused;
//! whoever did not answer in time is left alone for twice its time-out at least; and its first answer
//! after that counts as none, since it may still be that to the request before. TCP numbers its
//! requests; after a time-out the connection is made anew, at once and at the cost of whoever did not
//! answer: a round trip is part of its time-out, so that the new connection may take as long as
//! that. Where it takes longer the whole way counts as gone.

use std::collections::BTreeSet;
use std::future::poll_fn;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep_until, timeout, timeout_at};
use tokio_modbus::client::{Client, Context as ModbusContext, rtu, tcp};
use tokio_modbus::slave::{Slave, SlaveContext};
use tokio_modbus::{Error, ExceptionCode, Request, Response};
use tokio_serial::SerialStream;

use super::late::{KEPT_BYTES_MAX, Late, answer_in};
use crate::config::modbus::{ModbusLine, ModbusLink, REQUEST_BYTES, answer_bytes};
use crate::probe::serial;
use crate::wire::registers::Function;

/// Most bytes that are thrown away before a request; a line that never falls silent is used all the same.
const DRAIN_BYTES_MAX: usize = 4_096;
/// How long the first TCP connection may take (own choice).
const CONNECT_MAX: Duration = Duration::from_secs(3);

/// One request.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Ask {
    /// Address of the unit.
    pub unit: u8,
    /// Which function.
    pub function: Function,
    /// The first register, counted from 0.
    pub first: u16,
    /// How many.
    pub count: u16,
    /// How long the unit may think.
    pub time_out: Duration,
}

/// Why there is no answer.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum AskError {
    /// Nothing came.
    #[error("no answer")]
    Silent,
    /// Something came that is no answer to this request.
    #[error("what came is no whole answer to this request")]
    Garbled,
    /// The unit refused.
    #[error("exception {code}: {}", meaning(*code))]
    Exception {
        /// Its code.
        code: u8,
    },
    /// The port or the connection failed.
    #[error("{cause}")]
    Link {
        /// Why, for people.
        cause: String,
    },
}

/// Exception codes of MODBUS Application Protocol V1.1b3 §7.
#[must_use]
pub const fn meaning(code: u8) -> &'static str {
    match code {
        1 => "it has no such function",
        2 => "it has no such register",
        3 => "it will not give so many at once",
        4 => "it failed while reading",
        5 => "it took the request and needs long",
        6 => "it is busy",
        8 => "its memory is damaged",
        10 => "the gateway has no way to it",
        11 => "the gateway got no answer from it",
        _ => "a code that the standard does not know",
    }
}

/// The way to the units.
#[derive(Debug)]
pub struct Link {
    settings: ModbusLink,
    open: Open,
    late: Late,
    /// Whether an answer that may be that to a request before counts as none.
    doubts: bool,
}

enum Open {
    Line { line: Handle, last: Instant },
    Tcp(Option<ModbusContext>),
    Closed,
}

impl std::fmt::Debug for Open {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Line { .. } => "Line",
            Self::Tcp(_) => "Tcp",
            Self::Closed => "Closed",
        })
    }
}

impl Link {
    /// Opens the port for this program alone, or connects.
    ///
    /// # Errors
    /// The cause, for people.
    pub async fn open(settings: &ModbusLink) -> Result<Self, String> {
        let settings = settings.clone();
        let mut link = Self { settings, open: Open::Closed, late: Late::default(), doubts: true };
        link.reopen().await?;
        Ok(link)
    }

    /// Takes each answer for that to the request: for whoever looks what a unit gives, and records nothing.
    pub const fn without_doubt(mut self) -> Self {
        self.doubts = false;
        self
    }

    /// Closes it and opens it again.
    ///
    /// # Errors
    /// The cause, for people.
    pub async fn reopen(&mut self) -> Result<(), String> {
        // A port is ours alone: the old one has to be gone before.
        self.open = Open::Closed;
        self.open = match &self.settings {
            ModbusLink::Rtu(line) => {
                let port = serial::open(&line.device, line.baud, line.parity, line.stop_bits)
                    .map_err(|error| serial::open_cause(&line.device, &error))?;
                Open::Line { line: Handle::new(port), last: Instant::now() }
            }
            ModbusLink::Tcp { host, port } => Open::Tcp(Some(connect(host, *port, CONNECT_MAX).await?)),
        };
        Ok(())
    }

    /// How long a unit that does not answer this keeps the way busy.
    #[must_use]
    pub fn cost(settings: &ModbusLink, ask: &Ask) -> Duration {
        match settings {
            ModbusLink::Rtu(line) => limit(line, ask) + line.turnaround,
            ModbusLink::Tcp { .. } => ask.time_out + reconnect_max(ask.time_out),
        }
    }

    /// Why nobody can be asked just now, for people: a connection that was given up could not be made anew in
    /// time. The next request would wait for it.
    #[must_use]
    pub fn lost(&self) -> Option<String> {
        match (&self.open, &self.settings) {
            (Open::Tcp(None), ModbusLink::Tcp { host, port }) => {
                Some(format!("{host}:{port} takes no new connection"))
            }
            (Open::Line { .. } | Open::Tcp(_) | Open::Closed, _) => None,
        }
    }

    /// Units on the line of which an answer came after its time-out, since this was asked last. Over TCP none is
    /// seen: the connection is another by then.
    pub fn late(&mut self) -> BTreeSet<u8> {
        self.late.take()
    }

    /// Listens for so long to answers that may still come, where there are any.
    ///
    /// # Errors
    /// [`AskError::Link`].
    pub async fn listen(&mut self, time: Duration) -> Result<(), AskError> {
        let Open::Line { line, last } = &mut self.open else { return Ok(()) };
        if self.late.waits() {
            line.hear(Instant::now() + time, |_| false).await.map_err(|error| failed(&error))?;
            line.with(|port| self.late.look(&port.received));
            *last = Instant::now();
        }
        Ok(())
    }

    /// Asks, and waits for the answer. Over TCP, whoever does not answer pays for the new connection, see
    /// [`Link::lost`].
    ///
    /// # Errors
    /// [`AskError`] says why there is none.
    pub async fn ask(&mut self, ask: Ask) -> Result<Vec<u16>, AskError> {
        match (&mut self.open, &self.settings) {
            (Open::Line { line, last }, ModbusLink::Rtu(settings)) => {
                let doubtful = self.doubts && self.late.leaves_doubt(&ask, Instant::now());
                let answer = ask_line(line, last, &mut self.late, settings, ask).await?;
                match answer {
                    Ok(_) | Err(AskError::Exception { .. }) => self.late.answered(ask),
                    Err(AskError::Silent | AskError::Garbled) => self.late.missed(ask, *last),
                    Err(AskError::Link { .. }) => {}
                }
                // The unit lives. Whichever answer that was, the other one is here before it is asked again.
                let answered = matches!(answer, Ok(_) | Err(AskError::Exception { .. }));
                if doubtful && answered { Err(AskError::Silent) } else { answer }
            }
            (Open::Tcp(connection), ModbusLink::Tcp { host, port }) => {
                let mut context = match connection.take() {
                    Some(context) => context,
                    None => {
                        connect(host, *port, CONNECT_MAX).await.map_err(|cause| AskError::Link { cause })?
                    }
                };
                context.set_slave(Slave(ask.unit));
                let answer = timeout(ask.time_out, context.call(request(ask))).await;
                let answer = answer.map_or(Err(AskError::Silent), |answer| words(ask, answer));
                *connection = match answer {
                    Ok(_) | Err(AskError::Exception { .. }) => Some(context),
                    // Nobody knows what is still under way.
                    Err(AskError::Silent | AskError::Garbled) => {
                        drop(context);
                        connect(host, *port, reconnect_max(ask.time_out)).await.ok()
                    }
                    Err(AskError::Link { .. }) => None,
                };
                answer
            }
            (Open::Line { .. } | Open::Tcp(_) | Open::Closed, _) => {
                Err(AskError::Link { cause: "it is closed".to_owned() })
            }
        }
    }
}

/// Asks on a line, and waits for the answer.
async fn ask_line(
    line: &Handle,
    last: &mut Instant,
    late: &mut Late,
    settings: &ModbusLine,
    ask: Ask,
) -> Result<Result<Vec<u16>, AskError>, AskError> {
    sleep_until(*last + settings.turnaround).await;
    line.drain().await.map_err(|error| failed(&error))?;
    line.with(|port| {
        late.look(&port.received);
        port.received.clear();
    });
    let mut context = rtu::attach_slave(line.clone(), Slave(ask.unit));
    let until = Instant::now() + limit(settings, &ask);
    let answer = timeout_at(until, context.call(request(ask))).await;
    let mut answer = match answer {
        Ok(answer) => words(ask, answer),
        Err(_) if line.with(|port| !port.received.is_empty()) => Err(AskError::Garbled),
        Err(_) => Err(AskError::Silent),
    };
    // What came may be the late answer of another, and the right one still on its way.
    if answer == Err(AskError::Garbled) {
        let seen = line.with(|port| late.look(&port.received));
        if seen.contains(&(ask.unit, ask.function.code())) {
            // What is told of this unit is no answer to this request, and hides the one that is.
            answer = Err(AskError::Silent);
        } else if !seen.is_empty() {
            let whole = |bytes: &[u8]| answer_in(bytes, &ask).is_some();
            line.hear(until, whole).await.map_err(|error| failed(&error))?;
            answer = match line.with(|port| answer_in(&port.received, &ask)) {
                Some(Ok(words)) => Ok(words),
                Some(Err(code)) => Err(AskError::Exception { code }),
                None => Err(AskError::Silent),
            };
        }
    }
    *last = Instant::now();
    Ok(answer)
}

/// Until when an answer on a line must be whole.
fn limit(line: &ModbusLine, ask: &Ask) -> Duration {
    line.time_of(REQUEST_BYTES + answer_bytes(ask.count)) + ask.time_out
}

const fn request(ask: Ask) -> Request<'static> {
    match ask.function {
        Function::Holding => Request::ReadHoldingRegisters(ask.first, ask.count),
        Function::Input => Request::ReadInputRegisters(ask.first, ask.count),
    }
}

type Answer = Result<Result<Response, ExceptionCode>, Error>;

/// The words of an answer that is one to this request.
fn words(ask: Ask, answer: Answer) -> Result<Vec<u16>, AskError> {
    let words = match answer {
        Ok(Ok(Response::ReadHoldingRegisters(words))) if ask.function == Function::Holding => words,
        Ok(Ok(Response::ReadInputRegisters(words))) if ask.function == Function::Input => words,
        Ok(Ok(_)) | Err(Error::Protocol(_)) => return Err(AskError::Garbled),
        Ok(Err(exception)) => return Err(AskError::Exception { code: exception.into() }),
        Err(Error::Transport(error)) if error.kind() == io::ErrorKind::InvalidData => {
            return Err(AskError::Garbled);
        }
        Err(Error::Transport(error)) => return Err(failed(&error)),
    };
    if words.len() == usize::from(ask.count) { Ok(words) } else { Err(AskError::Garbled) }
}

fn failed(error: &io::Error) -> AskError {
    let ended = matches!(error.kind(), io::ErrorKind::BrokenPipe | io::ErrorKind::UnexpectedEof);
    let cause = if ended {
        "it has gone; is it unplugged, or switched off?".to_owned()
    } else {
        format!("it failed: {error}; is it unplugged?")
    };
    AskError::Link { cause }
}

/// How long a new connection may take after a unit did not answer.
fn reconnect_max(time_out: Duration) -> Duration {
    time_out.min(CONNECT_MAX)
}

async fn connect(host: &str, port: u16, within: Duration) -> Result<ModbusContext, String> {
    let cannot = |why: String| format!("cannot reach {host}:{port}: {why}");
    let stream = match timeout(within, TcpStream::connect((host, port))).await {
        Ok(Ok(stream)) => stream,
        Ok(Err(error)) => return Err(cannot(error.to_string())),
        Err(_) => return Err(cannot("nobody answers at that address".to_owned())),
    };
    // Requests are small and each is waited for; without it they only take longer.
    stream.set_nodelay(true).map_err(|error| cannot(error.to_string()))?;
    Ok(tcp::attach(stream))
}

/// A port that outlives the context of each request.
#[derive(Clone, Debug)]
struct Handle(Arc<Mutex<Port>>);

#[derive(Debug)]
struct Port {
    stream: SerialStream,
    /// Bytes that came since the last request, up to [`KEPT_BYTES_MAX`].
    received: Vec<u8>,
}

impl Port {
    fn keep(&mut self, bytes: &[u8]) {
        let room = KEPT_BYTES_MAX.saturating_sub(self.received.len());
        self.received.extend_from_slice(&bytes[..bytes.len().min(room)]);
    }
}

impl Handle {
    fn new(stream: SerialStream) -> Self {
        Self(Arc::new(Mutex::new(Port { stream, received: Vec::new() })))
    }

    fn with<T>(&self, work: impl FnOnce(&mut Port) -> T) -> T {
        // A port whose last user fell over is as good as before.
        work(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Takes what comes until it is enough or the time is over.
    async fn hear(&self, until: Instant, enough: impl Fn(&[u8]) -> bool) -> io::Result<()> {
        let mut buffer = [0; 256];
        while !self.with(|port| enough(&port.received)) {
            let mut room = ReadBuf::new(&mut buffer);
            let read = poll_fn(|context| self.clone_pinned_read(context, &mut room));
            match timeout_at(until, read).await {
                Err(_) => return Ok(()),
                Ok(Ok(())) if room.filled().is_empty() => return Err(io::ErrorKind::UnexpectedEof.into()),
                Ok(Ok(())) => {}
                Ok(Err(error)) => return Err(error),
            }
        }
        Ok(())
    }

    fn clone_pinned_read(&self, context: &mut Context<'_>, room: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let mut handle = self.clone();
        Pin::new(&mut handle).poll_read(context, room)
    }

    /// Takes what came meanwhile, without waiting; it is kept beside what came for the last request.
    async fn drain(&self) -> io::Result<()> {
        let mut buffer = [0; 256];
        let mut drained = 0;
        poll_fn(|context| {
            while drained < DRAIN_BYTES_MAX {
                let mut room = ReadBuf::new(&mut buffer);
                match self.with(|port| Pin::new(&mut port.stream).poll_read(context, &mut room)) {
                    Poll::Pending => break,
                    Poll::Ready(Ok(())) if room.filled().is_empty() => {
                        return Poll::Ready(Err(io::ErrorKind::UnexpectedEof.into()));
                    }
                    Poll::Ready(Ok(())) => {
                        drained += room.filled().len();
                        let came = room.filled().to_vec();
                        self.with(|port| port.keep(&came));
                    }
                    Poll::Ready(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                    Poll::Ready(Err(error)) => return Poll::Ready(Err(error)),
                }
            }
            Poll::Ready(Ok(()))
        })
        .await
    }
}

impl AsyncRead for Handle {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        self.with(|port| {
            let read = Pin::new(&mut port.stream).poll_read(context, buffer);
            port.keep(&buffer.filled()[before..]);
            read
        })
    }
}

impl AsyncWrite for Handle {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.with(|port| Pin::new(&mut port.stream).poll_write(context, bytes))
    }

    /// Nothing is held back here. The flush of the port would hold the whole thread until the
    /// last bit is on the line.
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}

#[cfg(test)]
mod tests;
