//! The digest: yesterday on one screen, and once a week the seven days before.
//!
//! A digest is a letter like any other, under a key made of its dates and its reader,
//! so that it is never sent twice; its bookmark holds the last local date on which one
//! was put into the outbox. A gateway that was off at the hour does it when it starts,
//! for the latest date only. The numbers are counted from the records when it is sent.

use std::sync::Arc;
use std::time::Duration;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jiff::ToSpan;
use jiff::civil::{Date, Time, Weekday};
use jiff::tz::TimeZone;
use tokio_util::sync::CancellationToken;

use super::compose::Composer;
use super::letters::Content;
use super::past::Raised;
use super::story;
use crate::alert::digest::tally::Tally;
use crate::alert::digest::{Checkpoint, Digest, DigestData, Facts, Span, compose, headline};
use crate::alert::email::{Mail, Picture};
use crate::alert::event::{CloudEvent, Envelope};
use crate::alert::message::Illustration;
use crate::app::ledger::LedgerHandle;
use crate::app::seal::Seal;
use crate::config::resolve::DigestOptions;
use crate::core::alert::{Contact, Route, Settings};
use crate::core::causes::chain;
use crate::core::checkpoint::Checkpoint as Signed;
use crate::core::cycle::plate::Profile;
use crate::core::note::Note;
use crate::core::reader;
use crate::core::record::{Body, Cycle};
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
        let (digest, cycles) = self.counted(span)?;
        let contact = self.contact(contact)?;
        let eye = self.reading(contact.language, contact.units);
        let told = digest.most_telling().map(|machine| machine.machine.clone());
        let png = told.as_ref().and_then(|machine| picture(machine, &digest, &cycles, &eye));
        let facts = Facts { site: self.site(), reader: eye, link: self.public_url.as_deref() };
        let description = told.unwrap_or_default();
        let illustration = Illustration { id: PICTURE, description: &description };
        let words = compose(&digest, &facts, png.as_ref().map(|_| &illustration));
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
        let (digest, _) = self.counted(span)?;
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
        let summary = headline(&digest, &facts);
        let data = serde_json::to_value(DigestData { digest: &digest, language, summary }).ok()?;
        Some(CloudEvent::new(&envelope, word, None, data))
    }

    /// Counts the records of a span; also its cycles by machine, for a picture.
    fn counted(&self, (span, first): (Span, &str)) -> Option<(Digest, Vec<(String, Cycle)>)> {
        let first: Date = first.parse().ok()?;
        let days = match span {
            Span::Day => 1.day(),
            Span::Week => 7.days(),
        };
        let zone = &self.settings().zone;
        let (from, to) = (midnight(zone, first)?, midnight(zone, first.saturating_add(days))?);
        let counted = tell(&self.reader(), (span, from, to), zone, self.machines(), &self.source);
        counted.inspect_err(|error| tracing::error!(%error, "a digest cannot be counted")).ok()
    }
}

fn tell(
    reader: &Reader,
    (span, from, to): (Span, Timestamp, Timestamp),
    zone: &TimeZone,
    profiles: &[Profile],
    source: &str,
) -> Result<(Digest, Vec<(String, Cycle)>), LedgerError> {
    let machines = profiles.iter().map(|profile| profile.name.clone());
    let mut tally = Tally::new(span, from, to, zone.clone(), machines).judging(profiles.to_vec());
    let mut cycles = Vec::new();
    for index in first_since(reader, from)?..reader.size()? {
        let Ok((_, record)) = reader.record(index)? else {
            tally.take_unreadable();
            continue;
        };
        tally.take(index, &record);
        if let (Body::Cycle(cycle), Some(machine)) = (record.body, record.machine)
            && from <= cycle.rinse_started
            && cycle.rinse_started < to
        {
            cycles.push((machine, *cycle));
        }
    }
    cycles.sort_by_key(|(_, cycle)| cycle.rinse_started);
    let open = story::all(reader)?.0.into_values().filter(|story| story.closed.is_none());
    let mut raised = Raised::of(reader);
    let open = open.map(|mut told| story::fill(&mut raised, &mut told).map(|()| told.alert));
    let open = open.collect::<Result<_, _>>()?;
    Ok((tally.finish(open, Some(checkpoint(reader, source)?)), cycles))
}

