//! Records as a file, read while they are sent: what waits for a slow receiver is bounded.

use std::io::{self, BufWriter, Write};
use std::sync::Arc;

use axum::body::Body;
use bytes::Bytes;
use futures_util::stream;
use tokio::sync::mpsc;

use super::super::House;
use super::rows::between;
use crate::app::export::{self, Order, Progress, gather, seal};
use crate::cli::ExportForm;
use crate::core::causes::chain;
use crate::ledger::Reader;
use crate::report::account::build::Question;
use crate::web::api::{Form, Taken, Trouble, When};

/// Bytes that are sent together.
const PART_BYTES: usize = 64 * 1024;
/// Parts that wait for a slow receiver; one more holds the reading up.
const PARTS_MAX: usize = 4;

impl House {
    pub(super) async fn take_away(&self, taken: Taken, account: &str) -> Result<Body, Trouble> {
        let Ok(place) = Arc::clone(&self.exports).try_acquire_owned() else { return Err(Trouble::Busy) };
        let (form, word) = match taken.form {
            Form::Csv => (ExportForm::Csv, "csv"),
            Form::Json => (ExportForm::Json, "json"),
            Form::Jsonl => (ExportForm::Jsonl, "jsonl"),
            Form::Evidence => (ExportForm::Evidence, "evidence"),
        };
        let question = self.asked(&taken).await?;
        let span = (question.from, question.to);
        if !self.note_taken(word, question.only.clone(), span, account).await {
            return Err(Trouble::NotNow);
        }
        let sealed = matches!(taken.form, Form::Json | Form::Evidence);
        if sealed
            && let Some(seal) = self.seal()
            && let Err(error) = seal.checkpoint(self.clock.now()).await
        {
            tracing::warn!(error = chain(&error), "no checkpoint could be made for an export");
        }
        let seal = if sealed { self.readers.ask(seal::newest).await? } else { None };
        if taken.form == Form::Evidence && seal.is_none() {
            return Err(Trouble::Refused {
                slug: "export-unsealed".to_owned(),
                detail: "there is no checkpoint that proves this ledger".to_owned(),
                advice: Some("see the log of the gateway; `rinseward key show` tells of its key".to_owned()),
                pointer: None,
            });
        }
        let (parts, sent) = mpsc::channel(PARTS_MAX);
        let (path, all_traces) = (self.path.clone(), taken.all_traces);
        // Its end is that of the stream.
        drop(tokio::task::spawn_blocking(move || {
            let _place = place;
            let mut out = BufWriter::with_capacity(PART_BYTES, Parts(parts.clone()));
            let written = Reader::open(&path)
                .map_err(|error| crate::app::ledger::diagnose(&error, &path).into())
                .and_then(|reader| {
                    let order = Order { form, question, all_traces, seal, sheet: None };
                    export::into(order, (&reader, &path), &mut out, &mut Progress::unseen())
                })
                .and_then(|_| out.flush().map_err(crate::app::Failure::output));
            if let Err(failure) = written.or_else(crate::app::Failure::unless_closed) {
                tracing::warn!(%failure, "an export was cut short");
                // Whoever receives it must not take the part for the whole.
                drop(parts.blocking_send(Err(io::Error::other("the export was cut short"))));
            }
        }));
        Ok(Body::from_stream(stream::unfold(sent, |mut sent| async move {
            let part = sent.recv().await?;
            Some((part, sent))
        })))
    }

    async fn asked(&self, taken: &Taken) -> Result<Question, Trouble> {
        let now = self.clock.now();
        let (from, to, machines) = (taken.from, taken.to, taken.machines.clone());
        let found = self.readers.ask(|ledger| Ok((ledger.machines()?, gather::Site::of(ledger)?)));
        let (known, site) = found.await?;
        if let Some(name) = machines.iter().find(|name| !known.contains(name)) {
            return Err(Trouble::no_machine(name, known.clone()));
        }
        let to = to.unwrap_or(When::Instant(now));
        let (from, to) = between(Some(from), Some(to), &site.zone)?;
        let (from, to) = (from.unwrap_or(now), to.unwrap_or(now));
        let mut only = machines;
        only.sort_unstable();
        only.dedup();
        let program = env!("CARGO_PKG_VERSION").to_owned();
        let gather::Site { name, zone_name, zone } = site;
        Ok(Question { program, made: now, site: name, zone_name, zone, from, to, only, ends: None })
    }
}

/// Sends what is written.
struct Parts(mpsc::Sender<io::Result<Bytes>>);

impl Write for Parts {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let part = Ok(Bytes::copy_from_slice(bytes));
        self.0.blocking_send(part).map_err(|_| io::ErrorKind::BrokenPipe)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
