mod asking;
mod exports;

use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::response::Response;
use futures_util::StreamExt;
use tower::ServiceExt;

use super::*;
use crate::core::access::Role;
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;

async fn ask(kitchen: &StillKitchen, request: Request, role: Role, language: Language) -> Response {
    let mut request = request;
    request.extensions_mut().insert(person(role, language));
    site(kitchen.pages()).oneshot(request).await.expect("it never fails")
}

async fn text(answer: Response) -> String {
    let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
    String::from_utf8(bytes.to_vec()).expect("text")
}

fn see(path: &str) -> Request {
    Request::get(path).header(header::ACCEPT, "text/html").body(Body::empty()).expect("a request")
}

fn send(path: &str, form: &str) -> Request {
    Request::post(path)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(form.to_owned()))
        .expect("a request")
}

async fn get(path: &str, language: Language) -> String {
    let answer = ask(&StillKitchen::new(), see(path), Role::Auditor, language).await;
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    text(answer).await
}

fn holds(page: &str, all: &[&str]) {
    for said in all {
        assert!(page.contains(said), "{said}: {page}");
    }
}

// Own promises: every rack with its verdict and figures, what is damaged named, the next page under the same
// choice, and the ways from here.
#[tokio::test]
async fn racks_are_listed_with_what_is_damaged() {
    let page = get("/history?machine=dm1&verdict=cold&from=2026-11-01", Language::English).await;
    let wanted = [
        "href=\"cycles/48\"",
        "82.19 °C (limit 82.20 °C)",
        "recorded late, amended",
        "DAMAGED: record <a href=\"history/records/46\">46</a>",
        "show=racks&#38;machine=dm1&#38;from=2026-11-01&#38;verdict=cold&#38;older=46",
        "49 records; sealed: 48, Thu 26 Nov 2026",
        "<option value=\"cold\" selected>",
        "history/exports?form=pdf&#38;machine=dm1&#38;from=2026-11-01&#38;to=2026-11-26\"",
        "href=\"history/in-force\"",
        "a verdict or a kind is no part of it",
    ];
    holds(&page, &wanted);
    let place = |said: &str| page.find(said).expect("it is there");
    assert!(place("href=\"history/integrity\"") < place("href=\"cycles/48\""), "above the list: {page}");
    // Own rule: where a span has no ends an export is of everything on record.
    let all = get("/history", Language::English).await;
    holds(&all, &["history/exports?form=pdf&#38;from=2024-02-29&#38;to=2026-11-26\""]);
    assert!(!all.contains("is no part of it"), "{all}");
    let spanish = get("/history", Language::Spanish).await;
    holds(&spanish, &["fría", "DAÑADO", "registrada tarde", "Este mes", "íntegro"]);
}

// Own promise: a rack that passed and is in doubt says so in words and by a sign of its own, leads to the alert, and can
// be asked for; days and sums lead to those of theirs.
#[tokio::test]
async fn racks_in_doubt_are_told_and_asked_for() {
    let page = get("/history?verdict=in-doubt&alert=7", Language::English).await;
    let sign = "<circle cx=\"12\" cy=\"12\" r=\"8\" fill=\"none\"";
    let wanted = [
        sign,
        "pass, in doubt</span> (<a class=\"line\" href=\"alerts/7\">alert 7</a>, <a class=\"line\" href=\"alerts/9\">alert 9</a>)",
        "<option value=\"in-doubt\" selected>in doubt</option>",
        "<input type=\"hidden\" name=\"alert\" value=\"7\">",
        "Only racks of <a class=\"line\" href=\"alerts/7\">alert 7</a>",
        "<a class=\"line\" href=\"history?show=racks&#38;verdict=in-doubt\">Show all racks</a>",
        "show=racks&#38;verdict=in-doubt&#38;alert=7&#38;older=46",
        "a verdict or a kind is no part of it",
    ];
    holds(&page, &wanted);
    holds(&get("/history", Language::Spanish).await, &["correcta, en duda", "alerta 7"]);
    let days = get("/history?show=days", Language::English).await;
    let of_day = "show=racks&#38;machine=dm1&#38;from=2026-11-26&#38;to=2026-11-26&#38;verdict=in-doubt\"";
    holds(&days, &[of_day, "of these in doubt: 3</span>"]);
    let sum = get("/history?show=summary", Language::Spanish).await;
    holds(&sum, &["show=racks&#38;machine=dm1&#38;verdict=in-doubt\"", "de ellas en duda: 26 o más"]);
}

