//! What is typed to amend an entry, and what of it can be true.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Corrected;
use super::forms::{NOTE_CHARS_MAX, made, temperature, within};
use super::supplies::{said, ticked};
use super::words::{Words, words};
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::{
    Impossible, MG_PER_L, NAME_BYTES_MAX, PH, SOLUTION_C, THERMOMETER_C, method, words as logbook,
};
use crate::core::reader::{Language, Reader};
use crate::core::record::{Check, Supply};
use crate::core::sanitizer::strip_colours;
use crate::core::time::Timestamp;
use crate::web::form::clock::{Which, instant, local, which};
use crate::web::form::{Fault, Field, number, optional, text};

/// What is sent to amend an entry.
#[derive(Serialize, Deserialize, Default, Debug)]
#[serde(default)]
pub(in crate::web) struct SentChange {
    reason: String,
    pub(super) change: String,
    strip: String,
    mg_per_l: String,
    /// As with the other values that an entry may be without: absent where the form has no such field.
    ph: Option<String>,
    solution: Option<String>,
    enough: String,
    note: Option<String>,
    shown: String,
    right: String,
    method: Option<String>,
    at: String,
    offset: String,
    /// As with [`Sent`](super::forms::Sent).
    pub(super) once: String,
    /// Record by which what the form showed counted, see [`Entered::counts_by`](super::Entered::counts_by); empty where that is not said.
    pub(super) counts: String,
    /// As with [`Sent`](super::forms::Sent).
    #[serde(skip_deserializing)]
    short: Vec<Supply>,
    /// As with [`Sent`](super::forms::Sent).
    #[serde(flatten)]
    pub(super) unknown: BTreeMap<String, String>,
}

impl SentChange {
    /// As with [`Sent::take_ticks`](super::forms::Sent::take_ticks).
    pub(super) fn take_ticks(&mut self) {
        self.short = ticked(&mut self.unknown);
    }
}

/// What is sent to comment on an entry: no value is in it.
#[derive(Deserialize, Default, Debug)]
#[serde(default)]
pub(in crate::web) struct SentComment {
    reason: String,
    /// As with [`Sent`](super::forms::Sent).
    once: String,
    /// As with [`Sent`](super::forms::Sent).
    #[serde(flatten)]
    unknown: BTreeMap<String, String>,
}

impl From<SentComment> for SentChange {
    fn from(sent: SentComment) -> Self {
        let SentComment { reason, once, unknown } = sent;
        Self { reason, once, unknown, change: "comment".to_owned(), ..Self::default() }
    }
}

/// The form of an amendment as it is shown.
#[derive(Clone, Default, Debug)]
pub(super) struct Correcting {
    pub(super) reason: Field,
    pub(super) change: Field,
    /// The colour of the strip, where one was tapped.
    pub(super) strip: String,
    pub(super) mg_per_l: Field,
    pub(super) ph: Field,
    pub(super) solution: Field,
    pub(super) enough: Field,
    pub(super) short: Vec<Supply>,
    pub(super) note: Field,
    pub(super) shown: Field,
    pub(super) right: Field,
    pub(super) method: Field,
    pub(super) at: Field,
    pub(super) offset: String,
    /// Which of pH, solution, note and method were sent empty.
    pub(super) empty: [bool; 4],
    /// Names the press of the button.
    pub(super) once: String,
    /// Whether it was sent before.
    pub(super) tried: bool,
    /// Why the whole was refused.
    pub(super) refused: Option<String>,
    /// That it is on record by an earlier press.
    pub(super) already: Option<String>,
}

impl From<SentChange> for Correcting {
    fn from(sent: SentChange) -> Self {
        let may_lack = [&sent.ph, &sent.solution, &sent.note, &sent.method];
        let empty = may_lack.map(|own| own.as_ref().is_some_and(|own| own.trim().is_empty()));
        Self {
            empty,
            reason: Field::with(sent.reason),
            change: Field::with(sent.change),
            strip: sent.strip,
            mg_per_l: Field::with(sent.mg_per_l),
            ph: Field::with(sent.ph.unwrap_or_default()),
            solution: Field::with(sent.solution.unwrap_or_default()),
            enough: Field::with(sent.enough),
            short: sent.short,
            note: Field::with(sent.note.unwrap_or_default()),
            shown: Field::with(sent.shown),
            right: Field::with(sent.right),
            method: Field::with(sent.method.unwrap_or_default()),
            at: Field::with(sent.at),
            offset: sent.offset,
            once: sent.once,
            tried: true,
            refused: None,
            already: None,
        }
    }
}

