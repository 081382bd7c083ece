use std::time::Duration;

use super::*;
use crate::core::reader::Scale;
use crate::web::fixture::NOW;

fn rack(settled_c: f64) -> LastRack {
    LastRack {
        record: 1,
        rinsed: Timestamp::from_micros(1_795_694_390_000_000),
        ended: Timestamp::from_micros(1_795_694_400_000_000),
        verdict: Verdict::Cold,
        in_doubt: false,
        findings: Vec::new(),
        settled_c: Some(settled_c),
        unjudged: None,
        // 180 °F, FDA Food Code 4-501.112.
        limit_c: 82.222,
        uncertainty_c: 0.6,
        mg_per_l: None,
        off_range: None,
    }
}

fn glance() -> Glance {
    Glance {
        place: 0,
        machine: "dm1".to_owned(),
        chemical: false,
        last: None,
        data: Data::Live,
        watches_tank: true,
        tank: None,
        today: [0; 6],
        in_doubt: 0,
        alerts: Vec::new(),
        work_until: None,
        of_site: false,
        strength: None,
        asked: None,
        kept_by: None,
        worked: Vec::new(),
    }
}

// Own promise: whoever reads how many racks passed today reads beside it how many of them are in doubt.
#[test]
fn racks_in_doubt_are_counted_beside_those_of_today() {
    for (language, in_doubt, said) in [
        (Language::English, 0, "<li>Today: 1 cold, 12 pass</li>"),
        (
            Language::English,
            1,
            "12 pass; 1 of those that passed, narrowly or plainly, is in doubt, by a test that failed</li>",
        ),
        (
            Language::English,
            3,
            "12 pass; 3 of those that passed, narrowly or plainly, are in doubt, by a test that failed</li>",
        ),
        (
            Language::Spanish,
            3,
            "12 correctas; 3 de las correctas, justas o no, están en duda, por una prueba que no cumplió</li>",
        ),
    ] {
        let glance = Glance { today: [1, 0, 0, 0, 0, 12], in_doubt, ..glance() };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card");
        assert!(made.html.contains(said), "{said}: {}", made.html);
    }
}

// Own promise: a temperature that is not of now stands with its age, and in the same words on every page.
#[test]
fn an_aged_tank_says_how_old_it_is() {
    let seconds = Duration::from_secs;
    for (age_s, language, said) in [
        (None, Language::English, "<li>Wash tank: 66.4 °C (at least 65.6 °C)</li>"),
        (
            Some(60),
            Language::English,
            "<li>Wash tank: 66.4 °C<span class=\"age\">, 60 s ago</span><span class=\"then\">, 11:59 UTC</span> (at least 65.6 °C)</li>",
        ),
        (
            Some(120),
            Language::Spanish,
            "<li>Tanque de lavado: 66.4 °C<span class=\"age\">, hace 2 min</span><span class=\"then\">, 11:58 UTC</span> (al menos 65.6 °C)</li>",
        ),
    ] {
        let tank = Tank { celsius: 66.4, least_c: 65.6, aged: age_s.map(seconds) };
        let glance = Glance { tank: Some(tank), ..glance() };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, NOW, "").expect("a card");
        assert!(made.html.contains(said), "{said}: {}", made.html);
    }
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
    for (watches_tank, missing) in [(true, true), (false, false)] {
        let glance = Glance { watches_tank, ..glance() };
        let made = card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card");
        assert_eq!(made.html.contains("Wash tank: no fresh reading"), missing, "{}", made.html);
    }
}

