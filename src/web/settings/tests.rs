use axum::http::StatusCode;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::core::record::Worked;
use crate::web::attempt::Under;
use crate::web::attempt::tests::under;
use crate::web::fixture::visit::{get, post};
use crate::web::fixture::{NOW, StillKitchen};

// Own promise: each role is shown the way to what it may open, and to nothing else.
#[tokio::test]
async fn each_role_finds_its_own_ways() {
    let kitchen = StillKitchen::new();
    for (role, ways) in [
        (Role::Auditor, vec!["account", "settings"]),
        (Role::Operator, vec!["account"]),
        (Role::Manager, vec!["account", "maintenance", "settings"]),
        (Role::Technician, vec!["account", "maintenance", "settings"]),
        (Role::Administrator, vec!["account", "maintenance", "settings", "accounts"]),
    ] {
        let (_, page) = get(&kitchen, "/more", role, Language::English).await;
        for way in ["account", "maintenance", "settings", "accounts"] {
            let there = page.contains(&format!("class=\"target\" href=\"{way}\""));
            assert_eq!(there, ways.contains(&way), "{role}: {way}");
        }
    }
}

// Own promise: whoever sees the settings sees who may log in, and only who decides it is led there.
#[tokio::test]
async fn settings_say_who_may_log_in() {
    let kitchen = StillKitchen::new();
    for role in [Role::Auditor, Role::Manager, Role::Technician, Role::Administrator] {
        let (_, page) = get(&kitchen, "/settings", role, Language::English).await;
        for said in [
            "<b>Administrator</b> · Login: admin · Role: administrator<br><span class=\"hint\">Last login, by this computer's clock: Thu 26 Nov 2026, 12:00 UTC",
            "· Login: gone · Role: operator · disabled<br>",
            "clock: never",
            "<h3>Tokens</h3>",
            "<b>export</b> · Role: auditor<br><span class=\"hint\">valid until Fri 27 Nov 2026, 12:00 UTC",
            "<b>old</b> · Role: auditor · ended<br>",
        ] {
            assert!(page.replace("&#39;", "'").contains(said), "{role}: {said}: {page}");
        }
        assert_eq!(page.contains("href=\"accounts\""), role == Role::Administrator, "{role}");
        assert_eq!(page.contains("Ask: administrator."), role != Role::Administrator, "{role}");
    }
}

// Own promise: accounts that cannot be read hide nothing else, and are not told as none.
#[tokio::test]
async fn settings_stand_where_the_accounts_cannot_be_read() {
    let kitchen = StillKitchen { accounts_unreadable: true, ..StillKitchen::new() };
    for (language, unread, advice, contacts) in [
        (
            Language::English,
            "Accounts and tokens CANNOT BE READ",
            "tell whoever looks after the gateway",
            "Contacts",
        ),
        (
            Language::Spanish,
            "NO SE PUEDEN LEER las cuentas ni las fichas",
            "avise a quien cuida del equipo",
            "Contactos",
        ),
    ] {
        let (status, page) = get(&kitchen, "/settings", Role::Manager, language).await;
        assert_eq!(status, StatusCode::OK, "{page}");
        for said in [unread, advice, contacts, "gateway.toml:7", "email:a@example.com"] {
            assert!(page.contains(said), "{said}: {page}");
        }
        assert!(!page.contains("<b>Administrator</b>") && !page.contains("There is none"), "{page}");
    }
}

