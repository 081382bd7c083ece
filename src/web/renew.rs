//! How a page that is alive by scripts is renewed where they are off: not at all, unless somebody asks for it
//! (WCAG 2.2, success criterion 2.2.1; failure F41 is a page that loads itself anew unasked).
//!
//! Such a page says of when it is and that it stays so, with a link that shows it again and one that has it renewed
//! every so many seconds: `?renew=30`. The page behind that says so too, and how to stop it. Browsers with scripts
//! show nothing of all this.

use axum::http::Uri;

use super::query::{Expected, Given};
use crate::core::reader::{Language, Reader, filled};
use crate::core::time::Timestamp;
use crate::web::frame::said;

/// The part of an address that asks for it.
pub(super) const NAME: &str = "renew";
/// Seconds between two looks at what changes with each rack (own choice).
pub(super) const OFTEN_S: u32 = 30;
/// Seconds between two looks at what a probe shows, which somebody holds (own choice).
pub(super) const AT_ONCE_S: u32 = 5;

/// How often a page can be renewed, and whether somebody asked for it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Renewal {
    /// Seconds between two looks.
    every_s: u32,
    is_on: bool,
}

/// What a page says of it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Told {
    /// Seconds after which it is shown again; absent where nobody asked for it.
    pub(super) every_s: Option<u32>,
    /// Of when it is, and whether it is renewed.
    pub(super) as_of: String,
    /// Shows it again.
    pub(super) again: &'static str,
    /// Has it renewed, or ends that: where it leads, and its words.
    pub(super) turn: (String, String),
}

impl Default for Renewal {
    /// Not asked for, of a page that shows what somebody holds.
    fn default() -> Self {
        Self { every_s: AT_ONCE_S, is_on: false }
    }
}

impl Renewal {
    /// What an address asks for, of a page that can be renewed every so many seconds.
    pub(super) fn of(given: &mut Given, every_s: u32) -> Self {
        let every = every_s.to_string();
        let asked = given.take(NAME, |text| {
            let known = text == every;
            known.then_some(()).ok_or_else(|| Expected::OneOf(vec![every.clone()]))
        });
        Self { every_s, is_on: asked.is_some() }
    }

    /// The same of an address that asks for nothing else.
    ///
    /// # Errors
    /// What it asks that is not understood.
    pub(super) fn alone(uri: &Uri, every_s: u32) -> Result<Self, Given> {
        let mut given = Given::read(uri, &[NAME]);
        let renewal = Self::of(&mut given, every_s);
        if given.is_refused() { Err(given) } else { Ok(renewal) }
    }

    /// How an address goes on that asks for it as this one does.
    pub(super) fn asked(self) -> String {
        if self.is_on { format!("?{NAME}={}", self.every_s) } else { String::new() }
    }

    /// What the page says of it, made at `now`.
    pub(super) fn told(self, reader: &Reader, now: Timestamp) -> Told {
        let Self { every_s, is_on } = self;
        let language = reader.language;
        let (at, every) = (reader.with_article(reader.clock_to_the_second(now)), every_s.to_string());
        let values = [("at", at.as_str()), ("every", every.as_str())];
        let as_of = if is_on { renewed(language) } else { unrenewed(language) };
        let turn = if is_on {
            ("?".to_owned(), said(language, "Stop renewing it", "Dejar de renovarla").to_owned())
        } else {
            let phrase = said(language, "Renew every {every} seconds", "Renovar cada {every} segundos");
            (format!("?{NAME}={every}"), filled(phrase, &values))
        };
        Told {
            every_s: is_on.then_some(every_s),
            as_of: filled(as_of, &values),
            again: said(language, "Show it again", "Mostrarla de nuevo"),
            turn,
        }
    }
}

const fn unrenewed(language: Language) -> &'static str {
    said(
        language,
        "As of {at}. This page does not renew itself without scripts.",
        "Estado de {at}. Sin scripts esta página no se renueva sola.",
    )
}