/// The newest signed checkpoint; where there is none, the ledger as it is, without a signature.
fn checkpoint(reader: &Reader, source: &str) -> Result<Checkpoint, LedgerError> {
    let (head, note) = (reader.head()?, reader.newest_checkpoint()?.map(|newest| newest.note));
    let signed = note.as_deref().and_then(|note| Note::parse(note).ok());
    let said = signed.and_then(|note| Signed::parse(note.unverified_text()).ok());
    let (origin, head) = match said {
        Some(said) => (said.origin, said.head),
        None => (source.trim_start_matches('/').to_owned(), head),
    };
    Ok(Checkpoint { origin, records: head.size, root: STANDARD.encode(head.root.0), note })
}

/// Index of the first record since an instant, found by halves: records are in order of time but
/// for clocks that were set, so that an hour before it is taken too.
fn first_since(reader: &Reader, from: Timestamp) -> Result<u64, LedgerError> {
    let from = from.minus(Duration::from_secs(3_600));
    let (mut low, mut high) = (0, reader.size()?);
    while low < high {
        let middle = low + (high - low) / 2;
        // Of those that are damaged nobody knows the time: the next one tells.
        let mut recorded = None;
        for index in middle..high {
            if let Ok((_, record)) = reader.record(index)? {
                recorded = Some(record.recorded);
                break;
            }
        }
        if recorded.is_some_and(|recorded| recorded < from) { low = middle + 1 } else { high = middle }
    }
    Ok(low)
}

