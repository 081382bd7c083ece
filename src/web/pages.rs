//! The pages as HTML, and their own words in each language.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::form::Field;
use super::frame;
use super::sheet::{Sheet, Standing};
use super::stranger::Stranger;
use crate::core::reader::Language;
use crate::web::words::{Telling, words};

/// The one style sheet, inside each page; the policy of the page allows it by its hash.
pub(super) const STYLE: &str = include_str!("pages/style.css");

words! {
    code: "en", "es";
    alert: "alert", "alerta";
    log_in: "Log in", "Entrar";
    waiting: "Nobody takes care of it now.", "Nadie se encarga ahora.";
    recovered: "Nobody need take care of it any more.", "Ya no hace falta que nadie se encargue.";
    taken_by: "Taken care of by", "Se encarga";
    closed: "Closed", "Cerrada";
    now: "Do now", "Qué hacer ahora";
    caution: "Caution", "Precaución";
    acknowledge_title: "I take care of it", "Me encargo yo";
    acknowledge_hint: "The next contact is then not called. It does not close the alert.", "Así no se avisa al siguiente contacto. La alerta no se cierra con esto.";
    acknowledge: "I take care of it", "Me encargo yo";
    name: "Your name", "Su nombre";
    link_of: "This link was sent to", "Este enlace se envió a";
    own_name: "Write who you are: your name goes on record.", "Escriba quién es usted: su nombre queda registrado.";
    note: "Note (may stay empty)", "Nota (puede quedar vacía)";
    action: "Corrective action", "Acción correctiva";
    action_hint: "It goes on record as it is written here and is never changed. The alert closes only with it.", "Queda registrada tal como se escribe aquí y no se modifica nunca. La alerta solo se cierra con ella.";
    another_action: "Another corrective action", "Otra acción correctiva";
    another_action_hint: "The action on record covers the racks that were shown to whoever wrote it. A rack after those needs another one.", "La acción que consta vale para las canastas que vio quien la escribió. Una canasta posterior necesita otra.";
    racks: "What happened to the racks", "Qué se hizo con las canastas";
    racks_example: "Example: held and washed again, none went out", "Ejemplo: retenidas y lavadas de nuevo; ninguna salió";
    done: "What was done", "Qué se hizo";
    done_example: "What was mended, and how it was tested", "Qué se reparó y cómo se probó";
    listed: "Racks it is about", "Canastas afectadas";
    alerts: "See the alerts", "Ver las alertas";
    incomplete: "Something is missing or cannot be taken: nothing was put on record. What is wrong stands at its field.", "Falta algo o no se puede aceptar: no se registró nada. El fallo está junto a su campo.";
    record_action: "Put on record", "Registrar";
    aid: "An aid: it replaces neither the machine's gauges nor the test kit.", "Es una ayuda: no sustituye los indicadores de la máquina ni el kit de prueba.";
}

#[derive(Template)]
#[template(path = "web/pages/alert.html", config = ".askama.toml")]
struct AlertPage<'a> {
    words: &'static Words,
    title: String,
    style: &'static str,
    token: &'a str,
    stranger: Stranger,
    waiting: bool,
    left_out: Option<String>,
    sheet: &'a Sheet,
    typed: &'a Typed,
    /// How many racks an action that is written here covers.
    covers: u64,
    /// How many racks it counts and does not name.
    more: Option<String>,
    /// Where the links of the page begin.
    up: &'static str,
}

impl AlertPage<'_> {
    /// Every field with something wrong: its id where it is on the page, its name, and what that is.
    fn wrong(&self) -> Vec<(Option<&'static str>, &'static str, &str)> {
        let Typed { name, note, who, racks, done, covers: _ } = self.typed;
        let words = self.words;
        let taking = [("name", words.name, name), ("note", words.note, note)];
        let acting = [("racks", words.racks, racks), ("done", words.done, done), ("who", words.name, who)];
        let taking = taking.into_iter().map(|field| (self.waiting, field));
        let acting = acting.into_iter().map(|field| (self.sheet.needs_action, field));
        let told = taking.chain(acting).filter_map(|(shown, (id, name, field))| {
            Some((shown.then_some(id), name, field.fault.as_deref()?))
        });
        told.collect()
    }
}

/// What was typed into the forms behind a link, where it could not be taken.
#[derive(Clone, Debug, Default)]
pub(super) struct Typed {
    pub(super) name: Field,
    pub(super) note: Field,
    pub(super) who: Field,
    pub(super) racks: Field,
    pub(super) done: Field,
    /// How many racks there were when the typing began.
    pub(super) covers: Option<u64>,
}

impl Typed {
    /// Whether anything is wrong with it.
    pub(super) fn is_refused(&self) -> bool {
        let fields = [&self.name, &self.note, &self.who, &self.racks, &self.done];
        fields.iter().any(|field| field.fault.is_some())
    }
}