/// A check of a machine that sanitizes so as it is typed; nothing of a note, and of one that counts no more.
fn counted(check: Option<&Check>, of: Option<Sanitizing>, reader: &Reader) -> Correcting {
    let mut fields = Correcting::default();
    let Some(check) = check else { return fields };
    let degrees = |celsius: f64| Field::with(shown(reader.scale.temperature(celsius)));
    let text = |text: &Option<String>| Field::with(text.clone().unwrap_or_default());
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, method, .. } => {
            let is_strip = method.as_deref().and_then(method::known_method) == Some(method::Method::Strip);
            // Only what has a button is shown by one.
            let shown = mg_per_l.to_string();
            if is_strip && of.is_some_and(|of| strip_colours(of).iter().any(|one| one.to_string() == shown)) {
                fields.strip = shown;
            } else {
                fields.mg_per_l = Field::with(shown);
            }
            fields.ph = Field::with(ph.map(|ph| ph.to_string()).unwrap_or_default());
            fields.solution = solution_c.map(degrees).unwrap_or_default();
            let method = method.as_deref().map(|method| logbook::method(method, reader.language));
            fields.method = Field::with(method.unwrap_or_default());
        }
        Check::Supply { enough, short, note, .. } => {
            fields.enough = Field::with(if *enough { "yes" } else { "no" });
            fields.short.clone_from(short);
            fields.note = text(note);
        }
        Check::DrainAndClean { note, .. } => fields.note = text(note),
        Check::Thermometer { shown_c, reference_c, .. } => {
            (fields.shown, fields.right) = (degrees(*shown_c), degrees(*reference_c));
        }
    }
    fields.at = Field::with(local(reader, check.at()));
    fields
}

