//! The line that stands for the whole site: what needs somebody, before any card.
//!
//! It says «fine» of machines whose data are of now, whose last rack passed and of which no alert is open, and of the
//! site only where that is so of every machine and no other alert is open.

use askama::Template;

use super::stand::{Level, Stand};
use super::{Card, Glance};
use crate::core::reader::{Language, Reader};
use crate::core::time::Timestamp;
use crate::web::frame::said;

/// A machine that a line leads to.
#[derive(Debug)]
struct Machine<'a> {
    place: usize,
    name: &'a str,
    said: String,
    /// What follows, and a phone has no room for, see [`Stand`].
    when: String,
}

/// One line: how bad, in words, and the machines that it is about.
#[derive(Debug)]
struct Line<'a> {
    level: Level,
    said: String,
    to: Option<&'static str>,
    machines: Vec<Machine<'a>>,
}

#[derive(Template)]
#[template(path = "web/now/lead.html", config = ".askama.toml")]
struct LeadPart<'a> {
    label: &'static str,
    lines: Vec<Line<'a>>,
}

/// Makes the line of the site, of which so many alerts are open in all, with what those of no machine are about.
pub(in crate::web) fn lead(
    glances: &[Glance],
    open: usize,
    others: &[String],
    reader: &Reader,
    now: Timestamp,
) -> Result<Card, askama::Error> {
    let language = reader.language;
    let label = said(language, "The whole site", "Todo el local");
    Ok(Card { html: LeadPart { label, lines: lines(glances, open, others, (reader, now)) }.render()? })
}

fn lines<'a>(
    glances: &'a [Glance],
    open: usize,
    titles: &[String],
    (reader, now): (&Reader, Timestamp),
) -> Vec<Line<'a>> {
    let language = reader.language;
    let stands: Vec<(&Glance, Stand)> =
        glances.iter().map(|glance| (glance, Stand::of(glance, reader, now))).collect();
    // Those of the site, and what was raised between two looks.
    let others = open.saturating_sub(glances.iter().map(|glance| glance.alerts.len()).sum());
    let mut lines: Vec<Line<'a>> = [Level::Bad, Level::Doubt, Level::Nothing]
        .into_iter()
        .filter_map(|level| line(level, &stands, language))
        .collect();
    if lines.is_empty() {
        let said = fine(glances.len(), language);
        lines.push(Line { level: Level::Good, said, to: None, machines: Vec::new() });
    }
    if others > 0 {
        let place = lines.iter().take_while(|line| line.level == Level::Bad).count();
        let said = with_titles(more(others, language), titles);
        lines.insert(place, Line { level: Level::Bad, said, to: Some("alerts"), machines: Vec::new() });
    }
    lines
}

/// The line of the machines that stand so; `None` where none does.
fn line<'a>(level: Level, stands: &[(&'a Glance, Stand)], language: Language) -> Option<Line<'a>> {
    let machines: Vec<Machine<'a>> = stands
        .iter()
        .filter(|(_, stand)| stand.level == level)
        .map(|(glance, stand)| Machine {
            place: glance.place,
            name: &glance.machine,
            said: stand.said.clone(),
            when: stand.when.clone(),
        })
        .collect();
    let (count, all) = (machines.len(), stands.len());
    let of = match language {
        Language::English if all == 1 => "The machine".to_owned(),
        Language::English => format!("{count} of {all} machines"),
        Language::Spanish if all == 1 => "la máquina".to_owned(),
        Language::Spanish => format!("{count} de {all} máquinas"),
    };
    let said = match (level, language) {
        (Level::Bad, Language::English) if count == 1 => format!("{of} needs you"),
        (Level::Bad, Language::English) => format!("{of} need you"),
        (Level::Bad, Language::Spanish) => format!("Hay que atender {of}"),
        (Level::Doubt, Language::English) if all == 1 => "Look at the machine".to_owned(),
        (Level::Doubt, Language::English) => format!("{of} to look at"),
        (Level::Doubt, Language::Spanish) => format!("Conviene mirar {of}"),
        (Level::Nothing | Level::Good, Language::English) if all == 1 => "No rack yet".to_owned(),
        (Level::Nothing | Level::Good, Language::English) => format!("{of} without a rack yet"),
        (Level::Nothing | Level::Good, Language::Spanish) => format!("Sin canastas todavía: {of}"),
    };
    (count > 0).then_some(Line { level, said, to: None, machines })
}

