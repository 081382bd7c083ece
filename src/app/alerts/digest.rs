//! The digest: yesterday on one screen, and once a week the seven days before.
//!
//! A digest is a letter like any other, under a key made of its dates and its reader,
//! so that it is never sent twice; its bookmark holds the last local date on which one
//! was put into the outbox. A gateway that was off at the hour does it when it starts,
//! for the latest date only. The numbers are counted from the records when it is sent.

mod count;
mod kept;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::time::Duration;

use jiff::ToSpan;
use jiff::civil::{Date, Time, Weekday};
use jiff::tz::TimeZone;
use tokio_util::sync::CancellationToken;

use self::count::{Asked, Washed, tell};
use self::kept::Counted;
pub(super) use self::kept::Kept;
use super::compose::Composer;
use super::letters::Content;
use crate::alert::digest::{Digest, DigestData, Facts, Span, compose, headline};
use crate::alert::email::{Mail, Picture};
use crate::alert::event::{CloudEvent, Envelope};
use crate::alert::message::Illustration;
use crate::app::ledger::LedgerHandle;
use crate::app::seal::Seal;
use crate::config::resolve::DigestOptions;
use crate::core::alert::{Contact, Route, Settings};
use crate::core::causes::chain;
use crate::core::reader;
use crate::core::record::Cycle;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{instant_or_next, local_date, midnight};
use crate::ledger::{Append, Bookmark, LedgerError, Letter, OutboxChange, Reader};
use crate::report::plot::{Size, day};
use crate::runtime::clock::Clock;

/// Name of the bookmark.
const BOOKMARK: &str = "digest";
/// Longest sleep: a clock that was set is noticed within it.
const SLEEP_MAX: Duration = Duration::from_secs(60);
/// Content id of the picture.
const PICTURE: &str = "day";

/// Why digests end.
#[derive(Debug, thiserror::Error)]
pub(super) enum DigestError {
    /// The ledger fails.
    #[error("the ledger failed the digest")]
    Ledger(#[from] LedgerError),
}

/// Puts digests into the outbox at their hour.
#[derive(Clone, Debug)]
pub(super) struct Digests {
    options: DigestOptions,
    contacts: Vec<Contact>,
    zone: TimeZone,
    seal: Seal,
    ledger: LedgerHandle,
    clock: Clock,
}

impl Digests {
    pub(super) fn new(
        options: &DigestOptions,
        settings: &Settings,
        seal: &Seal,
        ledger: &LedgerHandle,
        clock: &Clock,
    ) -> Self {
        let (options, contacts) = (options.clone(), settings.contacts.clone());
        let (zone, seal) = (settings.zone.clone(), seal.clone());
        Self { options, contacts, zone, seal, ledger: ledger.clone(), clock: clock.clone() }
    }

    /// Works until the driver's last commit.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) async fn run(self, last_commit: CancellationToken) -> Result<(), DigestError> {
        let mut done = self.done().await?;
        loop {
            let now = self.clock.now();
            if let Some(date) = latest_due(&self.zone, self.options.at, now)
                && date > done
            {
                self.put(date, now).await?;
                done = date;
            }
            let next = instant_or_next(&self.zone, done.saturating_add(1.day()), self.options.at);
            let sleep = next.map_or(SLEEP_MAX, |next| self.clock.wait_until(next)).min(SLEEP_MAX);
            if last_commit.run_until_cancelled(tokio::time::sleep(sleep)).await.is_none() {
                return Ok(());
            }
        }
    }

    /// The date of the last digest; a gateway that never made one begins with the next.
    async fn done(&self) -> Result<Date, DigestError> {
        let stored = Reader::open(self.ledger.path())?.bookmark(BOOKMARK)?;
        let stored = stored.and_then(|bytes| String::from_utf8(bytes).ok()?.parse().ok());
        if let Some(date) = stored {
            return Ok(date);
        }
        let now = self.clock.now();
        let date = latest_due(&self.zone, self.options.at, now).unwrap_or(Date::MIN);
        self.append(Vec::new(), date).await?;
        Ok(date)
    }

    async fn put(&self, date: Date, now: Timestamp) -> Result<(), DigestError> {
        // What is mailed is to count all records up to here. Without it the digest takes the newest.
        if let Err(error) = self.seal.checkpoint(now).await {
            tracing::warn!(error = chain(&error), "the digest goes without a new checkpoint");
        }
        let mut spans = vec![(Span::Day, date.saturating_sub(1.day()), &self.options.daily)];
        if date.weekday() == Weekday::Monday {
            spans.push((Span::Week, date.saturating_sub(7.days()), &self.options.weekly));
        }
        let letters = spans.into_iter().flat_map(|(span, first, readers)| {
            let contacts = self.contacts.iter().filter(|contact| readers.contains(&contact.name));
            contacts.flat_map(move |contact| {
                // A text gateway has no room for it.
                let routes = contact.routes.iter().filter(|route| !matches!(route, Route::Text(_)));
                routes.filter_map(move |route| letter(span, first, &contact.name, route, now))
            })
        });
        let letters: Vec<OutboxChange> = letters.map(OutboxChange::Put).collect();
        self.append(letters, date).await
    }

    async fn append(&self, outbox: Vec<OutboxChange>, date: Date) -> Result<(), DigestError> {
        let bookmarks = vec![Bookmark { name: BOOKMARK.to_owned(), state: date.to_string().into_bytes() }];
        let append = Append { bookmarks, outbox, ..Append::default() };
        self.ledger.append(append).await.map(drop).map_err(|refused| refused.error.into())
    }
}

