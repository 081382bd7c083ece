//! What was found and seen while a probe was warmed, in English and Spanish.

use super::{ANSWER_MIN_C, Evidence, Finding, Off, Warmth};
use crate::core::reader::{Language, Scale, filled, said};
use crate::core::reading::Fault;

/// Most channels without a value that are named.
const NAMED_MAX: usize = 3;

/// English and Spanish.
type Pair = (&'static str, &'static str);

/// Which water is for a proof by hand ([`super::WATER_C`]), and why no other.
#[must_use]
pub const fn water_for_hands(language: Language) -> &'static str {
    said(
        language,
        "Take water of 30 to 50 °C (86 to 122 °F): warmer scalds, colder shows nothing.",
        "Use agua de 30 a 50 °C (86 a 122 °F): más caliente quema, más fría no se nota.",
    )
}

/// Asks how a probe that shows this could be warmed by what was told; nothing where it can.
#[must_use]
pub fn too_warm(
    probe: &str,
    shown_c: f64,
    warmth: Warmth,
    language: Language,
    scale: Scale,
) -> Option<String> {
    if !warmth.cannot_warm(shown_c) {
        return None;
    }
    let by = match warmth {
        Warmth::Hand => {
            said(language, "a hand, at about {warm} {symbol},", "una mano, a unos {warm} {symbol},")
        }
        Warmth::Water(Some(_)) => said(language, "water of {warm} {symbol}", "agua de {warm} {symbol}"),
        Warmth::Water(None) => said(
            language,
            "water for hands, of {warm} {symbol} at most,",
            "agua para las manos, de {warm} {symbol} como mucho,",
        ),
    };
    let asked = said(
        language,
        "⚠ {probe} shows {shown} {symbol}: {by} does not warm it by the {least} {symbol} that are looked for. Is its tip \
         still in the machine? Let it hang free and cool first; where it hangs free already, look at its wiring.",
        "⚠ {probe} marca {shown} {symbol}: {by} no la calienta los {least} {symbol} que se buscan. ¿Está su punta aún en \
         la máquina? Déjela libre y que se enfríe antes; si ya está libre, mire su cableado.",
    );
    let symbol = scale.symbol();
    let warm = format!("{:.1}", scale.temperature(warmth.warmest_c()));
    let by = filled(by, &[("warm", &warm), ("symbol", symbol)]);
    let (shown, least) = (scale.temperature(shown_c), scale.difference(ANSWER_MIN_C));
    let (shown, least) = (format!("{shown:.1}"), format!("{least:.1}"));
    let values = [("probe", probe), ("shown", &shown), ("by", &by), ("least", &least), ("symbol", symbol)];
    Some(filled(asked, &values))
}

const ROSE: Pair =
    ("{asked} rose from {from} to {to} {symbol}{rest}", "{asked} subió de {from} a {to} {symbol}{rest}");
const ROSE_ALONE: Pair = (", and no other did{but}", ", y ninguna otra{but}");
const ROSE_OFF: Pair = (
    ", but {why}: look at the type of the probe, its unit and its scale",
    ", pero {why}: mire el tipo de la sonda, su unidad y su escala",
);
const ROSE_WITH: Pair = (
    "{asked} rose by {rise}, and {other} by {too} with it: both tips were warmed, or they sit together",
    "{asked} subió {rise}, y {other} {too} con ella: se calentaron las dos puntas, o están juntas",
);
const FELL: Pair = (
    "{asked} was at rest at {from} {symbol} and fell to {to} {symbol} while it was warmed: its leads are exchanged; if \
     the tip was let go of just then, let it cool and prove it again",
    "{asked} estaba en reposo a {from} {symbol} y bajó a {to} {symbol} mientras se calentaba: sus cables están \
     invertidos; si la punta se soltó justo entonces, deje que se enfríe y compruébela de nuevo",
);
const COOLED: Pair = (
    "{asked} fell from {from} to {to} {symbol} as it had before, by {amount} a minute: its tip was still warm and only \
     cooled; let it hang free and prove it again",
    "{asked} bajó de {from} a {to} {symbol} como antes, {amount} por minuto: su punta aún estaba caliente y solo se \
     enfrió; déjela libre y compruébela de nuevo",
);
const STAYED: Pair = (
    "{asked} stayed at {rest} {symbol} ({rise}; {least} are needed), and no other rose: it was not its tip that was \
     warmed, or it is not connected",
    "{asked} se quedó a {rest} {symbol} ({rise}; hacen falta {least}), y ninguna otra subió: no fue su punta la que se \
     calentó, o no está conectada",
);
const TOO_WARM: Pair = (
    "{asked} was at {rest} {symbol} before, and what was to warm it gets it to {warm} {symbol} at most: nothing is said of it, \
     whatever the others did. Switch the machine off, let the tip hang free and cool, and prove it again; where it hung free, \
     look at its wiring and its type",
    "{asked} estaba antes a {rest} {symbol}, y lo que debía calentarla la lleva a {warm} {symbol} como mucho: no se dice nada de \
     ella, hicieran lo que hicieran las otras. Apague la máquina, deje la punta libre y que se enfríe, y compruébela de nuevo; si \
     estaba libre, mire su cableado y su tipo",
);
const NO_VALUE: Pair = ("{asked} {why}, and no other rose", "{asked} {why}, y ninguna otra subió");

