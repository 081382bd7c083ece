//! Starts everything of alerts: the desk, the courier's lanes, pages, control socket, heartbeat.
//!
//! They end in order: the desk once the driver's last commit is behind it, then the
//! courier, after a moment for what that commit may have caused. What is left stays in
//! the outbox. A channel that cannot be prepared is told of and left out; its letters
//! wait, so that nothing is lost while somebody mends its settings.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::clerk::ClerkError;
use super::compose::{Composer, Links, name_gateway};
use super::digest::{self, Digests};
use super::lanes::{Lane, Now, Way};
use super::outbox::Outbox;
use super::pages::Shown;
use super::service::Counter;
use super::states::States;
use super::{Ground, Reception};
use crate::alert::courier;
use crate::alert::email::Mailer;
use crate::alert::heartbeat::{Heartbeat, Recording};
use crate::alert::publish::{self, Publisher};
use crate::alert::webhook::Webhook;
use crate::app::access::Keeper;
use crate::app::door::{Door, DoorError};
use crate::app::house::{self, House};
use crate::app::ledger::LedgerHandle;
use crate::app::live::Tap;
use crate::app::seal::Seal;
use crate::app::series::follow::SeriesHandle;
use crate::config::delivery::Pace;
use crate::config::load::Loaded;
use crate::config::resolve::WebOptions;
use crate::core::causes::chain;
use crate::ledger::{Append, Bookmark, LedgerError, Reader};
use crate::runtime::clock::Clock;
use crate::runtime::driver::{Entry, Pulse};
use crate::runtime::supervisor::Supervisor;
use crate::transport::secret::PrepareError;
use crate::web::access::Access;
use crate::web::frame::Site;
use crate::web::kitchen::Pages;
use crate::web::link::LinkKey;
use crate::web::router::site;
use crate::web::serve::{Front, serve};
use crate::web::tls::Identity;

/// Letters of a mail server under way at once (own choice: servers count connections).
const MAILS_AT_ONCE: usize = 2;
/// Letters of a webhook under way at once (own choice).
const EVENTS_AT_ONCE: usize = 4;
/// Letters of a broker under way at once (own choice).
const PUBLISHED_AT_ONCE: usize = 8;
/// How long the courier goes on after the desk's last commit.
const LAST_LETTERS: Duration = Duration::from_millis(300);
/// How long it waits for a desk that does not come to its end.
const DESK_MAX: Duration = Duration::from_millis(600);
/// How often it is looked whether the certificate of the pages was renewed (own choice: two looks at a file).
const RENEW_EVERY: Duration = Duration::from_secs(60);
/// Name of the bookmark by which the heartbeat proves that recording works.
const HEARTBEAT: &str = "heartbeat";

/// What all of it stands on.
pub(in crate::app) struct Surroundings<'a> {
    pub(in crate::app) loaded: &'a Loaded,
    pub(in crate::app) ledger: &'a LedgerHandle,
    pub(in crate::app) clock: &'a Clock,
    pub(in crate::app) last_commit: &'a CancellationToken,
    /// The way of checks into the core.
    pub(in crate::app) checks: &'a mpsc::Sender<Entry>,
    /// Signs checkpoints.
    pub(in crate::app) seal: &'a Seal,
    /// Where those who look on are told what arrives.
    pub(in crate::app) tap: &'a Tap,
    /// Who may come in; `None` where no page is served.
    pub(in crate::app) access: Option<&'a Keeper>,
    /// Whether the machines are simulated.
    pub(in crate::app) simulated: bool,
    /// Asks whether the driver still turns.
    pub(in crate::app) pulse: &'a Pulse,
    /// The way to the running series, where they are configured.
    pub(in crate::app) series: Option<SeriesHandle>,
}

