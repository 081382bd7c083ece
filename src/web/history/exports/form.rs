//! The form for an export, and the list of one's own.

use askama::Template;
use axum::extract::State;
use axum::extract::rejection::FormRejection;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::Date;

use super::job::stage_word;
use super::{Form, Job, NotBegun, Paper, Wanted};
use crate::core::reader::{Language, Scale};
use crate::core::wall_clock::local_date;
use crate::web::form::{Fault, Field};
use crate::web::frame::{self, Frame, Refusal, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::query::{self, Expected, Given};

/// What was typed.
#[derive(Clone, Debug, Default)]
struct Entered {
    form: String,
    machine: String,
    from: String,
    to: String,
    paper: String,
    scale: String,
    language: String,
    all_traces: String,
}

impl Entered {
    fn of(given: &Given) -> Self {
        let text = |name| given.text(name).to_owned();
        Self {
            form: text("form"),
            machine: text("machine"),
            from: text("from"),
            to: text("to"),
            paper: text("paper"),
            scale: text("scale"),
            language: text("language"),
            all_traces: text("all_traces"),
        }
    }
}

/// What the form sends.
const FIELDS: [&str; 8] = ["form", "machine", "from", "to", "paper", "scale", "language", "all_traces"];

/// A choice.
struct Choice {
    value: &'static str,
    word: &'static str,
    what: &'static str,
    chosen: bool,
}

/// One of one's own exports.
struct Own {
    number: u64,
    file: String,
    begun: String,
    stage: String,
}

#[derive(Template)]
#[template(path = "web/history/exports/form.html", config = ".askama.toml")]
struct FormPage<'a> {
    frame: Frame<'a>,
    forms: Vec<Choice>,
    form: Field,
    machine: Field,
    /// What is wrong with the parts of the address that have no field.
    wrong: Vec<String>,
    traces: Field,
    machines: Vec<(String, bool)>,
    from: Field,
    to: Field,
    paper: Field,
    scale: Field,
    language: Field,
    papers: Vec<Choice>,
    scales: Vec<Choice>,
    languages: Vec<Choice>,
    refused: Option<&'static str>,
    missing: bool,
    /// Where there is no PDF, only if something was asked for of one that there cannot be.
    asks_for_paper: bool,
    own: Vec<Own>,
}

/// Shows the form, filled with what the address says; what is wrong there is refused as [`query`] says.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let machines = match pages.kitchen.known_machines().await {
        Ok(machines) => machines,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let language = person.reader.language;
    let today = local_date(&person.reader.zone, pages.kitchen.time()).unwrap_or_default();
    let week = today.checked_sub(6.days()).unwrap_or(today);
    let given = preset(&uri, &machines);
    let or = |name, day: Date| {
        if given.has(name) { given.text(name).to_owned() } else { day.to_string() }
    };
    let entered = Entered {
        form: given.text("form").to_owned(),
        machine: given.text("machine").to_owned(),
        from: or("from", week),
        to: or("to", today),
        paper: word_of(paper_of(&person)).to_owned(),
        scale: person.reader.scale.as_str().to_owned(),
        language: person.reader.language.code().to_owned(),
        all_traces: String::new(),
    };
    let mut typed = Typed::from(&entered);
    for (field, name, english, spanish) in [
        (&mut typed.form, "form", "In which form", "En qué forma"),
        (&mut typed.machine, "machine", "Machine", "Máquina"),
        (&mut typed.from, "from", "From day", "Desde el día"),
        (&mut typed.to, "to", "To day", "Hasta el día"),
    ] {
        field.fault = given.field(name, said(language, english, spanish), language).fault;
    }
    let wrong = given.beside(&PRESETS, language);
    answer(&pages, &person, &entered, typed, Told { machines, wrong, refused: None }).await
}

/// What an address may fill the form with.
const PRESETS: [&str; 4] = ["form", "machine", "from", "to"];