fn put(language: Language, (english, spanish): Pair, values: &[(&str, &str)]) -> String {
    filled(said(language, english, spanish), values)
}

/// The word for a finding.
pub(super) const fn word(finding: Finding, language: Language) -> &'static str {
    let (english, spanish) = match finding {
        Finding::Answers => ("answers", "responde"),
        Finding::Swapped => ("swapped with another", "cambiada con otra"),
        Finding::Reversed => ("leads exchanged", "cables invertidos"),
        Finding::Dead => ("does not answer", "no responde"),
        Finding::WrongType => ("wrong type", "tipo equivocado"),
        Finding::WrongPlace => ("wrong place", "lugar equivocado"),
        Finding::NotAtRest => ("not at rest before", "no estaba en reposo"),
        Finding::TooWarm => ("too warm before", "demasiado caliente antes"),
        Finding::StillRising => ("still rising at the end", "aún subía al final"),
    };
    said(language, english, spanish)
}

/// The sentence, without its stop.
pub(super) fn seen(
    (asked, instead): (&str, Option<&str>),
    evidence: &Evidence,
    language: Language,
    scale: Scale,
) -> String {
    let symbol = scale.symbol();
    let at = |celsius: f64| format!("{:.1}", scale.temperature(celsius));
    let by = |kelvin: f64| format!("{:.1} {symbol}", scale.difference(kelvin));
    let a_minute = |c_per_min: f64| format!("{:.1} {symbol}", scale.difference(c_per_min).abs());
    let other = instead.unwrap_or("–");
    let own = [("asked", asked), ("other", other), ("symbol", symbol)];
    let put = |pair, values: &[(&str, &str)]| put(language, pair, &[&own[..], values].concat());
    match evidence {
        Evidence::Rose { from_c, to_c, off, unseen } => {
            let rest = rest_of_rise(*off, *from_c, unseen, language, scale);
            put(ROSE, &[("from", &at(*from_c)), ("to", &at(*to_c)), ("rest", &rest)])
        }
        Evidence::StillRose { from_c, to_c, c_per_min } => {
            let rising = c_per_min.map(a_minute);
            still_rose(asked, [&at(*from_c), &at(*to_c), symbol], rising.as_deref(), language)
        }
        Evidence::RoseWith { rise_c, other_c } => {
            put(ROSE_WITH, &[("rise", &by(*rise_c)), ("too", &by(*other_c))])
        }
        Evidence::OtherRose { other_c, same_machine } => {
            other_rose(asked, other, &by(*other_c), *same_machine, language)
        }
        Evidence::Fell { from_c, to_c } => put(FELL, &[("from", &at(*from_c)), ("to", &at(*to_c))]),
        Evidence::Cooled { c_per_min, from_c, to_c } => {
            let amount = a_minute(*c_per_min);
            put(COOLED, &[("from", &at(*from_c)), ("to", &at(*to_c)), ("amount", &amount)])
        }
        Evidence::TooWarm { at_c, warmest_c } => {
            put(TOO_WARM, &[("rest", &at(*at_c)), ("warm", &at(*warmest_c))])
        }
        Evidence::Moved { c_per_min } => still_moves(asked, *c_per_min, &a_minute(*c_per_min), language),
        Evidence::Stayed { at_c, rise_c, least_c } => {
            let rise = format!("{:+.1} {symbol}", scale.difference(*rise_c));
            put(STAYED, &[("rest", &at(*at_c)), ("rise", &rise), ("least", &by(*least_c))])
        }
        Evidence::NoValue { fault } => {
            put(NO_VALUE, &[("why", said(language, no_value(*fault), no_value_es(*fault)))])
        }
    }
}

/// What is said of a rise besides: that it was the only one, or why it cannot be.
fn rest_of_rise(
    off: Option<Off>,
    from_c: f64,
    unseen: &[String],
    language: Language,
    scale: Scale,
) -> String {
    match off {
        Some(off) => put(language, ROSE_OFF, &[("why", &of_off(off, from_c, language, scale))]),
        None => put(language, ROSE_ALONE, &[("but", &but(unseen, language))]),
    }
}

fn of_off(off: Off, from_c: f64, language: Language, scale: Scale) -> String {
    let (symbol, english) = (scale.symbol(), language == Language::English);
    match off {
        Off::Hand { max_c } if english => {
            format!("no hand is warmer than {:.0} {symbol}", scale.temperature(max_c))
        }
        Off::Hand { max_c } => format!("ninguna mano pasa de {:.0} {symbol}", scale.temperature(max_c)),
        Off::Water { water_c } if english => {
            format!("the water is at {:.1} {symbol}", scale.temperature(water_c))
        }
        Off::Water { water_c } => format!("el agua está a {:.1} {symbol}", scale.temperature(water_c)),
        Off::Rest if english => format!("no probe at rest is at {:.1} {symbol}", scale.temperature(from_c)),
        Off::Rest => format!("ninguna sonda en reposo está a {:.1} {symbol}", scale.temperature(from_c)),
    }
}

