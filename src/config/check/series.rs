//! `[series]`: where time series go.

use reqwest::Url;

use super::secret::read_secret;
use crate::config::keys::{READINGS, ReadingsWord, SERIES};
use crate::config::note::Note;
use crate::config::problem::{Fault, Findings};
use crate::config::raw::{Node, Place};
use crate::config::reader::Reader;
use crate::config::series::{Readings, SeriesOptions};

/// Longest name of a site in a tag, in bytes (own choice).
const SITE_BYTES_MAX: usize = 256;

/// Reads the section where it is given, with its canonical notes; the inner `None` is one with a mistake.
pub(super) fn read_series(
    node: Option<&Node>,
    findings: &mut Findings,
) -> Option<(Option<SeriesOptions>, Vec<Note>)> {
    let node = node?;
    // A table has no place of its own; that of its first key is near enough.
    let keys = node.value.as_table().into_iter().flat_map(|table| table.values());
    let line = |place: &Place| if let Place::Line { line, .. } = place { *line } else { usize::MAX };
    let first = keys.filter_map(|node| node.place.clone()).min_by_key(line);
    let mut reader = Reader::new(&SERIES, Some(node), "[series]".to_owned(), first);
    let options = read(&mut reader, findings);
    Some((options, reader.finish(findings)))
}

/// Refuses a name of the site that no tag can hold: it would stand in every point.
pub(super) fn check_site(reader: &Reader<'_>, site: Option<&str>, findings: &mut Findings) {
    if site.is_some_and(|site| {
        site.contains(|c: char| c.is_control() || c == '\\') || site.len() > SITE_BYTES_MAX
    }) {
        let wanted = format!(
            "a name without line ends and backslashes, up to {SITE_BYTES_MAX} bytes, as long as there is a [series]"
        );
        reader.refuse("name", wanted, findings);
    }
}

fn read(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<SeriesOptions> {
    let url = read_url(reader, findings);
    let organisation = reader.text("organisation", findings);
    let bucket = reader.text("bucket", findings);
    let token_file = read_secret(reader, "token-file", findings);
    let ca_file = reader.path("ca-file", findings);
    let readings = read_readings(reader, findings);
    let timeout = reader.duration("timeout", findings);
    let batch_points = reader.integer("batch-points", findings);
    let gzip = reader.flag("gzip", findings);
    if let Some(url) = url.as_ref().filter(|url| url.scheme() == "http") {
        if ca_file.is_some() {
            reader.refuse("ca-file", "a url that begins with https, or no such key", findings);
        }
        if token_file.is_some() && !is_this_computer(url) {
            let why = "without TLS everybody on the network can read the token".to_owned();
            let advice = "write a url that begins with https, or let the server run on this computer";
            let fault = Fault::Doubtful { why, advice: advice.to_owned() };
            findings.warnings.push(reader.problem("url", fault));
        }
    }
    Some(SeriesOptions {
        url: url?,
        organisation: organisation?,
        bucket: bucket?,
        token_file,
        ca_file,
        readings: readings?,
        timeout: timeout?,
        batch_points: batch_points?,
        gzip: gzip?,
    })
}

/// Reads the address; its path ends in a slash then, so that joining keeps all of it.
fn read_url(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Url> {
    let text = reader.text("url", findings)?;
    let refuse = |wanted: &str, findings: &mut Findings| {
        reader.refuse("url", wanted, findings);
        None
    };
    let Ok(mut url) = Url::parse(&text) else {
        return refuse("an address such as \"https://influx.example:8086\"", findings);
    };
    if !matches!(url.scheme(), "http" | "https") || url.host_str().is_none() {
        return refuse("an address that begins with https:// or http://", findings);
    }
    if !url.username().is_empty() || url.password().is_some() {
        return refuse("an address without user and password; the token comes by token-file", findings);
    }
    if url.query().is_some() || url.fragment().is_some() {
        return refuse(
            "an address without ? and #; organisation and bucket have keys of their own",
            findings,
        );
    }
    if url.path().ends_with("/api/v2/write") || url.path().ends_with("/api/v2/write/") {
        return refuse("the address without /api/v2/write, which is added to it", findings);
    }
    if !url.path().ends_with('/') {
        let path = format!("{}/", url.path());
        url.set_path(&path);
    }
    Some(url)
}

fn read_readings(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Readings> {
    let given = (reader.has("readings"), reader.has("readings-every"));
    let word = reader.choice("readings", &READINGS, findings);
    let every = reader.duration("readings-every", findings);
    match (given, word, every) {
        ((false, false), _, _) => Some(Readings::All),
        ((false, true), _, every) => Some(Readings::Every(every?)),
        ((true, true), Some(ReadingsWord::All), _) => {
            reader.refuse("readings-every", "readings = \"thinned\" beside it, or no such key", findings);
            None
        }
        ((true, false), Some(ReadingsWord::All), _) => Some(Readings::All),
        ((true, false), Some(ReadingsWord::Thinned), _) => {
            reader.require("readings-every", findings);
            None
        }
        ((true, true), Some(ReadingsWord::Thinned), every) => Some(Readings::Every(every?)),
        ((true, _), None, _) => None,
    }
}

/// Whether a URL leads to this very computer, by its usual names.
pub(super) fn is_this_computer(url: &Url) -> bool {
    matches!(url.host_str(), Some("localhost" | "127.0.0.1" | "[::1]"))
}