fn preset(uri: &Uri, machines: &[String]) -> Given {
    let mut given = Given::read(uri, &PRESETS);
    given.take("form", |word| {
        form_of(word).map_err(|_| Expected::OneOf(Form::ALL.map(|form| form.as_str().to_owned()).to_vec()))
    });
    given.take("machine", |name| {
        let known = machines.iter().any(|machine| machine == name);
        if known { Ok(()) } else { Err(Expected::OneOf(machines.to_vec())) }
    });
    let (from, to) = (given.take("from", query::day), given.take("to", query::day));
    if let Some(from) = from.filter(|from| to.is_some_and(|to| to < *from)) {
        given.refuse("to", Expected::DayFrom(from));
    }
    given
}

/// What the form is shown with.
struct Told {
    machines: Vec<String>,
    /// What is wrong beside the fields: with the address, or with what was sent.
    wrong: Vec<String>,
    /// Why the export was not begun.
    refused: Option<NotBegun>,
}

/// The fields that can be wrong.
struct Typed {
    form: Field,
    machine: Field,
    from: Field,
    to: Field,
    traces: Field,
    paper: Field,
    scale: Field,
    language: Field,
}

impl From<&Entered> for Typed {
    fn from(entered: &Entered) -> Self {
        let Entered { form, machine, from, to, paper, scale, language, all_traces } = entered;
        let all = [form, machine, from, to, all_traces, paper, scale, language];
        let [form, machine, from, to, traces, paper, scale, language] = all.map(Field::with);
        Self { form, machine, from, to, traces, paper, scale, language }
    }
}

impl Typed {
    fn is_faulty(&self) -> bool {
        let Self { form, machine, from, to, traces, paper, scale, language } = self;
        let all = [form, machine, from, to, traces, paper, scale, language];
        all.iter().any(|field| field.fault.is_some())
    }

    /// What is wanted, where all of it can be made. Paper, scale and language are those of the reader where they
    /// were not sent.
    fn read(&mut self, person: &Person) -> Option<Wanted> {
        let language = person.reader.language;
        let form = self.form.take(form_of(&self.form.value), language);
        let all_traces = self.traces.value == TICKED;
        if !all_traces && !self.traces.value.is_empty() {
            self.traces.fault = Some(no_tick(language).to_owned());
        } else if all_traces && form.is_some_and(|form| !form.has_traces()) {
            self.traces.fault = Some(no_traces(language).to_owned());
        }
        let read = |field: &mut Field| field.take(day(&field.value), language);
        let (from, to) = (read(&mut self.from), read(&mut self.to));
        let paper = self.paper.take(chosen(&self.paper.value, paper_of(person), paper), language);
        let scale = chosen(&self.scale.value, person.reader.scale, |word| word.parse().ok());
        let scale = self.scale.take(scale, language);
        let other = chosen(&self.language.value, language, |word| word.parse().ok());
        let other = self.language.take(other, language);
        let wanted = Wanted {
            form: form?,
            from: from?,
            to: to?,
            machine: Some(self.machine.value.clone()).filter(|machine| !machine.is_empty()),
            all_traces,
            paper: paper?,
            scale: scale?,
            language: other?,
        };
        Some(wanted).filter(|_| self.traces.fault.is_none())
    }
}

fn form_of(word: &str) -> Result<Form, Fault> {
    Form::ALL.into_iter().find(|form| form.as_str() == word).ok_or(Fault::NoChoice)
}

/// What was chosen, or the usual where nothing was sent.
fn chosen<T>(word: &str, usual: T, read: impl FnOnce(&str) -> Option<T>) -> Result<T, Fault> {
    if word.is_empty() { Ok(usual) } else { read(word).ok_or(Fault::NoChoice) }
}

/// Each paper as it is shown.
const PAPERS: [(Paper, &str); 2] = [(Paper::Letter, "Letter"), (Paper::A4, "A4")];

const fn word_of(paper: Paper) -> &'static str {
    match paper {
        Paper::Letter => "letter",
        Paper::A4 => "a4",
    }
}

fn paper(word: &str) -> Option<Paper> {
    PAPERS.into_iter().map(|(paper, _)| paper).find(|paper| word_of(*paper) == word)
}

fn day(typed: &str) -> Result<Date, Fault> {
    match typed.trim() {
        "" => Err(Fault::Missing),
        typed => typed.parse().map_err(|_| Fault::NotATime),
    }
}

/// What a box sends that is ticked.
const TICKED: &str = "yes";