/// A temperature as it is typed: a tenth of a degree, which is what people read off.
fn shown(degrees: f64) -> String {
    let text = format!("{degrees:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// Whether two texts are one, or one number.
fn is_same_number(typed: &str, counts: &str) -> bool {
    let same = |(one, other): (f64, f64)| one.total_cmp(&other).is_eq();
    let read = |text| number(text).ok().flatten();
    typed.trim() == counts || read(typed).zip(read(counts)).is_some_and(same)
}

impl Correcting {
    /// The form of a page that is shown at this time, before it is filled.
    pub(super) fn fresh(now: Timestamp) -> Self {
        Self { once: now.micros().to_string(), ..Self::default() }
    }

    /// The fields for numbers, in one order.
    fn numbers(&mut self) -> [&mut Field; 5] {
        [&mut self.mg_per_l, &mut self.ph, &mut self.solution, &mut self.shown, &mut self.right]
    }

    /// The other fields for values, in one order.
    fn texts(&mut self) -> [&mut Field; 3] {
        [&mut self.note, &mut self.method, &mut self.at]
    }

    /// The fields for values that an entry may be without, in one order.
    fn may_lack(&mut self) -> [&mut Field; 4] {
        [&mut self.ph, &mut self.solution, &mut self.note, &mut self.method]
    }

    /// Whether a value of this check was emptied, which takes nothing off the record: that is said at its field.
    pub(super) fn is_emptied(
        &mut self,
        check: Option<&Check>,
        of: Option<Sanitizing>,
        reader: &Reader,
    ) -> bool {
        let mut own = counted(check, of, reader);
        let (empty, mut found) = (self.empty, false);
        for ((field, counts), empty) in self.may_lack().into_iter().zip(own.may_lack()).zip(empty) {
            if empty && !counts.value.is_empty() {
                *field = Field { value: String::new(), fault: Some(Fault::Emptied.say(reader.language)) };
                found = true;
            }
        }
        found
    }

    /// Empties what is as it counted where the form showed this check, so that only what was changed is left.
    pub(super) fn without_counted(
        mut self,
        check: Option<&Check>,
        of: Option<Sanitizing>,
        reader: &Reader,
    ) -> Self {
        let mut own = counted(check, of, reader);
        if !self.offset.is_empty() {
            let meant = instant(&self.at.value, &self.offset, &reader.zone);
            let is_same = check.is_some_and(|check| meant == Ok(check.at()));
            own.at = if is_same { Field::with(self.at.value.trim()) } else { Field::default() };
        }
        for (field, counts) in self.numbers().into_iter().zip(own.numbers()) {
            if is_same_number(&field.value, &counts.value) {
                field.value.clear();
            }
        }
        for (field, counts) in self.texts().into_iter().zip(own.texts()) {
            if field.value.trim() == counts.value {
                field.value.clear();
            }
        }
        if self.strip == own.strip {
            self.strip.clear();
        }
        if self.enough.value == own.enough.value && self.short == own.short {
            self.enough.value.clear();
            self.short.clear();
        }
        self
    }

    /// Fills what is empty with what counts.
    pub(super) fn filled(mut self, check: Option<&Check>, of: Option<Sanitizing>, reader: &Reader) -> Self {
        let mut own = counted(check, of, reader);
        let is_typed = !self.mg_per_l.value.is_empty();
        let counting = own.numbers().map(|field| field.value.clone());
        for (field, counts) in self.numbers().into_iter().zip(counting) {
            if field.value.is_empty() {
                field.value = counts;
            }
        }
        for (field, counts) in self.texts().into_iter().zip(own.texts()) {
            if field.value.is_empty() {
                field.value.clone_from(&counts.value);
            }
        }
        if !self.strip.is_empty() && !is_typed {
            self.mg_per_l.value.clear();
        } else if self.strip.is_empty() {
            self.strip = own.strip;
        }
        if self.enough.value.is_empty() && self.short.is_empty() {
            (self.enough.value, self.short) = (own.enough.value, own.short);
        }
        self
    }

    /// Puts all that was changed behind the reason, for somebody else to put right.
    pub(super) fn ask(&mut self, reader: &Reader) {
        let typed = self.in_words(words(reader.language), reader);
        if !typed.is_empty() {
            let reason = self.reason.value.trim_end();
            self.reason.value = if reason.is_empty() { typed } else { format!("{reason} ({typed})") };
        }
    }

    /// What was changed in words; nothing where nothing was.
    fn in_words(&self, own: &Words, reader: &Reader) -> String {
        let strip = Field::with(self.strip.as_str());
        let degrees = reader.scale.symbol();
        let named = [
            (own.strength, &strip, ""),
            (own.strength, &self.mg_per_l, ""),
            (own.ph, &self.ph, ""),
            (own.solution, &self.solution, degrees),
            (own.method, &self.method, ""),
            (own.shown, &self.shown, degrees),
            (own.reference_shows, &self.right, degrees),
            (own.note, &self.note, ""),
            (own.at, &self.at, ""),
        ];
        let named = named.into_iter().filter(|(_, field, _)| !field.value.trim().is_empty());
        let told =
            |name, field: &Field, unit| format!("{name}: {} {unit}", field.value).trim_end().to_owned();
        let mut told: Vec<String> = named.map(|(name, field, unit)| told(name, field, unit)).collect();
        let short = self.short.iter().map(|one| logbook::supply(*one, reader.language));
        let short = short.collect::<Vec<_>>().join(", ");
        match self.enough.value.as_str() {
            "yes" => told.push(own.enough.to_owned()),
            "no" => told.push(format!("{}: {short}", own.short)),
            _ if !short.is_empty() => told.push(format!("{}: {short}", own.short)),
            _ => {}
        }
        if self.change.value == "withdraw" {
            told.insert(0, own.withdraw.to_owned());
        }
        told.join("; ")
    }

    /// The two times that the one which was typed may be; none where it is only one.
    pub(super) fn twice(&self, reader: &Reader) -> Vec<Which> {
        which(&self.at.value, &self.offset, &reader.zone, reader.language)
    }

    /// Whether a value was typed or chosen, which only a correction takes.
    pub(super) fn has_values(&self) -> bool {
        let fields = [
            &self.mg_per_l,
            &self.ph,
            &self.solution,
            &self.enough,
            &self.note,
            &self.shown,
            &self.right,
            &self.method,
            &self.at,
        ];
        !self.short.is_empty()
            || !self.strip.is_empty()
            || fields.into_iter().any(|field| !field.value.trim().is_empty())
    }

    /// Why it is amended.
    pub(super) fn why(&mut self, reader: &Reader) -> Option<String> {
        let found = text(&self.reason.value, NOTE_CHARS_MAX * 2);
        self.reason.take(found, reader.language)
    }

    /// Whether a check that counts as `was` can have these values, by what the strip of its machine can show.
    pub(super) fn is_a_colour(
        &mut self,
        was: &Check,
        right: &Corrected,
        of: Sanitizing,
        language: Language,
    ) -> bool {
        let mut check = was.clone();
        if let Check::Sanitizer { mg_per_l, method, .. } = &mut check {
            *mg_per_l = right.mg_per_l.unwrap_or(*mg_per_l);
            *method = right.method.clone().or_else(|| method.take());
        }
        let found = method::still_a_colour(Some(was), &check, of);
        if let Err(Impossible::NoColour { mg_per_l, colours }) = found {
            self.mg_per_l.fault = Some(Fault::NoColourEntered(mg_per_l, colours).say(language));
            return false;
        }
        true
    }

    /// The right concentration, mg/L, by the colour that was tapped or the number that was typed, as with
    /// [`Fields::strength`](super::forms::Fields::strength).
    fn strength(&mut self, language: Language) -> Option<Option<f64>> {
        let read = |typed: &str| within(typed, MG_PER_L, |value| value);
        let found = match (read(&self.strip), read(&self.mg_per_l.value)) {
            (Err(fault), _) | (_, Err(fault)) => Err(fault),
            (Ok(Some(strip)), Ok(Some(typed))) if strip.total_cmp(&typed).is_ne() => {
                Err(Fault::NotTheStrip(strip, typed))
            }
            (Ok(strip), Ok(typed)) => Ok(strip.or(typed)),
        };
        self.mg_per_l.take(found, language)
    }

    /// The right values of an entry that came on record then, where each that was given can be.
    pub(super) fn values(&mut self, reader: &Reader, recorded: Timestamp) -> Option<Corrected> {
        let (language, scale) = (reader.language, reader.scale);
        let plain = |field: &mut Field, range| {
            let found = within(&field.value, range, |value| value);
            field.take(found, language)
        };
        let degrees = |field: &mut Field, range| {
            let found = temperature(&field.value, range, scale);
            field.take(found, language)
        };
        let (mg_per_l, ph) = (self.strength(language), plain(&mut self.ph, PH));
        let solution_c = degrees(&mut self.solution, SOLUTION_C);
        let (shown_c, reference_c) =
            (degrees(&mut self.shown, THERMOMETER_C), degrees(&mut self.right, THERMOMETER_C));
        let note = optional(&self.note.value, NOTE_CHARS_MAX);
        let note = self.note.take(note, language);
        let method = optional(&self.method.value, NAME_BYTES_MAX);
        let method = self.method.take(method, language);
        // It was made before it was entered, however long before.
        let at = match self.at.value.trim() {
            "" => Some(None),
            typed => {
                let after = |fault| if fault == Fault::Future { Fault::AfterEntry } else { fault };
                let found = made((typed, &self.offset), &reader.zone, recorded, true).map_err(after);
                self.at.take(found, language).map(Some)
            }
        };
        let supplies = self.enough.take(said(&self.enough.value, &self.short), language);
        let (enough, short) = supplies?.unzip();
        Some(Corrected {
            at: at?,
            method: method?,
            mg_per_l: mg_per_l?,
            ph: ph?,
            solution_c: solution_c?,
            enough,
            short,
            note: note?,
            shown_c: shown_c?,
            reference_c: reference_c?,
        })
    }
}
