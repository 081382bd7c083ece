//! Reads files and environment and lays them over one another.
//!
//! A later file wins over an earlier one, and the environment over all files.
//! `[[machine]]`, `[[probe]]`, `[[source]]` and `[[webhook]]` are merged by name: an entry of a
//! later file whose name exists changes only the keys it gives. Any other list
//! replaces the list below it.
//!
//! A variable is `RINSEWARD__` and the way to the key, in capitals, with `__`
//! between the steps and `_` for every character that a variable cannot hold:
//! `RINSEWARD__LEDGER__COMMIT_INTERVAL=2s`, `RINSEWARD__SOURCE__PORT1__DEVICE=…`,
//! `RINSEWARD__PROBE__DM1_RINSE__TAU=1.5s`. It changes an entry, and adds none.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

use config::{ConfigError, Map, Source, ValueKind};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys::TOP;
use super::problem::{Fault, Findings, Problem};
use super::raw::{Node, Place, Table, Value};
use super::suggest::nearest;

/// What a variable of ours begins with.
pub const PREFIX: &str = "RINSEWARD__";

/// Lists whose entries have names.
pub const NAMED: [&str; 7] = ["machine", "probe", "source", "contact", "shift", "meal-period", "webhook"];

/// Longest file; 1,000 probes with every key take a third of it.
pub const FILE_BYTES_MAX: u64 = 4 * 1024 * 1024;

/// Deepest nesting of lists and tables that is looked at; the legal form needs five.
const DEPTH_MAX: usize = 16;

/// The variables of this process that are ours; one that is not Unicode is passed over.
pub fn environment() -> impl Iterator<Item = (String, String)> {
    let text = |(name, value): (std::ffi::OsString, std::ffi::OsString)| {
        Some((name.into_string().ok()?, value.into_string().ok()?))
    };
    std::env::vars_os().filter_map(text).filter(|(name, _)| name.starts_with(PREFIX))
}

/// Everything that was said, merged.
#[derive(Debug, Default)]
pub struct Merged {
    /// The tree; the lists of [`NAMED`] are tables by name.
    pub table: Table,
    /// Names in order of appearance, and where each appeared first.
    pub order: BTreeMap<&'static str, Vec<(String, Place)>>,
}

/// Lays the files over one another in order, then the variables.
///
/// What cannot be read or understood goes to `findings`; the rest is merged.
pub fn merge(
    paths: &[impl AsRef<Path>],
    variables: impl IntoIterator<Item = (String, String)>,
    findings: &mut Findings,
) -> Merged {
    let mut merged = Merged::default();
    let mut places = Vec::new();
    let mut builder = config::Config::builder();
    for path in paths {
        if let Some(layer) = read_file(path.as_ref(), &mut merged.order, findings) {
            builder = builder.add_source(Layer::new(&layer, &mut places));
        }
    }
    let layer = read_variables(variables, &merged.order, findings);
    builder = builder.add_source(Layer::new(&layer, &mut places));
    // A layer of ours collects without error; the tree is empty otherwise, and every key missing.
    if let Ok(built) = builder.build()
        && let Value::Table(table) = node_of(built.cache, &places).value
    {
        merged.table = table;
    }
    merged
}

/// A layer in the form that the merging crate takes. The origin of each value
/// is the number of its place.
#[derive(Clone, Debug)]
struct Layer {
    values: Map<String, config::Value>,
}

impl Layer {
    fn new(table: &Table, places: &mut Vec<Place>) -> Self {
        Self { values: table.iter().map(|(key, node)| (key.clone(), value_of(node, places))).collect() }
    }
}

impl Source for Layer {
    fn clone_into_box(&self) -> Box<dyn Source + Send + Sync> {
        Box::new(self.clone())
    }

    fn collect(&self) -> Result<Map<String, config::Value>, ConfigError> {
        Ok(self.values.clone())
    }
}

fn value_of(node: &Node, places: &mut Vec<Place>) -> config::Value {
    let origin = node.place.as_ref().map(|place| {
        places.push(place.clone());
        (places.len() - 1).to_string()
    });
    let kind = match &node.value {
        Value::Text(text) => ValueKind::String(text.clone()),
        Value::Integer(number) => ValueKind::I64(*number),
        Value::Float(number) => ValueKind::Float(*number),
        Value::Flag(flag) => ValueKind::Boolean(*flag),
        Value::List(nodes) => ValueKind::Array(nodes.iter().map(|node| value_of(node, places)).collect()),
        Value::Table(table) => {
            ValueKind::Table(table.iter().map(|(key, node)| (key.clone(), value_of(node, places))).collect())
        }
    };
    config::Value::new(origin.as_ref(), kind)
}