const fn no_tick(language: Language) -> &'static str {
    said(
        language,
        "Tick the box or leave it: nothing but «yes» can be sent here.",
        "Marque la casilla o déjela: aquí no se puede enviar más que «yes».",
    )
}

const fn no_traces(language: Language) -> &'static str {
    said(
        language,
        "A table or JSON holds no readings. Take this choice away, or choose PDF or evidence.",
        "Una tabla o JSON no lleva lecturas. Quite esta opción, o elija PDF o prueba.",
    )
}

/// What paper the reader has at hand: letter where °F is read (own choice: the same countries).
const fn paper_of(person: &Person) -> Paper {
    match person.reader.scale {
        Scale::Fahrenheit => Paper::Letter,
        Scale::Celsius => Paper::A4,
    }
}

/// Begins an export, and leads to its page.
pub(in crate::web) async fn begin<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
    form: Result<axum::extract::Form<Vec<(String, String)>>, FormRejection>,
) -> Response {
    let sent = form.map(|axum::extract::Form(sent)| sent).unwrap_or_default();
    // A field that is not known may be a mistyped one of these: the export would be another than the wanted one.
    let given = Given::of(sent, &FIELDS);
    let (entered, wrong) = (Entered::of(&given), given.beside(&[], person.reader.language));
    let mut typed = Typed::from(&entered);
    let wanted = typed.read(&person);
    let Some(wanted) = wanted.filter(|_| wrong.is_empty()) else {
        return again(&pages, &person, &entered, typed, (wrong, None)).await;
    };
    match pages.kitchen.begin_export(wanted, &person).await {
        Ok(number) => frame::go(&format!("exports/{number}")),
        Err(why) => again(&pages, &person, &entered, typed, (wrong, Some(why))).await,
    }
}

const fn why(why: NotBegun, language: Language) -> &'static str {
    match why {
        NotBegun::Many => said(
            language,
            "You have as many exports as one may have. Discard one of yours, which are listed on this page, then begin this one.",
            "Ya tiene tantas exportaciones como se permite. Descarte una de las suyas, que están en esta página, y empiece esta.",
        ),
        NotBegun::Busy => said(
            language,
            "The gateway makes as many exports as it can. Try again in a minute.",
            "El equipo ya hace tantas exportaciones como puede. Inténtelo en un minuto.",
        ),
        NotBegun::NoReport => said(
            language,
            "PDF reports need the program rinseward-report, which is not installed at the gateway. Whoever runs it puts it beside rinseward, from the same release. All other forms need nothing.",
            "Los informes PDF necesitan el programa rinseward-report, que no está instalado en el equipo. Quien lo administra lo pone junto a rinseward, de la misma versión. Las demás formas no necesitan nada.",
        ),
        NotBegun::UnknownMachine => said(
            language,
            "No machine of this name is on record.",
            "No consta ninguna máquina con ese nombre.",
        ),
        NotBegun::Empty => said(
            language,
            "This span is empty: it ends before it begins, or has not begun yet.",
            "Este período está vacío: termina antes de empezar, o aún no ha empezado.",
        ),
        NotBegun::NotNow => said(
            language,
            "It cannot be put on record just now that you take records away. Nothing is lost; try again in a minute.",
            "Ahora no se puede dejar constancia de que se descargan asientos. No se pierde nada; inténtelo en un minuto.",
        ),
    }
}

/// Shows the form again, since no export was begun.
async fn again<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    entered: &Entered,
    typed: Typed,
    (wrong, refused): (Vec<String>, Option<NotBegun>),
) -> Response {
    match pages.kitchen.known_machines().await {
        Ok(machines) => answer(pages, person, entered, typed, Told { machines, wrong, refused }).await,
        Err(refused) => frame::refuse(refused, person, &pages.site, 1),
    }
}

