//! Lists, page by page: the lines of `history --json`, and what is known just now.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use serde::Deserialize;
use serde_json::{Value, json};

use super::super::House;
use super::place::{Place, follows_place, no_cursor};
use super::{failed, refused, shown};
use crate::app::alerts::story;
use crate::app::enter;
use crate::app::history::{self, Asked as Question, Kept};
use crate::cli::{FormArgs, HistoryArgs, Judged, Show};
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::core::alert::AlertNumber;
use crate::core::alert::doubts::Doubts;
use crate::core::reader::{Language, Reader as Eyes, Scale};
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::core::wall_clock;
use crate::core::wall_clock::local_date;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter, Subject};
use crate::report::alerts as told;
use crate::web::api::{Asked, Rows, State, Trouble, View, When};
use crate::web::now::{Data, Glance, Glances};

/// A page that consists of damaged records alone is made so many times as long, to get past them.
const LONGER: usize = 16;

impl House {
    pub(super) async fn page(&self, asked: Asked) -> Result<Rows, Trouble> {
        if let Some(name) = &asked.machine {
            self.machine_known(name).await?;
        }
        between(asked.from, asked.to, &self.loaded.configuration.alerts.zone)?;
        match asked.view {
            View::Machines => self.machines().await,
            View::Probes => self.probes_shown(asked.machine.as_deref()).await,
            View::Due => self.due_rows(asked).await,
            View::Alerts => self.alerts(asked).await,
            View::Cycles | View::Checks | View::Records => self.by_index(asked).await,
            View::Days | View::Summary | View::Gaps => self.by_time(asked).await,
        }
    }

    /// A name that is mistyped must not look like a machine of which there is nothing.
    async fn machine_known(&self, name: &str) -> Result<(), Trouble> {
        if self.loaded.configuration.machines.iter().any(|machine| machine.name == name) {
            return Ok(());
        }
        let known = self.readers.ask(Reader::machines).await?;
        if known.iter().any(|known| known == name) {
            return Ok(());
        }
        let own = self.loaded.configuration.machines.iter().map(|machine| machine.name.to_string());
        Err(Trouble::no_machine(name, own.chain(known).collect()))
    }

    async fn machines(&self) -> Result<Rows, Trouble> {
        let glances = self.glances(&self.eyes()).await?.machines;
        Ok(whole(glances.iter().map(|glance| of_glance(glance).to_string()).collect()))
    }

    /// Words of what has words.
    pub(super) fn eyes(&self) -> Eyes {
        let zone = self.loaded.configuration.alerts.zone.clone();
        Eyes { language: Language::English, scale: Scale::Celsius, zone }
    }

    async fn due_rows(&self, asked: Asked) -> Result<Rows, Trouble> {
        let (loaded, now) = (Arc::clone(&self.loaded), self.clock.now());
        let checks = self.readers.ask(move |ledger| enter::due_by(ledger, &loaded.configuration.alerts, now));
        let checks = checks.await?;
        let wanted = |machine: &str| asked.machine.as_deref().is_none_or(|name| name == machine);
        let rows = checks.iter().filter(|due| wanted(&due.machine)).map(serde_json::to_string);
        rows.collect::<Result<_, _>>().map(whole).map_err(|_| Trouble::NotNow)
    }

    /// Lists whose cursor is the number of a record.
    async fn by_index(&self, asked: Asked) -> Result<Rows, Trouble> {
        let after = asked.after.as_deref().map(number).transpose()?;
        let (loaded, path, now) = self.for_question();
        let (doubts, kept) = (self.doubts.clone(), self.kept.clone());
        let found = self.readers.ask(move |ledger| {
            ledger.in_one_state(|size| {
                let (configuration, doubts) = (&loaded.configuration, doubts.fresh(ledger)?);
                let ground = By { ledger, path: &path, configuration, now, size, doubts, kept };
                Ok::<_, LedgerError>(by_index(&ground, &asked, after))
            })
        });
        found.await?
    }

