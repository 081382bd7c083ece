//! What people do about an alert on its page.

use super::*;

// Own promise: a deed goes on record under the name of whoever is logged in, and the browser goes back to the page.
#[tokio::test]
async fn a_deed_is_done_by_whoever_is_logged_in() {
    let kitchen = StillKitchen::new();
    let (status, to) =
        post(&kitchen, "/alerts/3/acknowledge", "note=on+it&name=mallory", Role::Operator).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../3"));
    let (status, to) =
        post(&kitchen, "/alerts/3/act", "racks=held&done=booster+reset&covers=1", Role::Manager).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../3"));
    let by = || "Ana".to_owned();
    let taken = Deed::Acknowledge { by: by(), note: "on it".to_owned() };
    let acted =
        Deed::Act { by: by(), racks: "held".to_owned(), done: "booster reset".to_owned(), covers: Some(1) };
    assert_eq!(kitchen.desk.deeds(), [(3, taken), (3, acted)]);
}

// Own promise: a note that came too late is not lost without a word; without one there is nothing to tell.
#[tokio::test]
async fn a_note_that_came_too_late_is_told() {
    let kitchen = StillKitchen::new();
    let path = "/alerts/3/acknowledge";
    for (note, status) in
        [("on+it", StatusCode::SEE_OTHER), ("on+it", StatusCode::SEE_OTHER), ("", StatusCode::SEE_OTHER)]
    {
        assert_eq!(post(&kitchen, path, &format!("note={note}"), Role::Operator).await.0, status, "«{note}»");
    }
    for (path, said) in
        [(path, "Ana takes care of it since"), ("/alerts/2/acknowledge", "Your note is not on record")]
    {
        let (status, page) = post(&kitchen, path, "note=breaker+%3Cb%3E", Role::Operator).await;
        assert_eq!(status, StatusCode::CONFLICT, "{path}");
        assert!(page.contains(said) && page.contains("breaker &#60;b&#62;"), "{path}: {page}");
    }
}

// Own promise: an action covers what its page showed, also where a first try was not whole; racks after those are told.
#[tokio::test]
async fn racks_that_came_after_an_action_are_told() {
    let kitchen = StillKitchen::new();
    let (_, page) = get(&kitchen, "/alerts/4", Role::Manager, Language::English).await;
    assert!(page.contains(r#"name="covers" value="8""#), "{page}");
    assert!(
        page.contains("<details><summary>Racks it is about (8)</summary>"),
        "a long list is folded: {page}"
    );
    assert!(
        page.contains("<details><summary>What happened later (4)</summary>"),
        "so is a long story: {page}"
    );
    assert!(page.contains("does not cover 7 later racks (the last "), "{page}");
    assert_eq!(page.matches("no corrective action covers it yet").count(), 7, "{page}");
    let (_, page) = get(&kitchen, "/alerts/4", Role::Operator, Language::Spanish).await;
    assert!(page.contains("no abarca 7 canastas posteriores"), "{page}");
    let (_, page) = post(&kitchen, "/alerts/4/act", "racks=held&done=+&covers=2", Role::Manager).await;
    assert!(page.contains(r#"name="covers" value="2""#), "those of before: {page}");
    let (_, page) = get(&kitchen, "/alerts/3", Role::Manager, Language::English).await;
    assert!(!page.contains("does not cover") && page.contains("<h2>Racks it is about</h2>"), "{page}");
}

// Own promise: what was typed stays, the fault stands beside its field, and nothing goes on record.
#[tokio::test]
async fn a_form_that_is_not_whole_is_shown_again() {
    let kitchen = StillKitchen::new();
    let (status, page) = post(&kitchen, "/alerts/3/act", "racks=held+%3Cb%3E&done=+", Role::Manager).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    for said in
        ["held &#60;b&#62;</textarea>", "id=\"done-fault\">Fill this in.", "aria-describedby=\"done-fault\""]
    {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(!page.contains("racks-fault"), "{page}");
    // A few signs are no account: each field is told of at its place, and each is linked to what is said of it.
    for (language, told) in
        [(Language::English, "This says too little"), (Language::Spanish, "Esto dice demasiado poco")]
    {
        let (status, page) = crate::web::fixture::visit::post_as(
            &kitchen,
            "/alerts/3/act",
            "racks=x&done=%C2%A1ok%21&covers=2",
            Role::Manager,
            language,
        )
        .await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        for field in ["racks", "done"] {
            for said in [
                format!("id=\"{field}-fault\">{told}"),
                format!(
                    "name=\"{field}\" rows=\"3\" required minlength=\"{}\"",
                    crate::core::alert::LETTERS_MIN
                ),
                format!("aria-invalid=\"true\" aria-describedby=\"{field}-fault\""),
            ] {
                assert!(page.contains(&said), "{said}: {page}");
            }
        }
    }
    let long = format!("note={}", "x".repeat(1_001));
    let (status, _) = post(&kitchen, "/alerts/3/acknowledge", &long, Role::Manager).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    // A form of before there was a number of racks: it is shown again, with those of now.
    let (status, page) = post(&kitchen, "/alerts/3/act", "racks=held&done=reset", Role::Manager).await;
    assert_eq!(status, StatusCode::CONFLICT);
    for said in [
        ">held</textarea>",
        ">reset</textarea>",
        "before the gateway was updated",
        "name=\"covers\" value=\"2\"",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(kitchen.desk.deeds().is_empty());
}

// Own promise: of two who write the corrective action at once the second keeps what was typed, and reads who was first.
#[tokio::test]
async fn whoever_is_second_is_told() {
    let kitchen = StillKitchen::new();
    for path in ["/alerts/2/act", "/alerts/1/act"] {
        let (status, page) =
            post(&kitchen, path, "racks=held&done=booster+reset&covers=1", Role::Manager).await;
        assert_eq!(status, StatusCode::CONFLICT, "{path}");
        for said in
            [">held</textarea>", ">booster reset</textarea>", "id=\"racks-fault\">", "goes into the logbook"]
        {
            assert!(page.contains(said), "{path} {said}: {page}");
        }
    }
}

// Own promise: whoever was second may act for the racks that the page shows then, and is not refused for ever.
#[tokio::test]
async fn whoever_was_second_can_go_on() {
    let kitchen = StillKitchen::new();
    let (status, page) =
        post(&kitchen, "/alerts/2/act", "racks=held&done=reset&covers=1", Role::Manager).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(page.contains(r#"name="covers" value="2""#), "{page}");
}