/// The page of an alert. The token holds base64url only.
pub(super) fn alert(
    sheet: &Sheet,
    token: &str,
    stranger: Stranger,
    typed: &Typed,
    up: &'static str,
) -> Result<String, askama::Error> {
    let words = words(sheet.language);
    let title = format!("{} {}: {}", words.alert, sheet.number, sheet.headline);
    let waiting = sheet.standing == Standing::Waiting;
    let more = sheet.racks.saturating_sub(sheet.listed.len() as u64);
    let left_out =
        sheet.left_out.as_ref().map(|racks| left_out(racks.count, racks.last.as_deref(), sheet.language));
    AlertPage {
        words,
        title,
        style: STYLE,
        token,
        stranger: stranger.reading(sheet.language),
        waiting,
        left_out,
        sheet,
        typed,
        covers: typed.covers.unwrap_or(sheet.racks),
        more: (more > 0).then(|| more_racks(more, sheet.language)),
        up,
    }
    .render()
}

/// That more racks are counted than are named.
fn more_racks(count: u64, language: Language) -> String {
    match language {
        Language::English => format!("And {count} more."),
        Language::Spanish => format!("Y {count} más."),
    }
}

/// That racks came which the corrective action on record does not cover, `last` the instant of the last.
pub(super) fn left_out(count: u64, last: Option<&str>, language: Language) -> String {
    let at = |before: &str| last.map(|at| format!(" ({before}{at})")).unwrap_or_default();
    match (count, language) {
        (1, Language::English) => {
            format!(
                "The corrective action on record does not cover 1 later rack{}: it needs another.",
                at("")
            )
        }
        (_, Language::English) => format!(
            "The corrective action on record does not cover {count} later racks{}: they need another.",
            at("the last ")
        ),
        (1, Language::Spanish) => {
            format!("La acción correctiva que consta no abarca 1 canasta posterior{}: necesita otra.", at(""))
        }
        (_, Language::Spanish) => format!(
            "La acción correctiva que consta no abarca {count} canastas posteriores{}: necesitan otra.",
            at("la última: ")
        ),
    }
}

#[derive(Template)]
#[template(path = "web/pages/plain.html", config = ".askama.toml")]
struct PlainPage {
    words: &'static Words,
    title: &'static str,
    style: &'static str,
    stranger: Stranger,
    text: &'static str,
    advice: &'static str,
    /// The way to the login, and its words.
    way: Option<(String, &'static str)>,
}

/// What a page without an alert says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Plain {
    /// The link is too old.
    Expired,
    /// There is nothing behind this address, or the link was not made here.
    Unknown,
    /// A field is missing or too long.
    Incomplete,
    /// The form does not say how many racks its page showed.
    Unnumbered,
    /// The form was sent from another site.
    ForeignForm,
    /// It cannot be shown or put on record just then.
    NotNow,
    /// What was asked for may be done or not: the answer did not come in time.
    Unanswered,
    /// It is longer than anything that is taken.
    TooLarge,
    /// It did not arrive whole in time.
    Broken,
}

/// A plain page in the language that the browser asks for first.
pub(super) fn say(status: StatusCode, said: Plain, stranger: Stranger) -> Response {
    frame::page(status, plain(said, stranger, None))
}

/// The same with the way to the alerts, which asks for a login.
pub(super) fn say_with_way(status: StatusCode, said: Plain, stranger: Stranger, alerts: &str) -> Response {
    frame::page(status, plain(said, stranger, Some(alerts.to_owned())))
}

/// Says that nobody is known to ask, with the way to the login, which leads back to what was asked for.
pub(super) fn log_in(login: String, stranger: Stranger) -> Response {
    let ((title, text, advice), words) = (LOG_IN.told(stranger.language), words(stranger.language));
    let way = Some((login, words.log_in));
    let page = PlainPage { words, title, style: STYLE, stranger, text, advice, way };
    frame::page(StatusCode::UNAUTHORIZED, page.render())
}

/// A page that says why nothing was done, or that nobody knows, and what to do.
fn plain(plain: Plain, stranger: Stranger, alerts: Option<String>) -> Result<String, askama::Error> {
    let telling = match plain {
        Plain::Expired => &EXPIRED,
        Plain::Unknown => &UNKNOWN,
        Plain::Incomplete => &INCOMPLETE,
        Plain::Unnumbered => &UNNUMBERED,
        Plain::ForeignForm => &FOREIGN_FORM,
        Plain::NotNow => &NOT_NOW,
        Plain::Unanswered => &UNANSWERED,
        Plain::TooLarge => &TOO_LARGE,
        Plain::Broken => &BROKEN,
    };
    let (title, text, advice) = telling.told(stranger.language);
    let words = words(stranger.language);
    let way = alerts.map(|alerts| (alerts, words.alerts));
    PlainPage { words, title, style: STYLE, stranger, text, advice, way }.render()
}