fn picture(
    machine: &str,
    digest: &Digest,
    cycles: &[(String, Cycle)],
    eye: &reader::Reader,
) -> Option<Vec<u8>> {
    let own: Vec<&Cycle> =
        cycles.iter().filter(|(name, _)| name == machine).map(|(_, cycle)| cycle).collect();
    let day = day::Day { machine, from: digest.from, to: digest.to, cycles: &own, in_doubt: &[], gaps: &[] };
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::ledger;
    use crate::app::seal::Standing;
    use crate::config::resolve::Configuration;
    use crate::core::record::{Check, Record};
    use crate::ledger::NewRecord;

    /// A gateway's digests, with a clock that runs fast.
    fn digests(directory: &std::path::Path, start: &str) -> Digests {
        let path = directory.join("gateway.toml");
        let text = "[site]\ntime-zone = \"Europe/Berlin\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n\
                    [[contact]]\nname = \"ana\"\ndigest = \"both\"\nroutes = [\"email:ana@example.org\"]\n\
                    [alert]\ndigest-at = \"07:00\"\n[mail]\nhost = \"127.0.0.1\"\n\
                    security = \"none\"\nfrom = \"kitchen@example.org\"\n";
        std::fs::write(&path, text).expect("a temporary file");
        let loaded = Configuration::load(&[path], []).expect("a sound configuration");
        let start: Timestamp = start.parse().expect("an instant");
        let ledger = directory.join("ledger.sqlite");
        let (ledger, _) = ledger::open_alone(&loaded, &ledger, start).expect("a ledger");
        // An hour in half a second.
        let clock = Clock::at_rate(start, 7_200.0);
        {
            let seal = Seal::new(ledger.clone(), "kitchen", Standing::Service);
            let configuration = &loaded.configuration;
            Digests::new(&configuration.digest, &configuration.alerts, &seal, &ledger, &clock)
        }
    }

    /// Runs them until so many letters are in the outbox; their keys and when they were written.
    async fn until_written(digests: &Digests, count: usize) -> Vec<(String, Timestamp)> {
        let stop = CancellationToken::new();
        let look = async {
            let limit = tokio::time::Instant::now() + Duration::from_secs(60);
            loop {
                let reader = Reader::open(digests.ledger.path()).expect("a reader");
                let posted = reader.letters(100).expect("readable");
                if posted.len() >= count || tokio::time::Instant::now() > limit {
                    stop.cancel();
                    return posted.into_iter().map(|posted| (posted.letter.key, posted.letter.created));
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        let (ended, letters) = tokio::join!(digests.clone().run(stop.clone()), look);
        ended.expect("the ledger works");
        let mut letters: Vec<_> = letters.collect();
        letters.sort_by(|one, other| (one.1, &one.0).cmp(&(other.1, &other.0)));
        letters
    }

    // Own promise: a digest that waits for a program leaves also where its contact is gone meanwhile.
    #[test]
    fn a_digest_leaves_without_its_contact() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let file = directory.path().join("gateway.toml");
        let machine = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
        std::fs::write(&file, machine).expect("a temporary file");
        let loaded = Configuration::load(&[file], []).expect("a sound configuration");
        let start: Timestamp = "2026-03-02T06:00:00Z".parse().expect("an instant");
        let path = directory.path().join("ledger.sqlite");
        let (ledger, _) = ledger::open_alone(&loaded, &path, start).expect("a ledger");
        let composer = Composer::new(&loaded, &path, &Clock::at_rate(start, 1.0), None).expect("a ledger");
        let event = composer.digest_event("key", (Span::Day, "2026-03-01"), "gone", start);
        let event = serde_json::to_value(event.expect("an event")).expect("JSON");
        assert_eq!(event["data"]["language"], "en");
        ledger.close().expect("an orderly end");
    }

    // 2026-03-02 is a Monday; 07:00 in Berlin is 06:00 UTC in winter. Own promise: each digest once,
    // at its hour, also where the gateway is started again in between.
    #[tokio::test]
    async fn each_digest_is_written_once_at_its_hour() {
        let directory = tempfile::tempdir().expect("a directory");
        let first = digests(directory.path(), "2026-03-01T05:00:00Z");
        let letters = until_written(&first, 1).await;
        assert_eq!(letters.len(), 1, "{letters:?}");
        let Digests { ledger, seal, .. } = first;
        drop(seal);
        ledger.close().expect("an orderly end");
        let again = digests(directory.path(), "2026-03-01T20:00:00Z");
        let letters = until_written(&again, 3).await;
        let keys: Vec<&str> = letters.iter().map(|(key, _)| key.as_str()).collect();
        let wanted = [
            "digest-day-2026-02-28-ana-email:ana@example.org",
            "digest-day-2026-03-01-ana-email:ana@example.org",
            "digest-week-2026-02-23-ana-email:ana@example.org",
        ];
        assert_eq!(keys, wanted);
        for ((key, created), due) in
            letters.iter().zip(["2026-03-01T06:00:00Z", "2026-03-02T06:00:00Z", "2026-03-02T06:00:00Z"])
        {
            let due: Timestamp = due.parse().expect("an instant");
            // The clock runs 7,200 times as fast: six hours are 3 s.
            assert!(*created >= due && created.since(due) < Duration::from_secs(21_600), "{key}: {created}");
        }
    }

    // Own promise: a damaged record costs what it said and no more, and that is told. Of 60 records,
    // one an hour, each second one is damaged; the day has 12 that are not. Looked through are those
    // from an hour before it on, so that 19 that are damaged may be of it: 22, 24 … 58.
    #[tokio::test]
    async fn a_digest_goes_past_damage_and_says_so() {
        let directory = tempfile::tempdir().expect("a directory");
        let digests = digests(directory.path(), "2026-03-01T00:00:00Z");
        let start: Timestamp = "2026-03-01T00:00:00Z".parse().expect("an instant");
        let at = |hours: u64| start.plus(Duration::from_secs(hours * 3_600));
        let note = |hours| {
            let check = Check::Supply {
                at: at(hours),
                enough: false,
                short: Vec::new(),
                note: None,
                by: "ana".to_owned(),
            };
            let record = Record::new(at(hours), Some("dm1".to_owned()), Body::Check(check));
            NewRecord { record, trace: None }
        };
        let records = (0..60).map(note).collect();
        digests.ledger.append(Append { records, ..Append::default() }).await.expect("an append");
        let path = digests.ledger.path().to_owned();
        let connection = rusqlite::Connection::open(&path).expect("a second connection");
        connection
            .execute_batch("DROP TRIGGER record_stays; UPDATE record SET bytes = x'7b7d' WHERE idx % 2 = 0;")
            .expect("a damaged ledger");
        let reader = Reader::open(&path).expect("a reader");
        let span = (Span::Day, at(24), at(48));
        let (digest, _) = tell(&reader, span, &TimeZone::UTC, &[], "/k").expect("a digest");
        assert_eq!((digest.failed_checks.len(), digest.unreadable), (12, 19));
    }

    // Local midnights and the change to summer time of 2026-03-29 in Berlin by the IANA time zone
    // database; the rule is this program's own.
    #[test]
    fn the_hour_of_a_digest_comes_once_a_day() {
        let zone = TimeZone::get("Europe/Berlin").expect("a zone of the database");
        let at: Time = "02:30:00".parse().expect("a time");
        for (now, due) in [
            ("2026-03-28T01:29:59Z", "2026-03-27"),
            ("2026-03-28T01:30:00Z", "2026-03-28"),
            // 02:30 does not exist on the 29th; it is told at 03:30 summer time.
            ("2026-03-29T01:29:59Z", "2026-03-28"),
            ("2026-03-29T01:30:00Z", "2026-03-29"),
            ("2026-10-25T00:30:00Z", "2026-10-25"),
            ("2026-10-25T01:30:00Z", "2026-10-25"),
        ] {
            let now: Timestamp = now.parse().expect("an instant");
            assert_eq!(latest_due(&zone, at, now), due.parse().ok(), "{now}");
        }
    }
}
