//! What is round every page: the name of the site, the way to the other pages, and who reads.

use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::explained::Bare;
use super::live;
use super::person::Person;
use super::renew::{Renewal, Told};
use crate::core::access::Right;
use crate::core::reader::Language;
pub(super) use crate::core::reader::said;
use crate::core::time::Timestamp;
use crate::web::words::words;

/// Which of the pages one is on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Tab {
    /// Each machine at a glance, one machine, one rack.
    Now,
    /// Alerts.
    Alerts,
    /// What people enter.
    Logbook,
    /// What is on record.
    History,
    /// The technician's.
    Probes,
    /// Settings, accounts, the reader's own choices.
    More,
    /// None of them: nothing is shown.
    None,
}

/// What every page knows of its site. Copies count together.
#[derive(Clone, Debug)]
pub struct Site {
    /// Its name.
    pub name: String,
    /// Whether its machines are simulated; each page says so.
    pub simulated: bool,
    /// Open alerts, as they were counted last.
    open: Arc<AtomicUsize>,
    clock: Clock,
}

/// What tells the time of a site. Copies are the same.
#[derive(Clone)]
struct Clock(Arc<dyn Fn() -> Timestamp + Send + Sync>);

impl fmt::Debug for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Clock").finish_non_exhaustive()
    }
}

impl Site {
    /// A site, whose clock shows `now`.
    #[must_use]
    pub fn new(name: String, simulated: bool, now: impl Fn() -> Timestamp + Send + Sync + 'static) -> Self {
        Self { name, simulated, open: Arc::default(), clock: Clock(Arc::new(now)) }
    }

    /// Notes how many alerts are open, for the pages that do not count them.
    pub(super) fn counted(&self, open: usize) {
        self.open.store(open, Ordering::Relaxed);
    }
}

/// What the template of the frame is filled with.
#[derive(Debug)]
pub(super) struct Frame<'a> {
    /// Title of the page, for the window and for the list of windows.
    pub(super) title: &'a str,
    pub(super) site: &'a Site,
    pub(super) person: &'a Person,
    pub(super) tab: Tab,
    /// Leads from the page to the top of the site, see [`up`].
    pub(super) up: &'static str,
    /// Open alerts, shown at their tab.
    pub(super) open: usize,
    pub(super) words: &'static Words,
    pub(super) asset: &'static str,
    /// How it is renewed where scripts are off, of a page that is alive by them.
    pub(super) renewed: Option<Told>,
}

impl<'a> Frame<'a> {
    /// The frame of a page `deep` steps below the top of the site: `/alerts/3` is one step deep.
    pub(super) fn new(site: &'a Site, person: &'a Person, tab: Tab, deep: usize, title: &'a str) -> Self {
        let (up, asset) = (up(deep), super::assets::version());
        let open = site.open.load(Ordering::Relaxed);
        let words = words(person.reader.language);
        Self { title, site, person, tab, up, open, words, asset, renewed: None }
    }

    /// With the number of open alerts at their tab, where they were just counted.
    pub(super) const fn with_open(mut self, open: usize) -> Self {
        self.open = open;
        self
    }

    /// Of a page that is alive by scripts: renewed without them as somebody asked for.
    pub(super) fn renewing(mut self, renewal: Renewal) -> Self {
        self.renewed = Some(renewal.told(&self.person.reader, (self.site.clock.0)()));
        self
    }

    /// Whichever of the two the reader reads.
    pub(super) const fn say(&self, english: &'static str, spanish: &'static str) -> &'static str {
        said(self.person.reader.language, english, spanish)
    }

    /// The role of the person in their words.
    pub(super) const fn role(&self) -> &'static str {
        super::who::role(self.person.role, self.person.reader.language)
    }

    /// When the page was made, by the clock of the site.
    pub(super) fn made(&self) -> String {
        self.person.reader.moment((self.site.clock.0)())
    }

    pub(super) fn is(&self, tab: Tab) -> bool {
        self.tab == tab
    }

    /// For whom the page was made, see [`crate::web::live::reads`].
    pub(super) fn reader(&self) -> String {
        live::reads(&self.person.reader)
    }

    pub(super) fn language(&self) -> &'static str {
        self.person.reader.language.code()
    }
}

words! {
    skip: "To the content", "Al contenido";
    pages: "Pages", "Páginas";
    notice: "Notice", "Aviso";
    now: "Now", "Ahora";
    alerts: "Alerts", "Alertas";
    logbook: "Logbook", "Diario";
    history: "History", "Historial";
    probes: "Probes", "Sondas";
    more: "More", "Más";
    one_open: "open", "abierta";
    more_open: "open", "abiertas";
    simulated: "SIMULATED: these machines do not exist; their clock is not yours", "SIMULADO: estas máquinas no existen; su reloj no es el suyo";
    as_of: "As of", "Estado del";
    signed: "You are", "Usted es";
    leave: "Log out", "Cerrar sesión";
    aid: "An aid: it replaces neither the machine's gauges nor the test kit. Local code and the data plate come first.", "Es una ayuda: no sustituye los indicadores de la máquina ni el kit de prueba. Rigen la norma local y la placa de datos.";
    unconnected: "No connection to the gateway: what you see is old. Last news:", "Sin conexión con el equipo: lo que ve es antiguo. Últimas noticias:";
    full: "Live updates are full: too many pages are open at once. What you see is not renewed; it is tried again by itself. Last news:", "No quedan actualizaciones en vivo: hay demasiadas páginas abiertas. Lo que ve no se renueva; se volverá a intentar. Últimas noticias:";
    other: "Your account reads in another language or on another scale by now: load this page again to follow. Until then what you see is not renewed.", "Su cuenta usa ahora otro idioma u otra escala: vuelva a cargar esta página para verla así. Hasta entonces, lo que ve no se renueva.";
    opened: "when this page was opened", "al abrir esta página";
}