fn node_of(value: config::Value, places: &[Place]) -> Node {
    let place = value.origin().and_then(|number| number.parse().ok());
    let place = place.and_then(|number: usize| places.get(number).cloned());
    let value = match value.kind {
        ValueKind::Boolean(flag) => Value::Flag(flag),
        ValueKind::I64(number) => Value::Integer(number),
        ValueKind::Float(number) => Value::Float(number),
        ValueKind::String(text) => Value::Text(text),
        ValueKind::Table(map) => {
            Value::Table(map.into_iter().map(|(key, value)| (key, node_of(value, places))).collect())
        }
        ValueKind::Array(values) => {
            Value::List(values.into_iter().map(|value| node_of(value, places)).collect())
        }
        // Kinds that no layer of ours makes.
        ValueKind::Nil | ValueKind::I128(_) | ValueKind::U64(_) | ValueKind::U128(_) => {
            Value::Text(String::new())
        }
    };
    Node { value, place }
}

type Order = BTreeMap<&'static str, Vec<(String, Place)>>;

/// The line of a text that this byte is on, without the space around it.
fn line_around(text: &str, at: usize) -> &str {
    let before = text.get(..at).unwrap_or_default();
    let begin = before.rfind('\n').map_or(0, |line_feed| line_feed + 1);
    text[begin..].lines().next().unwrap_or_default().trim()
}

/// Reads one file into a layer.
fn read_file(path: &Path, order: &mut Order, findings: &mut Findings) -> Option<Table> {
    let refuse = |place, fault| Problem { place: Some(place), key: "file".to_owned(), seen: None, fault };
    let text = match read_text(path) {
        Ok(text) => text,
        Err(error) => {
            findings.problems.push(refuse(Place::File(path.to_owned()), Fault::File(Arc::new(error))));
            return None;
        }
    };
    let lines = Lines::new(path, &text);
    let (document, errors) = DeTable::parse_recoverable(&text);
    for error in &errors {
        let start = error.span().map_or(0, |span| span.start);
        let fault = match error.message() {
            // The parser has no kind to ask for, and does not say of which key it speaks.
            "duplicate key" => Fault::Repeated { line: line_around(&text, start).to_owned() },
            message => Fault::Syntax { message: message.to_owned() },
        };
        findings.problems.push(refuse(lines.place(start), fault));
    }
    let mut layer = Table::new();
    for (key, value) in document.into_inner() {
        let place = lines.place(key.span().start);
        let name = key.into_inner().into_owned();
        if !TOP.contains(&name.as_str()) {
            let fault = Fault::UnknownKey { nearest: nearest(&name, TOP), legal: TOP.join(", ") };
            findings.problems.push(Problem { place: Some(place), key: name, seen: None, fault });
            continue;
        }
        let mut node = lines.node(value, place, DEPTH_MAX);
        if let Some(list) = NAMED.into_iter().find(|list| *list == name) {
            node = by_name(list, node, order.entry(list).or_default(), findings);
        }
        layer.insert(name, node);
    }
    Some(layer)
}

/// Turns a list of entries into a table by name; entries without one are refused.
fn by_name(list: &str, node: Node, order: &mut Vec<(String, Place)>, findings: &mut Findings) -> Node {
    let place = node.place.clone();
    let Value::List(entries) = node.value else {
        let wanted = format!("a list: write [[{list}]]");
        let fault = Fault::value(wanted);
        findings.problems.push(Problem { place, key: list.to_owned(), seen: None, fault });
        return Node { value: Value::Table(Table::new()), place: node.place };
    };
    let mut table = Table::new();
    for (index, entry) in entries.into_iter().enumerate() {
        let at = entry.place.clone();
        let key = format!("[[{list}]] {}", index + 1);
        let name = entry.value.as_table().and_then(|entry| entry.get("name"));
        let name = name.map(|node| (node.value.clone(), node.place.clone()));
        let fault = match name {
            Some((Value::Text(name), named_at)) => {
                if let Some(first) = table.get(&name).map(|first: &Node| first.place.clone()) {
                    let seen = Some(super::raw::quoted(&name));
                    let key = format!("{key}, name");
                    findings.problems.push(Problem {
                        place: named_at,
                        key,
                        seen,
                        fault: Fault::Twice { first },
                    });
                    continue;
                }
                if !order.iter().any(|(known, _)| *known == name) {
                    order.push((name.clone(), at.unwrap_or_else(|| Place::File(Default::default()))));
                }
                table.insert(name, entry);
                continue;
            }
            Some(_) => Fault::value("a name as text".to_owned()),
            None => Fault::Missing { wanted: "a name as text".to_owned() },
        };
        findings.problems.push(Problem { place: at, key: format!("{key}, name"), seen: None, fault });
    }
    Node { value: Value::Table(table), place: node.place }
}

/// Reads a file of at most [`FILE_BYTES_MAX`]; a longer one is refused.
fn read_text(path: &Path) -> std::io::Result<String> {
    let mut text = String::new();
    let read = File::open(path)?.take(FILE_BYTES_MAX + 1).read_to_string(&mut text)?;
    if read as u64 > FILE_BYTES_MAX {
        return Err(std::io::Error::from(std::io::ErrorKind::FileTooLarge));
    }
    Ok(text)
}

