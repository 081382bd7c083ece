//! The card of one machine.

mod ruler;

use askama::Template;

use self::ruler::{off_scale, ruler};
use super::stand::{Stand, washed};
use super::{Data, Glance, GlanceAlert, LastRack, Tank};
use crate::core::alert::Condition;
use crate::core::cycle::figures::Figures;
use crate::core::cycle::minimum::against;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::cycle::words::{in_capitals, meaning, passed_in_doubt, verdicts};
use crate::core::reader::{Language, Reader, filled};
use crate::core::sanitizer::shown as concentration;
pub(in crate::web) use crate::core::technician::told::ago;
use crate::core::time::Timestamp;
use crate::web::age::Line;
use crate::web::alerts::trail::subject;
use crate::web::alerts::words::racks;
use crate::web::frame::said;

/// A card, ready to be put into a page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::web) struct Card {
    pub(in crate::web) html: String,
}

/// Words of a card.
#[derive(Debug)]
struct Words {
    last_rack: &'static str,
    settled: &'static str,
    unmeasured: &'static str,
    limit: &'static str,
    no_rack: &'static str,
    alert: &'static str,
    taken_by: &'static str,
    waiting: &'static str,
    since: &'static str,
    recovered: &'static str,
    tank: &'static str,
    at_least: &'static str,
    tank_unknown: &'static str,
    today: &'static str,
    none_today: &'static str,
    sanitizer: &'static str,
    no_data: &'static str,
    old: &'static str,
    unheard: &'static str,
    work: &'static str,
}

static ENGLISH: Words = Words {
    last_rack: "Last rack",
    settled: "settled minimum of the final rinse",
    unmeasured: "no settled minimum of the final rinse",
    limit: "limit",
    no_rack: "No rack on record yet",
    alert: "Alert",
    taken_by: "taken care of by",
    waiting: "nobody takes care of it now",
    since: "Since",
    recovered: "recovered",
    tank: "Wash tank",
    at_least: "at least",
    tank_unknown: "Wash tank: no fresh reading",
    today: "Today",
    none_today: "no racks yet",
    sanitizer: "Sanitizer on file",
    no_data: "NO DATA since the gateway started: nothing is known of this machine",
    old: "OLD DATA: last reading",
    unheard: "OLD DATA: one of its probes was not heard since the gateway started",
    work: "Somebody works on this machine",
};

static SPANISH: Words = Words {
    last_rack: "Última canasta",
    settled: "mínimo estable del enjuague final",
    unmeasured: "sin mínimo estable del enjuague final",
    limit: "límite",
    no_rack: "Ninguna canasta registrada",
    alert: "Alerta",
    taken_by: "se encarga",
    waiting: "nadie se encarga ahora",
    since: "Desde",
    recovered: "recuperada",
    tank: "Tanque de lavado",
    at_least: "al menos",
    tank_unknown: "Tanque de lavado: sin lectura reciente",
    today: "Hoy",
    none_today: "ninguna canasta",
    sanitizer: "Desinfectante registrado",
    no_data: "SIN DATOS desde que arrancó el equipo: no se sabe nada de esta máquina",
    old: "DATOS ANTIGUOS: última lectura",
    unheard: "DATOS ANTIGUOS: no ha llegado nada de una de sus sondas desde que arrancó el equipo",
    work: "Alguien trabaja en esta máquina",
};

#[derive(Template)]
#[template(path = "web/now/card.html", config = ".askama.toml")]
struct CardPart<'a> {
    glance: &'a Glance,
    /// Leads to the top of the site.
    up: &'static str,
    words: &'static Words,
    /// How the machine stands, which the frame shows too.
    stand: Stand,
    say: String,
    /// Where it is told of alerts: leads to the one, or to the list of several below the last rack.
    to: Option<String>,
    /// Those that are shown at once.
    alerts: Vec<Alarm>,
    /// The others, folded under their number.
    folded: Vec<Alarm>,
    more: String,
    /// Whether the card stands among others, so that its lines are short on a phone.
    brief: bool,
    ago: String,
    clock: String,
    verdict: String,
    meaning: &'static str,
    beside: Vec<String>,
    measured: Option<String>,
    /// That what was measured was not judged, and why.
    unjudged: Option<&'static str>,
    limit: String,
    /// The strength of the sanitizer where that decided, and what stands behind it.
    strength: Option<(String, String)>,
    ruler: Option<String>,
    off_scale: Option<String>,
    lines: Vec<Line>,
    old: Option<Line>,
    work: Option<String>,
}

