//! What the probes of a machine showed in the last minutes, in a table: for whoever does not see the plot, and for
//! paper. It is of when the page was made, and no part of what is sent while the page is open.

use std::time::Duration;

use askama::Template;

use super::Machines;
use super::words::place_word;
use crate::core::channel::Place;
use crate::core::reader::{Reader, filled};
use crate::core::time::Timestamp;
use crate::web::frame::{Refusal, said};
use crate::web::live::unmade;

/// What the probes of a machine showed in the last minutes, in stretches of equal length.
#[derive(Clone, PartialEq, Debug)]
pub struct Readings {
    /// When that was.
    pub at: Timestamp,
    /// Length of a stretch.
    pub every: Duration,
    /// Each probe, by channel, and where it sits.
    pub probes: Vec<(String, Place)>,
    /// The stretches, the newest first.
    pub stretches: Vec<Stretch>,
}

/// One stretch.
#[derive(Clone, PartialEq, Debug)]
pub struct Stretch {
    /// Its beginning.
    pub from: Timestamp,
    /// Lowest and highest of each probe, °C, in the order of the probes; `None` where no usable reading came.
    pub extremes_c: Vec<Option<(f64, f64)>>,
}

#[derive(Template)]
#[template(path = "web/machine/readings.html", config = ".askama.toml")]
struct Table<'a> {
    name: &'static str,
    told: String,
    nothing: &'static str,
    made: String,
    caption: String,
    from: &'static str,
    symbol: &'static str,
    probes: Vec<(&'a str, &'static str)>,
    rows: Vec<(String, Vec<String>)>,
}

/// The table, ready to be put into a page.
pub(super) async fn table<K: Machines>(
    kitchen: &K,
    machine: &str,
    reader: &Reader,
) -> Result<String, Refusal> {
    let readings = kitchen.recent(machine).await?;
    told(&readings, reader).render().map_err(|error| unmade(&error))
}

fn told<'a>(readings: &'a Readings, reader: &Reader) -> Table<'a> {
    let say = |english, spanish| said(reader.language, english, spanish);
    let Readings { at, every, probes, stretches } = readings;
    let (every, count) = (every.as_secs().to_string(), stretches.len().to_string());
    let shown = |extremes: &Option<(f64, f64)>| match extremes {
        None => say("no usable reading", "sin lectura válida").to_owned(),
        Some((low, high)) => {
            let [low, high] = [low, high].map(|celsius| format!("{:.1}", reader.scale.temperature(*celsius)));
            if low == high { low } else { format!("{low} – {high}") }
        }
    };
    let row = |stretch: &Stretch| {
        (reader.clock_to_the_second(stretch.from), stretch.extremes_c.iter().map(shown).collect())
    };
    let is_empty = stretches.iter().all(|stretch| stretch.extremes_c.iter().all(Option::is_none));
    let told = say("{count} rows, one each {every} s", "{count} filas, una cada {every} s");
    let made = say(
        "As it was at {time}, when this page was loaded: load it again for newer ones.",
        "Tal como era a {time}, al cargarse esta página: cárguela otra vez para ver lo nuevo.",
    );
    let caption = say(
        "Lowest – highest reading of each {every} s, the newest first, {scale}",
        "Lectura más baja – más alta de cada {every} s, lo más nuevo primero, {scale}",
    );
    let time = reader.with_article(reader.clock_and_zone(*at));
    Table {
        name: say("The last minutes in a table", "Los últimos minutos en una tabla"),
        told: filled(told, &[("count", &count), ("every", &every)]),
        nothing: say(
            "No usable reading came in these minutes.",
            "En estos minutos no llegó ninguna lectura válida.",
        ),
        made: filled(made, &[("time", &time)]),
        caption: filled(caption, &[("every", &every), ("scale", reader.scale.symbol())]),
        from: say("From", "Desde"),
        symbol: reader.scale.symbol(),
        probes: probes
            .iter()
            .map(|(channel, place)| (channel.as_str(), place_word(*place, reader.language)))
            .collect(),
        rows: if is_empty { Vec::new() } else { stretches.iter().map(row).collect() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reader::{Language, Scale};
    use crate::web::fixture::{NOW, rack};

    // WCAG 2.2, 1.1.1: what the plot shows is there in words and numbers too, on the scale and in the language of the
    // reader. Own promise: what did not come is said, and nothing is put in its place.
    #[test]
    fn the_table_says_each_stretch_and_what_did_not_come() {
        for (language, scale, wanted) in [
            (
                Language::English,
                Scale::Fahrenheit,
                [
                    "The last minutes in a table (2 rows, one each 15 s)",
                    "As it was at 12:00 UTC, when this page was loaded",
                    "<th scope=\"col\">dm1/rinse<br>final rinse, °F</th>",
                    "<th scope=\"row\">12:00:00</th><td>140.0 – 184.1</td><td>no usable reading</td>",
                    "<th scope=\"row\">11:59:45</th><td>140.0</td><td>151.5</td>",
                ],
            ),
            (
                Language::Spanish,
                Scale::Celsius,
                [
                    "Los últimos minutos en una tabla (2 filas, una cada 15 s)",
                    "Tal como era a las 12:00 UTC, al cargarse",
                    "<th scope=\"col\">dm1/wash<br>tanque de lavado, °C</th>",
                    "<th scope=\"row\">12:00:00</th><td>60.0 – 84.5</td><td>sin lectura válida</td>",
                    "más alta de cada 15 s, lo más nuevo primero, °C</caption>",
                ],
            ),
        ] {
            let reader = Reader { language, scale, zone: jiff::tz::TimeZone::UTC };
            let page = told(&rack::readings("dm1"), &reader).render().expect("it is made");
            for said in wanted {
                assert!(page.contains(said), "{said}: {page}");
            }
        }
    }

    // Own rule: where nothing came at all that is said once, not forty times.
    #[test]
    fn a_machine_without_readings_has_no_table() {
        let mut readings = rack::readings("dm1");
        for stretch in &mut readings.stretches {
            stretch.extremes_c.fill(None);
        }
        assert_eq!(readings.at, NOW);
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let page = told(&readings, &reader).render().expect("it is made");
        assert!(
            page.contains("No usable reading came in these minutes.") && !page.contains("<table"),
            "{page}"
        );
    }
}
