//! One SenML pack (RFC 8428), as records and as a line.

use std::fmt::Write as _;

use crate::probe::Sample;

/// The value of a SenML record.
#[derive(Clone, PartialEq, Debug)]
pub enum RecordValue {
    /// `v`.
    Number(f64),
    /// `vb`.
    Boolean(bool),
    /// `vs`: a probe's fault.
    Text(&'static str),
}

/// One SenML record.
#[derive(Clone, PartialEq, Debug)]
pub struct Record {
    /// Name after the base name.
    pub name: &'static str,
    /// Unit; `None` where the value has none.
    pub unit: Option<&'static str>,
    /// Value.
    pub value: RecordValue,
}

impl Record {
    /// The record of a probe's sample; `None` if nothing was delivered.
    #[must_use]
    pub fn temperature(name: &'static str, sample: Sample) -> Option<Self> {
        match sample {
            Sample::Celsius(value_c) => {
                Some(Self { name, unit: Some("Cel"), value: RecordValue::Number(value_c) })
            }
            Sample::OpenCircuit => Some(Self { name, unit: None, value: RecordValue::Text("open-circuit") }),
            Sample::Missing => None,
        }
    }
}

/// One pack that leaves a node.
#[derive(Clone, PartialEq, Debug)]
pub struct Emission {
    /// When it leaves, µs of Unix time by the true clock. Emissions come in this order.
    pub at_micros: i64,
    /// Index of the machine in the world.
    pub machine: usize,
    /// SenML base name, `<machine>/`.
    pub base_name: String,
    /// Time of all records by the node's clock, µs of Unix time.
    pub time_micros: i64,
    /// Records, all at that time.
    pub records: Vec<Record>,
}

impl Emission {
    /// The pack as one line, without a line end.
    #[must_use]
    pub fn line(&self) -> String {
        let mut line = String::with_capacity(120);
        self.write_line(&mut line);
        line
    }

    /// Appends the pack as one line, without a line end.
    pub fn write_line(&self, line: &mut String) {
        let (seconds, micros) =
            (self.time_micros.div_euclid(1_000_000), self.time_micros.rem_euclid(1_000_000));
        for (index, record) in self.records.iter().enumerate() {
            if index == 0 {
                // Writing to a String cannot fail.
                let _ok = write!(line, "[{{\"bn\":\"{}\",\"bt\":{seconds}.{micros:06},", self.base_name);
            } else {
                line.push_str(",{");
            }
            let _ok = write!(line, "\"n\":\"{}\",", record.name);
            if let Some(unit) = record.unit {
                let _ok = write!(line, "\"u\":\"{unit}\",");
            }
            let _ok = match &record.value {
                RecordValue::Number(value) => write!(line, "\"v\":{}}}", rounded(*value)),
                RecordValue::Boolean(value) => write!(line, "\"vb\":{value}}}"),
                RecordValue::Text(value) => write!(line, "\"vs\":\"{value}\"}}"),
            };
        }
        line.push(']');
    }
}

/// A reading to four decimals, so that steps of 0.1 K print as such.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pack_is_one_line_of_senml() {
        let record = |name, value| Record::temperature(name, value).expect("delivered");
        let emission = Emission {
            at_micros: 0,
            machine: 0,
            base_name: "dm1/".to_owned(),
            time_micros: 1_700_000_000_250_000,
            records: vec![record("wash", Sample::Celsius(66.1)), record("rinse", Sample::OpenCircuit)],
        };
        // Labels and base fields: RFC 8428, 4.1 and 4.2.
        let expected = "[{\"bn\":\"dm1/\",\"bt\":1700000000.250000,\"n\":\"wash\",\"u\":\"Cel\",\"v\":66.1},\
                        {\"n\":\"rinse\",\"vs\":\"open-circuit\"}]";
        assert_eq!(emission.line(), expected);
    }
}