/// Makes the card of a machine, as it looks at `now`, on a page from which `up` leads to the top.
pub(in crate::web) fn card(
    glance: &Glance,
    reader: &Reader,
    now: Timestamp,
    up: &'static str,
) -> Result<Card, askama::Error> {
    let words = match reader.language {
        Language::English => &ENGLISH,
        Language::Spanish => &SPANISH,
    };
    let language = reader.language;
    let judged = glance.last.as_ref();
    let word = judged.map_or(String::new(), |rack| in_capitals(rack.verdict, rack.in_doubt, language));
    let shown = judged.map(|rack| figures(rack, reader));
    let (measured, limit) = shown.unwrap_or_default();
    let strength = judged.and_then(|rack| strength(rack, reader));
    // The temperature of a rack that the sanitizer spoke against may be fine: nothing is drawn of it.
    let warm = judged.filter(|_| strength.is_none());
    let leads = strength.as_ref().map(|(strength, behind)| format!("{strength}, {behind}"));
    let unjudged = judged.and_then(|rack| Some(rack.unjudged?.word(language)));
    let old = match glance.data {
        Data::Live => None,
        Data::Old(Some(at)) => Some(Line {
            text: words.old.to_owned(),
            age: Some(format!(" {}", ago(now.since(at), language))),
            then: Some(format!(" {}", reader.near(at, now))),
            rest: String::new(),
        }),
        Data::Old(None) => Some(words.unheard.into()),
        Data::None => Some(words.no_data.into()),
    };
    let stand = Stand::of(glance, reader, now);
    let brief = up.is_empty();
    let (alerts, folded) = unfolded(&glance.alerts, brief);
    let more = more_alerts(&folded, language);
    let in_lines = |all: Vec<&GlanceAlert>| -> Vec<Alarm> {
        all.into_iter().map(|alert| alarm(alert, words, reader, now)).collect()
    };
    let part = CardPart {
        glance,
        up,
        words,
        say: format!(
            "{}: {}. {word} {}",
            glance.machine,
            stand.whole(),
            leads.unwrap_or_else(|| {
                [measured.as_deref(), unjudged].into_iter().flatten().collect::<Vec<_>>().join(", ")
            })
        ),
        to: stand.of_alerts.then(|| way(glance, up)).flatten(),
        stand,
        more,
        alerts: in_lines(alerts),
        folded: in_lines(folded),
        brief,
        ago: judged.map(|rack| ago(now.since(rack.ended), language)).unwrap_or_default(),
        clock: judged.map(|rack| reader.clock_and_zone(rack.rinsed)).unwrap_or_default(),
        verdict: word,
        meaning: judged.map_or("", |rack| meaning(rack.verdict, language)),
        beside: judged
            .map(|rack| {
                [
                    doubted(rack, language),
                    off(glance, language),
                    short(glance, language),
                    beside(rack, reader),
                ]
                .concat()
            })
            .unwrap_or_default(),
        ruler: warm.and_then(|rack| ruler(rack, reader)),
        off_scale: warm.and_then(|rack| off_scale(rack, reader)),
        strength,
        unjudged,
        measured,
        limit,
        lines: lines(glance, words, reader, now),
        old,
        work: glance
            .work_until
            .map(|until| format!("{} {}", words.work, glance.worked_on(until, now, reader))),
    };
    Ok(Card { html: part.render()? })
}

/// Leads to the one alert that is open, or to the list of several.
fn way(glance: &Glance, up: &str) -> Option<String> {
    match glance.alerts.as_slice() {
        [] => None,
        [alert] => Some(format!("{up}alerts/{}", alert.number)),
        [_, _, ..] => Some(format!("#alerts-{}", glance.place)),
    }
}

/// Alerts that a card among others shows unfolded (own choice: so the next machine is not far below).
const ALERTS_SHOWN: usize = 2;

/// Those that are shown and those that are folded; one by which ware is in danger is always shown.
fn unfolded(all: &[GlanceAlert], brief: bool) -> (Vec<&GlanceAlert>, Vec<&GlanceAlert>) {
    let shown = |place: usize, alert: &GlanceAlert| !brief || place < ALERTS_SHOWN || alert.endangers_ware();
    let (shown, folded): (Vec<_>, Vec<_>) =
        all.iter().enumerate().partition(|(place, alert)| shown(*place, alert));
    let alone = |alerts: Vec<(usize, _)>| alerts.into_iter().map(|(_, alert)| alert).collect();
    (alone(shown), alone(folded))
}

