//! The sign-off of a machine: what is open and what mends it, the button, and the sheet for paper.
//!
//! Nobody signs limits that were not compared with the data plate, nor a rack or open points that were not shown.

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::{StatusCode, Uri, header};
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;

use super::attempt::{Marked, NotDone, not_taken};
use super::form::optional;
use super::frame::{self, Frame, Tab};
use super::guard;
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::probes::{Made, made, place};
use super::query::{self, Given};
use super::serve::NOTE_CHARS_MAX;
use crate::core::cycle::figures::Figures;
use crate::core::cycle::plate::LimitSource;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict;
use crate::core::reader::{Language, Reader};
use crate::core::record::{SignedPlate, SignedProbe};
use crate::core::signoff::chemistry::measures;
use crate::core::technician::words::width;
use crate::core::time::Timestamp;
use crate::web::frame::said;
use crate::web::words::words;

/// What would be signed of a machine just now.
#[derive(Clone, PartialEq, Debug)]
pub struct Commissioning {
    /// By what it is judged.
    pub plate: SignedPlate,
    /// Its probes as they are in force.
    pub probes: Vec<SignedProbe>,
    /// What is missing or not good.
    pub open: Vec<Open>,
    /// The rack that is signed as the test: the one that was chosen, else the newest since the probes are as they are.
    pub tested: Option<TestRack>,
    /// Others of the last racks of the machine, the newest first.
    pub others: Vec<TestRack>,
    /// The record of the newest sign-off.
    pub newest: Option<u64>,
    /// What tells these limits, probes, rack and open points from any others, in any language: whoever signs sends
    /// it back.
    pub mark: String,
}

/// A rack that can be signed as the test.
#[derive(Clone, PartialEq, Debug)]
pub struct TestRack {
    /// Its record.
    pub record: u64,
    /// When its final rinse began.
    pub at: Timestamp,
    /// Its verdict.
    pub verdict: Verdict,
    /// What was measured.
    pub figures: Figures,
}

/// How many of the last racks one is chosen from (own choice: those of the last minutes).
pub const RACKS_MAX: usize = 5;

/// The newest sign-off of a machine, as it stands now.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stood {
    /// Its record.
    pub record: u64,
    /// When it was signed.
    pub at: Timestamp,
    /// By whom.
    pub by: String,
    /// How many open points were accepted with it.
    pub accepted: usize,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
    /// What is not as it was signed, in the words of the reader.
    pub lapsed: Vec<String>,
}

/// What somebody had before their eyes who signs.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shown {
    /// How many points were open.
    pub open: usize,
    /// The [`Commissioning::mark`] of it.
    pub mark: String,
    /// The rack that is signed as the test; `None` where there was none.
    pub rack: Option<u64>,
}

/// One open point.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Open {
    /// In the words of the reader.
    pub text: String,
    /// What mends it.
    pub mend: Mend,
}

/// What mends an open point. Probes are named `<machine>/<probe>`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Mend {
    /// A calibration of this probe.
    Calibration(String),
    /// A response test of this probe.
    Response(String),
    /// A proof of the wiring.
    Proof,
    /// This alert is to be closed.
    Alert(u64),
    /// A test cycle is to be run; the one that was, where there is one.
    Cycle(Option<u64>),
    /// The work is to be ended, then another rack is to be run than this one.
    Work(u64),
    /// The data plate is to be entered in the configuration.
    Configuration,
}

