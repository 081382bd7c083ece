//! `watch`: live readings in the terminal.

mod scene;
mod screen;
mod strip;
pub(super) mod words;

use std::ops::ControlFlow;
use std::time::Duration;

use jiff::tz::TimeZone;
use tokio_util::sync::CancellationToken;

use self::scene::Scene;
use self::screen::{Picture, STRIP_WIDTH};
use super::live::{Live, LiveEvent, Wanted};
use super::{Failure, Streams, configuration, terminal};
use crate::cli::WatchArgs;
use crate::config::load::Loaded;
use crate::core::reader::{Language, Scale};
use crate::diagnostic::Diagnostic;
use crate::report::table::{WIDTH, time_of_day, wrapped};
use crate::runtime::clock::Clock;

/// Time between two pictures, and longest wait for the next event.
const PICTURE_EVERY: Duration = Duration::from_millis(100);
/// Time between two lines of a probe.
const LINE_EVERY: Duration = Duration::from_secs(1);
/// Events that are taken before the next picture.
const EVENTS_MAX: usize = 10_000;
/// Width of a plain line.
const PLAIN_WIDTH: usize = 80;

/// Whether the command draws on the whole terminal.
pub(super) fn draws(arguments: &WatchArgs) -> bool {
    !arguments.plain && !arguments.json && terminal::is_there()
}

/// Shows what comes in until somebody ends it, it ends by itself, or the time is over.
pub(super) fn watch(arguments: &WatchArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let wanted = Wanted { machines: arguments.machines.clone(), channels: arguments.probes.clone() };
    let live = Live::open(&loaded, &wanted)?;
    let stop = live.stop_on_signals()?;
    let clock = live.clock(&loaded);
    let mut scene = Scene::new(live.channels(), arguments.language, clock.elapsed());
    scene.other_configuration = live.is_configured_otherwise();
    let limit = arguments.seconds.map(|seconds| clock.elapsed() + Duration::from_secs(seconds));
    let (language, scale) = (arguments.language, arguments.scale);
    let mut watching = Watching { live, clock, scene, stop, limit, language, scale };
    if arguments.json {
        watching.tell_configuration(streams)?;
        watching.as_json(streams)?;
    } else if draws(arguments) {
        watching.on_screen(&loaded)?;
    } else {
        watching.in_lines(streams)?;
    }
    watching.ended()
}

/// The command at work.
struct Watching {
    live: Live,
    clock: Clock,
    scene: Scene,
    stop: CancellationToken,
    /// When it ends by itself, by the clock's elapsed time.
    limit: Option<Duration>,
    language: Language,
    scale: Scale,
}

impl Watching {
    fn is_over(&self) -> bool {
        self.stop.is_cancelled()
            || self.scene.ended.is_some()
            || self.limit.is_some_and(|limit| limit <= self.clock.elapsed())
    }

    /// A service that ends while it is looked at is no good end; being asked to is.
    fn ended(self) -> Result<(), Failure> {
        match self.scene.ended {
            Some(cause) => Err(Diagnostic::error("source-lost", "no more readings come")
                .cause(cause)
                .advice("start the service again, or watch without it: the ports are then opened directly")
                .into()),
            None => Ok(()),
        }
    }

    /// Waits for the next event no longer than until the next picture.
    fn next(&mut self) -> Option<LiveEvent> {
        let left = self.limit.map_or(PICTURE_EVERY, |limit| limit.saturating_sub(self.clock.elapsed()));
        self.live.next(left.min(PICTURE_EVERY))
    }

    fn tell_configuration(&self, streams: &mut Streams<'_>) -> Result<(), Failure> {
        if !self.live.is_configured_otherwise() {
            return Ok(());
        }
        let told = Diagnostic::warning("service-socket", "the service runs with another configuration")
            .advice("restart it to put the files in force, or give --config the ones it runs with");
        writeln!(streams.err, "{told}").map_err(Failure::output)
    }

    fn as_json(&mut self, streams: &mut Streams<'_>) -> Result<(), Failure> {
        while !self.is_over() {
            let Some(event) = self.next() else { continue };
            serde_json::to_writer(&mut *streams.out, &event)
                .map_err(std::io::Error::from)
                .and_then(|()| writeln!(streams.out))
                .and_then(|()| streams.out.flush())
                .map_err(Failure::output)?;
            if let LiveEvent::Ended { cause } = event {
                self.scene.ended = Some(cause);
            }
        }
        Ok(())
    }

    fn in_lines(&mut self, streams: &mut Streams<'_>) -> Result<(), Failure> {
        let zone = TimeZone::system();
        let mut say = |line: &str| {
            writeln!(streams.out, "{line}").and_then(|()| streams.out.flush()).map_err(Failure::output)
        };
        say(words::way(self.language, self.live.through()))?;
        for caution in words::cautions(self.language) {
            wrapped(caution, WIDTH).iter().try_for_each(|line| say(line))?;
        }
        let (mut told, mut due) = (Vec::new(), self.clock.elapsed() + LINE_EVERY);
        loop {
            let over = self.is_over();
            if let Some(event) = self.next().filter(|_| !over) {
                self.scene.take(event, self.clock.elapsed());
            }
            let notes = self.scene.notes();
            for note in notes.iter().filter(|note| !told.contains(*note)) {
                say(&format!("! {note}"))?;
            }
            told = notes;
            let now = self.clock.elapsed();
            if over || now >= due {
                due = now + LINE_EVERY;
                let at = time_of_day(self.clock.now(), &zone);
                for row in self.scene.news(now, self.scale, STRIP_WIDTH) {
                    say(&format!("{at} {}", screen::line(&row, PLAIN_WIDTH).trim_end()))?;
                }
            }
            if over {
                return Ok(());
            }
        }
    }

    fn on_screen(&mut self, loaded: &Loaded) -> Result<(), Failure> {
        let (zone, site) = (TimeZone::system(), loaded.configuration.site.as_str());
        let way = words::way(self.language, self.live.through());
        terminal::on_screen(|terminal| {
            for _ in 0..EVENTS_MAX {
                let Some(event) = self.live.next(Duration::ZERO) else { break };
                self.scene.take(event, self.clock.elapsed());
                if self.scene.ended.is_some() {
                    break;
                }
            }
            let now = self.clock.elapsed();
            let picture = Picture {
                head: format!("{site}  {}", time_of_day(self.clock.now(), &zone)),
                way,
                rows: self.scene.rows(now, self.scale, STRIP_WIDTH),
                notes: self.scene.notes(),
                language: self.language,
            };
            terminal.draw(|frame| screen::draw(frame, &picture))?;
            if self.is_over() || terminal::asked_to_quit(PICTURE_EVERY)? {
                return Ok(ControlFlow::Break(()));
            }
            Ok(ControlFlow::Continue(()))
        })
    }
}