fn fine(machines: usize, language: Language) -> String {
    match (machines, language) {
        (1, Language::English) => "The machine is fine".to_owned(),
        (1, Language::Spanish) => "La máquina está bien".to_owned(),
        (2, Language::English) => "Both machines are fine".to_owned(),
        (2, Language::Spanish) => "Las dos máquinas están bien".to_owned(),
        (_, Language::English) => format!("All {machines} machines are fine"),
        (_, Language::Spanish) => format!("Las {machines} máquinas están bien"),
    }
}

/// The same with which they are.
fn with_titles(said: String, titles: &[String]) -> String {
    if titles.is_empty() { said } else { format!("{said}: {}", titles.join(" · ")) }
}

/// Alerts that are open and are of none of the machines shown.
fn more(alerts: usize, language: Language) -> String {
    match (alerts, language) {
        (1, Language::English) => "1 more alert is open".to_owned(),
        (1, Language::Spanish) => "Hay otra alerta abierta".to_owned(),
        (_, Language::English) => format!("{alerts} more alerts are open"),
        (_, Language::Spanish) => format!("Hay otras {alerts} alertas abiertas"),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    const NOW: Timestamp = Timestamp::from_micros(0);

    fn reader(language: Language) -> Reader {
        Reader { language, scale: crate::core::reader::Scale::Celsius, zone: jiff::tz::TimeZone::UTC }
    }

    use crate::core::alert::{Condition, Severity};
    use crate::core::cycle::verdict::Verdict;
    use crate::web::now::{Data, GlanceAlert, LastRack};

    fn machine(place: usize, judged: Option<Verdict>, data: Data, alerts: Vec<GlanceAlert>) -> Glance {
        let last = judged.map(|verdict| LastRack {
            record: 48,
            rinsed: Timestamp::from_micros(0),
            ended: Timestamp::from_micros(0),
            verdict,
            in_doubt: false,
            findings: Vec::new(),
            settled_c: Some(84.0),
            unjudged: None,
            limit_c: 82.2,
            uncertainty_c: 1.1,
            mg_per_l: None,
            off_range: None,
        });
        let (chemical, tank, today, work_until) = (false, None, [0; 6], None);
        Glance {
            place,
            machine: format!("dm{place}"),
            chemical,
            last,
            data,
            watches_tank: true,
            tank,
            today,
            in_doubt: 0,
            alerts,
            work_until,
            of_site: false,
            strength: None,
            asked: None,
            kept_by: None,
            worked: Vec::new(),
        }
    }

    fn alert(severity: Severity, lasts: bool, uncovered: Option<u64>) -> GlanceAlert {
        let condition = match severity {
            Severity::Critical => Condition::Cold,
            Severity::Serious => Condition::ProbeSilent,
            Severity::Warning => Condition::CheckOverdue,
        };
        assert_eq!(condition.severity(), severity);
        GlanceAlert {
            number: 3,
            headline: "long".to_owned(),
            title: "Probe silent".to_owned(),
            condition,
            about: Vec::new(),
            since: Timestamp::from_micros(0),
            racks: uncovered.unwrap_or_default(),
            washed: None,
            named: Vec::new(),
            lasts,
            uncovered,
            taken_by: None,
        }
    }

    // Own promise: `unproven`, old data and an open alert are never called fine, whatever the last rack was.
    #[test]
    fn only_what_is_shown_to_be_good_is_called_fine() {
        let old = Data::Old(Some(Timestamp::from_micros(0).minus(Duration::from_secs(60))));
        let (pass, live, none) = (Some(Verdict::Pass), Data::Live, Vec::new);
        let cold = |lasts, racks| vec![alert(Severity::Critical, lasts, racks)];
        let silent = vec![alert(Severity::Serious, true, None)];
        for (glance, level, english, spanish) in [
            (
                machine(1, pass, live, none()),
                Level::Good,
                "Fine: no alert open",
                "Bien: ninguna alerta abierta",
            ),
            (
                machine(1, Some(Verdict::Unproven), live, none()),
                Level::Doubt,
                "Last rack: UNPROVEN",
                "Última canasta: SIN COMPROBAR",
            ),
            (
                machine(1, Some(Verdict::Cold), live, none()),
                Level::Bad,
                "Last rack: COLD",
                "Última canasta: FRÍA",
            ),
            (machine(1, None, live, none()), Level::Nothing, "No rack yet", "Aún sin canastas"),
            (
                machine(1, pass, old, none()),
                Level::Bad,
                "Old data: not known how it stands",
                "Datos antiguos: no se sabe cómo está",
            ),
            (
                machine(1, pass, Data::None, none()),
                Level::Bad,
                "No data: not known how it stands",
                "Sin datos: no se sabe cómo está",
            ),
            (
                machine(1, pass, live, cold(true, Some(2))),
                Level::Bad,
                "Alert open: 2 racks to wash again",
                "Alerta abierta: hay que volver a lavar 2 canastas",
            ),
            (
                machine(1, pass, live, cold(false, Some(1))),
                Level::Bad,
                "Alert open: corrective action missing for 1 rack",
                "Alerta abierta: falta la acción correctiva de 1 canasta",
            ),
            (
                machine(1, pass, live, cold(false, None)),
                Level::Doubt,
                "Alert recovered, not closed yet",
                "Alerta recuperada, aún sin cerrar",
            ),
            (
                machine(1, pass, live, silent),
                Level::Bad,
                "Alert open: Probe silent",
                "Alerta abierta: Probe silent",
            ),
        ] {
            for (language, said) in [(Language::English, english), (Language::Spanish, spanish)] {
                // It leads to an alert only where it speaks of one.
                let of_alerts = english.starts_with("Alert");
                assert_eq!(
                    Stand::of(&glance, &reader(language), NOW),
                    Stand { level, said: said.to_owned(), when: String::new(), of_alerts }
                );
                let open = glance.alerts.len();
                let told = lines(std::slice::from_ref(&glance), open, &[], (&reader(language), NOW));
                assert_eq!(told.first().map(|line| line.level), Some(level), "{told:?}");
                let fine = fine(1, language);
                assert_eq!(told.iter().any(|line| line.said == fine), level == Level::Good, "{told:?}");
            }
        }
    }

    // Own promise: racks that nobody has accounted for are not hidden behind a check that is late, and those of every
    // alert are told together, also once the water is right again.
    #[test]
    fn racks_of_every_alert_are_told_together() {
        let late = alert(Severity::Warning, true, None);
        let cold = |lasts, racks| alert(Severity::Critical, lasts, Some(racks));
        // Unsafe they are not called, and each misses an action.
        let silent = alert(Severity::Serious, false, Some(2));
        for (alerts, said) in [
            (vec![late.clone(), cold(false, 33)], "2 alerts open: corrective action missing for 33 racks"),
            (vec![late, cold(true, 2), cold(false, 33)], "3 alerts open: 35 racks to wash again"),
            (
                vec![cold(false, 1), cold(false, 33)],
                "2 alerts open: 2 corrective actions missing for 34 racks",
            ),
            (vec![silent.clone(), silent], "2 alerts open: 2 corrective actions missing"),
        ] {
            let glance = machine(1, Some(Verdict::Pass), Data::Live, alerts);
            assert_eq!(Stand::of(&glance, &reader(Language::English), NOW).whole(), said);
        }
    }

    // Own promise: whoever is to find racks reads when they were washed; of many the first that is missing may not be
    // named, and then nothing is said of it.
    #[test]
    fn racks_are_told_with_when_they_were_washed() {
        let at = |minute: i64| Timestamp::from_micros(minute * 60_000_000);
        let cold = |span: (i64, i64)| GlanceAlert {
            washed: Some((at(span.0), at(span.1))),
            ..alert(Severity::Critical, true, Some(3))
        };
        let said = |alerts: Vec<GlanceAlert>, language, now| {
            let glance = machine(1, Some(Verdict::Pass), Data::Live, alerts);
            Stand::of(&glance, &reader(language), now).whole()
        };
        let both = || vec![cold((721, 800)), cold((730, 838))];
        assert!(
            said(both(), Language::English, NOW)
                .ends_with("6 racks to wash again, washed 12:01 to 13:58 UTC")
        );
        assert!(said(both(), Language::Spanish, NOW).ends_with(", lavadas de 12:01 a 13:58 UTC"));
        let later = said(both(), Language::English, at(2_000));
        assert!(later.ends_with("washed Thu 1 Jan 1970, 12:01 UTC to Thu 1 Jan 1970, 13:58 UTC"), "{later}");
        let unknown = alert(Severity::Critical, true, Some(3));
        assert!(said(vec![cold((1, 2)), unknown], Language::English, NOW).ends_with("to wash again"));
        let mut racks = crate::core::alert::Racks::default();
        for minute in 0..50_i64 {
            racks.push(crate::core::alert::Rack {
                index: minute.unsigned_abs(),
                at: at(minute),
                began: None,
            });
        }
        for (count, first) in
            [(50, Some(0)), (41, Some(9)), (40, None), (11, None), (10, Some(40)), (1, Some(49))]
        {
            let span = racks.latest_span(count);
            assert_eq!(span, first.map(|first| (at(first), at(49))), "{count}");
        }
        // Found later, washed earlier; and steps of a margin, of which only some are named.
        let rack = |minute: i64| crate::core::alert::Rack { index: 0, at: at(minute), began: None };
        let mut racks = crate::core::alert::Racks::of(rack(540));
        [660, 510, 630].into_iter().for_each(|minute| racks.push(rack(minute)));
        for (count, span) in [(4, (510, 660)), (3, (510, 660)), (2, (510, 630)), (1, (630, 630))] {
            assert_eq!(racks.latest_span(count), Some((at(span.0), at(span.1))), "{count}");
        }
        racks.count = 100;
        assert_eq!(racks.latest_span(100), Some((at(510), at(660))));
        assert_eq!(racks.latest_span(99), None);
    }

    // Own promise: the line says how many machines need somebody and leads to them, and what is open besides.
    #[test]
    fn the_line_leads_to_what_needs_somebody() {
        let good = |place| machine(place, Some(Verdict::Pass), Data::Live, Vec::new());
        let bad = machine(1, Some(Verdict::Pass), Data::Live, vec![alert(Severity::Critical, true, Some(1))]);
        let made = |glances: &[Glance], open, language| {
            let titles = ["Disk filling up".to_owned()];
            lead(glances, open, &titles[..open.min(1)], &reader(language), NOW).expect("a part").html
        };
        let page = made(&[good(0), bad.clone()], 1, Language::English);
        for said in [
            "✗</span> 1 of 2 machines needs you",
            "href=\"#machine-1\"><span>dm1: Alert open: 1 rack to wash again",
        ] {
            assert!(page.contains(said), "{said}: {page}");
        }
        assert!(!page.contains("fine") && !page.contains("more alert"), "{page}");
        let page = made(&[good(0), bad], 1, Language::Spanish);
        assert!(page.contains("Hay que atender 1 de 2 máquinas"), "{page}");
        let page = made(&[good(0), good(1)], 0, Language::English);
        assert!(page.contains("✓</span> Both machines are fine") && !page.contains("tells-bad"), "{page}");
        let page = made(&[good(0), good(1)], 1, Language::English);
        let (more, fine) = (
            page.find("href=\"alerts\">1 more alert is open: Disk filling up"),
            page.find("Both machines are fine"),
        );
        assert!(more.is_some() && more < fine, "{page}");
    }
}
