//! That an open page of alerts is of before: told while it is open, beside what somebody types there.

use askama::Template;

use crate::core::reader::Reader;
use crate::web::frame::said;
use crate::web::now::Card;

#[derive(Template)]
#[template(path = "web/alerts/news.html", config = ".askama.toml")]
struct NewsPart {
    changed: bool,
    said: &'static str,
    show: &'static str,
    to: String,
}

/// The part of the list, or of the page of one alert, that says whether something changed since it was made.
pub(in crate::web) fn news(
    number: Option<u64>,
    changed: bool,
    reader: &Reader,
) -> Result<Card, askama::Error> {
    let (english, spanish) = match number {
        Some(_) => ("Something changed at this alert.", "Algo cambió en esta alerta."),
        None => ("Something changed among the alerts.", "Algo cambió en las alertas."),
    };
    let part = NewsPart {
        changed,
        said: said(reader.language, english, spanish),
        show: said(reader.language, "Show", "Mostrar"),
        // Both pages of the alerts are live at their own address alone.
        to: number.map_or_else(|| "alerts".to_owned(), |number| number.to_string()),
    };
    Ok(Card { html: part.render()? })
}