fn still_rose(
    asked: &str,
    [from, to, symbol]: [&str; 3],
    rising: Option<&str>,
    language: Language,
) -> String {
    match (language, rising) {
        (Language::English, Some(rising)) => format!(
            "{asked} rose from {from} to {to} {symbol} and still rose by {rising} a minute when the time was over: it \
             is slow, and where it ends was not seen; prove it again with more time"
        ),
        (Language::English, None) => format!(
            "{asked} rose from {from} to {to} {symbol}, and too little was read of it to see where it ends; prove it \
             again with more time"
        ),
        (Language::Spanish, Some(rising)) => format!(
            "{asked} subió de {from} a {to} {symbol} y aún subía {rising} por minuto al acabar el tiempo: es lenta, y \
             no se vio dónde termina; compruébela de nuevo con más tiempo"
        ),
        (Language::Spanish, None) => format!(
            "{asked} subió de {from} a {to} {symbol}, y se leyó demasiado poco para ver dónde termina; compruébela \
             de nuevo con más tiempo"
        ),
    }
}

fn other_rose(asked: &str, other: &str, rise: &str, same_machine: bool, language: Language) -> String {
    match (language, same_machine) {
        (Language::English, true) => format!(
            "{asked} was warmed, and {other} rose by {rise} in its place: the two are exchanged at the terminals or in \
             the configuration"
        ),
        (Language::English, false) => format!(
            "{asked} was warmed, and {other} rose by {rise} in its place: it is wired or configured as a probe of \
             another machine, or that machine was washing; let it stand and try again"
        ),
        (Language::Spanish, true) => format!(
            "se calentó {asked}, y en su lugar {other} subió {rise}: las dos están cambiadas en los bornes o en la \
             configuración"
        ),
        (Language::Spanish, false) => format!(
            "se calentó {asked}, y en su lugar {other} subió {rise}: está cableada o configurada como sonda de otra \
             máquina, o esa máquina estaba lavando; déjela parada y repita"
        ),
    }
}

fn still_moves(asked: &str, c_per_min: f64, amount: &str, language: Language) -> String {
    match (language, c_per_min < 0.0) {
        (Language::English, falls) => {
            let moves = if falls { "fell" } else { "rose" };
            format!(
                "{asked} still {moves} by {amount} a minute before it was warmed: let its tip hang free in still air \
                 until it stays where it is, and prove it again"
            )
        }
        (Language::Spanish, falls) => {
            let moves = if falls { "bajaba" } else { "subía" };
            format!(
                "{asked} aún {moves} {amount} por minuto antes de calentarla: deje su punta libre en aire quieto hasta \
                 que no cambie y compruébela de nuevo"
            )
        }
    }
}

/// Of which channels nobody can say that they did not rise.
fn but(unseen: &[String], language: Language) -> String {
    let named = unseen[..unseen.len().min(NAMED_MAX)].join(", ");
    let more = unseen.len().saturating_sub(NAMED_MAX);
    match (language, unseen.len(), more) {
        (_, 0, _) => String::new(),
        (Language::English, _, 0) => {
            format!(", as far as they were read: {named} gave too little to see it by")
        }
        (Language::English, _, more) => {
            format!(", as far as they were read: {named} and {more} more gave too little to see it by")
        }
        (Language::Spanish, _, 0) => {
            format!(", hasta donde se leyeron: {named} dio demasiado poco para verlo")
        }
        (Language::Spanish, _, more) => {
            format!(", hasta donde se leyeron: {named} y {more} más dieron demasiado poco para verlo")
        }
    }
}

const fn no_value(fault: Option<Fault>) -> &'static str {
    match fault {
        Some(Fault::Reversed) => "reads far below the room: its leads are exchanged",
        Some(Fault::OutOfRange) => "reads what no water can be: look at its type, its unit and its scale",
        Some(Fault::OpenCircuit) => "has a broken wire, or a lead that came off",
        Some(Fault::Short) => "has leads that touch before the tip",
        Some(Fault::NoColdJunction) => "has terminals that give no temperature",
        Some(Fault::Stuck | Fault::Silent | Fault::Reported) => "is told to be at fault",
        None => "sent too little to judge by",
    }
}

const fn no_value_es(fault: Option<Fault>) -> &'static str {
    match fault {
        Some(Fault::Reversed) => "muestra mucho menos que la sala: sus cables están invertidos",
        Some(Fault::OutOfRange) => {
            "muestra lo que ningún agua puede tener: mire su tipo, su unidad y su escala"
        }
        Some(Fault::OpenCircuit) => "tiene un hilo roto o un cable suelto",
        Some(Fault::Short) => "tiene cables que se tocan antes de la punta",
        Some(Fault::NoColdJunction) => "tiene bornes que no dan temperatura",
        Some(Fault::Stuck | Fault::Silent | Fault::Reported) => "está en fallo, según se comunica",
        None => "envió demasiado poco para juzgar",
    }
}
