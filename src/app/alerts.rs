//! Alerts at work: the task that drives the desk, and the ways to it.
//!
//! The desk reads what was committed, is told of time, of the gateway's health and of
//! what people do, and commits what follows from it through its [`clerk`]. It runs
//! behind the record: a rack is judged and on record before anybody is told of it.
//! The courier sends what the desk's commits put into the outbox.

pub(super) mod clerk;
pub(super) mod compose;
pub(super) mod counter;
mod digest;
pub(super) mod doubts;
pub(super) mod entered;
mod health;
mod lanes;
pub(super) mod letters;
pub(super) mod missed;
mod outbox;
pub(super) mod pages;
pub(super) mod past;
pub(super) mod racks;
mod service;
pub(super) mod start;
mod states;
pub(super) mod story;
mod stumble;
mod tank;
#[cfg(test)]
mod tests;
pub(super) mod trial;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::{Mutex, mpsc, oneshot, watch};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use self::clerk::{Clerk, ClerkError};
use self::start::Surroundings;
use self::stumble::Stumble;
use self::tank::Tanks;
use super::ledger::{LedgerHandle, Tide};
use super::live::Tap;
use super::logbook::{self, Entry, Prepared, Way};
use super::order::{Done, Order, Problem};
use super::work;
use crate::config::resolve::Configuration;
use crate::core::alert::dialog::SAID_EVERY;
use crate::core::alert::{self, Alert, AlertNumber, Event, Foreseen, Settings};
use crate::core::channel::Probe;
use crate::core::id::ChannelId;
use crate::core::record::Record;
use crate::core::site::Entered;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};
use crate::runtime::clock::Clock;
use crate::runtime::driver as runtime;
use crate::series::pump::Standing;

/// People waiting for the desk; one more waits for a place.
const ASKS_MAX: usize = 64;
/// How often the gateway's own health is looked at.
const HEALTH_EVERY: Duration = Duration::from_secs(60);
/// Longest wait for that.
const HEALTH_MAX: Duration = Duration::from_secs(2);
/// When it is first looked at: time services need a moment after a start.
const HEALTH_FIRST: Duration = Duration::from_secs(10);
/// Longest sleep of the desk, and longest time for which a bookmark that nothing
/// depends on is left behind.
const SLEEP_MAX: Duration = Duration::from_secs(60);

/// Longest wait for the desk to look at an entry (own choice: it takes some milliseconds, and nobody waits for longer at
/// a page). Past it the page is shown as it is.
const LOOK_MAX: Duration = Duration::from_secs(1);

/// What somebody asks the desk's task for.
#[derive(Debug)]
enum Ask {
    /// To do something.
    Order(Order, oneshot::Sender<Result<Done, Problem>>),
    /// To put what a person entered on record; answered with its index.
    Record(Box<Record>, oneshot::Sender<Option<u64>>),
    /// The desk as it stands about one alert.
    Alone(AlertNumber, oneshot::Sender<Option<alert::Desk>>),
    /// Which alerts are open, and whether every record was looked at.
    Open(oneshot::Sender<(Vec<Alert>, bool)>),
}

/// The way to the desk's task, for door and pages.
#[derive(Clone, Debug)]
pub(super) struct Reception {
    desk: mpsc::Sender<Ask>,
    checks: mpsc::Sender<runtime::Entry>,
    configuration: Arc<Configuration>,
    /// Held while something is entered: what is in force of a probe follows from what is on record.
    entering: Arc<Mutex<()>>,
    /// Entries that have ended.
    ended: Arc<AtomicU64>,
    /// The first record that the desk has not looked at.
    looked: watch::Receiver<u64>,
    /// Shows what is in force from then on.
    tap: Tap,
    ledger: Arc<Path>,
    clock: Clock,
}

impl Reception {
    /// Does an order; answers when it is on record.
    ///
    /// # Errors
    /// [`Problem`] where it is refused, or the desk is not there.
    pub(super) async fn perform(&self, order: Order) -> Result<Done, Problem> {
        if let Order::Entry { entry } = order {
            return self.enter(entry).await;
        }
        let works = matches!(order, Order::Maintenance { .. } | Order::Dialog { .. });
        let (answer, answered) = oneshot::channel();
        self.desk.send(Ask::Order(order, answer)).await.map_err(|_| gone())?;
        let done = answered.await.map_err(|_| gone())??;
        if works && done.record.is_some() {
            self.tell_work().await?;
        }
        Ok(done)
    }

