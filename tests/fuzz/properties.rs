//! What the parsers keep to for any bytes at all. The fuzz targets and the
//! property tests call the same functions; each panics where a property fails.

use rinseward::config::load::Loaded;
use rinseward::config::resolve::Configuration;
use rinseward::core::id::ChannelId;
use rinseward::core::reading::Value;
use rinseward::core::record::Record;
use rinseward::core::time::Timestamp;
use rinseward::wire::decoded::Decoded;
use rinseward::wire::directory::{Directory, WireUnit};
use rinseward::wire::lines::{Line, LineSplitter};
use rinseward::wire::payload::{self, PayloadShape};
use rinseward::wire::pointer::JsonPointer;
use rinseward::wire::topics::{TopicFilter, check_topic_name};
use rinseward::wire::{plain as plain_lines, senml as senml_packs};

const RECEIVED: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

fn directory() -> Directory {
    let mut directory = Directory::default();
    directory.insert("a".to_owned(), ChannelId(0), WireUnit::Celsius);
    directory.insert("dm1/rinse".to_owned(), ChannelId(1), WireUnit::Celsius);
    directory.insert("dm1/running".to_owned(), ChannelId(2), WireUnit::Flag);
    directory.insert("dm1/tc:1".to_owned(), ChannelId(3), WireUnit::Volt);
    directory
}

/// Numbers are finite, flags belong to flags, and what is told of a refusal is short and printable.
fn is_sound(decoded: &Decoded) {
    for sample in &decoded.samples {
        match sample.value {
            Value::Number(number) => {
                assert!(number.is_finite() && sample.channel != ChannelId(2), "{sample:?}");
            }
            Value::Flag(_) => assert_eq!(sample.channel, ChannelId(2), "{sample:?}"),
            Value::Fault(_) => {}
        }
        assert!(Timestamp::MIN <= sample.at && sample.at <= Timestamp::MAX, "{sample:?}");
    }
    for refusal in &decoded.refusals {
        assert!(refusal.what.chars().count() <= 80, "{refusal:?}");
        assert!(!refusal.what.chars().any(char::is_control), "{refusal:?}");
    }
}

/// SenML: every record is accounted for at most once, in order of time, and a
/// pack joined with another one does not change it.
pub(super) fn senml(bytes: &[u8]) {
    let mut decoded = Decoded::default();
    senml_packs::decode(bytes, &directory(), RECEIVED, &mut decoded);
    is_sound(&decoded);
    assert!(decoded.samples.is_sorted_by_key(|sample| sample.at));
    match serde_json::from_slice::<serde_json::Value>(bytes) {
        Ok(serde_json::Value::Array(records)) => {
            assert!(decoded.samples.len() + decoded.refusals.len() <= records.len().max(1));
        }
        Ok(_) => assert!(decoded.samples.is_empty() && decoded.refusals.len() == 1),
        // A number out of range or too deep nesting: `serde_json::Value` cannot judge.
        Err(_) => {}
    }
    let mut twice = decoded.clone();
    senml_packs::decode(bytes, &directory(), RECEIVED, &mut twice);
    assert_eq!(twice.samples.len(), 2 * decoded.samples.len());
    assert_eq!(twice.refusals[decoded.refusals.len()..], decoded.refusals[..]);
}

/// Plain lines: one line gives one sample or one refusal.
pub(super) fn plain(bytes: &[u8]) {
    let mut decoded = Decoded::default();
    plain_lines::decode(bytes, &directory(), RECEIVED, &mut decoded);
    is_sound(&decoded);
    assert_eq!(decoded.samples.len() + decoded.refusals.len(), 1);
}

/// Lines: the first two bytes choose the limit and the pieces; any pieces give
/// the lines of the whole, and each line that fits is one of the input.
pub(super) fn splitter(bytes: &[u8]) {
    let (limit, piece_bytes, bytes) = match bytes {
        [limit, piece, rest @ ..] => (usize::from(*limit).max(1), usize::from(*piece).max(1), rest),
        _ => return,
    };
    let pieces: Vec<&[u8]> = bytes.chunks(piece_bytes).collect();
    let lines = split(&pieces, limit);
    assert_eq!(lines, split(&[bytes], limit));
    let expected: Vec<&[u8]> =
        bytes.split(|byte| b"\r\n".contains(byte)).filter(|line| !line.is_empty()).collect();
    assert_eq!(lines.len(), expected.len());
    for ((whole, line), expected) in lines.iter().zip(expected) {
        assert_eq!(*whole, expected.len() <= limit);
        if *whole {
            assert_eq!(line, expected);
        } else {
            assert!(expected.starts_with(line) && !line.is_empty());
        }
    }
}

