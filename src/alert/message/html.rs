//! The HTML of a mail.
//!
//! Styles are inline, as mail programs take them, and nothing is fetched: the
//! picture travels with the mail (`cid:`). Every block sets its ground together
//! with its text, so that a program that darkens a mail block by block cannot
//! leave dark text on a dark ground.

use askama::Template;

use super::phrases::Phrase;
use super::tell::Teller;
use super::{Content, Illustration, is_active};
use crate::core::alert::{Occasion, Severity};
use crate::core::one_line::one_line;

#[derive(Template)]
#[template(path = "alert/message/mail.html", config = ".askama.toml")]
struct Mail<'a> {
    language: &'static str,
    title: &'a str,
    headline: String,
    /// Ground of the first line; its words tell the same.
    ground: &'static str,
    why: &'a [String],
    steps: &'a [String],
    rows: Vec<(String, String)>,
    by_hand: &'a [String],
    cautions: &'a [String],
    picture: Option<&'a Illustration<'a>>,
    link: Option<String>,
    words: Words,
}

struct Words {
    do_now: String,
    facts: String,
    by_hand: String,
    caution: String,
    link: String,
    link_note: String,
}

/// Writes the mail.
pub(super) fn write(content: &Content, teller: &Teller<'_>, picture: Option<&Illustration<'_>>) -> String {
    let mail = Mail {
        language: teller.reader.language.code(),
        title: &content.headline,
        // A number stays on one line with its unit.
        headline: content.headline.replace(" °", "\u{a0}°"),
        ground: ground(teller),
        why: &content.why,
        steps: &content.steps,
        rows: content.facts(&teller.reader),
        by_hand: &content.by_hand,
        cautions: &content.cautions,
        picture,
        link: teller.facts.link.map(|link| one_line(link, 2000)),
        words: Words {
            do_now: teller.say(Phrase::DoNow),
            facts: teller.say(Phrase::Facts),
            by_hand: teller.say(Phrase::SinkTitle),
            caution: teller.say(Phrase::CautionTitle),
            link: teller.say(content.link),
            link_note: teller.say(Phrase::LinkNote),
        },
    };
    // A template of texts fails only where writing to memory does.
    mail.render().unwrap_or_default()
}

/// White text on these has a contrast of at least 4.5 to 1 (WCAG 2.2, 1.4.3).
fn ground(teller: &Teller<'_>) -> &'static str {
    let occasion = teller.notice.occasion;
    if occasion == Occasion::Test {
        return "#4a4a4a";
    }
    if occasion == Occasion::ActionMissing {
        return "#8a4b00";
    }
    if !is_active(occasion) {
        return "#00603f";
    }
    match teller.alert().condition.severity() {
        Severity::Critical => "#a01818",
        Severity::Serious => "#8a4b00",
        Severity::Warning => "#3b4f63",
    }
}
