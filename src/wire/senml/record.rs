//! One SenML record as it stands in the JSON, each field read or found wrong.

use std::borrow::Cow;
use std::fmt;

use serde::de::{
    Deserialize, DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, SeqAccess, Visitor,
};
use serde_json::value::RawValue;

use super::Text;

/// A field of a record.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub(super) enum Field<T> {
    /// Not there.
    #[default]
    Absent,
    /// There, of the right type.
    Given(T),
    /// There, but twice or of another type.
    Wrong,
}

impl<T> Field<T> {
    pub(super) fn is_present(&self) -> bool {
        !matches!(self, Self::Absent)
    }

    fn put(&mut self, value: Option<T>) {
        *self = match (&self, value) {
            (Self::Absent, Some(value)) => Self::Given(value),
            (Self::Absent | Self::Given(_) | Self::Wrong, _) => Self::Wrong,
        };
    }
}

/// The fields of RFC 8428 §4.3 that matter here.
#[derive(Debug, Default)]
pub(super) struct Record<'a> {
    pub(super) base_name: Field<Text<'a>>,
    pub(super) base_time_s: Field<f64>,
    pub(super) base_unit: Field<Text<'a>>,
    pub(super) base_value: Field<f64>,
    pub(super) version: Field<f64>,
    pub(super) name: Field<Text<'a>>,
    pub(super) unit: Field<Text<'a>>,
    pub(super) number: Field<f64>,
    pub(super) text: Field<Text<'a>>,
    pub(super) flag: Field<bool>,
    pub(super) data_is_present: bool,
    pub(super) sum_is_present: bool,
    pub(super) time_s: Field<f64>,
    /// A label that is not known and ends in `_`.
    pub(super) must_understand: bool,
}

/// What stands in the array.
#[derive(Debug)]
#[expect(clippy::large_enum_variant, reason = "short-lived, one at a time on the stack")]
pub(super) enum Element<'a> {
    Record(Record<'a>),
    /// No object.
    Other,
}

/// Labels of RFC 8428 §4.3, table 1.
#[derive(Clone, Copy)]
enum Label {
    BaseName,
    BaseTime,
    BaseUnit,
    BaseValue,
    Version,
    Name,
    Unit,
    Number,
    Text,
    Flag,
    Data,
    Sum,
    Time,
    /// Base sum, update time, and labels that may be ignored.
    Ignored,
    MustUnderstand,
}

impl Label {
    fn of(label: &str) -> Self {
        match label {
            "bn" => Self::BaseName,
            "bt" => Self::BaseTime,
            "bu" => Self::BaseUnit,
            "bv" => Self::BaseValue,
            "bver" => Self::Version,
            "n" => Self::Name,
            "u" => Self::Unit,
            "v" => Self::Number,
            "vs" => Self::Text,
            "vb" => Self::Flag,
            "vd" => Self::Data,
            "s" => Self::Sum,
            "t" => Self::Time,
            other if other.ends_with('_') => Self::MustUnderstand,
            _ => Self::Ignored,
        }
    }
}

impl<'de> Deserialize<'de> for Label {
    fn deserialize<D: Deserializer<'de>>(json: D) -> Result<Self, D::Error> {
        struct LabelVisitor;
        impl Visitor<'_> for LabelVisitor {
            type Value = Label;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a label")
            }

            fn visit_str<E: Error>(self, label: &str) -> Result<Label, E> {
                Ok(Label::of(label))
            }
        }
        json.deserialize_identifier(LabelVisitor)
    }
}

/// A JSON value, as far as a record can use one.
enum Scalar<'a> {
    Number(f64),
    Text(Text<'a>),
    Flag(bool),
    /// Null, an array or an object.
    Other,
}

impl<'a> Scalar<'a> {
    fn number(self) -> Option<f64> {
        if let Self::Number(number) = self { Some(number) } else { None }
    }

    fn text(self) -> Option<Text<'a>> {
        if let Self::Text(text) = self { Some(text) } else { None }
    }

    fn flag(self) -> Option<bool> {
        if let Self::Flag(flag) = self { Some(flag) } else { None }
    }
}