#[derive(Template)]
#[template(path = "web/sign_off/sign_off.html", config = ".askama.toml")]
struct SignOffPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    machine: &'a str,
    signed: &'a Commissioning,
    limits: Vec<(&'static str, String)>,
    /// The channels of its sanitizer, and what each measures.
    solutions: Vec<(String, &'static str)>,
    probes: Vec<[String; 5]>,
    open: Vec<(&'a str, String, &'static str)>,
    tested: Option<RackTold>,
    others: Vec<RackTold>,
    recorded: Option<u64>,
    notice: Option<String>,
    /// Whether the boxes that must be ticked were not.
    unticked: bool,
    /// What was ticked: that it was compared, and that the open points are known.
    ticks: [bool; 2],
    note: String,
    /// That the machine is marked as worked on.
    marked: Option<Marked>,
    /// Where the end of the work leads back to.
    back: &'static str,
}

/// A rack in words.
struct RackTold {
    record: u64,
    when: String,
    verdict: Verdict,
    word: String,
    figures: String,
}

impl RackTold {
    fn of(rack: &TestRack, reader: &Reader) -> Self {
        Self {
            record: rack.record,
            when: reader.moment(rack.at),
            verdict: rack.verdict,
            word: verdict(rack.verdict, reader.language).to_uppercase(),
            figures: rack.figures.told(reader),
        }
    }
}

words! {
    title: "Sign off", "Firmar";
    open: "Open points", "Puntos abiertos";
    nothing_open: "✓ Nothing is open.", "✓ No queda nada abierto.";
    limits: "Limits of the data plate", "Límites de la placa de datos";
    limits_hint: "Compare each with the plate on the machine. One that differs is mended in the configuration before you sign.", "Compare cada uno con la placa de la máquina. El que difiera se corrige en la configuración antes de firmar.";
    probes: "Probes as they are in force", "Sondas tal como están en vigor";
    rack: "Test rack", "Canasta de prueba";
    rack_taken: "This rack goes on record with your sign-off:", "Esta canasta queda registrada con su firma:";
    no_rack: "No rack since the probes are as they are: none goes on record with your sign-off.", "Ninguna canasta desde que las sondas están así: ninguna queda registrada con su firma.";
    rack_others: "Take another of the last racks", "Tomar otra de las últimas canastas";
    rack_take: "Take this one", "Tomar esta";
    sign: "Sign", "Firma";
    compared: "I have compared these limits and times with the data plate of this machine", "He comparado estos límites y tiempos con la placa de datos de esta máquina";
    known: "The open points are known to me; they go on record with my name", "Conozco los puntos abiertos; se registran con mi nombre";
    changed: "Something of this has changed since it was shown to you, so nothing was signed. It is shown here as it is: look at it again, then sign.", "Algo de esto ha cambiado desde que se le mostró, por lo que no se firmó nada. Aquí se ve como está: revíselo otra vez y firme.";
    tick: "Tick it, or do not sign yet.", "Márquelo, o no firme todavía.";
    note: "Note (may stay empty)", "Nota (puede quedar vacía)";
    note_hint: "What is to be known beside it.", "Lo que deba saberse además.";
    go: "Sign off", "Firmar";
    go_hint: "Under your name. It goes on record and is never changed.", "Con su nombre. Queda registrado y no se modifica nunca.";
    sheet: "The sheet as it would be printed now", "La hoja tal como se imprimiría ahora";
    newest: "Sheet of the newest sign-off, record", "Hoja de la última firma, asiento";
    proved: "What was found of the wiring is on record: record", "Lo hallado del cableado queda registrado: asiento";
    machine: "Machine", "Máquina";
    correction: "Correction", "Corrección";
    holds: "Holds until", "Vale hasta";
    tau: "Time constant", "Constante de tiempo";
    uncertain: "Uncertainty (k = 2)", "Incertidumbre (k = 2)";
}

/// What is sent to sign.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct SignForm {
    compared: Option<String>,
    known: Option<String>,
    /// Open points as they were shown.
    open: usize,
    /// What was shown.
    mark: String,
    /// The rack that was shown as the test.
    rack: Option<u64>,
    note: String,
}

/// Shows what would be signed.
pub(super) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let mut given = Given::read(&uri, &["recorded", "rack"]);
    let (recorded, rack) = (given.take("recorded", query::record), given.take("rack", query::record));
    if given.is_refused() {
        return query::refused(&given, &person, &pages.site, 1);
    }
    let recorded = made(&pages, &machine, Made::Proof, recorded).await;
    page(&pages, &person, &machine, StatusCode::OK, Told { recorded, rack, ..Told::default() }).await
}