/// How many are folded, and which.
fn more_alerts(folded: &[&GlanceAlert], language: Language) -> String {
    let count = match (folded.len(), language) {
        (1, Language::English) => "1 more alert".to_owned(),
        (1, Language::Spanish) => "1 alerta más".to_owned(),
        (count, Language::English) => format!("{count} more alerts"),
        (count, Language::Spanish) => format!("{count} alertas más"),
    };
    let mut titles: Vec<&str> = Vec::new();
    for alert in folded {
        if !titles.contains(&alert.title.as_str()) {
            titles.push(&alert.title);
        }
    }
    format!("{count}: {}", titles.join(" · "))
}

/// An open alert in two lines: its own page says what to do.
struct Alarm {
    number: u64,
    what: String,
    /// Since when, of how many racks, whether it has recovered, and who takes care of it.
    stands: String,
}

fn alarm(alert: &GlanceAlert, words: &Words, reader: &Reader, now: Timestamp) -> Alarm {
    let language = reader.language;
    let about: Vec<String> =
        alert.about.iter().map(|about| subject(alert.condition, about, language)).collect();
    let about = if about.is_empty() { String::new() } else { format!(" – {}", about.join(", ")) };
    let mut stands = vec![format!("{} {}", words.since, reader.near(alert.since, now))];
    if alert.racks > 0 {
        stands.push(affected(alert, reader, now));
    }
    stands.extend((!alert.lasts).then(|| words.recovered.to_owned()));
    stands.push(match &alert.taken_by {
        Some(by) => format!("{} {by}", words.taken_by),
        None => words.waiting.to_owned(),
    });
    let what = format!("{}{about}", alert.title);
    Alarm { number: alert.number, what, stands: stands.join(" · ") }
}

/// How many racks are affected, how many of them nobody has accounted for, and when those were washed.
fn affected(alert: &GlanceAlert, reader: &Reader, now: Timestamp) -> String {
    let left = alert.uncovered.filter(|left| *left > 0 && *left < alert.racks);
    let left = left.map(|left| {
        let phrase = said(
            reader.language,
            "{left} of them without an action",
            "{left} de ellas sin acción correctiva",
        );
        filled(phrase, &[("left", &left.to_string())])
    });
    let when = alert.washed.map(|span| washed(span, reader, now));
    [racks(alert.racks, reader.language)].into_iter().chain(left).chain(when).collect::<Vec<_>>().join(", ")
}

/// The settled minimum and the limit, with as many digits as tell them apart.
fn figures(rack: &LastRack, reader: &Reader) -> (Option<String>, String) {
    let symbol = reader.scale.symbol();
    let (settled, limit, _) = against(rack.settled_c, rack.unjudged, rack.limit_c, reader);
    let is_on_record = rack.settled_c.is_some() || rack.unjudged.is_some();
    (is_on_record.then(|| format!("{settled} {symbol}")), format!("{limit} {symbol}"))
}

/// The strength that made a rack what it is, and behind it its limit and the temperature, which may be fine.
fn strength(rack: &LastRack, reader: &Reader) -> Option<(String, String)> {
    let off = rack.off_range.filter(|_| rack.verdict == Verdict::Weak)?;
    let LastRack { settled_c, unjudged, limit_c, .. } = *rack;
    let rinse = Figures { settled_c, unjudged, limit_c, off_range: None }.rinse(reader);
    let phrase = said(
        reader.language,
        "sanitizer, {against} · final rinse {rinse}",
        "desinfectante, {against} · enjuague final {rinse}",
    );
    let behind = filled(phrase, &[("against", &off.against(reader.language)), ("rinse", &rinse)]);
    Some((off.measured(), behind))
}

/// What to do with a rack that is in doubt.
fn doubted(rack: &LastRack, language: Language) -> Vec<String> {
    let text = said(
        language,
        "What it passed by was found wrong: hold the rack, wash it again.",
        "Aquello por lo que se dio por buena resultó erróneo: apártela y lávela otra vez.",
    );
    rack.in_doubt.then(|| text.to_owned()).into_iter().collect()
}

/// That a probe of the machine was found off, so that what its racks show is in doubt whatever the verdict.
fn off(glance: &Glance, language: Language) -> Vec<String> {
    let is_off = |alert: &&GlanceAlert| alert.condition == Condition::ThermometerOff && alert.lasts;
    let own = glance.alerts.iter().filter(is_off).flat_map(|alert| &alert.about);
    let probes: Vec<&str> = own
        .map(String::as_str)
        .filter(|what| what.split('/').next() == Some(glance.machine.as_str()))
        .collect();
    if probes.is_empty() {
        return Vec::new();
    }
    let text = said(
        language,
        "Do not rely on it: {probes} was found off.",
        "No se fíe de ello: {probes} se halló desviada.",
    );
    vec![filled(text, &[("probes", &probes.join(", "))])]
}