// Own promise: a verdict by a probe that was found off does not stand alone.
#[test]
fn a_probe_that_was_found_off_stands_beside_the_verdict() {
    let rack = LastRack {
        record: 48,
        rinsed: Timestamp::from_micros(0),
        ended: Timestamp::from_micros(0),
        verdict: Verdict::Pass,
        in_doubt: false,
        findings: Vec::new(),
        settled_c: Some(84.8),
        unjudged: None,
        limit_c: 82.2,
        uncertainty_c: 0.9,
        mg_per_l: None,
        off_range: None,
    };
    let off = |about: &str, lasts| GlanceAlert {
        number: 16,
        headline: String::new(),
        title: "Thermometer off".to_owned(),
        condition: Condition::ThermometerOff,
        about: vec![about.to_owned()],
        since: Timestamp::from_micros(0),
        racks: 0,
        washed: None,
        named: Vec::new(),
        lasts,
        uncovered: None,
        taken_by: None,
    };
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
    for (about, lasts, expected) in
        [("dm1/rinse", true, true), ("dm1/rinse", false, false), ("gauge", true, false)]
    {
        let glance = Glance { last: Some(rack.clone()), alerts: vec![off(about, lasts)], ..glance() };
        let made = card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card");
        let warned = made.html.contains("Do not rely on it: dm1/rinse was found off.");
        assert_eq!(warned, expected, "{about} {lasts}: {}", made.html);
    }
}

// Own promise: a machine of which a probe tells nothing of now is marked, in words and by its frame.
#[test]
fn a_card_says_how_old_its_data_are() {
    let now = Timestamp::from_micros(1_795_694_400_000_000);
    let before = now.minus(Duration::from_secs(60));
    for (data, language, said) in [
        (
            Data::Old(Some(before)),
            Language::English,
            "OLD DATA: last reading<span class=\"age\"> 60 s ago</span><span class=\"then\"> 11:59 UTC</span>",
        ),
        (
            Data::Old(None),
            Language::English,
            "OLD DATA: one of its probes was not heard since the gateway started",
        ),
        (
            Data::Old(Some(before)),
            Language::Spanish,
            "DATOS ANTIGUOS: última lectura<span class=\"age\"> hace 60 s</span><span class=\"then\"> 11:59 UTC</span>",
        ),
        (
            Data::Old(None),
            Language::Spanish,
            "DATOS ANTIGUOS: no ha llegado nada de una de sus sondas desde que arrancó el equipo",
        ),
    ] {
        let last = Some(LastRack { verdict: Verdict::Pass, ..rack(84.0) });
        let glance = Glance { last, data, ..glance() };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, now, "").expect("a card");
        assert!(made.html.contains(&format!("<p class=\"old\">{said}</p>")), "{said}: {}", made.html);
        assert!(made.html.contains("tells-bad"), "{}", made.html);
    }
}

// Own promise: a value that the ruler has no place for is not shown at the end of the ruler as if it were there.
#[test]
fn a_value_off_the_ruler_is_said_to_be_off_it() {
    let reader = |language, scale| Reader { language, scale, zone: jiff::tz::TimeZone::UTC };
    let english = reader(Language::English, Scale::Celsius);
    let spanish = reader(Language::Spanish, Scale::Fahrenheit);
    for (settled, in_english, in_spanish) in [
        (
            55.3,
            Some("◀ 55.3 °C: below the ruler, which begins at 70 °C"),
            Some("◀ 131.5 °F: bajo la regla, que empieza en 158 °F"),
        ),
        (70.3, None, None),
        (94.2, None, None),
        (
            99.0,
            Some("▶ 99.0 °C: above the ruler, which ends at 94 °C"),
            Some("▶ 210.2 °F: sobre la regla, que acaba en 202 °F"),
        ),
    ] {
        let rack = rack(settled);
        assert_eq!(off_scale(&rack, &english).as_deref(), in_english);
        assert_eq!(off_scale(&rack, &spanish).as_deref(), in_spanish);
        let drawn = ruler(&rack, &english).expect("a ruler");
        // Regression: the ruler was stretched to the width of its card, its numbers with it.
        assert!(drawn.starts_with("<svg class=\"ruler\" aria-hidden=\"true\"><rect"), "{drawn}");
        assert_eq!(drawn.contains("beyond"), in_english.is_some(), "{drawn}");
        assert_eq!(drawn.contains("class=\"band\""), in_english.is_none(), "{drawn}");
    }
}