    /// Tells the core what is on record of work on the machines. Where that cannot be done the order is on
    /// record all the same, and the core hears of it with the next one, or at the next start.
    async fn tell_work(&self) -> Result<(), Problem> {
        let _alone = self.entering.lock().await;
        let (configuration, ledger) = (Arc::clone(&self.configuration), Arc::clone(&self.ledger));
        let read =
            tokio::task::spawn_blocking(move || work::on_record(&configuration, &Reader::open(&ledger)?));
        let told = read.await.map_err(|_| gone())?.map_err(|error| logbook::unread(&error))?;
        for (machine, times) in told {
            let entry = runtime::Entry {
                machine,
                entered: Entered::Work(times),
                // It makes no record whose index anybody could wait for.
                answer: oneshot::channel().0,
            };
            self.checks.send(entry).await.map_err(|_| gone())?;
        }
        Ok(())
    }

    /// Grows with each entry that is on record, before whoever asked for it is answered: what was read of the
    /// record while this was less may lack it.
    pub(super) fn ended(&self) -> u64 {
        self.ended.load(Ordering::Acquire)
    }

    /// Waits until the desk has looked at a record and what follows from it is on record too, at most [`LOOK_MAX`]: whoever
    /// entered it is shown the alert that it raised.
    pub(super) async fn looked_at(&self, record: u64) {
        let mut looked = self.looked.clone();
        let looked = looked.wait_for(|next| *next > record);
        // The alert of a desk that is late, or gone, is shown once it is there.
        drop(tokio::time::timeout(LOOK_MAX, looked).await);
    }

    /// Judges an entry and puts it on record. What is begun is ended, also where whoever asked has
    /// gone meanwhile: the next entry is judged by what is on record then.
    async fn enter(&self, entry: Entry) -> Result<Done, Problem> {
        let reception = self.clone();
        #[expect(clippy::disallowed_methods, reason = "its end is waited for, by whoever asks")]
        let entering = tokio::spawn(async move {
            let ended = Arc::clone(&reception.ended);
            let done = reception.enter_alone(entry).await;
            ended.fetch_add(1, Ordering::Release);
            done
        });
        entering.await.map_err(|_| gone())?
    }

    /// A concentration goes through the core, which judges cycles by it, and a calibration through the
    /// core, which corrects by it; the desk reads their records.
    async fn enter_alone(self, entry: Entry) -> Result<Done, Problem> {
        let _alone = self.entering.lock().await;
        let (configuration, ledger, now) =
            (Arc::clone(&self.configuration), Arc::clone(&self.ledger), self.clock.now());
        let open = move || Reader::open(&ledger).map_err(|error| logbook::unread(&error));
        let prepared =
            tokio::task::spawn_blocking(move || logbook::prepare(entry, &configuration, now, open));
        let Prepared { machine, way, judged, recorded, late_s } = prepared.await.map_err(|_| gone())??;
        let record = match way {
            Way::Core(machine, entered) => {
                let shown = in_force_by(&entered);
                let (answer, answered) = oneshot::channel();
                let entry = runtime::Entry { machine, entered, answer };
                self.checks.send(entry).await.map_err(|_| gone())?;
                let record = answered.await.map_err(|_| gone())?;
                if let Some((channel, probe)) = shown {
                    self.tap.put_in_force(channel, probe);
                }
                Some(record)
            }
            Way::Ledger(record) => {
                let (answer, answered) = oneshot::channel();
                self.desk.send(Ask::Record(record, answer)).await.map_err(|_| gone())?;
                answered.await.map_err(|_| gone())?
            }
        };
        if let Some(judged) = judged.as_ref().filter(|judged| judged.judgement.good == Some(false)) {
            let (check, machine) = (judged.check.as_str(), machine.as_deref().unwrap_or("site"));
            tracing::warn!(check, machine, record, "a check that was entered failed");
        }
        Ok(Done { record, judged, recorded, late_s, ..Done::default() })
    }

    /// The open alerts, and whether every record was looked at.
    ///
    /// # Errors
    /// [`Problem`] where the desk is not there.
    pub(super) async fn open(&self) -> Result<(Vec<Alert>, bool), Problem> {
        let (answer, answered) = oneshot::channel();
        self.desk.send(Ask::Open(answer)).await.map_err(|_| gone())?;
        answered.await.map_err(|_| gone())
    }

