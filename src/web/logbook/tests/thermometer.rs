//! Which thermometer is compared is known before the first number.

use axum::http::StatusCode;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::web::fixture::StillKitchen;
use crate::web::fixture::visit::{get, post};

async fn page(kitchen: &StillKitchen, path: &str) -> String {
    let (status, page) = get(kitchen, path, Role::Operator, Language::English).await;
    assert_eq!(status, StatusCode::OK, "{path}: {page}");
    page
}

// Own promise: entered in under ten seconds. What is due names its thermometer, and the first number is waited for.
#[tokio::test]
async fn a_probe_that_is_due_is_chosen() {
    let kitchen = StillKitchen::new();
    let off = "what=dm1/rinse&shown=5&right=0&reference=ice";
    post(&kitchen, "/logbook/thermometer", off, Role::Operator).await;
    let due = page(&kitchen, "/logbook").await;
    let link = "logbook/thermometer?machine=dm1&#38;what=dm1%2Frinse";
    assert!(due.contains(link), "{due}");
    let form = page(&kitchen, &format!("/{}", link.replace("&#38;", "&"))).await;
    for said in
        ["name=\"what\" value=\"dm1/rinse\"", " autofocus", "value=\"ice\"", "Thermometer · dm1/rinse"]
    {
        assert!(form.contains(said), "{said}: {form}");
    }
    assert!(!form.contains("name=\"other\"") && !form.contains("name=\"device\""), "{form}");
}

// Own promise: one that is no probe keeps its name and its machine, so that the good comparison takes back the bad one;
// what it measures is chosen by whoever compares it, since what it may be off by is different (Food Code 4-203.11 and
// 4-203.12).
#[tokio::test]
async fn another_thermometer_stays_what_it_is() {
    let kitchen = StillKitchen::new();
    let off = "machine=dm1&other=dial&device=food&shown=5&right=0&reference=ice";
    post(&kitchen, "/logbook/thermometer", off, Role::Operator).await;
    assert!(page(&kitchen, "/logbook").await.contains("?machine=dm1&#38;what=dial"));
    let form = page(&kitchen, "/logbook/thermometer?machine=dm1&what=dial").await;
    for said in
        ["name=\"other\" value=\"dial\"", "name=\"machine\" value=\"dm1\"", "value=\"food\" required>"]
    {
        assert!(form.contains(said), "{said}: {form}");
    }
    assert!(!form.contains("name=\"what\"") && !form.contains(" checked"), "{form}");
}

// Own promise: big targets; where none is named the probes are asked for before any number.
#[tokio::test]
async fn the_probes_are_targets() {
    let kitchen = StillKitchen::new();
    let asked = page(&kitchen, "/logbook/thermometer").await;
    for probe in ["dm1%2Frinse", "dm2%2Frinse", "dm3%2Frinse"] {
        assert!(asked.contains(&format!("logbook/thermometer?what={probe}")), "{asked}");
    }
    assert!(asked.contains("?other=yes\"") && !asked.contains("name=\"shown\""), "{asked}");
    let own = page(&kitchen, "/logbook/thermometer?machine=dm1").await;
    assert!(!own.contains("dm2%2Frinse") && own.contains("?other=yes&amp;machine=dm1"), "{own}");
    let other = page(&kitchen, "/logbook/thermometer?other=yes&machine=dm1").await;
    assert!(other.contains("name=\"other\"") && !other.contains(" autofocus"), "{other}");
    // What was sent is asked again where it stands, with what was typed; no other thermometer is asked for instead.
    let gone = "what=dm7/rinse&shown=81&right=82.4&reference=ice";
    for (sent, kept) in
        [(gone, ["value=\"81\"", "value=\"82.4\""]), ("what=a&what=b", ["Nothing was put", "name=\"shown\""])]
    {
        let (status, told) = post(&kitchen, "/logbook/thermometer", sent, Role::Operator).await;
        assert!(status.is_client_error() && kept.iter().all(|kept| told.contains(kept)), "{sent}: {told}");
    }
    let unknown = "/logbook/thermometer?machine=dm9";
    let (status, told) = get(&kitchen, unknown, Role::Operator, Language::English).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && told.contains("«dm9»"), "{told}");
    assert!(!told.contains("machine=dm9"), "it is not offered again: {told}");
}
