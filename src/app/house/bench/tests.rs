use super::*;
use crate::config::resolve::Configuration;
use crate::core::id::{ChannelId, SourceId};
use crate::core::reading::{Fault, Sample, Value as Delivered};
use crate::core::technician::attempt::Stands;
use crate::core::technician::bath::{Bath, NotYet};
use crate::core::technician::calibrating::{Calibrating, StepSeen};
use crate::core::technician::proving::Proving;
use crate::core::technician::responding::Responding;
use crate::core::units::Celsius;
use crate::core::wiring::Warmth;
use crate::probe::{Delivery, FromSource, SourceState, UnitState};
use crate::web::attempt::OpenAt;

const KITCHEN: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
    wash-time = \"45s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n\
    [[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"/dev/null\"\n";
const PROBES: [&str; 2] = ["dm1/wash", "dm1/rinse"];
const NOBODY: Facts = Facts { judged: None, correction: Calibration::None, announced: false };

/// Longest time for each step of a proof here.
const STEP: Duration = Duration::from_secs(20);

/// A bench, and what feeds it.
struct Feed {
    bench: Bench,
    tap: Tap,
    clock: Clock,
    beat: watch::Receiver<u64>,
    number: u64,
}

impl Feed {
    fn new() -> (Self, impl Future<Output = ()>) {
        let file = tempfile::NamedTempFile::new().expect("a temporary file");
        std::fs::write(file.path(), KITCHEN).expect("a temporary file");
        let loaded = Configuration::load(&[file.path().to_owned()], []).expect("a sound configuration");
        let tap = Tap::new(&loaded.configuration, &loaded.configuration.channels);
        let clock = Clock::manual(Timestamp::from_micros(1_700_000_000_000_000), 1.0);
        let (bench, attending) = Bench::new(tap.clone(), clock.clone(), CancellationToken::new());
        let beat = bench.beat();
        (Self { bench, tap, clock, beat, number: 0 }, attending)
    }

    /// So many seconds in which the probes show what is said of them at s, read ten times a second.
    async fn play(&mut self, seconds: u32, celsius: impl Fn(f64) -> [f64; 2]) {
        for tenth in 0..seconds * 10 {
            let shown = celsius(f64::from(tenth) / 10.0);
            let at = self.clock.now();
            self.number += 1;
            let samples = (0..).zip(shown).map(|(channel, celsius)| Sample {
                channel: ChannelId(channel),
                at,
                value: Delivered::Number(celsius),
            });
            self.tap.hear(&FromSource::Delivery(Delivery {
                source: SourceId(0),
                number: self.number,
                received: at,
                messages: 1,
                samples: samples.collect(),
                refusals: Vec::new(),
            }));
            self.clock.turn(Duration::from_millis(100), 0);
            if tenth % 5 == 4 {
                self.beat.changed().await.expect("it attends");
            }
        }
        // What was told before the last tick is heard by the next.
        for _ in 0..2 {
            self.beat.changed().await.expect("it attends");
        }
    }

    /// So long in which the first probe says nothing but that it is silent, twice a second.
    async fn silence(&mut self, time: Duration) {
        for _ in 0..time.as_millis() / 500 {
            let at = self.clock.now();
            self.number += 1;
            self.tap.hear(&FromSource::Delivery(Delivery {
                source: SourceId(0),
                number: self.number,
                received: at,
                messages: 1,
                samples: vec![Sample { channel: ChannelId(0), at, value: Delivered::Fault(Fault::Silent) }],
                refusals: Vec::new(),
            }));
            self.clock.turn(TICK, 0);
            self.beat.changed().await.expect("it attends");
        }
        self.beat.changed().await.expect("it attends");
    }

    fn stands(&self, of: &str) -> Stands {
        self.bench.under(of).expect("it is under way").stands
    }
}

/// Runs a test while the bench is attended.
async fn attended<Work: Future<Output = ()>>(test: impl FnOnce(Feed) -> Work) {
    let (feed, attending) = Feed::new();
    tokio::select! {
        () = attending => panic!("nobody told it to stop"),
        () = test(feed) => {}
    }
}

fn calibration() -> Attempt {
    let work = Calibrating::new(Bath::ice(), Some(Duration::from_secs(1)), Calibration::None, Celsius(82.2));
    Attempt::Calibration("dm1/rinse".to_owned(), Box::new(work))
}

