use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use tower::ServiceExt;

use super::*;
use crate::core::access::Role;
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;

async fn get(path: &str, language: Language) -> String {
    let mut request =
        Request::get(path).header(header::ACCEPT, "text/html").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Auditor, language));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
    String::from_utf8(bytes.to_vec()).expect("text")
}

fn holds(page: &str, all: &[&str]) {
    for said in all {
        assert!(page.contains(said), "{said}: {page}");
    }
}

// Own promises: every rack with its verdict and figures, what is damaged named, the next page under the same
// choice, and how the record is sealed.
#[tokio::test]
async fn racks_are_listed_with_what_is_damaged() {
    let page = get("/history?machine=dm1&verdict=cold&from=2026-11-01", Language::English).await;
    let wanted = [
        "href=\"cycles/48\"",
        "82.19 °C, limit 82.20 °C",
        "recorded late, amended",
        "DAMAGED: record 46",
        "show=racks&amp;machine=dm1&amp;from=2026-11-01&amp;to=&amp;verdict=cold&amp;older=46",
        "48 records, Thu 26 Nov 2026",
        "north+1+key",
        "<option value=\"cold\" selected>",
    ];
    holds(&page, &wanted);
    holds(&get("/history", Language::Spanish).await, &["fría", "DAÑADO", "registrada tarde", "íntegro"]);
}

// Own promise: what people wrote is text, in whatever view; a day leads to its machine.
#[tokio::test]
async fn every_view_shows_what_it_names() {
    for (show, said) in [("checks", "<b>check</b>"), ("gaps", "by &#60;i&#62;Ana"), ("alerts", "alerts/3")] {
        holds(
            &get(&format!("/history?show={show}"), Language::English).await,
            &[said, "Amended by record 41."],
        );
    }
    let days = get("/history?show=days", Language::English).await;
    holds(&days, &["machines/dm1?day=2026-11-26", "1 cold, 12 pass", "damaged: 2"]);
}

// Own rule: what makes no sense in an address was not asked, and stands nowhere in the page.
#[test]
fn a_question_without_sense_is_the_plain_one() {
    let asked = Asked { show: "x".to_owned(), from: "2026-13-40".to_owned(), ..Asked::default() };
    let plain = Asked::default().question();
    assert_eq!(asked.question(), plain);
    assert_eq!((plain.view, plain.page), (View::Racks, Page::Newest));
    let both = Asked { older: "5".to_owned(), newer: "7".to_owned(), ..Asked::default() };
    assert_eq!(both.question().page, Page::Older(5));
}