// Own promise: what people wrote is text, in whatever view; a check says in words and by a sign whether it was
// good; each line leads to its record; sentences are in the reader's language.
#[tokio::test]
async fn every_view_shows_what_it_names() {
    for show in ["checks", "alerts", "records"] {
        let page = get(&format!("/history?show={show}"), Language::English).await;
        let wanted =
            ["✗", "FAILED", "&#60;i&#62;rinse", "history/records/40", "Record 41: Comment by Eli", "DAMAGED"];
        holds(&page, &wanted);
        let page = get(&format!("/history?show={show}"), Language::Spanish).await;
        holds(
            &page,
            &["NO CUMPLE", "FALTA algo", "Asiento 41: Comentario de Eli", "Asiento 42: habla de este"],
        );
        assert!(!page.contains("lang=\"en\""), "{page}");
    }
    let days = get("/history?show=days", Language::English).await;
    holds(
        &days,
        &[
            "<a href=\"machines/dm1?day=2026-11-26\"><span><b>Thu 26 Nov 2026</b> · dm1: chart of the day</span></a>",
            "show=missed&#38;machine=dm1&#38;from=2026-11-26&#38;to=2026-11-26\">missed checks: 2",
            "show=racks&#38;machine=dm1&#38;from=2026-11-26&#38;to=2026-11-26&#38;verdict=cold\"",
            "1 cold",
            "12 pass",
            "DAMAGED: 2",
            "97.5 %; 15 min 0 s missing",
        ],
    );
    let gaps = get("/history?show=gaps", Language::Spanish).await;
    holds(&gaps, &["1 min 30 s", "dm1/rinse: sin señal", "llegaron al fin, tarde", "history/records/44"]);
    holds(&gaps, &["show=gaps&#38;older=46%2Fdm1%2Frinse"]);
    let drift = get("/history?show=drift", Language::English).await;
    holds(&drift, &["1.5 °C COLDER than usual", "left its usual place", "4.0 s at the beginning"]);
    let sum = get("/history?show=summary", Language::Spanish).await;
    holds(&sum, &["Abiertas desde antes: 3.", "sigue abierta", "3 omitidos: 1 anotado tarde, 2 no anotados"]);
    let sum = get("/history?show=summary&from=2026-11-26", Language::English).await;
    let wanted = [
        "history?show=racks&#38;machine=dm1&#38;from=2026-11-26&#38;verdict=cold",
        "92.3 %",
        "3 good",
        "1 FAILED",
        "2 gaps, together 15 min 0 s of open time; 1 filled",
        "4 raised in the span, 1 of them not closed",
        "<a class=\"line\" href=\"alerts/7\">Racks counted as passed that are in doubt by alert 7: 26.",
        "Open since before: 3. None of them is counted above. The oldest 2 of them:",
        "<a href=\"alerts/2\">Alert 2 · dm1 · final rinse too cold · raised Thu 26 Nov 2026",
        "<a href=\"alerts/3\">Alert 3",
        "still open",
        "show=missed&#38;from=2026-11-26",
        "3 missed: 1 entered late, 2 not entered; due before the span and not entered when it began: 1",
        "opening hours",
    ];
    holds(&sum, &wanted);
}

