//! Letters into words: what a channel sends is made when it is sent.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::digest::Kept;
use super::letters::Content;
use crate::alert::email::{Mail, Picture};
use crate::alert::event::{CloudEvent, Envelope, source};
use crate::alert::message::data::AlertData;
use crate::alert::message::{Facts, Illustration, Message, compose};
use crate::app::ledger::LedgerHandle;
use crate::config::load::Loaded;
use crate::core::alert::{Contact, Notice, Occasion, Route, Settings};
use crate::core::cycle::plate::Profile;
use crate::core::reader::{self, Language, Scale};
use crate::core::record::{Body, Cycle};
use crate::core::time::Timestamp;
use crate::ledger::{Append, Bookmark, LedgerError, Reader};
use crate::report::plot::{self, Size};
use crate::runtime::clock::Clock;
use crate::web::link::{Link, LinkKey};

/// Content id of the trace in a mail.
const PICTURE: &str = "trace";
/// Name of the bookmark that tells this gateway from every other: some random bytes.
const ORIGIN: &str = "origin";

/// How links are made.
#[derive(Clone, Debug)]
pub(in crate::app) struct Links {
    /// Signs them.
    pub(in crate::app) key: LinkKey,
    /// What they begin with.
    pub(in crate::app) public_url: String,
    /// How long they last.
    pub(in crate::app) life: std::time::Duration,
}

/// Everything that words depend on.
#[derive(Debug)]
pub(in crate::app) struct Composer {
    site: String,
    pub(in crate::app) source: String,
    /// Tells this gateway from every other.
    origin: String,
    settings: Settings,
    pub(in crate::app) public_url: Option<String>,
    call: Option<String>,
    /// Whether each machine sanitizes by a chemical.
    chemical: BTreeMap<String, bool>,
    /// The machines, which checks are judged by.
    machines: Vec<Profile>,
    links: Option<Links>,
    clock: Clock,
    reader: Mutex<Reader>,
    /// The digest that was counted last.
    pub(super) kept: Kept,
}

impl Composer {
    /// # Errors
    /// The ledger's, which pictures are drawn from.
    pub(in crate::app) fn new(
        loaded: &Loaded,
        ledger: &Path,
        clock: &Clock,
        links: Option<Links>,
    ) -> Result<Self, LedgerError> {
        let configuration = &loaded.configuration;
        let reader = Reader::open(ledger)?;
        let origin = reader.bookmark(ORIGIN)?.map_or_else(fresh_origin, |kept| hexadecimal(&kept));
        let machines = configuration.machines.iter();
        Ok(Self {
            site: configuration.site.clone(),
            source: source(&configuration.site, &origin),
            origin,
            settings: configuration.alerts.clone(),
            public_url: configuration.web.as_ref().and_then(|web| web.public_url.clone()),
            call: configuration.call.clone(),
            chemical: machines.map(|m| (m.name.clone(), m.sanitizing.is_chemical())).collect(),
            machines: configuration.machines.clone(),
            links,
            clock: clock.clone(),
            reader: Mutex::new(reader),
            kept: Kept::default(),
        })
    }

    pub(in crate::app) fn site(&self) -> &str {
        &self.site
    }

    /// What tells this gateway from every other, for as long as its ledger lasts.
    pub(in crate::app) fn origin(&self) -> &str {
        &self.origin
    }

    pub(in crate::app) fn machines(&self) -> &[Profile] {
        &self.machines
    }

    pub(in crate::app) fn settings(&self) -> &Settings {
        &self.settings
    }

    pub(in crate::app) fn now(&self) -> Timestamp {
        self.clock.now()
    }

    pub(in crate::app) fn contact(&self, name: &str) -> Option<&Contact> {
        self.settings.contacts.iter().find(|contact| contact.name == name)
    }

    /// Somebody who reads in this language and on this scale, in the zone of the site.
    pub(in crate::app) fn reading(&self, language: Language, scale: Scale) -> reader::Reader {
        reader::Reader { language, scale, zone: self.settings.zone.clone() }
    }

    /// The concentrations that a machine permits, mg/L.
    fn permitted(&self, machine: &str) -> Option<(f64, f64)> {
        let own = self.machines.iter().find(|own| own.name == machine)?;
        own.sanitizer.permitted(own.sanitizing).map(|range| range.into_inner())
    }

    /// The words of a notice that was written down at `written`.
    pub(in crate::app) fn words(
        &self,
        notice: &Notice,
        written: Timestamp,
        picture: Option<&Illustration<'_>>,
    ) -> Message {
        let link = self.link(notice, written);
        let machine = notice.alert.machine.as_deref();
        let facts = Facts {
            site: &self.site,
            zone: &self.settings.zone,
            written,
            chemical: machine.is_some_and(|machine| self.chemical.get(machine).copied().unwrap_or(false)),
            permitted: machine.and_then(|machine| self.permitted(machine)),
            call: self.call.as_deref(),
            link: link.as_deref(),
        };
        compose(notice, &facts, picture)
    }