/// What a page says of what was just sent.
#[derive(Default)]
struct Told {
    recorded: Option<u64>,
    /// The rack that was chosen.
    rack: Option<u64>,
    notice: Option<String>,
    unticked: bool,
    note: String,
    /// What was ticked: that it was compared, and that the open points are known.
    ticks: [bool; 2],
}

async fn page<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    machine: &str,
    status: StatusCode,
    told: Told,
) -> Response {
    let signed = match pages.kitchen.commissioning(machine.to_owned(), told.rack, person).await {
        Ok(signed) => signed,
        Err(refused) => return frame::refuse(refused, person, &pages.site, 1),
    };
    let words = words(person.reader.language);
    let title = format!("{}: {machine}", words.title);
    let frame = Frame::new(&pages.site, person, Tab::Probes, 1, &title).with_open(pages.open().await);
    let open = signed
        .open
        .iter()
        .map(|open| {
            let (to, text) = mend(&open.mend, machine, frame.up, person.reader.language);
            (open.text.as_str(), to, text)
        })
        .collect();
    let page = SignOffPage {
        words,
        machine,
        limits: limits(&signed.plate, &person.reader),
        probes: signed.probes.iter().map(|probe| row(probe, &person.reader)).collect(),
        solutions: signed
            .plate
            .chemistry
            .iter()
            .flat_map(|chemistry| &chemistry.channels)
            .map(|own| (own.channel.clone(), measures(own.solution, person.reader.language)))
            .collect(),
        open,
        tested: signed.tested.as_ref().map(|rack| RackTold::of(rack, &person.reader)),
        others: signed.others.iter().map(|rack| RackTold::of(rack, &person.reader)).collect(),
        recorded: told.recorded,
        notice: told.notice,
        unticked: told.unticked,
        ticks: told.ticks,
        note: told.note,
        signed: &signed,
        marked: Marked::of(pages, person, machine).await,
        back: "sign-off",
        frame,
    };
    frame::page(status, page.render())
}

/// Where an open point is mended, and the words of the way there; no way where it is not here.
fn mend(mend: &Mend, machine: &str, up: &str, language: Language) -> (String, &'static str) {
    let say = |english, spanish| said(language, english, spanish);
    match mend {
        Mend::Calibration(probe) => (format!("{up}calibrate/{probe}"), say("Calibrate it", "Calibrarla")),
        Mend::Response(probe) => {
            (format!("{up}respond/{probe}"), say("Test its response", "Probar su respuesta"))
        }
        Mend::Proof => (format!("{up}prove/{machine}"), say("Prove the wiring", "Comprobar el cableado")),
        Mend::Alert(alert) => (format!("{up}alerts/{alert}"), say("To the alert", "A la alerta")),
        Mend::Cycle(Some(record)) => {
            (format!("{up}cycles/{record}"), say("To that rack; run another", "A esa canasta; lave otra"))
        }
        Mend::Cycle(None) => (
            String::new(),
            say("Run one rack, and look here again.", "Lave una canasta y vuelva a mirar aquí."),
        ),
        Mend::Work(record) => (
            format!("{up}cycles/{record}"),
            say(
                "To that rack; end the work, then run another",
                "A esa canasta; termine el trabajo y lave otra",
            ),
        ),
        Mend::Configuration => (
            String::new(),
            say("Enter it in the configuration from the plate.", "Introdúzcalo en la configuración."),
        ),
    }
}