// Own promise: among others a card shows two alerts unfolded, the most pressing, and the rest under their number and
// what they are about; one that is critical and lasts is never folded; on the page of its machine all stand open.
#[test]
fn further_alerts_are_folded_among_other_cards() {
    let alert = |number| GlanceAlert {
        number,
        headline: String::new(),
        title: "Narrow".to_owned(),
        condition: Condition::Narrow,
        about: Vec::new(),
        since: Timestamp::from_micros(0),
        racks: 1,
        washed: None,
        named: Vec::new(),
        lasts: true,
        uncovered: Some(1),
        taken_by: None,
    };
    for (count, language, more) in [
        (2, Language::English, None),
        (3, Language::English, Some("<summary>1 more alert: Narrow</summary>")),
        (4, Language::English, Some("<summary>2 more alerts: Narrow</summary>")),
        (4, Language::Spanish, Some("<summary>2 alertas más: Narrow</summary>")),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let glance = Glance { alerts: (1..=count).map(alert).collect(), ..glance() };
        let html = |up| card(&glance, &reader, Timestamp::from_micros(0), up).expect("it renders").html;
        let among = html("");
        assert_eq!(
            among.find("<details"),
            more.and_then(|more| Some(among.find(more)? - "<details class=\"more\">".len()))
        );
        for number in 1..=count {
            let place = among.find(&format!("alerts/{number}\"")).expect("each leads to its page");
            assert_eq!(among.find("<details").is_some_and(|folded| folded < place), number > 2, "{among}");
        }
        assert!(!html("../").contains("<details"), "all on the page of the machine");
    }
    for (lasts, folds) in [(true, false), (false, true)] {
        let cold = GlanceAlert { condition: Condition::Cold, lasts, ..alert(3) };
        let glance = Glance { alerts: vec![alert(1), alert(2), cold], ..glance() };
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let among = card(&glance, &reader, Timestamp::from_micros(0), "").expect("it renders").html;
        assert_eq!(among.contains("<details"), folds, "{among}");
    }
}

fn alert(number: u64, condition: Condition, about: &str, uncovered: Option<u64>) -> GlanceAlert {
    GlanceAlert {
        number,
        headline: String::new(),
        title: condition.as_str().to_owned(),
        condition,
        about: vec![about.to_owned()],
        since: Timestamp::from_micros(0),
        racks: uncovered.unwrap_or_default(),
        washed: None,
        named: Vec::new(),
        lasts: true,
        uncovered,
        taken_by: None,
    }
}

// Own promise: what endangers ware stands before a check that is late, whatever racks that has, and is never folded.
#[test]
fn danger_stands_before_what_is_late() {
    let late = alert(5, Condition::CheckOverdue, "sanitizer", Some(4));
    let silent = alert(4, Condition::ProbeSilent, "dm1/wash", None);
    let off = alert(2, Condition::ThermometerOff, "dm1/rinse", Some(1));
    let short = alert(1, Condition::SuppliesShort, "[detergent] Ana", None);
    let closing = GlanceAlert { lasts: false, ..alert(6, Condition::ProbeSilent, "dm1/rinse", None) };
    // An early warning judges no rack; a check that is late can leave some unproven.
    let drift = alert(7, Condition::Drifting, "", None);
    let mut alerts = vec![closing, drift, late, silent, off, short];
    GlanceAlert::danger_first(&mut alerts);
    let order: Vec<u64> = alerts.iter().map(|alert| alert.number).collect();
    assert_eq!(order, [2, 1, 4, 5, 7, 6]);
    let over = GlanceAlert { lasts: false, ..alert(1, Condition::SuppliesShort, "[detergent] Ana", None) };
    assert!(!over.endangers_ware());
}

// Own promise: a good rack does not stand unquestioned beside supplies that are short.
#[test]
fn a_good_rack_says_nothing_of_the_next_where_supplies_are_short() {
    for (language, said) in [
        (Language::English, "It says nothing of the next racks: SHORT is detergent (Ana)."),
        (Language::Spanish, "No dice nada de las próximas canastas: FALTA detergente (Ana)."),
    ] {
        let last = LastRack { verdict: Verdict::Pass, ..rack(84.0) };
        let short = alert(1, Condition::SuppliesShort, "[detergent] Ana", None);
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = |alerts| {
            let glance = Glance { last: Some(last.clone()), alerts, ..glance() };
            card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card").html
        };
        assert!(made(vec![short]).contains(said));
        assert!(!made(Vec::new()).contains(said));
    }
}