/// The latest local date whose hour has come.
fn latest_due(zone: &TimeZone, at: Time, now: Timestamp) -> Option<Date> {
    let today = local_date(zone, now)?;
    let has_come = instant_or_next(zone, today, at).is_some_and(|due| due <= now);
    Some(if has_come { today } else { today.saturating_sub(1.day()) })
}

fn letter(span: Span, first: Date, contact: &str, route: &Route, now: Timestamp) -> Option<Letter> {
    let word = match span {
        Span::Day => "day",
        Span::Week => "week",
    };
    let key = format!("digest-{word}-{first}-{contact}-{route}");
    let (contact, route) = (contact.to_owned(), route.clone());
    let (channel, sequence) = (route.channel(), format!("digest/{contact}/{route}"));
    let content = Content::Digest { span, first: first.to_string(), contact, route };
    let bytes = serde_json::to_vec(&content)
        .inspect_err(|error| tracing::error!(%error, key, "a digest cannot be written down"))
        .ok()?;
    Some(Letter { key, channel, sequence, created: now, due: now, bytes })
}

impl Composer {
    /// A digest as a mail to this contact.
    pub(super) fn digest_mail(
        &self,
        key: &str,
        span: (Span, &str),
        contact: &str,
        route: &Route,
        written: Timestamp,
    ) -> Option<Mail> {
        let Route::Email(to) = route else { return None };
        let counted = self.counted(span)?;
        let Counted { digest, cycles } = counted.as_ref();
        let contact = self.contact(contact)?;
        let eye = self.reading(contact.language, contact.units);
        let told = digest.most_telling().map(|machine| machine.machine.clone());
        let png = told.as_ref().and_then(|machine| picture(machine, digest, cycles, &eye));
        let facts = Facts { site: self.site(), reader: eye, link: self.public_url.as_deref() };
        let description = told.unwrap_or_default();
        let illustration = Illustration { id: PICTURE, description: &description };
        let words = compose(digest, &facts, png.as_ref().map(|_| &illustration));
        let pictures = png.map(|png| Picture { id: PICTURE.to_owned(), png }).into_iter().collect();
        Some(Mail {
            key: key.to_owned(),
            thread: "digest".to_owned(),
            to: to.clone(),
            at: written,
            subject: words.subject,
            text: words.text,
            html: Some(words.html),
            pictures,
        })
    }

    /// A digest as an event for programs.
    pub(super) fn digest_event(
        &self,
        key: &str,
        span: (Span, &str),
        contact: &str,
        written: Timestamp,
    ) -> Option<CloudEvent> {
        let counted = self.counted(span)?;
        let digest = &counted.digest;
        // It leaves also where its contact was taken out of the configuration since.
        let (language, units) =
            self.contact(contact).map(|contact| (contact.language, contact.units)).unwrap_or_default();
        let eye = self.reading(language, units);
        let facts = Facts { site: self.site(), reader: eye, link: self.public_url.as_deref() };
        let envelope = Envelope { key, source: &self.source, at: written };
        let word = match digest.span {
            Span::Day => "digest.day",
            Span::Week => "digest.week",
        };
        let summary = headline(digest, &facts);
        let data = serde_json::to_value(DigestData { digest, language, summary }).ok()?;
        Some(CloudEvent::new(&envelope, word, None, data))
    }

    /// Counts the records of a span, or tells what was counted of it for the letter before.
    fn counted(&self, (span, first): (Span, &str)) -> Option<Arc<Counted>> {
        let first: Date = first.parse().ok()?;
        let days = match span {
            Span::Day => 1.day(),
            Span::Week => 7.days(),
        };
        let zone = &self.settings().zone;
        let (from, to) = (midnight(zone, first)?, midnight(zone, first.saturating_add(days))?);
        let asked = Asked { span, from, to, now: self.now() };
        let counted = self.count(asked);
        counted.inspect_err(|error| tracing::error!(%error, "a digest cannot be counted")).ok()
    }

    fn count(&self, asked: Asked) -> Result<Arc<Counted>, LedgerError> {
        // Whoever waits for the reader meanwhile finds what was counted.
        let reader = self.reader();
        if let Some(counted) = self.kept.find(&reader, asked)? {
            return Ok(counted);
        }
        let size = reader.size()?;
        let (digest, cycles) = tell(&reader, asked, self.settings(), self.machines(), &self.source)?;
        let told = digest.most_telling().map(|machine| machine.machine.as_str());
        let cycles = cycles.into_iter().filter(|washed| Some(washed.machine.as_str()) == told).collect();
        let counted = Arc::new(Counted { digest, cycles });
        self.kept.keep(asked, size, &counted);
        Ok(counted)
    }
}

fn picture(machine: &str, digest: &Digest, cycles: &[Washed], eye: &reader::Reader) -> Option<Vec<u8>> {
    let (cycles, in_doubt): (Vec<&Cycle>, Vec<bool>) =
        cycles.iter().map(|washed| (&washed.cycle, washed.in_doubt)).unzip();
    let (from, to) = (digest.from, digest.to);
    let day = day::Day { machine, from, to, cycles: &cycles, in_doubt: &in_doubt, gaps: &[] };
    day::plot(day, eye)
        .png(Size::MAIL)
        .inspect_err(|error| tracing::warn!(%error, "a digest goes without its picture"))
        .ok()
}

/// Starts the digests, where they are configured.
pub(super) fn start(
    followers: &mut crate::runtime::supervisor::Supervisor,
    digests: Digests,
    last_commit: &CancellationToken,
) {
    let (digests, stop) = (Arc::new(digests), last_commit.clone());
    followers.keep_running("digest".to_owned(), move || {
        let (digests, stop) = (Arc::clone(&digests), stop.clone());
        async move { Digests::clone(&digests).run(stop).await }
    });
}