// Own promise: missed checks are told day by day: which, when due, at which machine, and whether and how late it was
// entered, with its entry, its alert and the chart of the machine's day; the next page is asked for by its last day.
#[tokio::test]
async fn missed_checks_are_told_day_by_day() {
    let page = get("/history?show=missed", Language::English).await;
    let wanted = [
        "<h2>Thu 26 Nov 2026</h2>",
        "<b>sanitizer</b> · dm1 · due 12:00 UTC",
        "entered late: made 12:00 UTC, on record 14:00 UTC",
        "entered late, and FAILED: made 12:00 UTC, on record 14:00 UTC, corrected 15:00 UTC",
        "NOT ENTERED so far",
        "<b>supplies</b> · dm1 · due 12:00 UTC",
        "href=\"machines/dm1?day=2026-11-26\">Chart of the day",
        "href=\"logbook/entries/40\"",
        "href=\"alerts/3\">Alert 3",
        "<h2>Wed 25 Nov 2026</h2>",
        "NOT ENTERED; its alert closed Thu 26 Nov 2026, 12:00 UTC",
        "show=missed&#38;until=2026-11-24",
        "The newest first.",
    ];
    holds(&page, &wanted);
    let page = get("/history?show=missed&until=2026-11-25", Language::Spanish).await;
    holds(
        &page,
        &[
            "Controles omitidos",
            "anotado tarde (hecho: 12:00 UTC",
            "NO ANOTADO hasta ahora",
            "pendiente desde las 12:00 UTC",
            "NO ANOTADO antes de que tocara el siguiente",
            "vaciado y limpieza",
            " · solo mié 25 nov 2026: lo anterior y lo posterior no está en este papel</b>",
        ],
    );
}

// Own promise: the spans and the lists that are asked for first stand open; what narrows them further stands behind
// one word, and open where any of it is set or wrong.
#[tokio::test]
async fn what_is_asked_first_stands_open() {
    let page = get("/history", Language::English).await;
    let (open, behind) = page.split_once("<details").expect("more filters");
    holds(
        open,
        &[">Today</a>", ">This week</a>", ">Last 30 days</a>", ">All</a>", "id=\"from\"", "id=\"to\""],
    );
    let (behind, below) = behind.split_once("</details>").expect("its end");
    holds(
        behind,
        &["<summary>More filters", ">Yesterday</a>", ">Last month</a>", "id=\"machine\"", "id=\"verdict\""],
    );
    holds(below, &[">Summary</a>", ">Missed checks</a>", ">Alerts</a>"]);
    for (query, is_open) in [
        ("", false),
        ("?from=2026-11-03&to=2026-11-05", false),
        ("?from=2026-11-26&to=2026-11-26", false),
        // Yesterday.
        ("?from=2026-11-25&to=2026-11-25", true),
        ("?machine=dm1", true),
        ("?verdict=cold", true),
        ("?show=records&kind=check", true),
    ] {
        let page = get(&format!("/history{query}"), Language::Spanish).await;
        assert_eq!(page.contains("<details open><summary>Más filtros"), is_open, "{query}: {page}");
    }
}

// Own promises: a record has its page, a rack its own, and what is damaged says so and no more.
#[tokio::test]
async fn a_record_has_its_page() {
    let page = get("/history/records/40", Language::Spanish).await;
    holds(
        &page,
        &[
            "Asiento 40",
            "✗</span>NO CUMPLE</span> ",
            "FALTA algo",
            "../../logbook/entries/40",
            "Asiento 41: habla de este",
            "1f1f",
        ],
    );
    let damaged = get("/history/records/46", Language::English).await;
    holds(&damaged, &["DAMAGED: this record", "../../history/integrity"]);
    let kitchen = StillKitchen::new();
    let rack = ask(&kitchen, see("/history/records/48"), Role::Auditor, Language::English).await;
    assert_eq!(rack.headers()[header::LOCATION], "../../cycles/48");
    let none = ask(&kitchen, see("/history/records/999"), Role::Auditor, Language::English).await;
    assert_eq!(none.status(), StatusCode::NOT_FOUND);
    let none = ask(&kitchen, see("/history/records/x"), Role::Auditor, Language::Spanish).await;
    assert_eq!(none.status(), StatusCode::NOT_FOUND);
    holds(&text(none).await, &["No está aquí"]);
}