    /// Lists that are reckoned from the whole span.
    async fn by_time(&self, asked: Asked) -> Result<Rows, Trouble> {
        let after = asked.after.as_deref().map(|text| Place::read(asked.view, text)).transpose()?;
        let (loaded, path, now) = self.for_question();
        let (doubts, kept) = (self.doubts.clone(), self.kept.clone());
        let found = self.readers.ask(move |ledger| {
            let doubts = doubts.fresh(ledger)?;
            let span = span(ledger, &loaded.configuration, &asked)?;
            let show = shown(asked.view).unwrap_or_default();
            let arguments = arguments(show, &asked);
            let question = Question { arguments: &arguments, from: span.0, to: span.1, now, doubts, kept };
            Ok(history::told(ledger, &path, &loaded.configuration.alerts, &question)
                .map(|told| (told, asked)))
        });
        let ((bytes, damaged), asked) = found.await?.map_err(|failure| failed(&failure))?;
        let (mut items, mut last, mut more) = (Vec::new(), None, false);
        for row in lines(&bytes)? {
            let place = Place::of(asked.view, &row)?;
            if !follows_place(place.as_ref(), after.as_ref(), asked.oldest_first) {
                continue;
            }
            if items.len() == asked.limit {
                more = true;
                break;
            }
            items.push(row);
            last = place;
        }
        let next = last.filter(|_| more).map(|last| last.to_string());
        Ok(Rows { items, next, damaged, size: None })
    }

    async fn alerts(&self, asked: Asked) -> Result<Rows, Trouble> {
        let after = asked.after.as_deref().map(number).transpose()?;
        if asked.state == Some(State::Open) {
            return self.open_alerts(&asked, after).await;
        }
        let loaded = Arc::clone(&self.loaded);
        let found = self.readers.ask(move |ledger| {
            ledger.in_one_state(|size| alerts(ledger, &loaded.configuration, &asked, after, size))
        });
        found.await?
    }

    /// Those that the desk holds open: however long ago they were raised, it knows them all.
    async fn open_alerts(&self, asked: &Asked, after: Option<u64>) -> Result<Rows, Trouble> {
        let (mut open, _) = self.reception.open().await.map_err(refused)?;
        let zone = &self.loaded.configuration.alerts.zone;
        let (from, to) = (asked.from.map(|at| start(at, zone)), asked.to.map(|at| end(at, zone)));
        open.retain(|alert| {
            (asked.machine.is_none() || alert.machine == asked.machine)
                && from.is_none_or(|from| alert.raised >= from)
                && to.is_none_or(|to| alert.raised < to)
        });
        open.sort_by_key(|alert| alert.number);
        if !asked.oldest_first {
            open.reverse();
        }
        let oldest = asked.oldest_first;
        open.retain(|alert| {
            after.is_none_or(|after| if oldest { alert.number.0 > after } else { alert.number.0 < after })
        });
        let more = open.len() > asked.limit;
        open.truncate(asked.limit);
        let next = open.last().filter(|_| more).map(|alert| alert.number.to_string());
        let items =
            open.iter().map(|alert| line(|out| told::json(out, alert, None))).collect::<Result<_, _>>()?;
        Ok(Rows { items, next, damaged: Vec::new(), size: None })
    }

    fn for_question(&self) -> (Arc<Loaded>, std::path::PathBuf, Timestamp) {
        (Arc::clone(&self.loaded), self.path.to_path_buf(), self.clock.now())
    }
}

/// A list that is told whole.
pub(super) fn whole(items: Vec<String>) -> Rows {
    Rows { items, ..Rows::default() }
}

/// A cursor.
fn number(text: &str) -> Result<u64, Trouble> {
    text.parse().ok().filter(|number| i64::try_from(*number).is_ok()).ok_or_else(no_cursor)
}

/// What a list by records is made from.
struct By<'l> {
    ledger: &'l Reader,
    path: &'l Path,
    configuration: &'l Configuration,
    now: Timestamp,
    /// Number of records.
    size: u64,
    doubts: Arc<Doubts>,
    kept: Kept,
}

fn by_index(ground: &By<'_>, asked: &Asked, after: Option<u64>) -> Result<Rows, Trouble> {
    let &By { ledger, path, configuration, now, size, ref doubts, ref kept } = ground;
    let show = shown(asked.view).unwrap_or_default();
    if let Some(after) = after {
        follows(ledger, after, size, show)?;
    }
    let zone = &configuration.alerts.zone;
    let (from, to) = (asked.from.map(|at| start(at, zone)), asked.to.map(|at| end(at, zone)));
    let mut limit = asked.limit + 1;
    loop {
        let arguments = HistoryArgs { after, limit: Some(limit), ..arguments(show, asked) };
        let (doubts, kept) = (Arc::clone(doubts), kept.clone());
        let question = Question { arguments: &arguments, from, to, now, doubts, kept };
        let told = history::told(ledger, path, &configuration.alerts, &question);
        let (bytes, damaged) = told.map_err(|failure| failed(&failure))?;
        let mut items = lines(&bytes)?;
        let full = items.len() + damaged.len() >= limit;
        if full && items.is_empty() {
            limit = limit.saturating_mul(LONGER);
            continue;
        }
        items.truncate(asked.limit);
        let next = items.last().filter(|_| full).map(|item| index_of(item)).transpose()?;
        return Ok(Rows { items, next: next.map(|next| next.to_string()), damaged, size: Some(size) });
    }
}

