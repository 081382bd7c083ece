//! SenML packs, one a line, from a file or standard input.
//!
//! [`Replay`] reads as fast as it is asked; [`ReplayProbe`] runs it as a source of
//! the daemon. A last line without a line end counts as whole.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::refusals::RefusalLog;
use super::text::TextDecoder;
use super::{Delivery, FromSource, SourceState};
use crate::config::source::{LineFormat, ReplaySource};
use crate::core::id::SourceId;
use crate::core::time::Timestamp;
use crate::transport::backoff::Backoff;
use crate::wire::decoded::Decoded;
use crate::wire::directory::Directory;

/// Longest line; a longer one is dropped up to its end and counted (own choice: a pack of 20,000 readings fits).
pub const LINE_BYTES_MAX: usize = 1 << 20;

/// Bytes read at once; what they hold makes one block.
const BLOCK_BYTES: usize = 65_536;

/// Blocks read ahead of the application.
const BLOCKS_AHEAD: usize = 4;

/// Shortest and longest wait between two tries to open a file that is not there (own choice).
const REOPEN_AFTER_MIN: Duration = Duration::from_millis(100);
const REOPEN_AFTER_MAX: Duration = Duration::from_secs(30);

/// Why a file could not be replayed.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// The file cannot be opened.
    #[error("cannot open {}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// Reading broke off.
    #[error("cannot read on")]
    Read {
        /// Why.
        #[source]
        source: io::Error,
    },
}

/// Blocks of samples and refusals out of a reader, in order. Ends after the
/// end of the input or the first error.
#[derive(Debug)]
pub struct Replay<R, N> {
    reader: R,
    now: N,
    decoder: TextDecoder,
    buffer: Vec<u8>,
    ended: bool,
}

impl<R: Read, N: Fn() -> Timestamp> Replay<R, N> {
    /// Reads from `reader`; `now` is asked once a block, for times that are relative.
    pub fn new(reader: R, directory: Directory, now: N) -> Self {
        let decoder = TextDecoder::new(LineFormat::Senml, LINE_BYTES_MAX, directory);
        Self { reader, now, decoder, buffer: vec![0; BLOCK_BYTES], ended: false }
    }
}

impl<N: Fn() -> Timestamp> Replay<Box<dyn Read + Send>, N> {
    /// Opens the file, or standard input where there is none.
    ///
    /// # Errors
    /// [`ReplayError::Open`] where the file cannot be opened.
    pub fn open(source: &ReplaySource, directory: Directory, now: N) -> Result<Self, ReplayError> {
        let reader: Box<dyn Read + Send> = match &source.path {
            None => Box::new(io::stdin()),
            Some(path) => Box::new(open_file(path)?),
        };
        Ok(Self::new(reader, directory, now))
    }
}

fn open_file(path: &Path) -> Result<File, ReplayError> {
    File::open(path).map_err(|source| ReplayError::Open { path: path.to_owned(), source })
}

impl<R: Read, N: Fn() -> Timestamp> Iterator for Replay<R, N> {
    type Item = Result<Decoded, ReplayError>;

    fn next(&mut self) -> Option<Self::Item> {
        let mut decoded = Decoded::default();
        while !self.ended && decoded.is_empty() {
            match self.reader.read(&mut self.buffer) {
                Ok(0) => {
                    self.ended = true;
                    self.decoder.finish((self.now)(), &mut decoded);
                }
                Ok(count) => self.decoder.feed(&self.buffer[..count], (self.now)(), &mut decoded),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(source) => {
                    self.ended = true;
                    return Some(Err(ReplayError::Read { source }));
                }
            }
        }
        (!decoded.is_empty()).then_some(Ok(decoded))
    }
}

/// A replay as a source of the daemon.
#[derive(Clone, Debug)]
pub struct ReplayProbe<N> {
    /// Number of the source.
    pub source: SourceId,
    /// Name of the source, for the log.
    pub name: String,
    /// What to read.
    pub settings: ReplaySource,
    /// Channels it may deliver.
    pub directory: Directory,
    /// The gateway's clock.
    pub now: N,
}

impl<N: Fn() -> Timestamp + Send + Sync + Clone + 'static> ReplayProbe<N> {
    /// Delivers everything, tells that it has ended, and returns. A file that
    /// cannot be opened is tried again; `stop` ends it early.
    pub async fn run(self, to: mpsc::Sender<FromSource>, stop: CancellationToken) {
        let mut backoff = Backoff::new(REOPEN_AFTER_MIN, REOPEN_AFTER_MAX);
        let mut down = None;
        let replay = loop {
            match Replay::open(&self.settings, self.directory.clone(), self.now.clone()) {
                Ok(replay) => break replay,
                Err(error) => {
                    let cause = cause_of(&error);
                    if down.as_ref() != Some(&cause) {
                        down = Some(cause.clone());
                        if self.tell(&to, &stop, SourceState::Down { cause }).await.is_none() {
                            return;
                        }
                    }
                }
            }
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(backoff.after_failure()) => {}
            }
        };
        if self.tell(&to, &stop, SourceState::Up).await.is_some() {
            self.deliver(replay, &to, &stop).await;
        }
    }

    /// `None` where nobody listens or the program ends. Standard input may block for ever, so it is read by a
    /// thread of its own, which nothing waits for: it ends when its next block finds nobody.
    async fn deliver(
        &self,
        replay: Replay<Box<dyn Read + Send>, N>,
        to: &mpsc::Sender<FromSource>,
        stop: &CancellationToken,
    ) -> Option<()> {
        let (blocks_to, mut blocks) = mpsc::channel(BLOCKS_AHEAD);
        let reader = std::thread::Builder::new().name("replay".to_owned()).spawn(move || {
            for block in replay {
                if blocks_to.blocking_send(block).is_err() {
                    return;
                }
            }
        });
        if let Err(error) = reader {
            let cause = format!("cannot start a thread: {error}");
            return self.tell(to, stop, SourceState::Down { cause }).await;
        }
        let mut log = RefusalLog::default();
        let mut number = 0;
        loop {
            let block = tokio::select! {
                () = stop.cancelled() => return None,
                block = blocks.recv() => block,
            };
            match block {
                None => return self.tell(to, stop, SourceState::Ended).await,
                Some(Err(error)) => {
                    let cause = cause_of(&error);
                    return self.tell(to, stop, SourceState::Down { cause }).await;
                }
                Some(Ok(Decoded { samples, refusals })) => {
                    let received = (self.now)();
                    log.note(&self.name, received, &refusals);
                    number += 1;
                    let source = self.source;
                    let delivery = Delivery { source, number, received, messages: 1, samples, refusals };
                    send(to, stop, FromSource::Delivery(delivery)).await?;
                }
            }
        }
    }

    async fn tell(
        &self,
        to: &mpsc::Sender<FromSource>,
        stop: &CancellationToken,
        state: SourceState,
    ) -> Option<()> {
        send(to, stop, FromSource::State { source: self.source, state }).await
    }
}

async fn send(to: &mpsc::Sender<FromSource>, stop: &CancellationToken, message: FromSource) -> Option<()> {
    tokio::select! {
        biased;
        sent = to.send(message) => sent.ok(),
        () = stop.cancelled() => None,
    }
}

fn cause_of(error: &ReplayError) -> String {
    match error {
        ReplayError::Open { source, .. } | ReplayError::Read { source } => format!("{error}: {source}"),
    }
}