// Own promises: limits and configuration in force with their records; a moment that is none is told beside its
// field.
#[tokio::test]
async fn what_was_in_force_is_shown_with_its_records() {
    let page = get("/history/in-force?at=2026-11-26T11:00", Language::English).await;
    holds(
        &page,
        &[
            "Thu 26 Nov 2026, 11:00 UTC",
            "final rinse 82.2 °C for 5.0 s",
            "../cycles/47",
            "calibrated 2026-03-01, as configured",
            "compared with another thermometer: ✗ FAILED: the thermometer is off. It shows 1.6 °C too much",
            "../history/records/40",
            "&#60;b&#62;",
            "sanitizer, mg/L",
            "25 to 200 mg/L",
            "100 mg/L, test entered by Ana &#60;u&#62;",
            "../history/records/12",
            "<b>dm1</b>: Ana, since Thu 26 Nov 2026, ",
            "../history/records/43",
            "<b>the whole site</b>: somebody, since Thu 26 Nov 2026, ",
            "no end is on record, and it counts as worked on until",
            "DAMAGED, and may tell of more work: record 45, 46",
        ],
    );
    let whole = "Ask: auditor, manager, technician, administrator.";
    assert!(!page.contains(whole));
    let operator = see("/history/in-force?at=2026-11-26T11:00");
    let operator = text(ask(&StillKitchen::new(), operator, Role::Operator, Language::English).await).await;
    assert!(operator.contains(whole) && !operator.contains("&#60;b&#62;"), "as the settings: {operator}");
    for (at, said) in [
        ("soon", "se leyó «soon»; se espera día y hora como 2026-11-26T12:40"),
        ("2026-11-26T11:00%2B05:00", "«2026-11-26T11:00+05:00»"),
        ("2027-01-01T00:00", "una hora que ya haya llegado"),
    ] {
        let page = refused(&format!("/history/in-force?at={at}"), Language::Spanish).await;
        holds(&page, &["id=\"at-fault\"", "aria-describedby=\"at-fault\"", said]);
        assert!(!page.contains("cycles/47"), "{page}");
    }
}

// Own promise: a moment that the clock showed never or twice is neither moved nor guessed. New York's clocks went back
// on 2026-11-01 at 2 o'clock and forward on 2026-03-08 (Energy Policy Act of 2005, §110).
#[tokio::test]
async fn a_moment_is_neither_moved_nor_guessed() {
    let asked = async |query: &str| {
        let mut asking = person(Role::Auditor, Language::English);
        asking.reader.zone = jiff::tz::TimeZone::get("America/New_York").expect("built in");
        let mut request = see(&format!("/history/in-force?{query}"));
        request.extensions_mut().insert(asking);
        let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
        (answer.status(), text(answer).await)
    };
    let (status, page) = asked("at=2026-03-08T02:30").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    holds(&page, &["the clocks went forward that night, from 01:59 to 03:00", "id=\"at-fault\""]);
    let (status, page) = asked("at=2026-11-01T01:30").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    holds(&page, &["this time came twice", "name=\"offset\" value=\"-04\"", "EST (UTC-05)"]);
    for (offset, zone) in [("-04", "01:30 EDT"), ("-05", "01:30 EST")] {
        let (status, page) = asked(&format!("at=2026-11-01T01:30&offset={offset}")).await;
        assert_eq!(status, StatusCode::OK, "{page}");
        holds(&page, &[zone, &format!("value=\"{offset}\" checked")]);
    }
}