/// Says where nothing can follow a record; with the wrong one the page would be empty, as if there were no more.
fn follows(ledger: &Reader, after: u64, size: u64, show: Show) -> Result<(), Trouble> {
    let fits = after < size
        && match ledger.record(after).map_err(|error| unread(&error))? {
            Ok((_, record)) => matches!(record.body, Body::Cycle(_)) == (show == Show::Cycles),
            Err(_) => false,
        };
    if fits {
        return Ok(());
    }
    Err(Trouble::Unknown {
        detail: format!("nothing of this list follows record {after}"),
        advice: "take the link next of the page before as it is, or leave after away".to_owned(),
    })
}

fn unread(error: &LedgerError) -> Trouble {
    tracing::warn!(%error, "a program's question cannot be answered");
    Trouble::NotNow
}

/// The index by which a row can be followed.
fn index_of(row: &str) -> Result<u64, Trouble> {
    #[derive(Deserialize)]
    struct Indexed {
        #[serde(alias = "ledger_index")]
        index: u64,
    }
    serde_json::from_str::<Indexed>(row).map(|row| row.index).map_err(|_| Trouble::NotNow)
}

fn arguments(show: Show, asked: &Asked) -> HistoryArgs {
    let in_doubt = asked.in_doubt.then_some(Judged::InDoubt);
    HistoryArgs {
        show,
        machine: asked.machine.clone(),
        judged: asked.verdicts.iter().copied().map(Judged::As).chain(in_doubt).collect(),
        check: asked.check,
        kinds: asked.kinds.clone(),
        newest_first: !asked.oldest_first,
        oldest: asked.oldest_first,
        form: FormArgs { json: true, csv: false },
        ..HistoryArgs::default()
    }
}

/// The span of a list that is reckoned day by day: not from before the first day there is.
fn span(
    ledger: &Reader,
    configuration: &Configuration,
    asked: &Asked,
) -> Result<(Option<Timestamp>, Option<Timestamp>), LedgerError> {
    let zone = &configuration.alerts.zone;
    let (mut from, to) = (asked.from.map(|at| start(at, zone)), asked.to.map(|at| end(at, zone)));
    if asked.view != View::Gaps {
        let cycles = ledger.days_span(zone)?.map(|(first, _)| start(When::Day(first), zone));
        let begun = ledger.begun()?.and_then(|at| local_date(zone, at));
        let begun = begun.map(|first| start(When::Day(first), zone));
        let known = cycles.into_iter().chain(begun).min();
        from = from.map(|from| known.map_or(from, |known| from.max(known)));
    }
    Ok((from, to))
}

/// The instants that a span lies between, which does not end before it begins: the one place that says so.
pub(super) fn between(
    from: Option<When>,
    to: Option<When>,
    zone: &jiff::tz::TimeZone,
) -> Result<(Option<Timestamp>, Option<Timestamp>), Trouble> {
    let (from, to) = (from.map(|at| start(at, zone)), to.map(|at| end(at, zone)));
    if let (Some(from), Some(to)) = (from, to)
        && to <= from
    {
        return Err(Trouble::backwards());
    }
    Ok((from, to))
}

/// Where a span begins.
fn start(at: When, zone: &jiff::tz::TimeZone) -> Timestamp {
    match at {
        When::Instant(at) => at,
        When::Day(day) => wall_clock::day_begins(day, zone),
    }
}

/// The first instant after a span.
fn end(at: When, zone: &jiff::tz::TimeZone) -> Timestamp {
    match at {
        When::Instant(at) => at,
        When::Day(day) => wall_clock::day_ends(day, zone),
    }
}

fn lines(bytes: &[u8]) -> Result<Vec<String>, Trouble> {
    let text = std::str::from_utf8(bytes).map_err(|_| Trouble::NotNow)?;
    Ok(text.lines().map(str::to_owned).collect())
}

/// One line that is written as the commands write it.
pub(super) fn line(write: impl FnOnce(&mut Vec<u8>) -> std::io::Result<()>) -> Result<String, Trouble> {
    let mut bytes = Vec::new();
    write(&mut bytes).map_err(|_| Trouble::NotNow)?;
    String::from_utf8(bytes).map(|text| text.trim_end().to_owned()).map_err(|_| Trouble::NotNow)
}

