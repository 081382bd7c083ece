//! How a question is told back: what is wrong with it, and how much fits it.

use super::*;

// Own promise: a day that cannot be read, and a span that ends before it begins, are told at the very top and beside
// their field, which is marked and keeps what was typed: a browser empties an input of days that holds no day.
#[tokio::test]
async fn a_wrong_day_is_told_at_the_top_and_kept_in_its_field() {
    for (query, name, kept, said) in [
        ("from=26.11.2026", "from", "type=\"text\" value=\"26.11.2026\"", "«26.11.2026» was read"),
        (
            "from=2026-02-30&to=2026-03-01",
            "from",
            "type=\"text\" value=\"2026-02-30\"",
            "«2026-02-30» was read",
        ),
        (
            "from=2026-11-05&to=2026-11-01",
            "to",
            "type=\"date\" value=\"2026-11-01\"",
            "expected is a day no earlier than 2026-11-05",
        ),
    ] {
        let page = refused(&format!("/history?{query}"), Language::English).await;
        let marked = format!(
            "<input id=\"{name}\" name=\"{name}\" {kept} aria-invalid=\"true\" aria-describedby=\"{name}-fault\">"
        );
        holds(&page, &[&marked]);
        let main = page.split_once("</h1>").expect("a title").1.trim_start();
        assert!(main.starts_with("<div class=\"fault\" role=\"alert\">"), "{query}: {main}");
        let banner = main.split_once("</div>").expect("its end").0;
        holds(banner, &["nothing was looked up", said]);
        let beside = page.split_once("<form class=\"pick ask\"").expect("a form").1;
        let beside = beside.split_once("<details").expect("more filters").0;
        holds(beside, &[&format!("id=\"{name}-fault\""), said]);
    }
    let fine = get("/history?from=2026-11-05", Language::English).await;
    holds(&fine, &["type=\"date\" value=\"2026-11-05\">", "name=\"to\" type=\"date\" value=\"\">"]);
    assert!(!fine.contains("<div class=\"fault\""), "{fine}");
}

// Own promise: above a list stands how many lines it has on all its pages, and each line shows day and time of the
// site's clock.
#[tokio::test]
async fn a_list_says_how_many_lines_it_has() {
    for (show, english, spanish) in [
        ("racks", "<b>1,234 racks</b>", "<b>1234 canastas</b>"),
        ("records", "<b>1,234 records</b>", "<b>1234 asientos</b>"),
        ("gaps", "<b>1,234 gaps</b>", "<b>1234 huecos</b>"),
    ] {
        let page = get(&format!("/history?show={show}"), Language::English).await;
        holds(&page, &[english, "Thu 26 Nov 2026, 12:00 UTC"]);
        holds(&get(&format!("/history?show={show}"), Language::Spanish).await, &[spanish]);
    }
    let days = get("/history?show=days", Language::English).await;
    assert!(!days.contains("1,234"), "{days}");
}

// Own promise: on paper, where no form is, it stands what was asked for.
#[tokio::test]
async fn paper_says_what_was_asked_for() {
    for (query, english, spanish) in [
        (
            "machine=dm1&verdict=cold&from=2026-11-01&to=2026-11-26",
            "Racks · Sun 1 Nov 2026 to Thu 26 Nov 2026 · Machine: dm1 · Verdict: cold",
            "Canastas · dom 1 nov 2026 a jue 26 nov 2026 · Máquina: dm1 · Veredicto: fría",
        ),
        (
            "verdict=in-doubt&from=2026-11-26&to=2026-11-26",
            "Racks · Thu 26 Nov 2026 · all machines · Verdict: in doubt",
            "Canastas · jue 26 nov 2026 · todas las máquinas · Veredicto: en duda",
        ),
        (
            "show=gaps&to=2026-11-26",
            "Gaps · until Thu 26 Nov 2026 · all machines",
            "Huecos · hasta el jue 26 nov 2026 · todas las máquinas",
        ),
        (
            "show=checks",
            "Checks · all days on record · all machines",
            "Controles · todos los días que constan · todas las máquinas",
        ),
    ] {
        // An older page is left of each.
        for (language, said, part, left) in [
            (Language::English, english, "only ", ": what came before is not on this paper</b></p>"),
            (Language::Spanish, spanish, "solo ", ": lo anterior no está en este papel</b></p>"),
        ] {
            let page = get(&format!("/history?{query}"), language).await;
            holds(&page, &[&format!("<p class=\"paper\"><b>{said} · {part}"), left]);
        }
    }
}