// Own promise: a rack that has to be washed again is shown as no good one: neither its word nor its sign nor how the
// machine stands; and where nothing is told of an alert, nothing leads to one.
#[test]
fn a_last_rack_in_doubt_is_not_shown_as_good() {
    for (language, judged, word, stands) in [
        (Language::English, Verdict::Pass, "PASS, in doubt", "Last rack: PASS, in doubt"),
        (Language::Spanish, Verdict::Narrow, "JUSTA, en duda", "Última canasta: JUSTA, en duda"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = |in_doubt, alerts, data| {
            let last = Some(LastRack { verdict: judged, in_doubt, ..rack(84.0) });
            let glance = Glance { last, alerts, data, ..glance() };
            card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card").html
        };
        let doubted = made(true, Vec::new(), Data::Live);
        assert!(doubted.contains(&format!("<span class=\"word is-narrow\">{word}</span>")), "{doubted}");
        assert!(!doubted.contains("is-pass") && doubted.contains("tells-doubt"), "{doubted}");
        assert!(doubted.contains(stands), "{doubted}");
        let wash = if language == Language::English { "wash it again" } else { "lávela otra vez" };
        assert!(doubted.contains(wash));
        assert!(!made(false, Vec::new(), Data::Live).contains(wash));
        let over =
            || vec![GlanceAlert { lasts: false, uncovered: None, ..alert(4, Condition::Cold, "", None) }];
        let leads =
            |html: &str| html.contains("class=\"how\"") && html.contains("</span> <a href=\"alerts/4\">");
        assert!(leads(&made(true, over(), Data::Live)));
        assert!(!leads(&made(true, over(), Data::None)), "it says that nothing is known");
    }
}

// Own promise: of one rack every page tells the same minimum, and beside it where it was not judged.
#[test]
fn a_minimum_that_was_not_judged_is_shown_as_that() {
    let mut cycle = crate::web::fixture::rack::cycle();
    (cycle.rinse_min_raw_c, cycle.rinse_min_corrected_c) = (Some(63.0), Some(62.611));
    cycle.put_in_doubt(crate::core::cycle::verdict::Reason::WorkedOn);
    for (language, shown, not_judged) in [
        (Language::English, "62.6 °C<small>settled minimum of the final rinse", "not judged (worked on)"),
        (Language::Spanish, "62.6 °C<small>mínimo estable del enjuague final", "no evaluado (en trabajos)"),
    ] {
        let last = LastRack {
            settled_c: None,
            unjudged: crate::core::cycle::minimum::Unjudged::of(&cycle),
            ..rack(0.0)
        };
        let glance = Glance { last: Some(last), ..glance() };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, Timestamp::from_micros(0), "").expect("a card").html;
        assert!(made.contains(&format!("{shown}, <b>{not_judged}</b>")), "{made}");
        assert!(!made.contains("class=\"ruler\""), "what proves nothing stands against no limit: {made}");
    }
}

// Regression: of eight racks the time was told that seven were washed in.
#[test]
fn a_line_says_since_when_and_which_racks() {
    let at = |minute: i64| Timestamp::from_micros(minute * 60_000_000);
    let own = GlanceAlert {
        since: at(720),
        racks: 8,
        washed: Some((at(725), at(760))),
        lasts: false,
        ..alert(3, Condition::Cold, "", Some(7))
    };
    for (language, whole) in [
        (
            Language::English,
            "Since 12:00 UTC · 8 racks affected, 7 of them without an action, washed 12:05 to 12:40 UTC · recovered · nobody",
        ),
        (
            Language::Spanish,
            "Desde 12:00 UTC · 8 canastas afectadas, 7 de ellas sin acción correctiva, lavadas de 12:05 a 12:40 UTC · recuperada",
        ),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let html = |own: GlanceAlert| {
            card(&Glance { alerts: vec![own], ..glance() }, &reader, at(800), "").expect("a card").html
        };
        let made = html(own.clone());
        assert!(made.contains(whole), "{made}");
        let all = html(GlanceAlert { uncovered: Some(8), ..own.clone() });
        assert!(!all.contains("without") && !all.contains("sin acción"), "{all}");
    }
}