/// How many steps below the top of the site a path leads.
pub(super) fn depth(path: &str) -> usize {
    path.matches('/').count().saturating_sub(1)
}

/// Steps back to the top of the site (own choice: no page is deeper than four; an address that leads nowhere may be).
const STEPS: &str = concat!(
    "../../../../../../../../../../../../../../../../",
    "../../../../../../../../../../../../../../../../",
    "../../../../../../../../../../../../../../../../",
    "../../../../../../../../../../../../../../../../"
);

/// The way from a page so many steps below the top of the site to the top: `./`, `../`. Relative, so that a proxy
/// may serve the site below whatever path it likes. An address that is deeper than [`STEPS`] is told of without
/// style.
pub(super) fn up(deep: usize) -> &'static str {
    match deep {
        0 => "./",
        deep => STEPS.get(..3 * deep).unwrap_or(STEPS),
    }
}

/// A page that was made, or why not.
pub(super) fn page(status: StatusCode, html: Result<String, askama::Error>) -> Response {
    match html {
        Ok(html) => (status, Html(html)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page could not be made");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// Sends the browser on to a page after a form was taken, so that a reload sends nothing twice. `to` is
/// relative, so that it leads to the right place below whatever path a proxy serves the site at.
pub(super) fn go(to: &str) -> Response {
    match HeaderValue::from_str(to) {
        Ok(to) => (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// Why a page is not shown.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Refusal {
    /// There is no such thing.
    Unknown,
    /// The record cannot be asked just now.
    NotNow,
    /// What is on record is damaged, or not as it was sealed; at this record, where one is known.
    Damaged(Option<u64>),
}

#[derive(Template)]
#[template(path = "web/frame/plain.html", config = ".askama.toml")]
struct PlainPage<'a> {
    frame: Frame<'a>,
    text: &'static str,
    /// What to do.
    advice: Option<Cow<'static, str>>,
    /// Leads to what is to be done about it.
    next: Option<&'static str>,
    /// Record that it is about.
    record: Option<u64>,
}

/// The page that says why nothing is shown.
pub(super) fn refuse(refused: Refusal, person: &Person, site: &Site, deep: usize) -> Response {
    let language = person.reader.language;
    let (status, title, text) = match (refused, language) {
        (Refusal::Unknown, Language::English) => (
            StatusCode::NOT_FOUND,
            "Not here",
            "There is nothing at this address. It may have been typed wrongly.",
        ),
        (Refusal::Unknown, Language::Spanish) => {
            (StatusCode::NOT_FOUND, "No está aquí", "No hay nada en esta dirección. Quizá esté mal escrita.")
        }
        (Refusal::NotNow, Language::English) => (
            StatusCode::SERVICE_UNAVAILABLE,
            "Not just now",
            "The record cannot be read just now. Nothing is lost; try again in a minute.",
        ),
        (Refusal::NotNow, Language::Spanish) => (
            StatusCode::SERVICE_UNAVAILABLE,
            "Ahora no",
            "El registro no se puede leer en este momento. No se pierde nada; inténtelo en un minuto.",
        ),
        (Refusal::Damaged(_), Language::English) => (
            StatusCode::INTERNAL_SERVER_ERROR,
            "The record is DAMAGED here",
            "What is on record here cannot be read, or is not as it was sealed, and trying again will not help. \
             Have the record checked, keep the ledger as it is, and tell whoever looks after the gateway.",
        ),
        (Refusal::Damaged(_), Language::Spanish) => (
            StatusCode::INTERNAL_SERVER_ERROR,
            "El registro está DAÑADO aquí",
            "Lo que consta aquí no se puede leer o no está como se selló, y volver a intentarlo no servirá. \
             Haga comprobar el registro, conserve el archivo como está y avise a quien cuida del equipo.",
        ),
    };
    let (next, record) = match refused {
        Refusal::Damaged(record) => {
            let next = "Whether the record is whole";
            (Some(said(language, next, "Si el registro está íntegro")), record)
        }
        Refusal::Unknown | Refusal::NotNow => (None, None),
    };
    let frame = Frame::new(site, person, Tab::None, deep, title);
    page(status, PlainPage { frame, text, advice: None, next, record }.render())
}

/// The page for somebody whose role does not reach to what takes this right: it names the roles that do.
pub(super) fn not_yours(right: Right, person: &Person, site: &Site, deep: usize) -> Response {
    let language = person.reader.language;
    let (title, text) = match language {
        Language::English => (
            "Not yours to open",
            "Your role does not reach that far. The administrator decides who does what.",
        ),
        Language::Spanish => {
            ("No le corresponde", "Su función no llega hasta aquí. El administrador decide quién hace qué.")
        }
    };
    let advice =
        super::who::instead(person, right, said(language, "This page", "Esta página")).map(Cow::Owned);
    let frame = Frame::new(site, person, Tab::None, deep, title);
    page(StatusCode::FORBIDDEN, PlainPage { frame, text, advice, next: None, record: None }.render())
}

/// A page that says what happened, what that means, and what to do.
pub(super) fn told(
    status: StatusCode,
    (title, text, advice): (&'static str, &'static str, &'static str),
    person: &Person,
    site: &Site,
    deep: usize,
) -> Response {
    let frame = Frame::new(site, person, Tab::None, deep, title);
    let advice = Some(Cow::Borrowed(advice));
    page(status, PlainPage { frame, text, advice, next: None, record: None }.render())
}

/// The page of a refusal that says nothing of itself.
pub(super) fn bare(status: StatusCode, bare: Bare, person: &Person, site: &Site, deep: usize) -> Response {
    let words = match (bare, person.reader.language) {
        (Bare::Nowhere, _) => {
            let mut answer = refuse(Refusal::Unknown, person, site, deep);
            *answer.status_mut() = status;
            return answer;
        }
        (Bare::Garbled, Language::English) => (
            "Nothing was done",
            "What was sent is not what this page asks for. Nothing was put on record.",
            "Open the page anew, fill it in there, and send it from there.",
        ),
        (Bare::Garbled, Language::Spanish) => (
            "No se hizo nada",
            "Lo enviado no es lo que pide esta página. No se registró nada.",
            "Abra la página de nuevo, rellénela allí y envíela desde allí.",
        ),
        (Bare::Full, Language::English) => (
            "Too many at once",
            "As many are looking on as can at a time. Racks are watched and put on record all the same.",
            "Close pages that nobody looks at, and try again in half a minute.",
        ),
        (Bare::Full, Language::Spanish) => (
            "Demasiados a la vez",
            "Hay tantas páginas abiertas como es posible. Las canastas se vigilan y registran igualmente.",
            "Cierre las páginas que nadie mira e inténtelo de nuevo en medio minuto.",
        ),
        (Bare::Mistake, Language::English) => (
            "The gateway made a mistake",
            "This page could not be made. What is on record is not touched by that.",
            "Tell whoever looks after the gateway; its log says what went wrong.",
        ),
        (Bare::Mistake, Language::Spanish) => (
            "El equipo cometió un error",
            "No se pudo crear esta página. Lo que consta en el registro no cambia por ello.",
            "Avise a quien cuida del equipo; su registro de mensajes dice qué falló.",
        ),
    };
    told(status, words, person, site, deep)
}

/// What that is called among the parts of a page.
#[must_use]
pub const fn notice(language: Language) -> &'static str {
    words(language).notice
}

/// What is said at the top of every page where nothing is real.
#[must_use]
pub const fn simulated(language: Language) -> &'static str {
    words(language).simulated
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::access::Role;
    use crate::web::fixture;

    // Own promise: what is damaged is told as damage, with the way to what is to be done; nobody is told to try
    // again, or that the address is wrong.
    #[tokio::test]
    async fn damage_is_told_as_damage() {
        let site = Site::new("North".to_owned(), false, || fixture::NOW);
        for (language, wanted) in [(Language::English, "DAMAGED"), (Language::Spanish, "DAÑADO")] {
            let person = fixture::person(Role::Auditor, language);
            let answer = refuse(Refusal::Damaged(Some(7)), &person, &site, 2);
            assert_eq!(answer.status(), StatusCode::INTERNAL_SERVER_ERROR);
            let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
            let page = String::from_utf8(bytes.to_vec()).expect("text");
            for part in [wanted, "../../history/integrity", "../../history/records/7"] {
                assert!(page.contains(part), "{part}: {page}");
            }
        }
    }

    // ARIA Authoring Practices, landmark regions: what stands on a page stands in a part of it that has a name.
    #[tokio::test]
    async fn that_nothing_is_real_stands_in_a_part_of_its_own() {
        let site = Site::new("North".to_owned(), true, || fixture::NOW);
        for (language, name) in [(Language::English, "Notice"), (Language::Spanish, "Aviso")] {
            let person = fixture::person(Role::Auditor, language);
            let answer = refuse(Refusal::Unknown, &person, &site, 0);
            let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
            let page = String::from_utf8(bytes.to_vec()).expect("text");
            let part =
                format!("<section class=\"simulated\" aria-label=\"{name}\"><p>{}</p>", simulated(language));
            assert!(page.contains(&part), "{page}");
            // What is printed, and what no script renews, says of when it is.
            let made = person.reader.moment(fixture::NOW);
            assert!(page.contains(&format!("<span data-made>{made}</span>")), "{page}");
        }
    }
}
