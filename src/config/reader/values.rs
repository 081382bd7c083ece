//! The values of keys: texts, numbers, quantities, times, each in its canonical spelling.

use std::path::PathBuf;
use std::time::Duration;

use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;

use super::Reader;
use crate::config::keys::Form;
use crate::config::problem::Findings;
use crate::config::raw::{Value, quoted};
use crate::config::text;
use crate::core::alert::Hours;
use crate::core::units::Celsius;

impl Reader<'_> {
    /// The text of a key.
    pub fn text(&mut self, name: &'static str, findings: &mut Findings) -> Option<String> {
        let text = self.take(name, findings, |value| {
            value.as_text().filter(|text| !text.trim().is_empty()).map(str::to_owned)
        })?;
        self.note(name, &quoted(&text));
        Some(text)
    }

    /// The path of a key, complete with the directory of the file that names it.
    pub fn path(&mut self, name: &'static str, findings: &mut Findings) -> Option<PathBuf> {
        let text = self.take(name, findings, |value| {
            value.as_text().filter(|text| !text.is_empty()).map(str::to_owned)
        })?;
        let path = match self.table.get(name).and_then(|node| node.place.as_ref()) {
            Some(place) => place.complete(&text),
            None => PathBuf::from(text),
        };
        self.note(name, &quoted(&path.to_string_lossy()));
        Some(path)
    }

    /// The paths of a key, as [`Reader::path`]; a variable gives them with commas between.
    pub fn paths(&mut self, name: &'static str, findings: &mut Findings) -> Option<Vec<PathBuf>> {
        let texts = self.take(name, findings, list_of_texts)?;
        let place = self.table.get(name).and_then(|node| node.place.as_ref());
        let complete =
            |text: &String| place.map_or_else(|| PathBuf::from(text), |place| place.complete(text));
        let paths: Vec<PathBuf> = texts.iter().map(complete).collect();
        let list: Vec<String> = paths.iter().map(|path| quoted(&path.to_string_lossy())).collect();
        self.note(name, &format!("[{}]", list.join(", ")));
        Some(paths)
    }

    /// The address of a register, counted from 0. What looks like the notation of manuals, 30001 or
    /// 40001, is refused, since it may be meant so; as text in hexadecimal it is taken.
    pub fn register(&mut self, name: &'static str, findings: &mut Findings) -> Option<u16> {
        if let Some(Value::Integer(number)) = self.table.get(name).map(|node| &node.value)
            && let Some(wanted) = notation(*number)
        {
            self.refuse(name, wanted, findings);
            return None;
        }
        let address: u16 = self.take(name, findings, |value| match value {
            Value::Integer(number) => u16::try_from(*number).ok(),
            Value::Text(text) => match text.strip_prefix("0x") {
                Some(digits) => u16::from_str_radix(digits, 16).ok(),
                None => text.parse::<u16>().ok().filter(|number| notation(i64::from(*number)).is_none()),
            },
            Value::Float(_) | Value::Flag(_) | Value::List(_) | Value::Table(_) => None,
        })?;
        let plain = notation(i64::from(address)).is_none();
        self.note(name, &if plain { address.to_string() } else { format!("\"0x{address:04x}\"") });
        Some(address)
    }

    /// The values of a register with their words, as texts.
    pub fn values(&mut self, name: &'static str, findings: &mut Findings) -> Option<Vec<String>> {
        let one = |value: &Value| match value {
            Value::Text(text) => Some(text.clone()),
            Value::Integer(number) => Some(number.to_string()),
            Value::Float(number) => Some(number.to_string()),
            Value::Flag(_) | Value::List(_) | Value::Table(_) => None,
        };
        let values: Vec<String> = self.take(name, findings, |value| match value {
            Value::List(nodes) => nodes.iter().map(|node| one(&node.value)).collect(),
            Value::Text(text) => Some(text.split(',').map(|value| value.trim().to_owned()).collect()),
            Value::Integer(_) | Value::Float(_) | Value::Flag(_) | Value::Table(_) => None,
        })?;
        let list: Vec<String> = values.iter().map(|value| quoted(value)).collect();
        self.note(name, &format!("[{}]", list.join(", ")));
        Some(values)
    }

    /// The flag of a key.
    pub fn flag(&mut self, name: &'static str, findings: &mut Findings) -> Option<bool> {
        let flag = self.take(name, findings, |value| match value {
            Value::Flag(flag) => Some(*flag),
            Value::Text(text) => text.parse().ok(),
            Value::Integer(_) | Value::Float(_) | Value::List(_) | Value::Table(_) => None,
        })?;
        self.note(name, &flag.to_string());
        Some(flag)
    }

    /// The whole number of a key, inside its range.
    pub fn integer<T: TryFrom<u64>>(&mut self, name: &'static str, findings: &mut Findings) -> Option<T> {
        let Form::Integer { min, max } = self.key(name).form else { return None };
        let number = self.take(name, findings, |value| {
            let number = match value {
                Value::Integer(number) => u64::try_from(*number).ok()?,
                Value::Text(text) => text.parse().ok()?,
                Value::Float(_) | Value::Flag(_) | Value::List(_) | Value::Table(_) => return None,
            };
            (min..=max).contains(&number).then_some(number)
        })?;
        self.note(name, &number.to_string());
        T::try_from(number).ok()
    }

    /// The number of a key, inside its range, which keeps NaN out.
    pub fn number(&mut self, name: &'static str, findings: &mut Findings) -> Option<f64> {
        let Form::Number { min, max } = self.key(name).form else { return None };
        let number = self.take(name, findings, |value| {
            let number = match value {
                Value::Integer(number) => f64::from(i32::try_from(*number).ok()?),
                Value::Float(number) => *number,
                Value::Text(text) => text.parse().ok()?,
                Value::Flag(_) | Value::List(_) | Value::Table(_) => return None,
            };
            (min..=max).contains(&number).then_some(number)
        })?;
        self.note(name, &number.to_string());
        Some(number)
    }

    /// The duration of a key, inside its range.
    pub fn duration(&mut self, name: &'static str, findings: &mut Findings) -> Option<Duration> {
        let Form::Duration { min, max } = self.key(name).form else { return None };
        let span = self.quantity(name, findings, text::duration, |span| (min..=max).contains(span))?;
        self.note(name, &quoted(&text::of_duration(span)));
        Some(span)
    }

    /// The duration of a key, inside its range; the inner `None` is `"off"`.
    pub fn duration_or_off(
        &mut self,
        name: &'static str,
        findings: &mut Findings,
    ) -> Option<Option<Duration>> {
        let Form::DurationOrOff { min, max } = self.key(name).form else { return None };
        let read = |text: &str| if text == "off" { Ok(None) } else { text::duration(text).map(Some) };
        let fits = |span: &Option<Duration>| span.is_none_or(|span| (min..=max).contains(&span));
        let span = self.quantity(name, findings, read, fits)?;
        self.note(name, &quoted(&span.map_or("off".to_owned(), text::of_duration)));
        Some(span)
    }

    /// The temperature of a key, inside its range.
    pub fn temperature(&mut self, name: &'static str, findings: &mut Findings) -> Option<Celsius> {
        let Form::Temperature { min_c, max_c } = self.key(name).form else { return None };
        let fits = |celsius: &Celsius| (min_c..=max_c).contains(&celsius.0);
        let celsius = self.quantity(name, findings, text::temperature, fits)?;
        self.note(name, &quoted(&text::of_temperature(celsius)));
        Some(celsius)
    }

    /// The difference of a key in kelvin, inside its range.
    pub fn difference(&mut self, name: &'static str, findings: &mut Findings) -> Option<f64> {
        let Form::Difference { min_k, max_k } = self.key(name).form else { return None };
        let kelvin =
            self.quantity(name, findings, text::difference, |kelvin| (min_k..=max_k).contains(kelvin))?;
        self.note(name, &quoted(&text::of_difference(kelvin)));
        Some(kelvin)
    }

    /// What the word of a key stands for.
    pub fn choice<T: Copy, const N: usize>(
        &mut self,
        name: &'static str,
        words: &[(&'static str, T); N],
        findings: &mut Findings,
    ) -> Option<T> {
        let (word, meaning) = self.take(name, findings, |value| {
            value.as_text().and_then(|text| words.iter().find(|(word, _)| *word == text)).copied()
        })?;
        self.note(name, &quoted(word));
        Some(meaning)
    }

    /// What the word of a key that was read before stands for.
    #[must_use]
    pub fn peek_choice<T: Copy, const N: usize>(
        &self,
        name: &str,
        words: &[(&'static str, T); N],
    ) -> Option<T> {
        let Value::Text(text) = &self.table.get(name)?.value else { return None };
        words.iter().find(|(word, _)| word == text).map(|(_, meaning)| *meaning)
    }

    /// The names of a key; a variable gives them with commas between.
    pub fn names(&mut self, name: &'static str, findings: &mut Findings) -> Option<Vec<String>> {
        let names = self.take(name, findings, list_of_texts)?;
        let list: Vec<String> = names.iter().map(|name| quoted(name)).collect();
        self.note(name, &format!("[{}]", list.join(", ")));
        Some(names)
    }

    /// The hours of a key; a variable gives them with semicolons between.
    pub fn hours(&mut self, name: &'static str, findings: &mut Findings) -> Option<Hours> {
        let texts = self.take(name, findings, |value| match value {
            Value::Text(text) => Some(text.split(';').map(|span| span.trim().to_owned()).collect()),
            Value::List(nodes) => nodes
                .iter()
                .map(|node| node.value.as_text().map(str::to_owned))
                .collect::<Option<Vec<String>>>(),
            Value::Integer(_) | Value::Float(_) | Value::Flag(_) | Value::Table(_) => None,
        })?;
        match Hours::parse(texts.iter().map(String::as_str)) {
            Ok(hours) => {
                let list: Vec<String> = hours.texts().iter().map(|span| quoted(span)).collect();
                self.note(name, &format!("[{}]", list.join(", ")));
                Some(hours)
            }
            Err((place, error)) => {
                self.refuse(
                    name,
                    format!("{}; in span {}: {error}", self.key(name).form, place + 1),
                    findings,
                );
                None
            }
        }
    }

    /// The day of a key.
    pub fn date(&mut self, name: &'static str, findings: &mut Findings) -> Option<Date> {
        let date = self.take(name, findings, |value| value.as_text()?.parse::<Date>().ok())?;
        self.note(name, &quoted(&date.to_string()));
        Some(date)
    }

    /// The time of day of a key.
    pub fn time(&mut self, name: &'static str, findings: &mut Findings) -> Option<Time> {
        let read = |text: &str| Time::strptime("%H:%M", text).ok().filter(|_| text.len() == 5);
        let time = self.take(name, findings, |value| read(value.as_text()?))?;
        self.note(name, &quoted(&format!("{:02}:{:02}", time.hour(), time.minute())));
        Some(time)
    }

    /// The time zone of a key.
    pub fn zone(&mut self, name: &'static str, findings: &mut Findings) -> Option<TimeZone> {
        let text = self.take(name, findings, |value| value.as_text().map(str::to_owned))?;
        let Ok(zone) = TimeZone::get(&text) else {
            self.refuse(name, "a name of the tz database, such as \"America/New_York\" or \"UTC\"", findings);
            return None;
        };
        self.note(name, &quoted(&text));
        Some(zone)
    }
}

/// What to write in place of the number that a manual gives to a register: 30001 to 39999 stand
/// for input registers from 0 on, 40001 to 49999 for holding registers, and so with six digits.
fn notation(number: i64) -> Option<String> {
    let (function, register) = match number {
        30_001..=39_999 => (4, number - 30_001),
        300_001..=365_536 => (4, number - 300_001),
        40_001..=49_999 => (3, number - 40_001),
        400_001..=465_536 => (3, number - 400_001),
        _ => return None,
    };
    let wire = u16::try_from(number).map(|address| {
        format!("; where register {number} of the wire is meant, counted from 0, write \"0x{address:04x}\"")
    });
    let wire = wire.unwrap_or_default();
    Some(format!(
        "{register} with function = {function}, if the manual says {number}: registers count from 0 here{wire}"
    ))
}

/// A list of texts; one text stands for several with commas between.
fn list_of_texts(value: &Value) -> Option<Vec<String>> {
    match value {
        Value::Text(text) => Some(text.split(',').map(|name| name.trim().to_owned()).collect()),
        Value::List(nodes) => nodes.iter().map(|node| node.value.as_text().map(str::to_owned)).collect(),
        Value::Integer(_) | Value::Float(_) | Value::Flag(_) | Value::Table(_) => None,
    }
}
