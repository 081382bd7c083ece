//! Takes one section apart by the table of its keys.
//!
//! Every value is taken by name; what is wrong with it goes to the findings and
//! `None` comes back, so that reading goes on. What was taken is noted in
//! canonical spelling, defaults too: together the notes are the configuration
//! in force, as put on record.

mod values;

use super::keys::{Default, Form, Key};
use super::note::{Note, Origin, Whence};
use super::problem::{Fault, Findings, Problem};
use super::raw::{Node, Place, Table, Value, quoted};
use super::suggest::nearest;
use super::text::QuantityError;

/// A section being read.
#[derive(Debug)]
pub struct Reader<'a> {
    keys: Vec<&'static Key>,
    table: &'a Table,
    /// How problems call it: `[[machine]] dm1`.
    label: String,
    /// Where it begins.
    place: Option<Place>,
    notes: Vec<Note>,
}

static NOTHING: Table = Table::new();

impl<'a> Reader<'a> {
    /// Starts on a section that may be absent.
    #[must_use]
    pub fn new(keys: &'static [Key], node: Option<&'a Node>, label: String, place: Option<Place>) -> Self {
        let table = match node.map(|node| &node.value) {
            Some(Value::Table(table)) => table,
            _ => &NOTHING,
        };
        let place = node.and_then(|node| node.place.clone()).or(place);
        Self { keys: keys.iter().collect(), table, label, place, notes: Vec::new() }
    }

    /// Makes further keys legal: those of the kind of a source.
    pub fn allow(&mut self, keys: &'static [Key]) {
        self.keys.extend(keys);
    }