// Own promise: a question that is not understood is not answered by another: what is wrong is said by its name in the
// reader's language, beside its field where it has one, with what was read and what is expected. What was
// understood stays in the form.
#[tokio::test]
async fn a_question_that_is_not_understood_is_refused() {
    for (query, field, said) in [
        (
            "verdict=bogus",
            Some("verdict"),
            "Veredicto: se leyó «bogus»; se espera uno de estos valores: cold, brief",
        ),
        (
            "machine=%3Cb%3E",
            Some("machine"),
            "Máquina: se leyó «&#60;b&#62;»; se espera uno de estos valores: dm1, dm2.",
        ),
        (
            "from=2026-02-30",
            Some("from"),
            "Desde el día: se leyó «2026-02-30»; se espera un día como 2026-11-26.",
        ),
        (
            "from=2026-11-05&to=2026-11-01",
            Some("to"),
            "Hasta el día: se leyó «2026-11-01»; se espera un día no anterior a 2026-11-05.",
        ),
        ("show=records&kind=cycle", Some("kind"), "Clase: se leyó «cycle»"),
        ("show=bogus", None, "show: se leyó «bogus»; se espera uno de estos valores: racks, summary"),
        ("show=days&verdict=cold", None, "verdict: se leyó «cold»; se espera solo con show=racks."),
        ("older=x", None, "older: se leyó «x»; se espera el número de un asiento."),
        ("older=99", None, "older: se leyó «99»; se espera el número de un asiento de esta lista."),
        (
            "show=days&until=2999-01-01",
            None,
            "until: se leyó «2999-01-01»; se espera un día no posterior a 2026-11-26.",
        ),
        (
            "vredict=cold",
            None,
            "La dirección da «vredict», que esta página no conoce; los que conoce: show, machine",
        ),
    ] {
        let page = refused(&format!("/history?{query}"), Language::Spanish).await;
        holds(&page, &[said, "no se buscó nada", "<html lang=\"es\"", "aria-current"]);
        let beside = field.map(|field| format!("aria-invalid=\"true\" aria-describedby=\"{field}-fault\""));
        match beside {
            Some(beside) => holds(&page, &[&beside]),
            None => assert!(!page.contains("aria-invalid"), "{page}"),
        }
        assert!(!page.contains("cycles/48") && !page.contains("history/records/40"), "{query}: {page}");
    }
    let unknown = refused("/history?show=bogus", Language::English).await;
    assert!(
        !unknown.contains("aria-current=\"true\">Racks"),
        "no view is the one that was asked for: {unknown}"
    );
    let kept = refused("/history?machine=dm2&verdict=cold&from=2026-11-01&to=x", Language::English).await;
    let wanted =
        ["value=\"2026-11-01\"", "value=\"dm2\" selected", "value=\"cold\" selected", "<details open>"];
    holds(&kept, &wanted);
}

async fn refused(path: &str, language: Language) -> String {
    let answer = ask(&StillKitchen::new(), see(path), Role::Auditor, language).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}");
    text(answer).await
}

// Own promise: a ledger that holds by the key that it brought along is not shown as whole.
#[test]
fn a_ledger_that_vouches_for_itself_is_not_called_whole() {
    use super::integrity::{Checked, Sealed, Standing, Trusted, parts};
    use crate::core::audit::Outcome;
    for (trusted, language, wanted, never) in [
        (Trusted::Own, Language::English, "WHOLE by its own key only", "✓"),
        (Trusted::Own, Language::Spanish, "solo según su propia clave", "✓"),
        (Trusted::Placed, Language::English, "that lies on this gateway", "✗"),
        (Trusted::Placed, Language::Spanish, "que está en este equipo", "✗"),
    ] {
        let last = Checked {
            at: crate::core::time::Timestamp::from_micros(0),
            by: "ana".to_owned(),
            outcome: Outcome::Whole,
            records: 9,
            findings: 0,
            report: None,
            trusted: Some(trusted),
        };
        let standing = Standing { last: Some(last), ..Standing::default() };
        let sealed = Sealed { records: 12, ..Sealed::default() };
        let reader = &person(Role::Auditor, language).reader;
        let [check, seal] = parts(&standing, &sealed, reader).expect("both").map(|part| part.html);
        assert!(check.contains(wanted) && !check.contains(never), "{check}");
        // What came since is counted as the records are that stand below it.
        let since = said(language, "3 records came since", "desde entonces llegaron 3 asientos");
        assert!(check.contains(since) && seal.contains("<dd>12</dd>"), "{check}{seal}");
    }
}

