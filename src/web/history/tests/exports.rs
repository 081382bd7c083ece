//! Exports that people begin on a page.

use super::*;

// Own promise: what an export cannot be is said beside its field, in the language of the reader, and none is begun.
#[tokio::test]
async fn an_export_that_cannot_be_is_asked_again() {
    let days = "from=2026-11-02&to=2026-11-03";
    for (path, sent, fault, said) in [
        ("/history/exports", Some("form=bogus"), "form-fault", "Elija una"),
        ("/history/exports", Some("machine="), "form-fault", "Elija una"),
        (
            "/history/exports?form=bogus",
            None,
            "form-fault",
            "En qué forma: se leyó «bogus»; se espera uno de",
        ),
        ("/history/exports?machine=dm9", None, "machine-fault", "Máquina: se leyó «dm9»"),
        ("/history/exports?from=2026-02-30", None, "from-fault", "Desde el día: se leyó «2026-02-30»"),
        (
            "/history/exports?from=2026-11-05&to=2026-11-01",
            None,
            "to-fault",
            "se espera un día no anterior a 2026-11-05",
        ),
        ("/history/exports", Some("form=csv&all_traces=yes"), "all_traces-fault", "no lleva lecturas"),
        ("/history/exports", Some("form=json&all_traces=yes"), "all_traces-fault", "no lleva lecturas"),
        ("/history/exports", Some("form=jsonl&all_traces=yes"), "all_traces-fault", "no lleva lecturas"),
        (
            "/history/exports",
            Some("form=pdf&all_traces=no"),
            "all_traces-fault",
            "no se puede enviar más que «yes»",
        ),
        ("/history/exports", Some("form=csv&paper=a5"), "paper-fault", "Elija una"),
        ("/history/exports", Some("form=csv&scale=kelvin"), "scale-fault", "Elija una"),
        ("/history/exports", Some("form=csv&language=fr"), "language-fault", "Elija una"),
    ] {
        let kitchen = StillKitchen::new();
        let asked = sent.map_or_else(|| see(path), |sent| send(path, &format!("{sent}&{days}")));
        let answer = ask(&kitchen, asked, Role::Auditor, Language::Spanish).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path} {sent:?}");
        let page = text(answer).await;
        holds(&page, &[&format!("id=\"{fault}\""), &format!("aria-describedby=\"{fault}\""), said]);
        assert_eq!(page.matches("class=\"fault\"").count(), 1, "{page}");
        assert!(kitchen.deeds.borrow().is_empty(), "{path} {sent:?}");
    }
    // What is sent under another name is wanted too: nothing is begun without it.
    for (sent, said) in [
        ("form=csv&machin=dm1", "La dirección da «machin», que esta página no conoce; los que conoce: form"),
        ("form=csv&form=pdf", "form: se leyó «pdf»; se espera una sola vez."),
    ] {
        let kitchen = StillKitchen::new();
        let asked = send("/history/exports", &format!("{sent}&{days}"));
        let answer = ask(&kitchen, asked, Role::Auditor, Language::Spanish).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{sent}");
        holds(&text(answer).await, &[said, "value=\"2026-11-02\""]);
        assert!(kitchen.deeds.borrow().is_empty(), "{sent}");
    }
    let kitchen = StillKitchen::new();
    let whole = send("/history/exports", &format!("form=evidence&all_traces=yes&{days}"));
    let begun = ask(&kitchen, whole, Role::Auditor, Language::English).await;
    assert_eq!(begun.headers()[header::LOCATION], "exports/1");
    holds(&kitchen.deeds.borrow().join(" "), &["all_traces: true"]);
}