const fn renewed(language: Language) -> &'static str {
    said(
        language,
        "As of {at}. This page is renewed every {every} seconds, as you asked.",
        "Estado de {at}. Esta página se renueva cada {every} segundos, como usted pidió.",
    )
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use axum::http::StatusCode;

    use crate::core::access::Role;
    use crate::core::reader::Language;
    use crate::web::attempt::tests::under;
    use crate::web::fixture::{StillKitchen, visit};

    /// Every template that is alive by scripts, a page of it, and how often that can be renewed.
    const LIVE: [(&str, &str, u32); 9] = [
        ("now/now.html", "/", 30),
        ("machine/machine.html", "/machines/dm1", 30),
        ("logbook/today.html", "/logbook", 30),
        ("probes/probes.html", "/probes", 5),
        ("probes/probes.html", "/probes/dm1", 5),
        ("probes/one.html", "/probes/dm1/rinse", 5),
        ("attempt/attempt.html", "/calibrate/dm1/rinse", 5),
        ("history/integrity.html", "/history/integrity", 5),
        ("history/exports/job.html", "/history/exports/2", 5),
    ];
    /// Those where a script only says that there is news, beside what people write.
    const NEWS: [&str; 2] = ["alerts/list.html", "alerts/one.html"];

    /// Templates below a folder, with their text, named from `src/web` on.
    fn templates(folder: &Path, found: &mut Vec<(String, String)>) {
        for entry in std::fs::read_dir(folder).expect("a folder of the sources").flatten() {
            let path = entry.path();
            if path.is_dir() {
                templates(&path, found);
            } else if path.extension().is_some_and(|ending| ending == "html") {
                let web = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web");
                let name = path.strip_prefix(web).expect("it is below").to_string_lossy().into_owned();
                found.push((name, std::fs::read_to_string(&path).expect("a template")));
            }
        }
    }

    // Own promise: no page that is alive by scripts is forgotten below, and none loads itself anew but by the frame.
    #[test]
    fn every_live_page_is_known() {
        let mut found = Vec::new();
        templates(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web"), &mut found);
        let holding =
            |mark| found.iter().filter(move |(_, text)| text.contains(mark)).map(|(name, _)| name.as_str());
        let known = LIVE.iter().map(|(template, ..)| *template).chain(NEWS);
        assert_eq!(holding("data-live").collect::<BTreeSet<_>>(), known.collect::<BTreeSet<_>>());
        assert_eq!(holding("http-equiv=\"refresh\"").collect::<Vec<_>>(), ["frame/frame.html"]);
    }

    // WCAG 2.2, 2.2.1 and F41: no page loads itself anew that nobody asked to; whoever asks for it reads how to stop it.
    // What cannot be asked for is refused, as everywhere.
    #[tokio::test]
    async fn a_page_is_renewed_only_where_somebody_asks() {
        let kitchen = StillKitchen::new();
        // Somebody watches a point of a calibration.
        kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under(10))));
        for (_, path, every) in LIVE {
            for (language, still, turn, stop) in [
                (
                    Language::English,
                    ". This page does not renew itself without scripts.",
                    "Renew every",
                    "<a class=\"line\" href=\"?\">Stop renewing it</a>",
                ),
                (
                    Language::Spanish,
                    ". Sin scripts esta página no se renueva sola.",
                    "Renovar cada",
                    "<a class=\"line\" href=\"?\">Dejar de renovarla</a>",
                ),
            ] {
                let (status, page) = visit::get(&kitchen, path, Role::Administrator, language).await;
                assert_eq!(status, StatusCode::OK, "{path}");
                assert!(!page.contains("http-equiv=\"refresh\""), "{path}: {page}");
                let asks = format!("<a class=\"line\" href=\"?renew={every}\">{turn} {every} ");
                assert!(
                    page.contains(still) && page.contains(&asks) && !page.contains(stop),
                    "{path}: {page}"
                );

                let asked = format!("{path}?renew={every}");
                let (status, page) = visit::get(&kitchen, &asked, Role::Administrator, language).await;
                assert_eq!(status, StatusCode::OK, "{asked}");
                let anew = format!("<noscript><meta http-equiv=\"refresh\" content=\"{every}\"></noscript>");
                assert!(page.contains(&anew) && page.contains(stop), "{asked}: {page}");
                assert!(!page.contains(still), "{asked}: {page}");
            }
            let (status, page) =
                visit::get(&kitchen, &format!("{path}?renew=1"), Role::Administrator, Language::English)
                    .await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
            assert!(page.contains("«1» was read"), "{path}: {page}");
        }
        // What is over does not change, and what is typed would be gone with a page that comes anew.
        kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under(30))));
        for path in ["/calibrate/dm1/rinse?renew=5", "/history/exports/1?renew=5"] {
            let (status, page) = visit::get(&kitchen, path, Role::Administrator, Language::English).await;
            assert_eq!(status, StatusCode::OK, "{path}");
            assert!(!page.contains("http-equiv=\"refresh\"") && !page.contains("?renew="), "{path}: {page}");
        }
        let day = "/machines/dm1?day=2026-11-25";
        let (_, page) = visit::get(&kitchen, day, Role::Administrator, Language::English).await;
        assert!(!page.contains("?renew="), "{page}");
    }
}