const EXPIRED: Telling = Telling {
    english: (
        "This link has expired",
        "Nothing was changed.",
        "Open the link of the newest message about this machine, or have somebody at the gateway type: \
             rinseward alerts list --open",
    ),
    spanish: (
        "Este enlace ha caducado",
        "No se ha cambiado nada.",
        "Abra el enlace del mensaje más reciente sobre esta máquina, o pida a alguien junto al equipo que \
             escriba: rinseward alerts list --open",
    ),
};

const LOG_IN: Telling = Telling {
    english: (
        "You are not logged in",
        "Your login has ended, or there was none. Nothing was put on record.",
        "Log in, open the page again, and send it once more. Going back may still show what you typed.",
    ),
    spanish: (
        "No ha iniciado sesión",
        "Su sesión ha terminado o no había ninguna. No se registró nada.",
        "Inicie sesión, abra de nuevo la página y envíelo otra vez. Al volver atrás quizá siga lo que escribió.",
    ),
};

const UNKNOWN: Telling = Telling {
    english: (
        "This link does not lead anywhere",
        "It is incomplete, or the gateway that made it has been set up anew. Nothing was changed.",
        "Copy the whole link from the message. If that does not help, have somebody at the gateway type: \
             rinseward alerts list --open",
    ),
    spanish: (
        "Este enlace no lleva a ningún sitio",
        "Está incompleto, o el equipo que lo creó se ha instalado de nuevo. No se ha cambiado nada.",
        "Copie el enlace completo del mensaje. Si no sirve, pida a alguien junto al equipo que escriba: \
             rinseward alerts list --open",
    ),
};

const INCOMPLETE: Telling = Telling {
    english: (
        "Something is missing",
        "A field was empty or too long, or a name holds «/» or signs that cannot be seen, so nothing was put on record.",
        "Go back, fill in every field that is asked for, and send again.",
    ),
    spanish: (
        "Falta algo",
        "Un campo estaba vacío o era demasiado largo, o un nombre contiene «/» o signos que no se ven, por lo que no se registró nada.",
        "Vuelva atrás, rellene todos los campos que se piden y envíe de nuevo.",
    ),
};

const UNNUMBERED: Telling = Telling {
    english: (
        "This page is too old",
        "It was opened before this gateway was updated, and does not say which racks it showed. Nothing was put on record.",
        "Open the link of the message again, look at its racks, and write the corrective action there.",
    ),
    spanish: (
        "Esta página es demasiado antigua",
        "Se abrió antes de actualizar este equipo y no dice qué canastas mostraba. No se registró nada.",
        "Abra otra vez el enlace del mensaje, mire sus canastas y escriba allí la acción correctiva.",
    ),
};

const FOREIGN_FORM: Telling = Telling {
    english: (
        "This was sent from another site",
        "Only the page behind the link may do this. Nothing was changed.",
        "Open the link in the message and press the button there.",
    ),
    spanish: (
        "Esto se envió desde otro sitio",
        "Solo la página del enlace puede hacerlo. No se ha cambiado nada.",
        "Abra el enlace del mensaje y pulse el botón allí.",
    ),
};

const NOT_NOW: Telling = Telling {
    english: (
        "Not possible just now",
        "The gateway cannot read or write its record at this moment. Nothing was put on record.",
        "Try again in a minute. Hold the racks meanwhile.",
    ),
    spanish: (
        "No es posible en este momento",
        "El equipo no puede leer ni escribir su registro ahora mismo. No se registró nada.",
        "Inténtelo de nuevo dentro de un minuto. Mientras tanto, retenga las canastas.",
    ),
};

const UNANSWERED: Telling = Telling {
    english: (
        "Not known whether it is on record",
        "The gateway took what you sent and did not answer in time. It may be on record.",
        "Open the page again, by the same link: it shows what is on record. Send it once more only if it is \
             not there. Hold the racks meanwhile.",
    ),
    spanish: (
        "No se sabe si quedó registrado",
        "El equipo recibió lo que envió y no respondió a tiempo. Puede que esté registrado.",
        "Abra de nuevo la página con el mismo enlace: muestra lo que está registrado. Envíelo otra vez solo \
             si no está. Mientras tanto, retenga las canastas.",
    ),
};

const TOO_LARGE: Telling = Telling {
    english: (
        "Too long",
        "More was sent than any page takes, so nothing was put on record.",
        "Go back, shorten it, and send again.",
    ),
    spanish: (
        "Demasiado largo",
        "Se envió más de lo que admite cualquier página, por lo que no se registró nada.",
        "Vuelva atrás, acórtelo y envíe de nuevo.",
    ),
};

const BROKEN: Telling = Telling {
    english: (
        "Not everything arrived",
        "What you sent did not arrive whole in time, so nothing was put on record.",
        "Look whether this device still reaches the network, go back, and send again.",
    ),
    spanish: (
        "No llegó todo",
        "Lo que envió no llegó entero a tiempo, por lo que no se registró nada.",
        "Compruebe que este dispositivo tiene red, vuelva atrás y envíe de nuevo.",
    ),
};
