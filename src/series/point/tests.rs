//! Lines against the open description of line protocol, and against a parser of other hands: that
//! of InfluxData's own later server, which shares no code with the crate that writes them.

use std::collections::BTreeMap;

use influxdb_line_protocol::{FieldValue, parse_lines};
use proptest::prelude::*;

use super::*;

fn line(point: &Point) -> Result<String, Unwritable> {
    let mut out = b"before\n".to_vec();
    let written = point.write_to(&mut out);
    let text = String::from_utf8(out).expect("line protocol is UTF-8");
    let line = text.strip_prefix("before\n").expect("what was there stays").to_owned();
    assert!(written.is_ok() || line.is_empty(), "a refused point leaves nothing behind");
    written.map(|()| line)
}

fn at_nanos() -> Point {
    Point::at_nanos("reading", 1_700_000_000_000_000_000)
}

// Escapes by InfluxDB's «Line protocol» reference: measurement: comma, space; tag key, tag value,
// field key: comma, equals, space; text field: quote, backslash. Integers end in i.
#[test]
fn lines_follow_the_description() {
    let point = |measurement: &'static str| Point::at_nanos(measurement, 1_700_000_000_000_000_000);
    for (name, point, expected) in [
        (
            "every escape at once",
            point("dish cycle")
                .tag("site", "Main St, 1")
                .float("c", 82.5)
                .integer("n", 3)
                .text("note", r#"said "hot" \ ok"#),
            r#"dish\ cycle,site=Main\ St\,\ 1 c=82.5,n=3i,note="said \"hot\" \\ ok" 1700000000000000000"#,
        ),
        (
            "an equals sign in a tag",
            point("m").tag("a=b", "c=d").flag("f", true),
            r"m,a\=b=c\=d f=t 1700000000000000000",
        ),
        ("a field name", point("m").integer("a b,c=d", -1), r"m a\ b\,c\=d=-1i 1700000000000000000"),
        (
            "a backslash that stands for itself",
            point("m").tag("path", r"C:\kitchen").integer("n", 1),
            r"m,path=C:\kitchen n=1i 1700000000000000000",
        ),
        (
            "a backslash at the end of a text",
            point("m").text("s", r"ends\"),
            r#"m s="ends\\" 1700000000000000000"#,
        ),
        ("a backslash before a quote", point("m").text("s", r#"\""#), r#"m s="\\\"" 1700000000000000000"#),
        ("an empty text", point("m").text("s", ""), r#"m s="" 1700000000000000000"#),
        (
            "tags in order of name",
            point("m").tag("z", "1").tag("a", "2").integer("n", 1),
            "m,a=2,z=1 n=1i 1700000000000000000",
        ),
        (
            "a number that is none",
            point("m").float("x", f64::NAN).float("y", f64::INFINITY).integer("n", 1),
            "m n=1i 1700000000000000000",
        ),
        ("before 1970", Point::at_nanos("m", -1).flag("f", false), "m f=f -1"),
        (
            "whole and tiny numbers",
            point("m").float("a", 82.0).float("b", 1e-9).float("c", -0.0),
            "m a=82,b=0.000000001,c=-0 1700000000000000000",
        ),
    ] {
        assert_eq!(line(&point).as_deref(), Ok(format!("{expected}\n").as_str()), "{name}");
    }
}

// What the description has no way to write: «Line protocol does not support the newline character
// in tag or field values», no empty tag values, no NaN, a tag value that ends in a backslash.
#[test]
fn what_no_line_can_hold_is_refused() {
    let long = "x".repeat(NAME_BYTES_MAX + 1);
    let good = || at_nanos().integer("n", 1);
    for (name, point, expected) in [
        ("no field", at_nanos(), "a point of «reading» has no value that can be written"),
        (
            "no finite field",
            at_nanos().float("x", f64::NAN),
            "a point of «reading» has no value that can be written",
        ),
        (
            "a line end in a tag",
            good().tag("site", "a\nb v=1"),
            "the tag «site» holds a line end or another control character",
        ),
        (
            "a line end in a text",
            good().text("s", "a\nb"),
            "the text field «s» holds a line end or another control character",
        ),
        (
            "a carriage return",
            good().text("s", "a\rb"),
            "the text field «s» holds a line end or another control character",
        ),
        ("an empty tag", good().tag("site", ""), "the tag «site» is empty"),
        ("a tag without a name", good().tag("", "x"), "the name of a tag «» is empty"),
        (
            "a backslash at the end of a tag",
            good().tag("site", r"a\"),
            r"the tag «site» holds a backslash where servers disagree what it means",
        ),
        (
            "a backslash before a comma",
            good().tag("site", r"a\,b"),
            r"the tag «site» holds a backslash where servers disagree what it means",
        ),
        (
            "a comment",
            Point::at_nanos("#m", 0).integer("n", 1),
            "the measurement «#m» begins with #, which makes its line a comment",
        ),
        (
            "a long tag",
            good().tag("site", long),
            &format!("the tag «{}…» has 4097 bytes, more than 4096", "x".repeat(40)),
        ),
        (
            "a long text",
            good().text("s", "y".repeat(TEXT_BYTES_MAX + 1)),
            "the text field «s» has 65536 bytes, more than 65535",
        ),
        ("a name twice", good().tag("n", "x"), "«n» is there twice"),
        ("a field twice", good().integer("n", 2), "«n» is there twice"),
        (
            "the year 9999",
            Point::new("m", Timestamp::MAX).integer("n", 1),
            "its time lies outside the years 1678 to 2262",
        ),
    ] {
        assert_eq!(line(&point).map_err(|error| error.to_string()), Err(expected.to_owned()), "{name}");
    }
}

#[test]
fn a_text_is_brought_to_one_line() {
    for (text, bytes_max, expected) in
        [("panicked at\n\tcore", 100, "panicked at  core"), ("äöü", 6, "ä…"), ("abc", 6, "abc"), ("", 5, "")]
    {
        assert_eq!(one_line(text, bytes_max), expected, "{text:?}");
        assert!(one_line(text, bytes_max).len() <= bytes_max, "{text:?}");
    }
}

/// Names and values with the characters that line protocol gives a meaning to, far more often than
/// chance would, and all of Unicode.
fn words() -> impl Strategy<Value = String> {
    prop_oneof![8 => r#"[a-zA-Z0-9, ="\\#äß℃日-]{1,8}"#, 8 => r"\PC{1,6}", 1 => r"[\x00-\x1f a]{1,3}"]
}

fn fields() -> impl Strategy<Value = Field> {
    prop_oneof![
        any::<f64>().prop_map(Field::Float),
        any::<i64>().prop_map(Field::Integer),
        any::<bool>().prop_map(Field::Flag),
        prop_oneof![words(), "\\PC*"].prop_map(Field::Text),
    ]
}

fn points() -> impl Strategy<Value = Point> {
    let tags = prop::collection::vec((words(), words()), 0..4);
    let fields = prop::collection::vec((words(), fields()), 1..5);
    (words(), tags, fields, any::<i64>()).prop_map(|(measurement, tags, fields, at_ns)| {
        let mut point = Point::at_nanos(measurement, at_ns);
        for (name, value) in tags {
            point = point.tag(name, value);
        }
        for (name, value) in fields {
            point = point.field(name, value);
        }
        point
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_096))]

    #[test]
    fn a_line_reads_back_as_its_point(point in points()) {
        let Ok(text) = line(&point) else { return Ok(()) };
        prop_assert_eq!(text.matches('\n').count(), 1);
        let mut below = Vec::new();
        let key = Key::of(&point).expect("its line was written");
        point.write_below(&key, &mut below).expect("its line was written");
        prop_assert_eq!(String::from_utf8_lossy(&below), text.as_str());
        let mut parsed = parse_lines(&text);
        let line = parsed.next().expect("one line").expect("a line of ours is legal");
        prop_assert!(parsed.next().is_none());
        prop_assert_eq!(line.series.measurement.as_str(), point.measurement());
        prop_assert_eq!(line.timestamp, Some(point.nanos()));
        let tags: BTreeMap<String, String> = line
            .series
            .tag_set
            .iter()
            .flatten()
            .map(|(name, value)| (name.to_string(), value.to_string()))
            .collect();
        let wanted = point.tags().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
        prop_assert_eq!(tags, wanted);
        let mut found: BTreeMap<String, Field> = BTreeMap::new();
        for (name, value) in line.field_set {
            let value = match value {
                FieldValue::F64(number) => Field::Float(number),
                FieldValue::I64(number) => Field::Integer(number),
                FieldValue::U64(_) => panic!("no unsigned numbers are written"),
                FieldValue::Boolean(flag) => Field::Flag(flag),
                FieldValue::String(text) => Field::Text(text.to_string()),
            };
            found.insert(name.to_string(), value);
        }
        let finite = |value: &Field| !matches!(value, Field::Float(number) if !number.is_finite());
        let wanted: BTreeMap<String, Field> = point
            .fields()
            .filter(|(_, value)| finite(value))
            .map(|(name, value)| (name.to_owned(), value.clone()))
            .collect();
        prop_assert_eq!(found, wanted);
    }

    // Own names and values are plain: of them nothing may be refused.
    #[test]
    fn plain_points_are_never_refused(site in "[a-zA-Z0-9 äöü,=.:_-]{1,20}", number in -1e9..1e9_f64) {
        prop_assert!(line(&at_nanos().tag("site", site).float("celsius", number)).is_ok());
    }
}