/// That Eli is at it.
fn eli(kind: Kind, of: &str) -> Taken {
    Taken { by: "Eli".to_owned(), account: "eli".to_owned(), kind, of: of.to_owned() }
}

fn noise(t: f64) -> f64 {
    0.05 * (t * 37.0).sin()
}

// 0 °C is the ice point (ITS-90); what is steady is said in `core::steady`.
#[tokio::test(start_paused = true)]
async fn a_calibration_follows_its_probe_until_it_can_go_on_record() {
    attended(|mut feed| async move {
        let bench = feed.bench.clone();
        bench.begin("dm1/rinse", calibration(), NOBODY, ("Eli", "eli")).expect("nobody is at it");
        bench.press("dm1/rinse", Press::Go, "eli").expect("it is Eli's");
        feed.play(30, |t| [60.0, 10.0 - t / 4.0]).await;
        let Stands::Calibration(stands) = feed.stands("dm1/rinse") else { panic!("a calibration") };
        assert!(
            matches!(&stands.step, StepSeen::Watching { why: NotYet::Unsteady(_), .. }),
            "unsteady: {stands:?}"
        );
        feed.play(30, |t| [60.0, 12.0 + noise(t)]).await;
        let Stands::Calibration(stands) = feed.stands("dm1/rinse") else { panic!("a calibration") };
        assert!(
            matches!(&stands.step, StepSeen::Watching { why: NotYet::TooFar(_), .. }),
            "impossible: {stands:?}"
        );
        assert_eq!(bench.leave("dm1/rinse", "eli", Language::English).map(drop), Err(NotDone::NotSoFar));
        feed.play(40, |t| [60.0, 0.4 + noise(t)]).await;
        assert_eq!(
            bench.leave("dm1/rinse", "ana", Language::English).map(drop),
            Err(NotDone::TakenBy(eli(Kind::Calibration, "dm1/rinse")))
        );
        let Ok((Came::Calibration(points, fitted, _), leaving)) =
            bench.leave("dm1/rinse", "eli", Language::English)
        else {
            panic!("{:?}", feed.stands("dm1/rinse"))
        };
        assert!((points[0].indicated_c - 0.4).abs() < 0.05 && fitted.expanded_c > 0.0, "{points:?}");
        assert_eq!(
            bench.leave("dm1/rinse", "eli", Language::English).map(drop),
            Err(NotDone::NotSoFar),
            "it goes on record once"
        );
        let said = Said { summary: "refused".to_owned(), advice: None };
        leaving.refused(said.clone());
        assert_eq!(bench.under("dm1/rinse").and_then(|under| under.problem), Some(said));
        let (_, leaving) = bench.leave("dm1/rinse", "eli", Language::English).expect("it may be tried again");
        bench.give_up("dm1/rinse", ("Ana", "ana"));
        assert!(bench.under("dm1/rinse").is_some(), "nobody ends what is being put on record");
        // On record, or nobody knows: as where a panic drops it.
        drop(leaving);
        assert_eq!(bench.under("dm1/rinse"), None);
    })
    .await;
}

// A first-order answer has a closed form, see `core::response`.
#[tokio::test(start_paused = true)]
async fn a_plunge_is_followed_to_its_time_constant() {
    attended(|mut feed| async move {
        let bench = feed.bench.clone();
        let attempt = Attempt::Response("dm1/rinse".to_owned(), Responding::default());
        bench.begin("dm1/rinse", attempt, NOBODY, ("Eli", "eli")).expect("nobody is at it");
        bench.press("dm1/rinse", Press::Go, "eli").expect("it is Eli's");
        feed.play(60, |t| [60.0, 82.0 - 60.0 * (-(t - 15.0).max(0.0) / 1.8).exp()]).await;
        let Ok((Came::Response(found), _)) = bench.leave("dm1/rinse", "eli", Language::English) else {
            panic!("{:?}", feed.stands("dm1/rinse"))
        };
        assert!((found.tau_s - 1.8).abs() < 0.1, "{found:?}");
    })
    .await;
}