fn split(pieces: &[&[u8]], limit: usize) -> Vec<(bool, Vec<u8>)> {
    let mut splitter = LineSplitter::new(limit);
    let mut lines = Vec::new();
    let mut note = |line: Line<'_>| match line {
        Line::Whole(bytes) => lines.push((true, bytes.to_vec())),
        Line::TooLong(bytes) => lines.push((false, bytes.to_vec())),
    };
    pieces.iter().for_each(|piece| splitter.feed(piece, &mut note));
    splitter.finish(&mut note);
    lines
}

/// Payloads: a bare value or a value at a pointer is one sample or one refusal.
/// A line feed parts pointer and document.
pub(super) fn payload(bytes: &[u8]) {
    let directory = directory();
    let decode = |bytes: &[u8], shape: &PayloadShape| {
        let mut decoded = Decoded::default();
        payload::decode(bytes, shape, &directory, RECEIVED, &mut decoded);
        is_sound(&decoded);
        decoded.samples.len() + decoded.refusals.len()
    };
    decode(bytes, &PayloadShape::Senml);
    for (channel, unit) in [(ChannelId(1), WireUnit::Celsius), (ChannelId(2), WireUnit::Flag)] {
        assert_eq!(decode(bytes, &PayloadShape::Bare { channel, unit }), 1);
        let at = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(0);
        let (pointer, document) = bytes.split_at(at);
        let pointer = std::str::from_utf8(pointer).unwrap_or_default();
        if let Ok(value) = pointer.parse::<JsonPointer>() {
            let time = "/t".parse().ok().filter(|_| bytes.len().is_multiple_of(2));
            assert_eq!(decode(document, &PayloadShape::Pointer { channel, unit, value, time }), 1);
        }
    }
    pointer(bytes);
}

/// JSON pointers: finds what `serde_json` finds by its own evaluator, which is
/// laxer in one place only: a `~` without `0` or `1`.
fn pointer(bytes: &[u8]) {
    let document: serde_json::Value =
        serde_json::from_str(r#"{"a/b":[10,{"m~n":8,"":0}],"":[[1]]," ":7}"#).expect("JSON");
    if let Ok(text) = std::str::from_utf8(bytes)
        && let Ok(pointer) = text.parse::<JsonPointer>()
    {
        assert_eq!(pointer.find(&document), document.pointer(text), "{text}");
    }
}

/// Topics: a filter that is accepted matches as the levels say (written again
/// here by recursion); a name that is accepted is a filter that matches itself.
/// A line feed parts filter and topic.
pub(super) fn topics(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let (filter, topic) = text.split_once('\n').unwrap_or((text, "dm1/rinse"));
    if check_topic_name(topic).is_err() {
        return;
    }
    if !topic.starts_with("$share/") {
        assert!(topic.parse::<TopicFilter>().expect("a name is a filter").matches(topic));
    }
    let Ok(parsed) = filter.parse::<TopicFilter>() else { return };
    let proper = match filter.strip_prefix("$share/") {
        Some(shared) => shared.split_once('/').expect("share name and filter").1,
        None => filter,
    };
    let levels: Vec<&str> = proper.split('/').collect();
    let names: Vec<&str> = topic.split('/').collect();
    let hidden = topic.starts_with('$') && matches!(levels[0], "#" | "+");
    assert_eq!(parsed.matches(topic), !hidden && levels_match(&levels, &names), "{filter:?} {topic:?}");
}

fn levels_match(levels: &[&str], names: &[&str]) -> bool {
    match (levels, names) {
        (["#"], _) | ([], []) => true,
        (["+", levels @ ..], [_, names @ ..]) => levels_match(levels, names),
        ([level, levels @ ..], [name, names @ ..]) => level == name && levels_match(levels, names),
        _ => false,
    }
}

/// Records: what is read prints to bytes that read back to the same record.
pub(super) fn record(bytes: &[u8]) {
    if let Ok(record) = Record::from_bytes(bytes) {
        let again = Record::from_bytes(&record.to_bytes()).expect("a printed record is read");
        assert_eq!(again, record);
    }
}

/// Configurations: every file is either refused with a problem, or its canonical form reads back
/// to itself.
pub(super) fn config(bytes: &[u8]) {
    let Ok(first) = load_config(bytes) else { return };
    let canonical = first.to_toml();
    let Ok(again) = load_config(canonical.as_bytes()) else {
        panic!("the canonical form is refused:\n{canonical}");
    };
    assert_eq!(again.to_toml(), canonical);
}

/// Loads a file of these bytes; gives the number of problems where it is refused.
fn load_config(bytes: &[u8]) -> Result<Loaded, usize> {
    let path = std::env::temp_dir().join(format!("rinseward-property-{}.toml", std::process::id()));
    std::fs::write(&path, bytes).expect("a temporary file");
    let loaded = Configuration::load(std::slice::from_ref(&path), []);
    std::fs::remove_file(&path).expect("the temporary file is there");
    loaded.map_err(|problems| {
        assert!(!problems.is_empty(), "a refusal names its problem");
        problems.len()
    })
}