// Own promises: whole or not in words and by a sign, each finding in plain words and exactly; the key with its
// fingerprint; only those who may export have it checked.
#[tokio::test]
async fn integrity_says_what_was_found() {
    let page = get("/history/integrity", Language::Spanish).await;
    let wanted =
        ["NO ESTÁ ÍNTEGRO", "fue CAMBIADO", "was changed", "records/46", "c0ffee", "Comprobar ahora"];
    holds(&page, &wanted);
    // Own promise: what was found is never a statement of the present.
    holds(&page, &["49 asientos; desde entonces llegaron 2 asientos</p>"]);
    holds(&page, &["cada asiento hasta el 47; 1 más nuevo, dentro de la hora"]);
    holds(&page, &["<dd>51</dd>", "cada asiento hasta el 47; 3 más nuevos, dentro de la hora"]);
    // Whoever waits for a check on its page gets both anew.
    let live = ask(&StillKitchen::new(), see("/live/integrity"), Role::Auditor, Language::English).await;
    let mut stream = live.into_body().into_data_stream();
    let mut heard = String::new();
    while !heard.contains("id=\"seal\"") {
        let sent = stream.next().await.expect("it goes on").expect("whole");
        heard.push_str(std::str::from_utf8(&sent).expect("text"));
    }
    holds(&heard, &["2 records came since</p>", "<dd>51</dd>"]);
    let page = get("/history/integrity", Language::English).await;
    holds(&page, &["NOT WHOLE at Thu 26 Nov 2026", "49 records; 2 records came since</p>"]);
    let kitchen = StillKitchen::new();
    let begun = ask(&kitchen, send("/history/integrity", ""), Role::Auditor, Language::English).await;
    assert_eq!(
        (begun.status(), &begun.headers()[header::LOCATION]),
        (StatusCode::SEE_OTHER, &"integrity".parse().expect("a header"))
    );
    assert_eq!(*kitchen.deeds.borrow(), ["Ana has the ledger checked"]);
    let refused = ask(&kitchen, send("/history/integrity", ""), Role::Operator, Language::English).await;
    assert_eq!(refused.status(), StatusCode::FORBIDDEN);
    let page = ask(&kitchen, see("/history/integrity"), Role::Operator, Language::English).await;
    holds(&text(page).await, &["Check now: not by your role", "auditor"]);
    let key = ask(&kitchen, see("/history/key"), Role::Operator, Language::English).await;
    assert_eq!(key.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"site.verify-key\"");
    assert_eq!(text(key).await, "north+1+key\n");
    let kept = ask(&kitchen, see("/history/checkpoint"), Role::Operator, Language::English).await;
    assert_eq!(kept.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"site.checkpoint\"");
    assert_eq!(text(kept).await, "north\n48\nroot\n");
}

// Own promise: the record of a technician's work leads to the probe and the machine that it is about.
#[tokio::test]
async fn the_record_of_a_response_leads_to_its_probe_and_machine() {
    for (language, said) in [
        (Language::English, [">Probe dm1/rinse<", ">Probes and sign-off of dm1<"]),
        (Language::Spanish, [">Sonda dm1/rinse<", ">Sondas y firma de dm1<"]),
    ] {
        let page = get("/history/records/15", language).await;
        holds(&page, &said);
        holds(&page, &["href=\"../../probes/dm1/rinse\"", "href=\"../../probes/dm1\""]);
    }
}