// Own promise: each value stands beside where it was set, each channel beside whether it can work, and
// nothing of it is markup.
#[tokio::test]
async fn settings_say_where_each_value_comes_from() {
    let kitchen = StillKitchen::new();
    let (_, page) = get(&kitchen, "/settings", Role::Manager, Language::English).await;
    for said in [
        "gateway.toml:7",
        "<td>default</td>",
        "follows from elsewhere: this computer",
        "environment variable RINSEWARD__SITE__CALL",
        "email:a@example.com",
        "✗ CANNOT WORK",
        "nothing is known of it: none of the last 1000 messages and no test since the start",
        "the last was taken: Thu 26 Nov 2026, 12:00 UTC",
        "the last was not taken: Thu 26 Nov 2026, 12:00 UTC: it went no further, at the recipient: «550 no such user»",
        "waiting to be sent: 2",
        "✗ FAILED",
        "step 1 · last resort",
        "action=\"settings/test\"",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(!page.contains("ready"), "nobody knows that of what was not tried: {page}");
    for role in [Role::Auditor, Role::Technician] {
        let (_, page) = get(&kitchen, "/settings", role, Language::Spanish).await;
        assert!(
            !page.contains("settings/test") && page.contains("Pídalo a: encargado, administrador."),
            "{page}"
        );
        for said in [
            "se deduce de otra parte: este equipo",
            "conexión",
            "aceptada por el servidor MQTT",
            "lo que responde en este puerto no habla TLS",
            "guarda un secreto, y cualquier usuario de este equipo puede leerlo",
            "no siguió adelante, en el paso «destinatario»: «550 no such user»",
        ] {
            assert!(page.contains(said), "{said}: {page}");
        }
        for said in [
            "this computer",
            "accepted by the broker",
            "does not speak TLS",
            "holds a secret",
            "at the recipient",
        ] {
            assert!(!page.contains(said), "{said}: {page}");
        }
        assert!(!page.contains("<script>") && !page.contains("<img"), "{page}");
    }
}

#[tokio::test]
async fn a_contact_is_tried_by_who_may() {
    let kitchen = StillKitchen::new();
    let (status, to) = post(&kitchen, "/settings/test", "contact=manager+%3C1%3E", Role::Manager).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../settings#contacts"));
    let (status, _) = post(&kitchen, "/settings/test", "contact=manager", Role::Technician).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    let (status, _) = post(&kitchen, "/settings/test", "", Role::Manager).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert_eq!(kitchen.desk.all_asked(), ["test manager <1> by Ana"]);
}

// Own promise: work begins for one of the offered spans, of a machine that there is; pressed twice it is one.
#[tokio::test]
async fn work_on_a_machine_begins_and_ends() {
    let kitchen = StillKitchen::new();
    let send = async |form: &str| post(&kitchen, "/maintenance", form, Role::Technician).await;
    assert_eq!(send("machine=dm1&minutes=30").await, (StatusCode::SEE_OTHER, "maintenance".to_owned()));
    for (form, status) in [
        ("machine=dm1&minutes=31", StatusCode::BAD_REQUEST),
        ("machine=dm1&minutes=-1", StatusCode::BAD_REQUEST),
        ("machine=other&minutes=30", StatusCode::NOT_FOUND),
        // Nobody works on it: nothing ends.
        ("machine=dm1&minutes=0", StatusCode::SEE_OTHER),
    ] {
        assert_eq!(send(form).await.0, status, "{form}");
    }
    let until = |minutes: u64| {
        let until = crate::web::fixture::NOW.plus(std::time::Duration::from_secs(minutes * 60));
        kitchen.glances.send_modify(|glances| glances[0].work_until = Some(until));
    };
    until(30);
    send("machine=dm1&minutes=30").await;
    let (_, page) = get(&kitchen, "/maintenance", Role::Technician, Language::English).await;
    assert!(page.contains("Messages are held until 12:30 UTC"), "{page}");
    for (language, button) in [
        (Language::English, "Work on it for 15\u{a0}min"),
        (Language::Spanish, "Trabajar en ella 15\u{a0}min"),
    ] {
        let (_, page) = get(&kitchen, "/maintenance", Role::Manager, language).await;
        assert!(page.contains(button), "{page}");
    }
    send("machine=dm1&minutes=15").await;
    send("machine=dm1&minutes=0").await;
    let expected = [
        "work on dm1 until 2026-11-26T12:30:00Z by Ana",
        "work on dm1 until 2026-11-26T12:15:00Z by Ana",
        "work on dm1 until its end by Ana",
    ];
    assert_eq!(kitchen.desk.all_asked(), expected);
}

// Own promise: the end of work says before whose dialogs it ends, ends no other, and none that has found something
// which is not on record.
#[tokio::test]
async fn the_end_of_work_says_what_it_ends() {
    let kitchen = StillKitchen::new();
    let until = NOW.plus(std::time::Duration::from_secs(600));
    let work = Worked { by: "Ana".to_owned(), why: Some("calibration of dm1/rinse".to_owned()) };
    kitchen.glances.send_modify(|glances| {
        (glances[0].work_until, glances[0].worked) = (Some(until), vec![work]);
    });
    let end = async |form: &str| post(&kitchen, "/maintenance", form, Role::Manager).await;
    let shown = async |role, language| get(&kitchen, "/maintenance", role, language).await.1;
    let put = |account: &str, seconds| {
        let under = Under { account: account.to_owned(), ..under(seconds) };
        kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under)));
    };
    // It began after the page was made.
    put("eva", 10);
    assert_eq!(end("machine=dm1&minutes=0&shown=").await.0, StatusCode::CONFLICT);
    assert!(kitchen.desk.all_asked().is_empty());
    let page = shown(Role::Technician, Language::English).await;
    for said in [
        "Who works there: Ana (calibration of dm1/rinse)",
        "Ana has this open: Calibration, dm1/rinse, since 12:00 UTC. The end of the work ends it too; it has found nothing yet.",
        "href=\"calibrate/dm1/rinse\">Look at it</a>",
        "Work is over, and end what is open there",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    // Whoever may not measure has no way there.
    let page = shown(Role::Manager, Language::Spanish).await;
    assert!(
        page.contains("Ana tiene esto abierto: Calibración") && !page.contains("href=\"calibrate"),
        "{page}"
    );
    let mark = format!("dm1/rinse@{}", NOW.micros());
    let ended = format!("machine=dm1&minutes=0&shown=dm2%40{0}+{mark}", NOW.micros()).replace('/', "%2F");
    assert_eq!(end(&ended).await, (StatusCode::SEE_OTHER, "maintenance".to_owned()));
    let asked = ["dm1/rinse of Ana ends with the work", "work on dm1 until its end by Ana"];
    assert_eq!(kitchen.desk.all_asked(), asked);
    // A point is taken: nothing of it is lost.
    for (account, said) in [("eva", "Ana has this open"), ("ana", "You have this open")] {
        put(account, 30);
        let (status, page) = end(&ended).await;
        assert_eq!(status, StatusCode::CONFLICT, "{page}");
        let page = shown(Role::Technician, Language::English).await;
        assert!(page.contains(said) && page.contains("What it has found is not on record"), "{page}");
        assert!(!page.contains("value=\"0\""), "{page}");
    }
    assert_eq!(kitchen.desk.all_asked(), asked);
}