    /// The address of the page of an alert for the contact. A message that is sent again later
    /// carries the same link, since it lasts from when the letter was written.
    fn link(&self, notice: &Notice, written: Timestamp) -> Option<String> {
        let links = self.links.as_ref()?;
        if notice.alert.number.0 == 0 {
            return None;
        }
        let expires = written.plus(links.life);
        let link = Link { alert: notice.alert.number.0, contact: notice.contact.clone(), expires };
        Some(format!("{}/alert/{}", links.public_url, links.key.token(&link)))
    }

    /// A notice as a mail: in full, or for a text gateway in its short form.
    pub(in crate::app) fn mail(&self, key: &str, content: &Content, written: Timestamp) -> Option<Mail> {
        let (notice, route) = match content {
            Content::Notice { notice, route } => (notice, route),
            Content::Digest { span, first, contact, route } => {
                return self.digest_mail(key, (*span, first), contact, route, written);
            }
        };
        let (to, is_short) = match route {
            Route::Email(to) => (to.clone(), false),
            Route::Text(to) => (to.clone(), true),
            Route::Webhook(_) | Route::Mqtt => return None,
        };
        let thread = format!("alert-{}", notice.alert.number);
        let png = if is_short { None } else { self.picture(notice) };
        let description = notice.alert.machine.clone().unwrap_or_default();
        let illustration = Illustration { id: PICTURE, description: &description };
        let words = self.words(notice, written, png.as_ref().map(|_| &illustration));
        let (text, html, pictures) = if is_short {
            (words.short, None, Vec::new())
        } else {
            let pictures = png.map(|png| Picture { id: PICTURE.to_owned(), png });
            (words.text, Some(words.html), pictures.into_iter().collect())
        };
        Some(Mail {
            key: key.to_owned(),
            thread,
            to,
            at: written,
            subject: words.subject,
            text,
            html,
            pictures,
        })
    }

    /// A notice as an event for programs.
    pub(in crate::app) fn event(
        &self,
        key: &str,
        content: &Content,
        written: Timestamp,
    ) -> Option<CloudEvent> {
        let notice = match content {
            Content::Notice { notice, .. } => notice,
            Content::Digest { span, first, contact, .. } => {
                return self.digest_event(key, (*span, first), contact, written);
            }
        };
        let words = self.words(notice, written, None);
        let data = AlertData::new(notice, &self.site, words.content.headline, self.link(notice, written));
        let envelope = Envelope { key, source: &self.source, at: written };
        CloudEvent::of_notice(&envelope, notice, &data)
            .inspect_err(|error| tracing::error!(%error, key, "an event cannot be written down"))
            .ok()
    }

    /// The trace of the latest affected rack. A message goes without a picture rather than not at all.
    fn picture(&self, notice: &Notice) -> Option<Vec<u8>> {
        let shows_racks = !matches!(notice.occasion, Occasion::Test | Occasion::Closed);
        let rack = notice.alert.racks.last().filter(|_| shows_racks)?;
        let drawn = self.drawn(rack.index, notice);
        drawn.inspect_err(|error| tracing::warn!(error, "a message goes without its picture")).ok().flatten()
    }

    fn drawn(&self, index: u64, notice: &Notice) -> Result<Option<Vec<u8>>, String> {
        let (cycle, trace) = {
            let reader = self.reader();
            let trace = reader.trace(index).map_err(|error| error.to_string())?;
            (cycle_at(&reader, index).map_err(|error| error.to_string())?, trace)
        };
        let (Some(cycle), Some(trace)) = (cycle, trace) else { return Ok(None) };
        let eye = reader::Reader {
            language: notice.language,
            scale: notice.units,
            zone: self.settings.zone.clone(),
        };
        let machine = notice.alert.machine.as_deref().unwrap_or_default();
        let plot = plot::cycle::plot(machine, &cycle, &trace, &eye);
        plot.png(Size::MAIL).map(Some).map_err(|error| error.to_string())
    }

    pub(in crate::app) fn reader(&self) -> MutexGuard<'_, Reader> {
        self.reader.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn cycle_at(reader: &Reader, index: u64) -> Result<Option<Box<Cycle>>, LedgerError> {
    let mut found = None;
    reader.records(index, |_, _, record| {
        if let Body::Cycle(cycle) = record.body {
            found = Some(cycle);
        }
        std::ops::ControlFlow::Break(())
    })?;
    Ok(found)
}

/// Puts what tells this gateway from every other into the ledger, where it is not there yet: a
/// letter that is sent again after a restart must bear the same name.
///
/// # Errors
/// The ledger's.
pub(in crate::app) async fn name_gateway(ledger: &LedgerHandle) -> Result<(), LedgerError> {
    if Reader::open(ledger.path())?.bookmark(ORIGIN)?.is_some() {
        return Ok(());
    }
    let state = random().to_be_bytes().to_vec();
    let append = Append { bookmarks: vec![Bookmark { name: ORIGIN.to_owned(), state }], ..Append::default() };
    ledger.append(append).await.map(drop).map_err(|refused| refused.error)
}

fn fresh_origin() -> String {
    hexadecimal(&random().to_be_bytes())
}

fn random() -> u64 {
    getrandom::u64().unwrap_or_default()
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
