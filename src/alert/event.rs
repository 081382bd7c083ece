//! An event by CloudEvents 1.0 in its JSON format: what webhooks and the broker get.
//!
//! | attribute | |
//! |---|---|
//! | `id` | key of the letter; sent twice it is still one event |
//! | `source` | `/rinseward/<site>/<ledger>`: with `id` unique in the world |
//! | `type` | `dev.rinseward.alert.<occasion>`, `dev.rinseward.digest` |
//! | `subject` | name of the machine; absent where the event is about the site |
//! | `time` | when the message was made |
//! | `data` | the facts of the alert, or of the day |
//!
//! A receiver takes what it knows and ignores the rest: fields may be added, and
//! none changes its meaning.

use serde::Serialize;
use serde_json::Value;

use crate::core::address::escaped;
use crate::core::alert::Notice;
use crate::core::time::Timestamp;

/// What all types begin with; a name of this program's own.
pub const TYPE_PREFIX: &str = "dev.rinseward";

/// Media type of the JSON format (CloudEvents 1.0 JSON Format §3).
pub const MEDIA_TYPE: &str = "application/cloudevents+json";

/// One event.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct CloudEvent {
    specversion: &'static str,
    /// Names the event for ever.
    pub id: String,
    /// Who says it.
    pub source: String,
    /// What kind of event it is.
    #[serde(rename = "type")]
    pub kind: String,
    /// What it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subject: Option<String>,
    /// When it was made.
    pub time: Timestamp,
    datacontenttype: &'static str,
    /// The content.
    pub data: Value,
}

/// Who says it, and when.
#[derive(Clone, Copy, Debug)]
pub struct Envelope<'a> {
    /// Key of the letter.
    pub key: &'a str,
    /// Of this gateway, by [`source`].
    pub source: &'a str,
    /// When the letter was made.
    pub at: Timestamp,
}

/// The `source` of a gateway: the name of its site and what tells its ledger from others.
#[must_use]
pub fn source(site: &str, ledger: &str) -> String {
    format!("/rinseward/{}/{}", escaped(site), escaped(ledger))
}

impl CloudEvent {
    /// An event with any content.
    #[must_use]
    pub fn new(envelope: &Envelope<'_>, word: &str, subject: Option<String>, data: Value) -> Self {
        Self {
            specversion: "1.0",
            id: envelope.key.to_owned(),
            source: envelope.source.to_owned(),
            kind: format!("{TYPE_PREFIX}.{word}"),
            subject,
            time: envelope.at,
            datacontenttype: "application/json",
            data,
        }
    }

    /// The event of a notice; `data` are its facts.
    ///
    /// # Errors
    /// Where `data` cannot be written as JSON.
    pub fn of_notice(
        envelope: &Envelope<'_>,
        notice: &Notice,
        data: &impl Serialize,
    ) -> Result<Self, serde_json::Error> {
        let occasion = serde_json::to_value(notice.occasion)?;
        let word = format!("alert.{}", occasion.as_str().unwrap_or("other"));
        Ok(Self::new(envelope, &word, notice.alert.machine.clone(), serde_json::to_value(data)?))
    }

    /// The event in the structured mode: one JSON object.
    #[must_use]
    pub fn to_json(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("texts, a time and a JSON value can always be written")
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    // CloudEvents 1.0 §3 (required attributes), JSON Format §3; RFC 3986 §2.3 for what is escaped.
    #[test]
    fn an_event_is_one_json_object() {
        let source = source("Küche 1", "8f3a");
        let at = Timestamp::from_micros(1_700_000_000_000_000);
        let envelope = Envelope { key: "17-1-ana-mqtt", source: &source, at };
        for subject in [Some("dm1"), None] {
            let event = CloudEvent::new(&envelope, "digest", subject.map(str::to_owned), json!({"a": 1}));
            let mut expected = json!({
                "specversion": "1.0", "id": "17-1-ana-mqtt", "source": "/rinseward/K%C3%BCche%201/8f3a",
                "type": "dev.rinseward.digest", "time": "2023-11-14T22:13:20Z",
                "datacontenttype": "application/json", "data": {"a": 1}
            });
            if let Some(subject) = subject {
                expected["subject"] = json!(subject);
            }
            let read: Value = serde_json::from_slice(&event.to_json()).expect("JSON");
            assert_eq!(read, expected);
        }
    }
}
