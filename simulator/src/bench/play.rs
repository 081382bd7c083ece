//! A bench in real time: its node on a pseudo-terminal, its person at standard input.

use std::fmt::Write as _;
use std::io::{self, BufRead, Read as _, Write};
use std::str::FromStr;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use super::{Bench, Order};
use crate::node::serial::{PseudoTerminal, SerialError};
use crate::node::{Emission, Pace, RecordValue, Stop};

/// Longest time between two looks at the clock.
const TICK: Duration = Duration::from_millis(20);
/// Longest line that is taken as one, bytes; the rest of a longer one is the next line.
const LINE_BYTES_MAX: u64 = 200;
/// Lines that wait while one is answered; then whoever sends them waits.
const LINES_MAX: usize = 16;
/// Unread bytes beyond which all of them are dropped, so that whoever opens the port hears what is, not
/// what was: those of some seconds, and no reader that is there is so late.
const UNREAD_MAX: u64 = 1_024;

/// How the node speaks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Format {
    /// A line a value, `dm1/rinse 81.25`, without a time.
    Plain,
    /// SenML packs (RFC 8428) with a time, one a line.
    Senml,
}

/// The text names no format.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("write plain or senml")]
pub struct UnknownFormat;

impl FromStr for Format {
    type Err = UnknownFormat;

    fn from_str(text: &str) -> Result<Self, UnknownFormat> {
        match text {
            "plain" => Ok(Self::Plain),
            "senml" => Ok(Self::Senml),
            _ => Err(UnknownFormat),
        }
    }
}

impl Format {
    /// The lines of an emission, without line ends.
    #[must_use]
    pub fn lines(self, emission: &Emission) -> Vec<String> {
        match self {
            Self::Senml => vec![emission.line()],
            Self::Plain => emission
                .records
                .iter()
                .map(|record| {
                    let mut line = format!("{}{} ", emission.base_name, record.name);
                    // Writing to a String cannot fail. A zero has no sign.
                    let _ok = match record.value {
                        RecordValue::Number(value) => write!(line, "{:.4}", value + 0.0),
                        RecordValue::Boolean(value) => write!(line, "{value}"),
                        RecordValue::Text(value) => write!(line, "{value}"),
                    };
                    line
                })
                .collect(),
        }
    }
}

/// A bench could not go on.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The port failed.
    #[error(transparent)]
    Serial(#[from] SerialError),
    /// The system gave no thread for standard input.
    #[error("cannot read what is to be done")]
    Input {
        /// Cause.
        source: io::Error,
    },
    /// Nobody takes the answers.
    #[error("cannot answer")]
    Answer {
        /// Cause.
        source: io::Error,
    },
}

/// Plays a bench onto a port until it is told to quit or `input` ends; each line of `input` is answered by
/// one line in `answers`.
///
/// # Errors
/// When the port fails, or nobody takes the answers.
pub fn play(
    bench: &mut Bench,
    port: &mut PseudoTerminal,
    format: Format,
    input: impl BufRead + Send + 'static,
    answers: &mut dyn Write,
) -> Result<(), BenchError> {
    let began = Instant::now();
    let pace = Pace::new(0, 1.0, Stop::default());
    let lines = listen(input).map_err(|source| BenchError::Input { source })?;
    let mut fresh = Vec::new();
    loop {
        bench.advance(began.elapsed().as_secs_f64(), &mut fresh);
        for line in fresh.drain(..).flat_map(|emission| format.lines(&emission)) {
            port.drop_unread(UNREAD_MAX)?;
            port.write_line(&line, &pace)?;
        }
        let line = match lines.recv_timeout(TICK) {
            Ok(line) => line,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        let order = line.parse();
        let answer =
            order.map_or_else(|refusal| format!("{}: {refusal}", line.trim()), |order| bench.obey(order));
        writeln!(answers, "{answer}")
            .and_then(|()| answers.flush())
            .map_err(|source| BenchError::Answer { source })?;
        if order == Ok(Order::Quit) {
            return Ok(());
        }
    }
}

/// Lines as they come, from a thread of their own; it ends with the input, or after the next line once
/// nobody listens.
fn listen(mut input: impl BufRead + Send + 'static) -> io::Result<Receiver<String>> {
    let (to, lines) = sync_channel(LINES_MAX);
    let _ends_with_the_input = thread::Builder::new().name("orders".to_owned()).spawn(move || {
        let mut line = Vec::new();
        loop {
            line.clear();
            match input.by_ref().take(LINE_BYTES_MAX).read_until(b'\n', &mut line) {
                Ok(0) | Err(_) => return,
                Ok(_) if line.trim_ascii().is_empty() => {}
                Ok(_) => {
                    if to.send(String::from_utf8_lossy(&line).into_owned()).is_err() {
                        return;
                    }
                }
            }
        }
    })?;
    Ok(lines)
}
