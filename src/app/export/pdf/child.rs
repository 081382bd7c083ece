//! What the report program says while it runs, and its end.

use std::io::{self, BufRead, BufReader, Read};
use std::process::Child;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;

use crate::app::export::Progress;

/// Most bytes of a message of the program that are read.
const SAID_MAX: u64 = 16 * 1024;
/// Most bytes of its progress that are read: more than a line for each picture of a report.
const LAID_MAX: u64 = 64 * 1024;

/// How many pictures are laid out, as the child tells it.
pub(super) struct Laid {
    counted: Arc<[AtomicU64; 2]>,
    reads: JoinHandle<()>,
}

/// How many, once nothing more is told.
pub(super) struct AllLaid(Arc<[AtomicU64; 2]>);

impl Laid {
    pub(super) fn tell(&self, progress: &Progress<'_>) {
        AllLaid(Arc::clone(&self.counted)).tell(progress);
    }

    /// When the child has ended.
    pub(super) fn ended(self) -> AllLaid {
        // It reads to the end of what the child said, whatever that was.
        drop(self.reads.join());
        AllLaid(self.counted)
    }
}

impl AllLaid {
    pub(super) fn tell(&self, progress: &Progress<'_>) {
        let [laid, of] = [0, 1].map(|place: usize| self.0[place].load(Ordering::Relaxed));
        if of > 0 {
            progress.laid(laid, of);
        }
    }
}

/// Reads how far the child is until it ends, on a thread of its own; what is no such line is passed over.
pub(super) fn watch(child: &mut Child) -> io::Result<Laid> {
    let mut stdout =
        child.stdout.take().ok_or_else(|| io::Error::other("its standard output is not there"))?;
    let counted = Arc::new([const { AtomicU64::new(0) }; 2]);
    let own = Arc::clone(&counted);
    let reads = std::thread::Builder::new().name("report-progress".to_owned()).spawn(move || {
        let lines = BufReader::new((&mut stdout).take(LAID_MAX)).lines();
        for (laid, of) in lines.map_while(Result::ok).filter_map(|line| counts(&line)) {
            own[0].store(laid, Ordering::Relaxed);
            own[1].store(of, Ordering::Relaxed);
        }
        let _rest = io::copy(&mut stdout, &mut io::sink());
    })?;
    Ok(Laid { counted, reads })
}

/// `3 of 40`.
fn counts(line: &str) -> Option<(u64, u64)> {
    let (laid, of) = line.split_once(" of ")?;
    Some((laid.parse().ok()?, of.parse().ok()?))
}

/// Reads what the child says until it ends, on a thread of its own.
pub(super) fn listen(child: &mut Child) -> io::Result<mpsc::Receiver<String>> {
    let mut stderr =
        child.stderr.take().ok_or_else(|| io::Error::other("its standard error is not there"))?;
    let (sender, receiver) = mpsc::sync_channel(1);
    std::thread::Builder::new().name("report".to_owned()).spawn(move || {
        let mut said = Vec::new();
        // An end by force is an end as well; what lies beyond the limit is read and dropped.
        let _read = (&mut stderr).take(SAID_MAX).read_to_end(&mut said);
        let _rest = io::copy(&mut stderr, &mut io::sink());
        let lines = String::from_utf8_lossy(&said);
        let lines: Vec<&str> = lines.lines().map(str::trim).collect();
        // Whoever waited may have given up.
        drop(sender.send(lines.join("; ")));
    })?;
    Ok(receiver)
}

/// Ends the child and waits for its end, so that nothing of it is left.
pub(super) fn end(child: &mut Child) {
    // It may have ended by itself meanwhile.
    drop(child.kill());
    drop(child.wait());
}
