//! A walk through the site: every link is followed, from the first page on.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde_json::Value;

use super::chromium::Chromium;

/// Pages looked at of each kind, since one rack or alert is not like the next.
const OF_A_KIND: usize = 3; // of a list that is asked for by name one
/// Parts of a path that are words of the site, where another part would be a name or a number.
const WORDS: [&str; 14] = [
    "access",
    "checkpoint",
    "entries",
    "export",
    "exports",
    "in-force",
    "integrity",
    "proof",
    "records",
    "sanitizer",
    "sheet",
    "supply",
    "thermometer",
    "drain-and-clean",
];

/// The kind of a page: its path with `#` for each name and number in it, and which list it shows.
fn kind(path: &str) -> String {
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let list = query.split('&').find(|part| part.starts_with("show="));
    let list = list.map(|list| format!("?{list}")).unwrap_or_default();
    let parts = path.split('/').skip(1).enumerate();
    let parts = parts.map(|(place, part)| if place == 0 || WORDS.contains(&part) { part } else { "#" });
    format!("/{}{list}", parts.collect::<Vec<_>>().join("/"))
}

/// Looks at every page by a script of the driver's, which says what is to be known and, as `links`, where one can go;
/// `each` is told the path and what the script said while the page is open. Gives the kinds of pages that were seen.
pub(crate) async fn walk(
    browser: &Chromium,
    site: u16,
    script: &str,
    mut each: impl AsyncFnMut(&str, &Value),
) -> BTreeSet<String> {
    let base = format!("http://127.0.0.1:{site}");
    let mut known = BTreeSet::from(["/".to_owned(), "/nothing/here".to_owned()]);
    let mut ahead: VecDeque<String> = known.iter().cloned().collect();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    // Lists that are asked for by name come last: where one can go from elsewhere is seen before their lines are.
    let next = |ahead: &mut VecDeque<String>| {
        let first = ahead.iter().position(|path| !path.contains("show="));
        ahead.remove(first.unwrap_or(0))
    };
    while let Some(path) = next(&mut ahead) {
        let count = seen.entry(kind(&path)).or_default();
        let most = if path.contains("show=") { 1 } else { OF_A_KIND };
        if *count == most {
            continue;
        }
        *count += 1;
        browser.go(&path).await;
        let found = browser.ask_later(script).await;
        each(&path, &found).await;
        for link in lines(&found["links"]) {
            let Some(path) = link.strip_prefix(&base) else { continue };
            let path = path.split('#').next().unwrap_or_default().to_owned();
            if known.insert(path.clone()) {
                ahead.push_back(path);
            }
        }
    }
    seen.into_keys().collect()
}

/// The texts of a list.
pub(crate) fn lines(list: &Value) -> Vec<String> {
    list.as_array().into_iter().flatten().filter_map(|one| one.as_str().map(str::to_owned)).collect()
}