    /// What comes of an open alert if nobody does anything; `None` where nothing is waited for. It is reckoned apart
    /// from the desk's task.
    ///
    /// # Errors
    /// [`Problem`] where the desk is not there.
    pub(super) async fn foreseen(&self, alert: AlertNumber) -> Result<Option<Foreseen>, Problem> {
        let (answer, answered) = oneshot::channel();
        self.desk.send(Ask::Alone(alert, answer)).await.map_err(|_| gone())?;
        let Some(desk) = answered.await.map_err(|_| gone())? else { return Ok(None) };
        let now = self.clock.now();
        tokio::task::spawn_blocking(move || desk.foreseen(now, alert)).await.map_err(|_| gone())
    }
}

/// The probe that an entry changes.
fn in_force_by(entered: &Entered) -> Option<(ChannelId, Probe)> {
    match entered {
        Entered::Probe { channel, probe, .. } => Some((*channel, (**probe).clone())),
        Entered::Check(_) | Entered::Amended { .. } | Entered::Work(_) => None,
    }
}

fn gone() -> Problem {
    Problem::new(
        "ledger-write",
        "the alerts cannot be reached just now",
        "try again in a minute; see the log of the service",
    )
}

/// What every run of the desk's task stands on.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    settings: Settings,
    ledger: LedgerHandle,
    clock: Clock,
    tanks: Arc<Tanks>,
    machines: Arc<[String]>,
    series: Option<watch::Receiver<Standing>>,
    looked: watch::Sender<u64>,
    asks: Arc<Mutex<mpsc::Receiver<Ask>>>,
    stumble: Arc<Stumble>,
}

impl Ground {
    /// What the desk stands on, and the way to it.
    pub(super) fn new(
        around: &Surroundings<'_>,
        series: Option<watch::Receiver<Standing>>,
    ) -> (Self, Reception) {
        let Surroundings { loaded, ledger, clock, checks, .. } = *around;
        let configuration = &loaded.configuration;
        let (desk, asks) = mpsc::channel(ASKS_MAX);
        let (sender, looked) = watch::channel(0);
        let machines: Arc<[String]> =
            configuration.machines.iter().map(|machine| machine.name.clone()).collect();
        let reception = Reception {
            desk,
            checks: checks.clone(),
            configuration: Arc::new(configuration.clone()),
            entering: Arc::default(),
            ended: Arc::default(),
            looked,
            tap: around.tap.clone(),
            ledger: ledger.path().into(),
            clock: clock.clone(),
        };
        let ground = Self {
            settings: configuration.alerts.clone(),
            ledger: ledger.clone(),
            clock: clock.clone(),
            tanks: Arc::new(Tanks::new(configuration)),
            machines,
            series,
            looked: sender,
            asks: Arc::new(Mutex::new(asks)),
            stumble: Arc::default(),
        };
        (ground, reception)
    }

    /// Marks the place from which on alerts are raised, where none is marked yet.
    ///
    /// # Errors
    /// The ledger's.
    async fn mark(&self) -> Result<(), LedgerError> {
        let marked = Clerk::open(self.settings.clone(), self.ledger.clone(), self.clock.now()).await;
        marked.map(drop).map_err(|ClerkError::Ledger(error)| error)
    }

    /// Runs the desk until the driver's last commit is behind it. After a failure it can be run
    /// again, from its bookmark.
    ///
    /// # Errors
    /// Where the ledger fails for good.
    pub(super) async fn run(self, last_commit: CancellationToken) -> Result<(), ClerkError> {
        // A cold rack whose alert was lost in a crash is raised at once, and never before the start.
        last_commit.run_until_cancelled(self.ledger.begun()).await;
        let clerk = Clerk::open(self.settings.clone(), self.ledger.clone(), self.clock.now()).await?;
        let clerk = clerk.watched_by(Arc::clone(&self.stumble));
        let tide = self.ledger.tide();
        let ground = self.clone();
        let mut asks = self.asks.lock().await;
        let desk = Desk { clerk, tide, ground, health_at: Instant::now() + HEALTH_FIRST };
        desk.run(&mut asks, last_commit).await
    }
}