// Own promises: an export is begun by those who may, its page says how far it is, the file has a safe name, and
// without the report program it is said what to do.
#[tokio::test]
async fn exports_are_begun_watched_and_fetched() {
    let form = get("/history/exports?machine=dm2&from=2026-11-02&to=2026-11-03", Language::English).await;
    let wanted =
        ["value=\"2026-11-02\"", "<option selected>dm2", "rinseward-report", "exports/1", "on record"];
    holds(&form, &wanted);
    let kitchen = StillKitchen::new();
    let wanted =
        "form=csv&from=2026-11-02&to=2026-11-03&machine=dm2&scale=fahrenheit&language=es&paper=letter";
    let begun = ask(&kitchen, send("/history/exports", wanted), Role::Manager, Language::English).await;
    assert_eq!(begun.headers()[header::LOCATION], "exports/1");
    let deeds = kitchen.deeds.borrow().join(" ");
    holds(&deeds, &["Csv", "2026-11-02", "Some(\"dm2\")", "Letter", "Fahrenheit", "Spanish"]);
    let pdf = send("/history/exports", "form=pdf&from=2026-11-02&to=2026-11-03");
    let answer = ask(&kitchen, pdf, Role::Auditor, Language::Spanish).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    holds(&text(answer).await, &["role=\"alert\"", "rinseward-report", "junto a rinseward"]);
    let wrong = send("/history/exports", "form=csv&from=&to=2026-13-01");
    let answer = ask(&kitchen, wrong, Role::Auditor, Language::English).await;
    holds(&text(answer).await, &["id=\"from-fault\"", "id=\"to-fault\""]);

    let under = get("/history/exports/2", Language::English).await;
    holds(
        &under,
        &["<progress value=\"40\" max=\"100\"", "live/exports/2", "?renew=5", "Discard this export"],
    );
    let spanish = get("/history/exports/2", Language::Spanish).await;
    for (page, days) in
        [(&under, "Sun 1 Nov 2026 – Thu 26 Nov 2026"), (&spanish, "dom 1 nov 2026 – jue 26 nov 2026")]
    {
        holds(page, &[&format!("<dd>{days}</dd>")]);
    }
    let pages = get("/history/exports/5", Language::English).await;
    holds(
        &pages,
        &["<progress value=\"12\" max=\"40\"", "12 of 40 traces and charts laid out", "Making the pages"],
    );
    let early = get("/history/exports/4", Language::English).await;
    holds(&early, &["Nothing is on record of these days: the ledger begins later", "Thu 26 Nov 2026, 12:00"]);
    let done = get("/history/exports/1", Language::English).await;
    assert!(!done.contains("the ledger begins later"), "{done}");
    holds(&done, &["href=\"1/file\"", "rinseward verify north-1.evidence.jsonl --key site.verify-key", "46"]);
    assert!(!done.contains("?renew=5") && !done.contains("Cancel"), "{done}");
    let place = |said: &str| done.find(said).expect("it is there");
    assert!(place("href=\"1/file\"") < place("kept here for one hour"), "{done}");
    assert!(
        place("kept here for one hour") < place("rinseward verify"),
        "of the file, not of the key: {done}"
    );
    holds(&get("/history/exports/3", Language::Spanish).await, &["NO SE HIZO", "no &#60;b&#62;room"]);
    let file = ask(&kitchen, see("/history/exports/1/file"), Role::Auditor, Language::English).await;
    assert_eq!(
        file.headers()[header::CONTENT_DISPOSITION],
        "attachment; filename=\"north-1.evidence.jsonl\""
    );
    assert_eq!(file.headers()[header::CONTENT_LENGTH], "3");
    assert_eq!(text(file).await, "abc");
    for path in ["/history/exports/2/file", "/history/exports/9", "/history/exports/9/file"] {
        let none = ask(&kitchen, see(path), Role::Auditor, Language::English).await;
        assert_eq!(none.status(), StatusCode::NOT_FOUND, "{path}");
    }
    let ended = ask(&kitchen, send("/history/exports/2/end", ""), Role::Auditor, Language::English).await;
    assert_eq!(ended.headers()[header::LOCATION], "../../exports");
    assert_eq!(kitchen.deeds.borrow().last().map(String::as_str), Some("ana ends 2"));
}