/// How many of the racks that passed a test of the sanitizer or of a thermometer speaks against.
fn overturned(racks: u64, language: Language) -> String {
    let phrase =
        said(language, "{doubted}, by a test that failed", "{doubted}, por una prueba que no cumplió");
    filled(phrase, &[("doubted", &passed_in_doubt(racks, language))])
}

/// That something is short, so that the last rack, however good, says nothing of the next ones.
fn short(glance: &Glance, language: Language) -> Vec<String> {
    if !glance.last.as_ref().is_some_and(|rack| rack.verdict.is_good() && !rack.in_doubt) {
        return Vec::new();
    }
    let is_short = |alert: &&GlanceAlert| alert.condition == Condition::SuppliesShort && alert.lasts;
    let about = glance.alerts.iter().filter(is_short).flat_map(|alert| &alert.about);
    let what: Vec<String> = about.map(|about| subject(Condition::SuppliesShort, about, language)).collect();
    if what.is_empty() {
        return Vec::new();
    }
    let text = said(
        language,
        "It says nothing of the next racks: SHORT is {what}.",
        "No dice nada de las próximas canastas: FALTA {what}.",
    );
    vec![filled(text, &[("what", &what.join("; "))])]
}

/// What was found beside the verdict.
fn beside(rack: &LastRack, reader: &Reader) -> Vec<String> {
    rack.findings.iter().map(|finding| told(finding, reader)).collect()
}

pub(in crate::web) fn told(finding: &Finding, reader: &Reader) -> String {
    let symbol = reader.scale.symbol();
    let (measured_c, limit_c, english, spanish) = match finding {
        Finding::WashLow { measured_c, limit_c } => {
            (measured_c, limit_c, ("Wash low", "at least"), ("Lavado bajo", "al menos"))
        }
        Finding::RinseTooHot { measured_c, limit_c } => (
            measured_c,
            limit_c,
            ("Final rinse too hot", "at most"),
            ("Enjuague final demasiado caliente", "como máximo"),
        ),
        Finding::WashUnproven { fault: _ } => {
            return match reader.language {
                Language::English => "Wash unproven".to_owned(),
                Language::Spanish => "Lavado sin comprobar".to_owned(),
            };
        }
    };
    let (what, bound) = match reader.language {
        Language::English => english,
        Language::Spanish => spanish,
    };
    let (measured, limit) = reader.pair(*measured_c, *limit_c);
    format!("{what}: {measured} {symbol}, {bound} {limit} {symbol}")
}

fn lines(glance: &Glance, words: &Words, reader: &Reader, now: Timestamp) -> Vec<Line> {
    let mut lines = Vec::new();
    if let Some((tested, age)) = &glance.strength {
        lines.push(Line {
            text: format!("{}: {} mg/L", words.sanitizer, concentration(tested.value)),
            age: Some(format!(", {}", ago(*age, reader.language))),
            then: Some(format!(", {}", reader.near(tested.at, now))),
            rest: match glance.asked {
                Some(asked) => {
                    let asked = asked.told(reader.language);
                    format!(", {} ({asked})", tested.origin(reader.language))
                }
                None => format!(", {}", tested.origin(reader.language)),
            },
        });
    }
    let tank = match glance.tank {
        Some(Tank { celsius, least_c, aged }) => {
            let (tank, least) = reader.pair(celsius, least_c);
            let symbol = reader.scale.symbol();
            Some(Line {
                text: format!("{}: {tank} {symbol}", words.tank),
                age: aged.map(|age| format!(", {}", ago(age, reader.language))),
                then: aged.map(|age| format!(", {}", reader.near(now.minus(age), now))),
                rest: format!(" ({} {least} {symbol})", words.at_least),
            })
        }
        // Where no probe is in it, nothing is missing.
        None => glance.watches_tank.then(|| words.tank_unknown.into()),
    };
    lines.extend(tank);
    let counted = glance.today.iter().zip(Verdict::ALL).filter(|(count, _)| **count > 0);
    let counted: Vec<String> = counted
        .map(|(count, judged)| format!("{count} {}", verdicts(judged, *count, reader.language)))
        .collect();
    let mut today = if counted.is_empty() { words.none_today.to_owned() } else { counted.join(", ") };
    if glance.in_doubt > 0 {
        today.push_str(&format!("; {}", overturned(glance.in_doubt, reader.language)));
    }
    lines.push(format!("{}: {today}", words.today).into());
    lines
}

#[cfg(test)]
mod tests;