/// Marks the place from which on alerts are raised, and starts it all. To be called before the
/// driver commits anything: what was before is told to nobody. The pages are served at `held`, or else where the
/// configuration says.
///
/// # Errors
/// The ledger's.
pub(in crate::app) async fn start(
    followers: &mut Supervisor,
    around: &Surroundings<'_>,
    held: Option<std::net::TcpListener>,
) -> Result<(), LedgerError> {
    let &Surroundings { loaded, ledger, clock, last_commit, .. } = around;
    let (ground, reception) = Ground::new(around, around.series.as_ref().map(SeriesHandle::standing));
    let configuration = &loaded.configuration;
    ground.mark().await?;
    name_gateway(ledger).await?;
    let key = configuration.web.as_ref().and_then(|_| link_key(ledger.path()));
    let links =
        configuration.web.as_ref().zip(key.clone()).and_then(|(web, key)| {
            Some(Links { key, public_url: web.public_url.clone()?, life: web.link_life })
        });
    let composer = Arc::new(Composer::new(loaded, ledger.path(), clock, links)?);

    let courier_stop = CancellationToken::new();
    start_desk(followers, &ground, last_commit, &courier_stop);
    if let Some(publisher) = start_lanes(followers, around, &composer, &courier_stop)? {
        start_states(followers, &ground, &reception, publisher, last_commit);
    }
    let counter = Counter::new(reception.clone(), Arc::clone(&composer), around);
    start_door(followers, configuration.socket.clone(), counter, last_commit);
    if let Some(((web, key), keeper)) = configuration.web.as_ref().zip(key).zip(around.access) {
        let ground = house::Ground {
            loaded,
            clock,
            tap: around.tap,
            reception: &reception,
            composer: &composer,
            ledger,
            seal: around.seal,
            edition: loaded.sha256(),
            series: around.series.as_ref().map(SeriesHandle::standing),
            pulse: Some(around.pulse.clone()),
            access: &keeper.access,
            simulated: around.simulated,
        };
        let (house, beating) = House::new(&ground, last_commit.clone());
        followers.run("beat of the pages", beating);
        let time = clock.clone();
        let site = Site::new(configuration.site.clone(), around.simulated, move || time.now());
        let known = Arc::new(site.clone());
        let pages = Pages::new(house, site, last_commit.clone());
        followers.run("count of the open alerts", pages.clone().count());
        let shown = Shown::new(reception, composer, Reader::open(ledger.path())?);
        start_pages(
            followers,
            (web, held, Arc::clone(&keeper.access), known),
            key,
            shown,
            pages,
            clock,
            last_commit,
        );
    }
    start_heartbeat(followers, around);
    let options = &configuration.digest;
    if !(options.daily.is_empty() && options.weekly.is_empty()) {
        let digests = Digests::new(options, &configuration.alerts, around.seal, ledger, clock);
        digest::start(followers, digests, last_commit);
    }
    Ok(())
}

/// The key that signs links, beside the ledger.
fn link_key(ledger: &Path) -> Option<LinkKey> {
    let mut path = ledger.as_os_str().to_owned();
    path.push(".link-key");
    LinkKey::load_or_make(Path::new(&path))
        .inspect_err(|error| {
            tracing::error!(
                slug = "web-key",
                error = chain(error),
                "messages carry no links, no page is served"
            );
        })
        .ok()
}

fn start_desk(
    followers: &mut Supervisor,
    ground: &Ground,
    last_commit: &CancellationToken,
    courier_stop: &CancellationToken,
) {
    let done = CancellationToken::new();
    let (ground, stop, ended) = (ground.clone(), last_commit.clone(), done.clone());
    followers.keep_running("alerts".to_owned(), move || {
        let (ground, stop, ended) = (ground.clone(), stop.clone(), ended.clone());
        async move {
            ground.run(stop).await?;
            ended.cancel();
            Ok::<(), ClerkError>(())
        }
    });
    let (last_commit, courier_stop) = (last_commit.clone(), courier_stop.clone());
    followers.run("end of the courier", async move {
        last_commit.cancelled().await;
        // A desk that failed for good does not end; what it had sent before leaves all the same.
        drop(tokio::time::timeout(DESK_MAX, done.cancelled()).await);
        tokio::time::sleep(LAST_LETTERS).await;
        courier_stop.cancel();
    });
}

fn start_lanes(
    followers: &mut Supervisor,
    around: &Surroundings<'_>,
    composer: &Arc<Composer>,
    stop: &CancellationToken,
) -> Result<Option<Publisher>, LedgerError> {
    let outbox = Outbox::open(around.ledger.clone())?;
    let delivery = &around.loaded.configuration.delivery;
    let mut lane = |channel: String, way: Way, pace: Pace, at_once: usize| {
        let carrier = Lane { way, composer: Arc::clone(composer) };
        let lane = courier::Lane { channel, carrier, pace, at_once };
        let (outbox, time, stop) = (outbox.clone(), Now(around.clock.clone()), stop.clone());
        followers.run("courier", courier::run(lane, outbox, time, stop));
    };
    if let Some(mail) = &delivery.mail
        && let Some(mailer) = prepared("mail", Mailer::prepare(mail.clone(), composer.origin()))
    {
        lane("email".to_owned(), Way::Mail(Box::new(mailer)), mail.pace, MAILS_AT_ONCE);
    }
    for webhook in &delivery.webhooks {
        if let Some(way) = prepared(&webhook.name, Webhook::prepare(webhook.clone())) {
            let channel = format!("webhook:{}", webhook.name);
            lane(channel, Way::Webhook(Box::new(way)), webhook.pace, EVENTS_AT_ONCE);
        }
    }
    if let Some(settings) = &delivery.publish
        && let Some((publisher, broker)) = prepared("publish", publish::prepare(settings.clone()))
    {
        lane("mqtt".to_owned(), Way::Broker(publisher.clone()), settings.pace, PUBLISHED_AT_ONCE);
        followers.run("publisher", broker.run(stop.clone()));
        return Ok(Some(publisher));
    }
    Ok(None)
}