// Own promise: a machine that is worked on with the whole site says so wherever its own work is told, and offers no end
// of what does not end at it.
#[tokio::test]
async fn work_on_the_whole_site_is_told_at_each_machine() {
    let kitchen = StillKitchen::new();
    kitchen.glances.send_modify(|glances| {
        for glance in glances {
            (glance.work_until, glance.of_site) =
                (Some(NOW.plus(std::time::Duration::from_secs(1800))), true);
        }
    });
    for (language, said) in [
        (Language::English, "until 12:30 UTC, with the whole site"),
        (Language::Spanish, "hasta las 12:30 UTC, con toda la cocina"),
    ] {
        for path in ["/", "/probes", "/probes/dm1", "/maintenance"] {
            let (_, page) = get(&kitchen, path, Role::Technician, language).await;
            assert!(page.contains(said), "{path}: {page}");
            assert!(!page.contains("value=\"0\""), "{path}: {page}");
            let is_own = ["/probes/dm1", "/maintenance"].contains(&path);
            assert_eq!(page.contains("rinseward maintenance all --end"), is_own, "{path}: {page}");
        }
    }
    let (status, _) = post(&kitchen, "/maintenance", "machine=dm1&minutes=0", Role::Technician).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(kitchen.desk.all_asked().is_empty());
}