// Findings of `core::wiring`.
#[tokio::test(start_paused = true)]
async fn a_proof_finds_probes_that_are_swapped() {
    attended(|mut feed| async move {
        let bench = feed.bench.clone();
        let places = [Place::WashTank, Place::FinalRinse];
        let order = PROBES.map(str::to_owned).into_iter().zip(places).collect();
        let work = Proving::new(order, PROBES.map(str::to_owned), Warmth::Hand);
        let attempt = Attempt::Proof(Box::new(work));
        bench.begin("dm1", attempt, NOBODY, ("Eli", "eli")).expect("nobody is at it");
        let taken = bench.begin("dm1/rinse", calibration(), NOBODY, ("Ana", "ana"));
        assert_eq!(taken, Err(NotDone::TakenBy(eli(Kind::Proof, "dm1"))), "its probes are taken with it");
        for warmed in [1, 0] {
            bench.press("dm1", Press::Go, "eli").expect("it is Eli's");
            let rise = |t: f64| (t - 10.0).clamp(0.0, 6.0) * 1.5;
            feed.play(30, |t| {
                let mut shown = [22.0 + noise(t), 22.0 + noise(t + 1.0)];
                shown[warmed] += rise(t);
                shown
            })
            .await;
        }
        let Ok((Came::Proof(probes), _)) = bench.leave("dm1", "eli", Language::English) else {
            panic!("{:?}", feed.stands("dm1"))
        };
        let found: Vec<_> =
            probes.iter().map(|probe| (probe.finding.as_str(), probe.instead.as_deref())).collect();
        assert_eq!(found, [("swapped", Some("dm1/rinse")), ("swapped", Some("dm1/wash"))]);
    })
    .await;
}

// Own promise: what a silent unit, or a source that is down, says in the name of a probe is no finding of the probe;
// also where it answers again before the finding goes on record.
#[tokio::test(start_paused = true)]
async fn a_probe_behind_a_silent_unit_or_source_does_not_go_on_record_as_dead() {
    attended(|mut feed| async move {
        let bench = feed.bench.clone();
        let order = vec![(PROBES[0].to_owned(), Place::WashTank)];
        let work = Proving::new(order, PROBES.map(str::to_owned), Warmth::Hand).lasting(STEP);
        bench.begin("dm1", Attempt::Proof(Box::new(work)), NOBODY, ("Eli", "eli")).expect("nobody is at it");
        let unit =
            |state| FromSource::Unit { source: SourceId(0), unit: 7, channels: vec![ChannelId(0)], state };
        let source = |state| FromSource::State { source: SourceId(0), state };
        let down = || SourceState::Down { cause: "no such device".to_owned() };
        for (silent, again, parts) in [
            (
                unit(UnitState::Silent),
                unit(UnitState::Answers),
                ["la unidad 7 de «port1» no respondió", "dm1/wash"],
            ),
            (unit(UnitState::Late), unit(UnitState::Answers), ["respondió, pero fuera de plazo", "dm1/wash"]),
            (source(down()), source(SourceState::Up), ["port1: no such device", "dm1/wash"]),
        ] {
            bench.press("dm1", Press::Go, "eli").expect("it is Eli's");
            feed.tap.hear(&silent);
            feed.silence(2 * STEP).await;
            feed.tap.hear(&again);
            let Err(NotDone::Refused(said)) = bench.leave("dm1", "eli", Language::Spanish).map(drop) else {
                panic!("{:?}", feed.stands("dm1"))
            };
            for part in parts {
                assert!(said.summary.contains(part), "{part} in {said:?}");
            }
            assert_eq!(
                bench.under("dm1").and_then(|under| under.problem),
                Some(said),
                "it is told on the page"
            );
            bench.press("dm1", Press::Back, "eli").expect("it may be tried again");
        }
        // One that gives values and does not move is dead by itself.
        bench.press("dm1", Press::Go, "eli").expect("it is Eli's");
        feed.play(50, |t| [22.0 + noise(t), 22.0]).await;
        let Ok((Came::Proof(probes), _)) = bench.leave("dm1", "eli", Language::English) else {
            panic!("{:?}", feed.stands("dm1"))
        };
        assert_eq!(probes[0].finding, "dead");
    })
    .await;
}