async fn answer<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    entered: &Entered,
    typed: Typed,
    Told { machines, wrong, refused }: Told,
) -> Response {
    let language = person.reader.language;
    let title = said(language, "Take records away", "Descargar asientos");
    let status = if refused.is_some() || typed.is_faulty() || !wrong.is_empty() {
        StatusCode::UNPROCESSABLE_ENTITY
    } else {
        StatusCode::OK
    };
    let own = pages.kitchen.exports(&person.account);
    let missing = !pages.kitchen.has_report();
    let of_paper = [&typed.paper, &typed.scale, &typed.language];
    let asks_for_paper = !missing || of_paper.iter().any(|field| field.fault.is_some());
    let page = FormPage {
        frame: Frame::new(&pages.site, person, Tab::History, 1, title).with_open(pages.open().await),
        forms: forms(&entered.form, pages.kitchen.has_report(), language),
        machines: machines.into_iter().map(|name| (name.clone(), name == entered.machine)).collect(),
        form: typed.form,
        machine: typed.machine,
        wrong,
        traces: typed.traces,
        from: typed.from,
        to: typed.to,
        paper: typed.paper,
        scale: typed.scale,
        language: typed.language,
        papers: papers(&entered.paper),
        scales: scales(&entered.scale),
        languages: languages(&entered.language),
        refused: refused.map(|refused| why(refused, language)),
        missing,
        asks_for_paper,
        own: own.iter().map(|job| own_job(job, person)).collect(),
    };
    frame::page(status, page.render())
}

fn own_job(job: &Job, person: &Person) -> Own {
    Own {
        number: job.number,
        file: job.file.clone(),
        begun: person.reader.moment(job.begun),
        stage: stage_word(&job.stage, person.reader.language),
    }
}

/// What a form is called.
pub(super) const fn form_word(form: Form, language: Language) -> &'static str {
    match form {
        Form::Pdf => "PDF",
        Form::Evidence => said(language, "Evidence", "Prueba"),
        Form::Csv => "CSV",
        Form::JsonLines => "JSON Lines",
        Form::Json => "JSON",
    }
}

/// The forms; PDF where none was asked for, or evidence where PDF cannot be made, and none where there is no such form.
fn forms(chosen: &str, has_report: bool, language: Language) -> Vec<Choice> {
    let chosen = if chosen.is_empty() { Some(Form::Pdf) } else { form_of(chosen).ok() };
    let chosen = chosen.map(|form| if form == Form::Pdf && !has_report { Form::Evidence } else { form });
    let all = Form::ALL.into_iter().filter(|form| has_report || *form != Form::Pdf).map(|form| {
        let what = match form {
            Form::Pdf => said(
                language,
                "Report on paper; racks, account and proof are attached to it.",
                "Informe en papel; lleva adjuntas las canastas, la cuenta y la prueba.",
            ),
            Form::Evidence => said(
                language,
                "The records with what proves them, for rinseward verify on your own computer.",
                "Los asientos con lo que los prueba, para rinseward verify en su propia computadora.",
            ),
            Form::Csv => said(
                language,
                "A table of the racks, for a spreadsheet.",
                "Una tabla de las canastas, para una hoja de cálculo.",
            ),
            Form::JsonLines => said(
                language,
                "Every record of the span, one a line, for a program.",
                "Cada asiento del período, uno por línea, para un programa.",
            ),
            Form::Json => said(
                language,
                "The account of the span in one object, for a program.",
                "La cuenta del período en un objeto, para un programa.",
            ),
        };
        Choice { value: form.as_str(), word: form_word(form, language), what, chosen: Some(form) == chosen }
    });
    all.collect()
}

fn papers(chosen: &str) -> Vec<Choice> {
    let of =
        |(paper, word)| Choice { value: word_of(paper), word, what: "", chosen: word_of(paper) == chosen };
    PAPERS.into_iter().map(of).collect()
}

fn scales(chosen: &str) -> Vec<Choice> {
    let of = |scale: Scale| Choice {
        value: scale.as_str(),
        word: scale.symbol(),
        what: "",
        chosen: scale.as_str() == chosen,
    };
    Scale::ALL.into_iter().map(of).collect()
}

fn languages(chosen: &str) -> Vec<Choice> {
    let of = |language: Language| Choice {
        value: language.code(),
        word: match language {
            Language::English => "English",
            Language::Spanish => "español",
        },
        what: "",
        chosen: language.code() == chosen,
    };
    Language::ALL.into_iter().map(of).collect()
}

/// That a page of exports leads nowhere.
pub(super) fn unknown<K: Kitchen>(pages: &Pages<K>, person: &Person) -> Response {
    frame::refuse(Refusal::Unknown, person, &pages.site, 2)
}