// Own promise: the sanitizer on file stands with its age and with where it comes from.
#[test]
fn the_sanitizer_on_file_says_of_when_and_whence() {
    use crate::web::probes::solution::Tested;
    for (language, by, said) in [
        (
            Language::English,
            None,
            "<li>Sanitizer on file: 100 mg/L<span class=\"age\">, 2 h 21 min ago</span><span class=\"then\">, 00:00 UTC</span>, measured by the probe dm1/sanitizer</li>",
        ),
        (
            Language::Spanish,
            Some("Ana"),
            "<li>Desinfectante registrado: 100 mg/L<span class=\"age\">, hace 2 h 21 min</span><span class=\"then\">, 00:00 UTC</span>, prueba anotada por Ana</li>",
        ),
    ] {
        let at = Timestamp::from_micros(0);
        let tested = Tested {
            value: 100.0,
            at,
            by: by.map(str::to_owned),
            channel: by.is_none().then(|| "dm1/sanitizer".to_owned()),
            record: Some(12),
        };
        let glance = Glance { strength: Some((tested, Duration::from_secs(8_460))), ..glance() };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, at, "").expect("a card");
        assert!(made.html.contains(said), "{said}: {}", made.html);
    }
}

// Own promise: of a rack that the sanitizer spoke against, the sanitizer leads, with its limit; its temperature, which may
// be fine, stands behind it, and nothing is drawn of it. What is on file stands with what is asked of it. 25 mg/L: FDA Food
// Code 4-501.114(A); 200 mg/L: 40 CFR 180.940.
#[test]
fn the_sanitizer_leads_where_it_decided() {
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::cycle::strength::OffRange;
    use crate::core::cycle::verdict::Reason;
    use crate::core::sanitizer::{Refusal, Rules};
    use crate::web::fixture::rack::cycle;
    use crate::web::probes::solution::Tested;
    for (language, refusal, mg_per_l, limit, leads, filed) in [
        (
            Language::English,
            Refusal::TooWeak,
            10.0,
            25.0,
            "<p class=\"measured\">10 mg/L<small>sanitizer, at least 25 mg/L · final rinse 57.3 °C (limit 49.0 °C)</small></p>",
            "test entered by Ana (at least 25 mg/L)</li>",
        ),
        (
            Language::Spanish,
            Refusal::TooStrong,
            300.0,
            200.0,
            "<p class=\"measured\">300 mg/L<small>desinfectante, como máximo 200 mg/L · enjuague final 57.3 °C (límite 49.0 °C)</small></p>",
            "prueba anotada por Ana (como máximo 200 mg/L)</li>",
        ),
    ] {
        let reasons = vec![Reason::Concentration { refusal, mg_per_l, limit: Some(limit) }];
        let judged = crate::core::record::Cycle { sanitizing: Sanitizing::Chlorine, reasons, ..cycle() };
        let last = LastRack {
            verdict: Verdict::Weak,
            limit_c: 49.0,
            mg_per_l: Some(mg_per_l),
            off_range: OffRange::of(&judged),
            ..rack(57.3)
        };
        let at = Timestamp::from_micros(0);
        let tested =
            Tested { value: mg_per_l, at, by: Some("Ana".to_owned()), channel: None, record: Some(12) };
        let glance = Glance {
            last: Some(last),
            strength: Some((tested, Duration::from_secs(60))),
            asked: Rules::default().asked(Sanitizing::Chlorine, mg_per_l),
            ..glance()
        };
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let made = card(&glance, &reader, at, "").expect("a card").html;
        assert!(made.contains(leads) && made.contains(filed), "{made}");
        assert!(!made.contains("ruler"), "{made}");
    }
}