/// One run of the desk's task.
#[derive(Debug)]
struct Desk {
    clerk: Clerk,
    tide: watch::Receiver<Tide>,
    ground: Ground,
    health_at: Instant,
}

impl Desk {
    async fn run(
        mut self,
        asks: &mut mpsc::Receiver<Ask>,
        last_commit: CancellationToken,
    ) -> Result<(), ClerkError> {
        loop {
            let ending = last_commit.is_cancelled();
            self.tide.borrow_and_update();
            let more = self.step().await?;
            self.ground.looked.send_replace(self.clerk.desk().next_record());
            if ending && !more {
                if self.clerk.is_behind() {
                    self.clerk.commit(self.ground.clock.now()).await?;
                }
                return Ok(());
            }
            let sleep = if more { Duration::ZERO } else { self.sleep() };
            tokio::select! {
                biased;
                Some(ask) = asks.recv() => self.answer(ask).await?,
                () = last_commit.cancelled(), if !ending => {}
                _ = self.tide.changed(), if !more => {}
                () = tokio::time::sleep(sleep) => {}
            }
        }
    }

    /// Tells the desk what is new, and commits what follows; `true` where more records wait.
    async fn step(&mut self) -> Result<bool, ClerkError> {
        let now = self.ground.clock.now();
        let more = self.clerk.read_on(now)?;
        if self.clerk.desk().deadline().is_some_and(|due| due <= now) {
            self.clerk.tell(now, Event::Tick);
        }
        if Instant::now() >= self.health_at {
            self.health_at = Instant::now() + HEALTH_EVERY;
            let (ledger, behind) = (self.ground.ledger.path().to_owned(), self.series_behind(now));
            let look = tokio::task::spawn_blocking(move || health::look(&ledger, behind));
            // A panic in it was told by the runtime; the next look is a minute away. A disk or a time
            // service that hangs must not keep a cold rack from being told.
            if let Ok(Ok(health)) = tokio::time::timeout(HEALTH_MAX, look).await {
                self.clerk.tell(now, Event::Health(health));
            }
        }
        for machine in self.clerk.tanks_asked() {
            let read = self.ground.tanks.read(&machine, self.clerk.reader(), now)?;
            let (at, celsius) = read.map_or((now, None), |(at, celsius)| (at, Some(celsius)));
            self.clerk.tell(now, Event::Tank { machine: &machine, at, celsius });
        }
        if self.clerk.is_due() {
            self.clerk.commit(now).await?;
        }
        Ok(more)
    }

    /// Age of the oldest reading that the time series server has not taken.
    fn series_behind(&self, now: Timestamp) -> Option<Duration> {
        let standing = self.ground.series.as_ref()?.borrow();
        Some(standing.oldest.map_or(Duration::ZERO, |oldest| now.since(oldest)))
    }

    fn sleep(&self) -> Duration {
        let due = self.clerk.desk().deadline().map(|due| self.ground.clock.wait_until(due));
        let health = self.health_at.saturating_duration_since(Instant::now());
        due.unwrap_or(SLEEP_MAX).min(health).min(SLEEP_MAX)
    }

    async fn answer(&mut self, ask: Ask) -> Result<(), ClerkError> {
        let now = self.ground.clock.now();
        match ask {
            Ask::Order(order, answer) => {
                let of_dialog = matches!(order, Order::Dialog { .. });
                let mut done = counter::perform(&mut self.clerk, now, order).await?;
                if let Ok(done) = &mut done
                    && of_dialog
                {
                    let again = self.ground.clock.wait_until(now.plus(SAID_EVERY));
                    (done.heard, done.again_s) = (Some(now), Some(again.as_secs_f64()));
                }
                // Whoever asked may have gone; it is on record all the same.
                drop(answer.send(done));
            }
            Ask::Record(record, answer) => {
                let index = counter::put(&mut self.clerk, now, *record).await?;
                if answer.send(index).is_err() {
                    tracing::info!(record = index, "whoever entered it has gone; it is on record");
                }
            }
            Ask::Alone(alert, answer) => drop(answer.send(self.clerk.desk().alone(alert))),
            Ask::Open(answer) => {
                let up_to_date = self.clerk.desk().next_record() >= self.tide.borrow().records;
                let alerts = self.clerk.desk().alerts().cloned().collect();
                drop(answer.send((alerts, up_to_date)));
            }
        }
        Ok(())
    }
}
