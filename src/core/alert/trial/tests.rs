//! What is told of handing a message over, in both languages.

use std::collections::BTreeSet;

use super::*;

// Own words.
#[test]
fn each_step_is_told_in_the_readers_language() {
    for (english, spanish) in STEPS {
        assert_eq!(step(english, Language::English), english);
        assert_eq!(step(english, Language::Spanish), spanish);
    }
    assert_eq!(step("connect", Language::Spanish), "connect");
}

// Own rule: whatever we say ourselves exists in both languages, differs from all else that we say, and is read
// back as it was kept.
#[test]
fn each_fact_is_told_in_the_readers_language_and_kept() {
    let mut told = BTreeSet::new();
    for fact in Fact::each() {
        let one = Told::from(fact.clone());
        let (english, spanish) = (one.tell(Language::English), one.tell(Language::Spanish));
        assert_ne!(english, spanish, "{fact:?}");
        assert_eq!(one.to_string(), english, "{fact:?}: programs and the log have the English");
        for text in [&english, &spanish] {
            assert!(!text.contains(['{', '}']) && !text.is_empty(), "{text}");
        }
        assert!(told.insert(english.clone()) && told.insert(spanish), "{english}: said twice");
        let advice = [Language::English, Language::Spanish].map(|language| one.advice(language));
        assert_eq!(advice[0].is_some(), advice[1].is_some());
        assert!(advice.iter().flatten().all(|text| !text.contains('{')), "{advice:?}");
        let kept = serde_json::to_string(&one).expect("JSON");
        assert_eq!(serde_json::from_str::<Told>(&kept).expect("as it was kept"), one, "{kept}");
    }
}

// Own words. What the other side says is nobody's to translate.
#[test]
fn the_other_side_stays_in_its_own_words() {
    let given_up = |fact: Fact, given_up| Told::from(fact).given_up(given_up);
    for (told, english, spanish) in [
        (Told::words("250 the queue answers"), "250 the queue answers", "250 the queue answers"),
        (
            Told::from(Fact::EndedAt { stage: RECIPIENT.to_owned() })
                .at("mx.example")
                .because("550 no such user"),
            "mx.example: it went no further, at the recipient: «550 no such user»",
            "mx.example: no siguió adelante, en el paso «destinatario»: «550 no such user»",
        ),
        (
            given_up(Fact::Status { status: "404 Not Found".to_owned() }, GivenUp::Refused { tries: 3 }),
            "refused 3 times: it answers 404 Not Found",
            "rechazado 3 veces: responde 404 Not Found",
        ),
        (
            given_up(Fact::Status { status: "410 Gone".to_owned() }, GivenUp::Refused { tries: 1 }),
            "refused 1 time: it answers 410 Gone",
            "rechazado 1 vez: responde 410 Gone",
        ),
        (
            given_up(Fact::NoTls {}, GivenUp::NotTaken { tries: 1, minutes: 1_440 }),
            "not taken in 1 try over 24.0 h: what answers at this port does not speak TLS",
            "no aceptado en 1 intento durante 24.0 h: lo que responde en este puerto no habla TLS",
        ),
        (
            given_up(Fact::NoTls {}, GivenUp::NotTaken { tries: 200, minutes: 0 }),
            "not taken in 200 tries over 0.0 h: what answers at this port does not speak TLS",
            "no aceptado en 200 intentos durante 0.0 h: lo que responde en este puerto no habla TLS",
        ),
    ] {
        assert_eq!(told.tell(Language::English), english);
        assert_eq!(told.tell(Language::Spanish), spanish);
    }
}
