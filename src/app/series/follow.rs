//! The series as a task of the gateway. Its failure stops nothing else.

use std::sync::Arc;

use tokio::sync::{Mutex, mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use super::again::Again;
use super::stock::LedgerStock;
use crate::app::ledger::{LedgerHandle, Tide};
use crate::config::resolve::Configuration;
use crate::config::series::SeriesOptions;
use crate::ledger::LedgerError;
use crate::runtime::clock::Clock;
use crate::runtime::supervisor::Supervisor;
use crate::series::answer::Outcome;
use crate::series::check::{self, BucketSeen};
use crate::series::link::Link;
use crate::series::load::Loader;
use crate::series::pump::{Inbox, NotAccepted, Parts, Pump, PumpError, Request, Standing};
use crate::series::reading::ReadingPoints;
use crate::series::wait::Waits;

/// Requests that wait; one more waits at its sender.
const REQUESTS_MAX: usize = 4;

/// The way to the running series.
#[derive(Clone, Debug)]
pub(in crate::app) struct SeriesHandle {
    requests: mpsc::Sender<Request>,
    standing: watch::Receiver<Standing>,
}

impl SeriesHandle {
    /// Has a span of time sent again; the request is on disk when this returns.
    ///
    /// # Errors
    /// [`NotAccepted`] says why not.
    pub(in crate::app) async fn send_again(&self, again: Again) -> Result<(), NotAccepted> {
        let (answer, answered) = oneshot::channel();
        let request = Request::SendAgain { from: again.from, to: again.to, answer };
        self.requests.send(request).await.map_err(|_| NotAccepted::NotKept)?;
        answered.await.unwrap_or(Err(NotAccepted::NotKept))
    }

    /// How the series stands, after each turn and each failure.
    pub(in crate::app) fn standing(&self) -> watch::Receiver<Standing> {
        self.standing.clone()
    }
}

/// What the task is made of, each time it starts.
struct Following {
    loader: Arc<Loader<LedgerStock>>,
    options: SeriesOptions,
    clock: Clock,
    told: watch::Sender<Standing>,
    inbox: Mutex<Inbox<Tide>>,
}

/// Starts sending what the ledger holds, where series are configured.
pub(in crate::app) fn start(
    followers: &mut Supervisor,
    configuration: &Configuration,
    clock: &Clock,
    ledger: &LedgerHandle,
    last_commit: &CancellationToken,
) -> Option<SeriesHandle> {
    let options = configuration.series.clone()?;
    let channels = configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
    let keeper = ledger.clone();
    let keeper = Box::new(move |append, done| keeper.append_then(append, done));
    let stock = LedgerStock::new(ledger.path(), keeper, channels);
    let points = ReadingPoints::new(configuration, options.readings);
    let (requests, received) = mpsc::channel(REQUESTS_MAX);
    let (told, standing) = watch::channel(Standing::default());
    let inbox = Inbox { requests: received, tide: ledger.tide(), stop: last_commit.clone() };
    let following = Arc::new(Following {
        loader: Arc::new(Loader::new(stock, points, configuration.site.clone())),
        options,
        clock: clock.clone(),
        told,
        inbox: Mutex::new(inbox),
    });
    followers.keep_running("series".to_owned(), move || follow(Arc::clone(&following)));
    Some(SeriesHandle { requests, standing })
}

async fn follow(following: Arc<Following>) -> Result<(), PumpError<LedgerError>> {
    let mut inbox = following.inbox.lock().await;
    let link = Arc::new(Link::new(following.options.clone()));
    let clock = following.clock.clone();
    let parts = Parts {
        loader: Arc::clone(&following.loader),
        server: Arc::clone(&link),
        options: following.options.clone(),
        now: Arc::new(move || clock.now()),
        standing: following.told.clone(),
        waits: Waits::default(),
    };
    let pump = Pump::open(parts).await?;
    let stop = inbox.stop.clone();
    let looking = async {
        if let Some(seen) = stop.run_until_cancelled(link.look()).await {
            tell(&seen, &following.options);
        }
    };
    // A server that answers slowly keeps nobody from asking how the series stands.
    let ((), ended) = tokio::join!(looking, pump.run(&mut inbox));
    ended
}

/// What was seen at the start. A server that is away is told of by the first write.
fn tell(seen: &Result<check::Look, Outcome>, options: &SeriesOptions) {
    match seen {
        Ok(look) => {
            let server = look.server.as_deref().unwrap_or("-");
            let bucket = &options.bucket;
            match &look.bucket {
                BucketSeen::Found { retention: Some(kept) } => {
                    let days = kept.as_secs() / 86_400;
                    tracing::info!(
                        server,
                        bucket,
                        days,
                        "series: the bucket is there; what is older is not taken"
                    );
                }
                BucketSeen::Found { retention: None } | BucketSeen::NoList => {
                    tracing::info!(server, bucket, "series: the server answers");
                }
            }
        }
        Err(Outcome::Later(_) | Outcome::Busy { .. }) => {}
        Err(outcome) => {
            if let Some(explanation) = outcome.explain(options) {
                let diagnostic = super::diagnose(&explanation, options);
                tracing::warn!(slug = diagnostic.slug(), "series: recording goes on\n{diagnostic}");
            }
        }
    }
}