impl<'de> Deserialize<'de> for Scalar<'de> {
    fn deserialize<D: Deserializer<'de>>(json: D) -> Result<Self, D::Error> {
        json.deserialize_any(ScalarVisitor)
    }
}

struct ScalarVisitor;

impl<'de> Visitor<'de> for ScalarVisitor {
    type Value = Scalar<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<Self::Value, E> {
        Ok(Scalar::Number(number))
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<Self::Value, E> {
        Ok(Scalar::Number(number as f64))
    }

    fn visit_u64<E: Error>(self, number: u64) -> Result<Self::Value, E> {
        Ok(Scalar::Number(number as f64))
    }

    fn visit_borrowed_str<E: Error>(self, text: &'de str) -> Result<Self::Value, E> {
        Ok(Scalar::Text(Cow::Borrowed(text)))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        Ok(Scalar::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_bool<E: Error>(self, flag: bool) -> Result<Self::Value, E> {
        Ok(Scalar::Flag(flag))
    }

    fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
        Ok(Scalar::Other)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<Self::Value, A::Error> {
        while values.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Scalar::Other)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut fields: A) -> Result<Self::Value, A::Error> {
        while fields.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Scalar::Other)
    }
}

/// Reads one element of the array.
pub(super) struct RecordSeed {
    /// Takes a value that is JSON but that no double or string can hold for [`Field::Wrong`]; slower.
    pub(super) tolerant: bool,
}

impl<'de> DeserializeSeed<'de> for RecordSeed {
    type Value = Element<'de>;

    fn deserialize<D: Deserializer<'de>>(self, json: D) -> Result<Self::Value, D::Error> {
        json.deserialize_any(self)
    }
}

impl RecordSeed {
    fn scalar<'de, A: MapAccess<'de>>(&self, fields: &mut A) -> Result<Scalar<'de>, A::Error> {
        if self.tolerant {
            let raw: &'de RawValue = fields.next_value()?;
            Ok(serde_json::from_str(raw.get()).unwrap_or(Scalar::Other))
        } else {
            fields.next_value()
        }
    }
}

impl<'de> Visitor<'de> for RecordSeed {
    type Value = Element<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a SenML record")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut fields: A) -> Result<Self::Value, A::Error> {
        let mut record = Record::default();
        while let Some(label) = fields.next_key::<Label>()? {
            if matches!(label, Label::Ignored | Label::MustUnderstand | Label::Data | Label::Sum) {
                fields.next_value::<IgnoredAny>()?;
                record.must_understand |= matches!(label, Label::MustUnderstand);
                record.data_is_present |= matches!(label, Label::Data);
                record.sum_is_present |= matches!(label, Label::Sum);
                continue;
            }
            let value = self.scalar(&mut fields)?;
            match label {
                Label::BaseName => record.base_name.put(value.text()),
                Label::BaseTime => record.base_time_s.put(value.number()),
                Label::BaseUnit => record.base_unit.put(value.text()),
                Label::BaseValue => record.base_value.put(value.number()),
                Label::Version => record.version.put(value.number()),
                Label::Name => record.name.put(value.text()),
                Label::Unit => record.unit.put(value.text()),
                Label::Number => record.number.put(value.number()),
                Label::Text => record.text.put(value.text()),
                Label::Flag => record.flag.put(value.flag()),
                Label::Time => record.time_s.put(value.number()),
                Label::Data | Label::Sum | Label::Ignored | Label::MustUnderstand => {}
            }
        }
        Ok(Element::Record(record))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<Self::Value, A::Error> {
        while values.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Element::Other)
    }

    fn visit_f64<E: Error>(self, _: f64) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }

    fn visit_i64<E: Error>(self, _: i64) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }

    fn visit_u64<E: Error>(self, _: u64) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }

    fn visit_str<E: Error>(self, _: &str) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }

    fn visit_bool<E: Error>(self, _: bool) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }

    fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
        Ok(Element::Other)
    }
}