    /// Whether the key is given.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.table.contains_key(name)
    }

    /// Where the key was set, or where the section begins.
    #[must_use]
    pub fn place(&self, name: &str) -> Option<Place> {
        self.table.get(name).and_then(|node| node.place.clone()).or_else(|| self.place.clone())
    }

    /// A problem of this key with the value as seen.
    #[must_use]
    pub fn problem(&self, name: &str, fault: Fault) -> Problem {
        let seen = self.table.get(name).map(|node| node.value.to_string());
        let key = if name.is_empty() { self.label.clone() } else { format!("{}, {name}", self.label) };
        Problem { place: self.place(name), key, seen, fault }
    }

    /// Refuses the value of a key.
    pub fn refuse(&self, name: &str, wanted: impl Into<String>, findings: &mut Findings) {
        findings.problems.push(self.problem(name, Fault::value(wanted)));
    }

    /// Says that a key must be given here.
    pub fn require(&self, name: &'static str, findings: &mut Findings) {
        let wanted = self.key(name).form.to_string();
        findings.problems.push(self.problem(name, Fault::Missing { wanted }));
    }

    /// The same where the section was perhaps meant to have another name, which needs no such key.
    pub fn require_unless(&self, name: &'static str, meant: Option<&str>, findings: &mut Findings) {
        let meant = meant.map(|meant| format!(". Or was «{meant}» meant, which needs none?"));
        let wanted = format!("{}{}", self.key(name).form, meant.unwrap_or_default());
        findings.problems.push(self.problem(name, Fault::Missing { wanted }));
    }

    /// Notes a value that follows from elsewhere and whose source must be told.
    pub fn note_derived(&mut self, name: &str, value: &str, whence: Whence) {
        let line = format!("# {name} = {} ({})", quoted(value), whence.as_str());
        self.notes.push(Note { line, origin: Origin::Follows(Some(whence)) });
    }

    /// Notes the value of a key that nobody set, and of which another key may stand in its place.
    pub fn note_default(&mut self, name: &str, value: &str) {
        self.note(name, &quoted(value));
    }

    /// A reader of the table below a key, as it is where nothing of it is given.
    #[must_use]
    pub fn table_of_defaults(&self, name: &'static str) -> Option<Reader<'a>> {
        let Form::Table(keys) = self.key(name).form else { return None };
        Some(Reader::new(keys, None, format!("{}, {name}", self.label), None))
    }

    /// A reader of the table below a key; `None` where it is not given.
    pub fn table(&self, name: &'static str, findings: &mut Findings) -> Option<Reader<'a>> {
        let node = self.table.get(name)?;
        let Form::Table(keys) = self.key(name).form else { return None };
        if !matches!(node.value, Value::Table(_)) {
            self.refuse(name, self.key(name).form.to_string(), findings);
            return None;
        }
        Some(Reader::new(keys, Some(node), format!("{}, {name}", self.label), None))
    }

    /// A reader of each table below a key.
    pub fn tables(&self, name: &'static str, findings: &mut Findings) -> Vec<Reader<'a>> {
        let Some(node) = self.table.get(name) else { return Vec::new() };
        let (Form::Tables(keys), Value::List(nodes)) = (self.key(name).form, &node.value) else {
            self.refuse(name, self.key(name).form.to_string(), findings);
            return Vec::new();
        };
        let label = |index: usize| format!("{}, {name} {}", self.label, index + 1);
        nodes
            .iter()
            .enumerate()
            .map(|(index, node)| Reader::new(keys, Some(node), label(index), None))
            .collect()
    }

    /// Notes the name of an entry, which is read before its other keys.
    pub fn note_name(&mut self, name: &str) {
        self.note("name", &quoted(name));
    }

    /// Takes the notes of a list of tables over, each as an inline table.
    pub fn note_tables(&mut self, name: &str, tables: &[Vec<Note>]) {
        let lines =
            |notes: &[Note]| notes.iter().map(|note| note.line.as_str()).collect::<Vec<_>>().join(", ");
        let inline: Vec<String> = tables.iter().map(|notes| format!("{{ {} }}", lines(notes))).collect();
        self.note(name, &format!("[{}]", inline.join(", ")));
    }

    /// Takes the notes of a table below `name` over as inner keys.
    pub fn absorb(&mut self, name: &str, inner: Vec<Note>) {
        self.notes.extend(inner.into_iter().map(|Note { line, origin }| {
            let line = match line.strip_prefix("# ") {
                Some(line) => format!("# {name}.{line}"),
                None => format!("{name}.{line}"),
            };
            Note { line, origin }
        }));
    }

    /// Ends the section: refuses every key that is not legal, and gives the notes.
    pub fn finish(self, findings: &mut Findings) -> Vec<Note> {
        let legal = || self.keys.iter().map(|key| key.name);
        for name in self.table.keys().filter(|name| !legal().any(|legal| legal == name.as_str())) {
            let all: Vec<&str> = legal().collect();
            let fault = Fault::UnknownKey { nearest: nearest(name, legal()), legal: all.join(", ") };
            findings.problems.push(self.problem(name, fault));
        }
        self.notes
    }

    fn key(&self, name: &'static str) -> &'static Key {
        let known = self.keys.iter().find(|key| key.name == name);
        known
            .expect("every key that is read stands in the table of its section; the reference test reads all")
    }

    fn note(&mut self, name: &str, value: &str) {
        let place = self.table.get(name).map(|node| node.place.clone().or_else(|| self.place.clone()));
        let origin = place.map_or(Origin::Default, |place| place.map_or(Origin::Follows(None), Origin::Set));
        self.notes.push(Note { line: format!("{name} = {value}"), origin });
    }

    /// Takes a value, or its default, through `read`; refuses what `read` will not have.
    fn take<T>(
        &mut self,
        name: &'static str,
        findings: &mut Findings,
        read: impl Fn(&Value) -> Option<T>,
    ) -> Option<T> {
        let key = self.key(name);
        let Some(node) = self.table.get(name) else {
            return match key.default {
                Default::Value(text) => read(&Value::Text(text.to_owned())),
                Default::Required => {
                    self.require(name, findings);
                    None
                }
                Default::Follows(_) | Default::Absent(_) => None,
            };
        };
        let taken = read(&node.value);
        if taken.is_none() {
            let mut wanted = key.form.to_string();
            if let (Form::Choice(words), Value::Text(text)) = (key.form, &node.value)
                && let Some(word) = nearest(text, words.iter().copied())
            {
                wanted = format!("{wanted}; \"{word}\" was probably meant");
            }
            self.refuse(name, wanted, findings);
        }
        taken
    }

    fn quantity<T>(
        &mut self,
        name: &'static str,
        findings: &mut Findings,
        read: impl Fn(&str) -> Result<T, QuantityError>,
        fits: impl Fn(&T) -> bool,
    ) -> Option<T> {
        let before = findings.problems.len();
        let why = match self.table.get(name).map(|node| &node.value) {
            Some(Value::Text(text)) => read(text).err(),
            Some(Value::Integer(_) | Value::Float(_)) => Some(QuantityError::NoUnit),
            Some(Value::Flag(_) | Value::List(_) | Value::Table(_)) | None => None,
        };
        let taken =
            self.take(name, findings, |value| value.as_text().and_then(|text| read(text).ok()).filter(&fits));
        if let Some(Problem { fault: Fault::Value { why: told, .. }, .. }) = findings.problems.get_mut(before)
        {
            *told = why;
        }
        taken
    }
}
