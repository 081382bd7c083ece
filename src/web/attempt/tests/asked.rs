//! Tests of what a page says before a step begins, and of what it asks about.

use super::*;

// Own promise: on the first screen of a phone stand what to do and what the probe shows; what else is so comes below.
#[tokio::test]
async fn what_to_do_comes_before_what_else_is_so() {
    let kitchen = StillKitchen::new();
    kitchen.glances.send_modify(|glances| glances[0].work_until = Some(NOW.plus(Duration::from_secs(600))));
    let site = frame::Site::new("Harbour canteen".to_owned(), true, || NOW);
    let show = async |path: &str| {
        let pages = Pages::new(kitchen.clone(), site.clone(), tokio_util::sync::CancellationToken::new());
        let mut request = Request::get(path).body(Body::empty()).expect("a request");
        request.extensions_mut().insert(person(Role::Technician, Language::English));
        text(crate::web::router::site(pages).oneshot(request).await.expect("it never fails")).await
    };
    let order = |page: &str, wanted: &[&str]| {
        let places: Vec<_> = wanted.iter().map(|said| page.find(said)).collect();
        assert!(places.is_sorted() && places.iter().all(Option::is_some), "{places:?}: {page}");
    };
    let boxes = ["SIMULATED: nobody", "dm1 is marked as worked on", "SCALD"];
    let page = show("/respond/dm1/rinse").await;
    order(&page, &[&["Have ready: a thermos", "79.8 °C"][..], &boxes].concat());
    let page = show("/prove/dm1").await;
    order(
        &page,
        &["Let the tips of all its probes hang free", "79.8 °C", "SIMULATED: nobody", "name=\"water\""],
    );
    let attempt = Attempt::Response("dm1/rinse".to_owned(), Default::default());
    kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), begun(Kind::Response, &attempt))));
    order(&show("/respond/dm1/rinse").await, &[&["Make everything ready", "79.8 °C"][..], &boxes].concat());
}

/// What somebody is at, as under way since now.
fn begun(kind: Kind, attempt: &Attempt) -> Under {
    Under { kind, stands: attempt.stands(Duration::ZERO), ..under(0) }
}

// Own promise: what a probe shows stands on the page before its step begins, and what cannot be is asked about and not
// forbidden: a tip in the tank that water for a hand is to warm, air of a room that is none.
#[tokio::test]
async fn what_cannot_be_is_asked_about_before_it_begins() {
    let page = text(ask(&StillKitchen::new(), Role::Technician, "/prove/dm1", None).await).await;
    assert!(page.contains("data-live=\"../live/probes/dm1\"") && page.contains("79.8 °C"), "{page}");
    let kitchen = StillKitchen::new();
    let site = || ["dm1/rinse".to_owned(), "dm1/wash".to_owned()];
    let order = || vec![("dm1/rinse".to_owned(), Place::FinalRinse)];
    for (warmth, asked) in [
        (
            Warmth::Water(Some(Celsius(40.5))),
            "dm1/rinse shows 79.8 °C: water of 40.5 °C does not warm it by the 2.0 °C",
        ),
        (Warmth::Hand, "dm1/rinse shows 79.8 °C: a hand, at about 33.0 °C, does not warm it"),
        (Warmth::Water(None), "water for hands, of 50.0 °C at most, does not warm it"),
    ] {
        let attempt = Attempt::Proof(Box::new(Proving::new(order(), site(), warmth)));
        kitchen.under.send_replace(Some(("dm1".to_owned(), begun(Kind::Proof, &attempt))));
        let page = text(ask(&kitchen, Role::Technician, "/prove/dm1", None).await).await;
        assert!(page.contains(asked) && page.contains("It hangs free"), "{asked}: {page}");
    }
    let attempt = Attempt::Response("dm1/rinse".to_owned(), Default::default());
    kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), begun(Kind::Response, &attempt))));
    let page = text(ask(&kitchen, Role::Technician, "/respond/dm1/rinse", None).await).await;
    let asked =
        "79.80 °C is no air of a room (35 °C at most): is the tip still in the machine, or wet and warm?";
    assert!(page.contains(asked) && page.contains("would have to be at 100 °C"), "{page}");
    assert!(page.contains("Everything is ready: begin"), "it is not forbidden: {page}");
    let level = |celsius| {
        let stage = crate::core::response::Stage::Level { celsius: Celsius(celsius) };
        shared::stage(Language::English, crate::core::reader::Scale::Celsius, &stage, |celsius| celsius)
    };
    assert!(level(22.4).contains("of 43 °C at least"), "{}", level(22.4));
    assert!(level(68.97).contains("68.97 °C is no air of a room"), "{}", level(68.97));
}