/// Finds the line of a byte.
struct Lines<'a> {
    path: &'a Path,
    /// Where each line ends.
    ends: Vec<usize>,
}

impl<'a> Lines<'a> {
    fn new(path: &'a Path, text: &str) -> Self {
        Self { path, ends: text.match_indices('\n').map(|(end, _)| end).collect() }
    }

    fn place(&self, byte: usize) -> Place {
        Place::Line { file: self.path.to_owned(), line: 1 + self.ends.partition_point(|end| *end < byte) }
    }

    fn node(&self, spanned: Spanned<DeValue<'_>>, place: Place, depth: usize) -> Node {
        let value = match spanned.into_inner() {
            DeValue::String(text) => Value::Text(text.into_owned()),
            DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
                Ok(number) => Value::Integer(number),
                Err(_) => Value::Text(number.as_str().to_owned()),
            },
            DeValue::Float(number) => match number.as_str().parse() {
                Ok(number) => Value::Float(number),
                Err(_) => Value::Text(number.as_str().to_owned()),
            },
            DeValue::Boolean(flag) => Value::Flag(flag),
            DeValue::Datetime(date) => Value::Text(date.to_string()),
            DeValue::Array(_) | DeValue::Table(_) if depth == 0 => Value::Text("nested too deep".to_owned()),
            DeValue::Array(list) => Value::List(
                list.into_iter()
                    .map(|item| {
                        let place = self.place(item.span().start);
                        self.node(item, place, depth - 1)
                    })
                    .collect(),
            ),
            DeValue::Table(table) => Value::Table(
                table
                    .into_iter()
                    .map(|(key, value)| {
                        let place = self.place(key.span().start);
                        (key.into_inner().into_owned(), self.node(value, place, depth - 1))
                    })
                    .collect(),
            ),
        };
        Node { value, place: Some(place) }
    }
}

/// Makes a layer of the variables that are ours.
fn read_variables(
    variables: impl IntoIterator<Item = (String, String)>,
    order: &Order,
    findings: &mut Findings,
) -> Table {
    let mut layer = Table::new();
    for (variable, text) in variables {
        let Some(way) = variable.strip_prefix(PREFIX) else { continue };
        let place = Place::Variable(variable.clone());
        let mut steps: Vec<String> =
            way.split("__").map(|step| step.to_lowercase().replace('_', "-")).collect();
        if let Err(fault) = resolve_steps(&mut steps, order) {
            let seen = Some(super::raw::quoted(&text));
            findings.problems.push(Problem { place: Some(place), key: steps.join("."), seen, fault });
            continue;
        }
        insert(&mut layer, &steps, Node { value: Value::Text(text), place: Some(place) });
    }
    layer
}

/// Checks the first step, and puts the true name in place of the second where it names an entry.
fn resolve_steps(steps: &mut [String], order: &Order) -> Result<(), Fault> {
    if !TOP.contains(&steps[0].as_str()) {
        return Err(Fault::UnknownKey { nearest: nearest(&steps[0], TOP), legal: TOP.join(", ") });
    }
    if steps.len() < 2 {
        return Err(Fault::value("a key below this section: add __ and its name".to_owned()));
    }
    let Some(list) = NAMED.into_iter().find(|list| *list == steps[0]) else { return Ok(()) };
    let plain = |name: &str| name.to_lowercase().replace(|c: char| !c.is_ascii_alphanumeric(), "-");
    let entries = order.get(list).map(Vec::as_slice).unwrap_or_default();
    let meant: Vec<&String> =
        entries.iter().map(|(name, _)| name).filter(|name| plain(name) == plain(&steps[1])).collect();
    match meant[..] {
        [name] if steps.len() > 2 => {
            steps[1].clone_from(name);
            Ok(())
        }
        [one, other, ..] => Err(Fault::value(format!(
            "a name that a variable can tell apart; «{one}» and «{other}» look alike"
        ))),
        [_] => Err(Fault::value("a key of this entry: add __ and its name".to_owned())),
        [] => Err(Fault::UnknownName {
            wanted: format!("a [[{list}]] of a file; a variable adds none"),
            nearest: nearest(&steps[1], entries.iter().map(|(name, _)| name.as_str())).map(str::to_owned),
        }),
    }
}

fn insert(table: &mut Table, steps: &[String], node: Node) {
    match steps {
        [] => {}
        [last] => {
            table.insert(last.clone(), node);
        }
        [first, rest @ ..] => {
            let place = node.place.clone();
            let child = table
                .entry(first.clone())
                .or_insert_with(|| Node { value: Value::Table(Table::new()), place });
            if let Value::Table(child) = &mut child.value {
                insert(child, rest, node);
            }
        }
    }
}