fn limits(plate: &SignedPlate, reader: &Reader) -> Vec<(&'static str, String)> {
    let say = |english, spanish| said(reader.language, english, spanish);
    let source = |source: LimitSource| match source {
        LimitSource::FoodCode => say("Food Code, no plate entered", "Código de Alimentos, sin placa"),
        LimitSource::DataPlate => say("data plate", "placa de datos"),
        LimitSource::Site => say("chosen by the site, stricter", "elegido por el sitio, más estricto"),
        LimitSource::Concentration => say("for the sanitizer on file", "por el desinfectante registrado"),
    };
    let limit = |celsius, from| format!("{} ({})", reader.temperature(celsius), source(from));
    let seconds = |seconds: f64| format!("{seconds:.1} s");
    let mut limits = vec![
        (
            say("Final rinse at least", "Enjuague final, al menos"),
            limit(plate.rinse_limit_c, plate.rinse_limit_source),
        ),
        (say("Wash at least", "Lavado, al menos"), limit(plate.wash_limit_c, plate.wash_limit_source)),
        (say("Wash time", "Tiempo de lavado"), seconds(plate.wash_s)),
        (say("Pause before the final rinse", "Pausa antes del enjuague final"), seconds(plate.pause_s)),
        (say("Time of the final rinse", "Tiempo del enjuague final"), seconds(plate.rinse_s)),
        (say("The limit is held for", "El límite se mantiene"), seconds(plate.dwell_s)),
    ];
    if let Some(max_c) = plate.rinse_max_c {
        limits.insert(
            1,
            (say("Final rinse at most", "Enjuague final, como máximo"), reader.temperature(max_c)),
        );
    }
    limits.extend(plate.chemistry.iter().flat_map(|chemistry| chemistry.limits(reader)));
    limits
}

fn row(probe: &SignedProbe, reader: &Reader) -> [String; 5] {
    let none = || "–".to_owned();
    let correction = probe
        .correction
        .map(|correction| crate::core::technician::words::correction(correction, reader.scale));
    [
        format!("{} ({})", probe.probe, place(probe.place, reader.language)),
        correction.unwrap_or_else(none),
        probe.until.clone().unwrap_or_else(none),
        probe.tau_s.map_or_else(none, |tau_s| format!("{tau_s:.2} s")),
        format!(
            "{} {} {}",
            width(reader.scale, probe.expanded_c),
            said(reader.language, "at", "a"),
            reader.temperature(probe.near_c)
        ),
    ]
}

/// Signs.
pub(super) async fn sign<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    person: Person,
    form: Result<Form<SignForm>, FormRejection>,
) -> Response {
    let form = form.map(|Form(form)| form).unwrap_or_default();
    let ticked = form.compared.is_some() && (form.open == 0 || form.known.is_some());
    let (rack, note, ticks) = (form.rack, form.note.clone(), [form.compared.is_some(), form.known.is_some()]);
    if !ticked {
        let told = Told { unticked: true, rack, note, ticks, ..Told::default() };
        return page(&pages, &person, &machine, StatusCode::UNPROCESSABLE_ENTITY, told).await;
    }
    let noted = match optional(&note, NOTE_CHARS_MAX) {
        Ok(noted) => noted,
        Err(fault) => {
            let notice = Some(fault.say(person.reader.language));
            let told = Told { notice, rack, note, ticks, ..Told::default() };
            return page(&pages, &person, &machine, StatusCode::UNPROCESSABLE_ENTITY, told).await;
        }
    };
    let shown = Shown { open: form.open, mark: form.mark, rack };
    match pages.kitchen.sign(machine.clone(), noted, shown, &person).await {
        Ok(record) => frame::go(&format!("../probes/{machine}?recorded={record}")),
        Err(why) => {
            let words = words(person.reader.language);
            let notice = Some(match &why {
                NotDone::NotSoFar => words.changed.to_owned(),
                NotDone::Unknown | NotDone::TakenBy(_) | NotDone::Refused(_) => not_taken(&why, &person),
            });
            // What changed is to be read before it is ticked again.
            let ticks = if why == NotDone::NotSoFar { [false; 2] } else { ticks };
            let told = Told { notice, rack, note, ticks, ..Told::default() };
            page(&pages, &person, &machine, StatusCode::CONFLICT, told).await
        }
    }
}

/// The sheet for paper.
pub(super) async fn sheet<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let mut given = Given::read(&uri, &["record", "rack"]);
    let (record, rack) = (given.take("record", query::record), given.take("rack", query::record));
    if given.is_refused() {
        return query::refused(&given, &person, &pages.site, 2);
    }
    match pages.kitchen.sheet(machine, record, rack, &person).await {
        Ok(html) => {
            let policy = [(header::CONTENT_SECURITY_POLICY, guard::policy_of_paper(&html))];
            (StatusCode::OK, policy, Html(html)).into_response()
        }
        Err(refused) => frame::refuse(refused, &person, &pages.site, 2),
    }
}