// Own promise: an attempt at which nothing is pressed ends by itself, and then nothing is gathered any more.
#[tokio::test(start_paused = true)]
async fn what_is_left_alone_ends_by_itself() {
    attended(|mut feed| async move {
        let bench = feed.bench.clone();
        bench.begin("dm1/rinse", calibration(), NOBODY, ("Eli", "eli")).expect("nobody is at it");
        let over = bench.over("dm1/rinse");
        feed.play(20, |_| [60.0, 20.0]).await;
        assert!(!over.is_cancelled() && bench.over("dm1/wash").is_cancelled());
        assert_eq!(bench.gauges().len(), 2, "its probes are gauged");
        assert!(bench.gauges()["dm1/wash"].per_s().is_some_and(|rate| (rate - 10.0).abs() < 0.5));
        feed.clock.turn(IDLE_MAX, 0);
        for _ in 0..2 {
            feed.beat.changed().await.expect("it attends");
            if bench.under("dm1/rinse").is_none() {
                break;
            }
        }
        assert_eq!((bench.under("dm1/rinse"), bench.is_wanted()), (None, false));
        assert!(over.is_cancelled(), "whoever keeps its machine under work hears of it");
        assert!(bench.gauges().is_empty());
        let ended = bench.ended("dm1/rinse").expect("whoever comes back is told");
        assert_eq!((ended.by, ended.whose.as_str(), ended.begun < ended.at), (None, "Eli", true));
        bench.give_up("dm1/rinse", ("Ana", "ana"));
        bench.begin("dm1/rinse", calibration(), NOBODY, ("Ana", "ana")).expect("nobody is at it any more");
        assert_eq!(bench.give_up("dm1/rinse", ("Ana", "ana")), None, "her own");
        assert_eq!((bench.under("dm1/rinse"), bench.ended("dm1/rinse")), (None, None));
    })
    .await;
}

// Own promise: whoever ends what another is at is named to them, until something begins there again.
#[tokio::test(start_paused = true)]
async fn whoever_ends_the_work_of_another_is_named() {
    attended(|feed| async move {
        let bench = feed.bench.clone();
        bench.begin("dm1/rinse", calibration(), NOBODY, ("Eli", "eli")).expect("nobody is at it");
        let over = bench.over("dm1/rinse");
        assert_eq!(bench.give_up("dm1/rinse", ("Ana", "ana")), Some("Eli".to_owned()));
        assert!(over.is_cancelled());
        assert_eq!(bench.give_up("dm1/rinse", ("Ana", "ana")), None, "once");
        let ended = bench.ended("dm1/rinse").expect("it is told");
        assert_eq!(
            (ended.by.as_deref(), ended.whose.as_str(), ended.at),
            (Some("Ana"), "Eli", feed.clock.now())
        );
        bench.begin("dm1/rinse", calibration(), NOBODY, ("Eli", "eli")).expect("nobody is at it");
        assert_eq!(bench.ended("dm1/rinse"), None);
    })
    .await;
}

// Own promise: the end of the work at a machine ends what was shown of it, whosever it is, and nothing that has found
// something; what is at another machine, or began since, stays.
#[tokio::test(start_paused = true)]
async fn the_end_of_work_ends_what_was_shown_and_lost_nothing() {
    attended(async |mut feed| {
        let (bench, eli, ana) = (feed.bench.clone(), ("Eli", "eli"), ("Ana", "ana"));
        bench.begin("dm1/rinse", calibration(), NOBODY, eli).expect("nobody is at it");
        let shown = |bench: &Bench| bench.open_at("dm1").iter().map(OpenAt::mark).collect::<Vec<_>>();
        let before = shown(&bench);
        assert!(!bench.may_end("dm1", &[]) && bench.may_end("dm1", &before) && bench.may_end("dm2", &[]));
        assert_eq!(bench.open_at("dm"), []);
        let over = bench.over("dm1/rinse");
        assert_eq!(bench.end_at("dm1", &before, ana), [("dm1/rinse".to_owned(), "Eli".to_owned())]);
        assert_eq!(
            bench.ended("dm1/rinse").map(|ended| (ended.by, ended.whose)),
            Some((Some("Ana".to_owned()), "Eli".to_owned()))
        );
        assert!(over.is_cancelled());
        // Begun anew: another one.
        feed.clock.turn(Duration::from_secs(1), 0);
        bench.begin("dm1/rinse", calibration(), NOBODY, eli).expect("nobody is at it");
        assert!(!bench.may_end("dm1", &before) && bench.end_at("dm1", &before, eli).is_empty());
        bench.press("dm1/rinse", Press::Go, "eli").expect("it is his");
        feed.play(40, |_| [60.0, 0.4]).await;
        let now = shown(&bench);
        assert!(bench.open_at("dm1")[0].has_found, "{:?}", feed.stands("dm1/rinse"));
        assert!(!bench.may_end("dm1", &now) && bench.end_at("dm1", &now, eli).is_empty());
        assert!(bench.under("dm1/rinse").is_some(), "its point is there");
    })
    .await;
}