fn start_states(
    followers: &mut Supervisor,
    ground: &Ground,
    reception: &Reception,
    publisher: Publisher,
    stop: &CancellationToken,
) {
    let states = States {
        ledger: ground.ledger.clone(),
        clock: ground.clock.clone(),
        reception: reception.clone(),
        publisher,
        tanks: Arc::clone(&ground.tanks),
        machines: Arc::clone(&ground.machines),
    };
    let stop = stop.clone();
    followers.keep_running("states of the machines".to_owned(), move || states.clone().run(stop.clone()));
}

fn prepared<T>(channel: &str, way: Result<T, PrepareError>) -> Option<T> {
    way.inspect_err(|error| {
        let advice = error.fix();
        let error = chain(error);
        tracing::error!(channel, error, %advice, "a channel cannot be used as configured; its messages wait");
    })
    .ok()
}

fn start_door(followers: &mut Supervisor, path: PathBuf, counter: Counter, stop: &CancellationToken) {
    let stop = stop.clone();
    followers.keep_running("control socket".to_owned(), move || {
        let (path, counter, stop) = (path.clone(), counter.clone(), stop.clone());
        async move {
            let door = Door::open(&path).inspect_err(|error| {
                let error = chain(error);
                tracing::error!(slug = "service-socket", error, "commands cannot reach the service");
            })?;
            tracing::info!(path = %path.display(), "commands are taken at the control socket");
            door.serve(counter, stop).await.map(drop)?;
            Ok::<(), DoorError>(())
        }
    });
}

fn start_pages(
    followers: &mut Supervisor,
    (web, mut held, access, known): (&WebOptions, Option<std::net::TcpListener>, Arc<Access>, Arc<Site>),
    key: LinkKey,
    shown: Shown,
    pages: Pages<House>,
    clock: &Clock,
    stop: &CancellationToken,
) {
    let (listen, clock, stop) = (web.listen, clock.clone(), stop.clone());
    let tls = web.tls.clone();
    followers.keep_running("pages".to_owned(), move || {
        let (key, shown, pages) = (key.clone(), shown.clone(), pages.clone());
        let (clock, stop) = (clock.clone(), stop.clone());
        let (access, tls, known) = (Arc::clone(&access), tls.clone(), Arc::clone(&known));
        let held = held.take();
        async move {
            let identity = tls.map(Identity::load).transpose().inspect_err(|error| {
                let (advice, error) = (error.fix(), chain(error));
                tracing::error!(slug = "web-tls", error, %advice, "no page can be served");
            })?;
            let listener = match held {
                Some(held) => held.set_nonblocking(true).and_then(|()| TcpListener::from_std(held)),
                None => TcpListener::bind(listen).await,
            };
            let listener = listener.inspect_err(|error| {
                tracing::error!(slug = "web-listen", %listen, %error, "no page can be served");
            })?;
            tracing::info!(listen = %listener.local_addr()?, "pages are served");
            let front = Front { access, identity: identity.clone(), site: known };
            let ended = stop.clone();
            let serving = serve(listener, front, key, shown, move || clock.now(), site(pages), stop);
            tokio::select! {
                served = serving => served?,
                () = renew(identity, ended) => {}
            }
            Ok::<(), PagesError>(())
        }
    });
}

/// Why the pages are not served.
#[derive(Debug, thiserror::Error)]
enum PagesError {
    /// Certificate or key cannot be used.
    #[error(transparent)]
    Identity(#[from] PrepareError),
    /// The address cannot.
    #[error(transparent)]
    Listen(#[from] std::io::Error),
}

/// Looks after the certificate. Never ends: serving does.
async fn renew(identity: Option<Arc<Identity>>, stop: CancellationToken) {
    let Some(identity) = identity else { return std::future::pending().await };
    while stop.run_until_cancelled(tokio::time::sleep(RENEW_EVERY)).await.is_some() {
        match identity.renew() {
            Ok(true) => tracing::info!("the pages show the renewed certificate"),
            Ok(false) => {}
            Err(error) => {
                let (advice, error) = (error.fix(), chain(&error));
                tracing::error!(slug = "web-tls", error, %advice, "the certificate before stays in use");
            }
        }
    }
    std::future::pending().await
}

/// Proves by a bookmark of its own that the ledger takes something.
struct Proof(LedgerHandle);

impl Recording for Proof {
    async fn prove(&self) -> Result<(), String> {
        let bookmarks = vec![Bookmark { name: HEARTBEAT.to_owned(), state: Vec::new() }];
        let append = Append { bookmarks, ..Append::default() };
        self.0.append(append).await.map(drop).map_err(|refused| refused.error.to_string())
    }
}

fn start_heartbeat(followers: &mut Supervisor, around: &Surroundings<'_>) {
    let Some(settings) = &around.loaded.configuration.delivery.heartbeat else { return };
    if let Some(heartbeat) = prepared("heartbeat", Heartbeat::prepare(settings.clone())) {
        let proof = Proof(around.ledger.clone());
        followers.run("heartbeat", heartbeat.run(proof, around.last_commit.clone()));
    }
}