/// The alerts that were raised, as far as they stand as asked.
fn alerts(
    ledger: &Reader,
    configuration: &Configuration,
    asked: &Asked,
    after: Option<u64>,
    size: u64,
) -> Result<Result<Rows, Trouble>, LedgerError> {
    if let Some(after) = after
        && let Err(trouble) = follows(ledger, after, size, Show::Alerts)
    {
        return Ok(Err(trouble));
    }
    let zone = &configuration.alerts.zone;
    let filter = RecordFilter {
        kinds: vec!["alert-raised".to_owned()],
        machine: asked.machine.clone(),
        from: asked.from.map(|at| start(at, zone)),
        to: asked.to.map(|at| end(at, zone)),
        after_index: after,
        ..RecordFilter::default()
    };
    let order = if asked.oldest_first { Order::OldestFirst } else { Order::NewestFirst };
    let (mut rows, mut last, mut failure) = (Rows { size: Some(size), ..Rows::default() }, None, None);
    ledger.events(order, &filter, |index, found| {
        let Ok((_, record)) = found else {
            rows.damaged.push(index);
            return ControlFlow::Continue(());
        };
        let Body::AlertRaised(raised) = &record.body else { return ControlFlow::Continue(()) };
        let (row, damaged) = match standing(ledger, (index, raised.alert), asked.state) {
            Ok(Ok(standing)) => standing,
            Ok(Err(trouble)) => {
                failure = Some(Ok(Err(trouble)));
                return ControlFlow::Break(());
            }
            Err(error) => {
                failure = Some(Err(error));
                return ControlFlow::Break(());
            }
        };
        if row.is_some() && rows.items.len() == asked.limit {
            rows.next = last.map(|last: u64| last.to_string());
            return ControlFlow::Break(());
        }
        rows.damaged.extend(damaged);
        if let Some(row) = row {
            rows.items.push(row);
            last = Some(index);
        }
        ControlFlow::Continue(())
    })?;
    failure.unwrap_or(Ok(Ok(rows)))
}

/// The row of an alert, where it stands as asked, and those of its records that are damaged: whatever they say of
/// how it stands is missing.
type Standing = (Option<String>, Vec<u64>);

fn standing(
    ledger: &Reader,
    (index, number): (u64, AlertNumber),
    state: Option<State>,
) -> Result<Result<Standing, Trouble>, LedgerError> {
    let (mut records, mut damaged) = (Vec::new(), Vec::new());
    for about in ledger.about(Subject::Alert(number.0))? {
        match ledger.record(about)? {
            Ok((_, record)) => records.push((about, record)),
            Err(_) => damaged.push(about),
        }
    }
    let Some(story) = story::told(ledger, &records)? else {
        // It was raised, and what is known of it does not say so.
        damaged.push(index);
        return Ok(Ok((None, damaged)));
    };
    if state == Some(State::Closed) && story.closed.is_none() {
        return Ok(Ok((None, damaged)));
    }
    Ok(line(|out| told::json(out, &story.alert, story.closed)).map(|row| (Some(row), damaged)))
}

/// A machine at a glance.
pub(super) fn of_glance(glance: &Glance) -> Value {
    let (data, last_reading) = match glance.data {
        Data::Live => ("live", None),
        Data::Old(at) => ("old", at),
        Data::None => ("none", None),
    };
    let last = glance.last.as_ref().map(|last| {
        json!({
            "record": last.record,
            "rinse_ended": last.ended,
            "verdict": last.verdict,
            "finding_codes": last.findings.iter().map(crate::report::words::finding_code).collect::<Vec<_>>(),
            "rinse_min_c": last.settled_c,
            "limit_c": last.limit_c,
            "uncertainty": last.uncertainty_c,
            "concentration_mg_per_l": last.mg_per_l,
        })
    });
    let verdicts =
        crate::core::cycle::verdict::Verdict::ALL.map(crate::core::cycle::verdict::Verdict::as_str);
    let today: serde_json::Map<String, Value> = verdicts
        .iter()
        .zip(glance.today)
        .map(|(verdict, count)| ((*verdict).to_owned(), count.into()))
        .collect();
    let alerts: Vec<Value> = glance
        .alerts
        .iter()
        .map(|alert| json!({ "number": alert.number, "headline": alert.headline, "acknowledged_by": alert.taken_by }))
        .collect();
    json!({
        "machine": glance.machine,
        "chemical": glance.chemical,
        "data": data,
        "last_reading": last_reading,
        "tank_c": glance.tank.map(|tank| tank.celsius),
        "tank_limit_c": glance.tank.map(|tank| tank.least_c),
        "last": last,
        "today": today,
        "alerts": alerts,
        "maintenance_until": glance.work_until,
    })
}
