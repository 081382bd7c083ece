//! The short form, for text gateways: at most 160 characters of GSM 03.38.
//!
//! One message of 160 septets (3GPP TS 23.040, 9.2.3.24; alphabet of 3GPP TS
//! 23.038, 6.2.1). The alphabet has no á, í, ó, ú and no degree sign; one such
//! letter would turn the message into UCS-2 with 70 characters. So accents on
//! vowels are left out, all of them alike, while ñ, ü, ¿ and ¡ stay.

use super::conditions;
use super::phrases::Phrase;
use super::tell::Teller;
use crate::core::alert::Occasion;
use crate::core::one_line::one_line;

/// Septets of one message.
pub const SEPTETS_MAX: usize = 160;

/// The basic table of 3GPP TS 23.038, 6.2.1, without line feed, carriage return and escape.
const BASIC: &str = "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?\
                     ¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";
/// The extension table of 6.2.1.1: two septets each.
const EXTENDED: &str = "^{}\\[~]|€";

/// Septets that a text takes; `None` where a character is not in the alphabet.
#[must_use]
pub fn septets(text: &str) -> Option<usize> {
    text.chars()
        .map(|character| match character {
            _ if BASIC.contains(character) => Some(1),
            _ if EXTENDED.contains(character) => Some(2),
            _ => None,
        })
        .sum()
}

/// The text in the alphabet: typography in plain marks, vowels without accents, anything else as «?».
pub(crate) fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            'á' | 'â' | 'ã' => out.push('a'),
            'é' | 'ê' | 'ë' => out.push('e'),
            'í' | 'î' | 'ï' => out.push('i'),
            'ó' | 'ô' | 'õ' => out.push('o'),
            'ú' | 'û' => out.push('u'),
            'Á' | 'À' | 'Â' | 'Ã' => out.push('A'),
            'É' | 'È' | 'Ê' | 'Ë' => out.push('E'),
            'Í' | 'Ì' | 'Î' | 'Ï' => out.push('I'),
            'Ó' | 'Ò' | 'Ô' | 'Õ' => out.push('O'),
            'Ú' | 'Ù' | 'Û' => out.push('U'),
            'ç' => out.push('c'),
            '–' | '—' | '−' | '·' => out.push('-'),
            '’' | '‘' => out.push('\''),
            '«' | '»' | '“' | '”' => out.push('"'),
            '…' => out.push('.'),
            '°' => {}
            '\u{a0}' | '\u{2009}' | '\u{202f}' => out.push(' '),
            other if BASIC.contains(other) || EXTENDED.contains(other) => out.push(other),
            _ => out.push('?'),
        }
    }
    out
}

/// The longest beginning of a text that takes at most `room` septets.
fn cut(text: &str, room: usize) -> String {
    let mut taken = 0;
    let mut kept = String::new();
    for character in text.chars() {
        taken += if EXTENDED.contains(character) { 2 } else { 1 };
        if taken > room {
            break;
        }
        kept.push(character);
    }
    kept.truncate(kept.trim_end().len());
    kept
}

/// Longest part of a short message that a name may take, septets.
const NAME_SEPTETS_MAX: usize = 30;

/// Longest part that figures, probes or checks may take, septets.
const DETAIL_SEPTETS_MAX: usize = 60;

/// Puts a notice into its short form.
pub(super) fn compose(teller: &Teller<'_>) -> String {
    let say = |phrase| folded(&teller.say(phrase));
    let alert = teller.alert();
    let name = |text: &str| cut(&folded(text), NAME_SEPTETS_MAX);
    if teller.notice.occasion == Occasion::Test {
        let contact = name(&teller.name(&teller.notice.contact));
        let body = folded(&teller.with(Phrase::ShortTest, &[("contact", &contact)]));
        return cut(&format!("{}: {body}", say(Phrase::Test)), SEPTETS_MAX);
    }
    let prefix = super::before(teller).map(|before| format!("{}: ", folded(&before)));
    let place = name(&teller.where_());
    let text = format!("{}{} {place}", prefix.unwrap_or_default(), say(conditions::short(alert.condition)));
    let shortened = |text: &str| folded(&text.replace(" °", ""));
    let fits = |text: &str| septets(&shortened(text)).is_some_and(|count| count <= DETAIL_SEPTETS_MAX);
    let detail = teller.detail(true, &fits).map(|detail| shortened(&detail));
    let number = teller.with(Phrase::ShortAlert, &[("number", &alert.number.to_string())]);
    let in_short = teller.since_in_short().map(|racks| format!(". {}", folded(&racks)));
    // In order of weight, each with what stands for it where it does not fit; what does not fit is left out, and what
    // follows may still fit.
    let with = |back: Option<&str>| {
        let mut since = teller.since(back);
        // It begins a sentence here; every first letter is ASCII or a digit.
        since.get_mut(..1).iter_mut().for_each(|first| first.make_ascii_uppercase());
        put_together(
            text.clone(),
            [
                (detail.as_ref().map(|detail| format!(": {}", cut(detail, DETAIL_SEPTETS_MAX))), None),
                (Some(format!(". {}", say(super::order(teller)).trim_end_matches('.'))), None),
                (Some(format!(". {}", folded(&since))), in_short.clone()),
                (Some(format!(". {number}")), None),
                (teller.facts.link.map(|link| format!(" {}", one_line(link, 2000))), None),
            ],
        )
    };
    let (plain, room) = with(None);
    // How often it came back takes the place of nothing else.
    let back = teller.came_back();
    let mut longer = back.iter().map(|back| with(Some(back)));
    let text = longer.find(|(_, taken)| *taken == room).map_or(plain, |(text, _)| text);
    cut(&text, SEPTETS_MAX)
}

/// A text with each part that fits behind it, or what stands for that; and which of these were taken as they are.
fn put_together<const N: usize>(
    mut text: String,
    parts: [(Option<String>, Option<String>); N],
) -> (String, [bool; N]) {
    let taken = parts.map(|(part, instead)| {
        let mut fits = |part: Option<String>| {
            let longer = part.map(|part| format!("{text}{part}"));
            let longer = longer.filter(|longer| septets(longer).is_some_and(|count| count <= SEPTETS_MAX));
            longer.map(|longer| text = longer).is_some()
        };
        let whole = fits(part);
        if !whole {
            fits(instead);
        }
        whole
    });
    (text, taken)
}
