//! What a trial of a channel tells of each step, in English and Spanish: one list for terminal and page.
//!
//! What the other side says stays in its own words.

use crate::core::reader::{Language, said};

/// English and Spanish.
type Pair = (&'static str, &'static str);

/// The step of a signature.
pub const SIGNATURE: &str = "signature";
/// The step of a connection.
pub const CONNECTION: &str = "connection";
/// The step of a login.
pub const LOGIN: &str = "login";
/// The step in which a name is looked up.
pub const NAME: &str = "name";
/// The step in which the sender is given.
pub const SENDER: &str = "sender";
/// The step in which the recipient is given.
pub const RECIPIENT: &str = "recipient";
/// The step of the message itself.
pub const MESSAGE: &str = "message";
/// The step of a sign of life.
pub const HEARTBEAT: &str = "heartbeat";

/// A message was signed.
pub const SIGNED: &str = "signed by Standard Webhooks";
/// A message was not.
pub const NOT_SIGNED: &str = "not signed: no secret-files are configured";
/// A broker lets the gateway in.
pub const ACCEPTED: &str = "accepted by the broker";
/// A broker has the message.
pub const ACKNOWLEDGED: &str = "acknowledged by the broker (PUBACK)";
/// A sign of life was taken.
pub const TAKEN: &str = "taken";

/// How another side answers, after its name.
pub const ANSWERS: &str = "answers";
/// The same, of a server of letters.
pub const ANSWERS_BY_TLS: &str = "answers over TLS, certificate checked";
/// The same, where the connection was not encrypted from its first byte.
pub const ANSWERS_BY_STARTTLS: &str = "answers over TLS by STARTTLS, certificate checked";
/// The same, of a server on this computer.
pub const ANSWERS_HERE: &str = "answers on this computer, not encrypted";

const STEPS: [Pair; 8] = [
    (SIGNATURE, "firma"),
    (CONNECTION, "conexión"),
    (LOGIN, "inicio de sesión"),
    (NAME, "nombre"),
    (SENDER, "remitente"),
    (RECIPIENT, "destinatario"),
    (MESSAGE, "mensaje"),
    (HEARTBEAT, "señal de vida"),
];

const OUTCOMES: [Pair; 5] = [
    (SIGNED, "firmado según Standard Webhooks"),
    (NOT_SIGNED, "sin firmar: no hay ningún secret-files configurado"),
    (ACCEPTED, "aceptada por el servidor MQTT"),
    (ACKNOWLEDGED, "confirmado por el servidor MQTT (PUBACK)"),
    (TAKEN, "aceptada"),
];

const CONNECTED: [Pair; 4] = [
    (ANSWERS, "responde"),
    (ANSWERS_BY_TLS, "responde por TLS, certificado comprobado"),
    (ANSWERS_BY_STARTTLS, "responde por TLS con STARTTLS, certificado comprobado"),
    (ANSWERS_HERE, "responde en este equipo, sin cifrar"),
];

/// The word for a step; one that is not known stays as it is.
#[must_use]
pub fn step(step: &str, language: Language) -> &str {
    known(&STEPS, step, language).unwrap_or(step)
}

/// What came of a step; what is not known, such as the words of the other side, stays as it is.
#[must_use]
pub fn outcome(step: &str, told: &str, language: Language) -> String {
    if let Some(known) = known(&OUTCOMES, told, language) {
        return known.to_owned();
    }
    let connected = || {
        let (who, how) = told.split_once(' ').filter(|_| step == CONNECTION)?;
        Some(format!("{who} {}", known(&CONNECTED, how, language)?))
    };
    let named = || {
        let (name, addresses) = told.split_once(" is ").filter(|_| step == NAME)?;
        Some(format!("{name} {} {addresses}", said(language, "is", "es")))
    };
    connected().or_else(named).unwrap_or_else(|| told.to_owned())
}

fn known(pairs: &[Pair], told: &str, language: Language) -> Option<&'static str> {
    pairs
        .iter()
        .find(|(english, _)| *english == told)
        .map(|(english, spanish)| said(language, english, spanish))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own words; what the other side says is nobody's to translate.
    #[test]
    fn each_step_is_told_in_the_readers_language() {
        for (english, spanish) in STEPS {
            assert_eq!(step(english, Language::English), english);
            assert_eq!(step(english, Language::Spanish), spanish);
        }
        for (of, told, expected) in [
            (SIGNATURE, NOT_SIGNED, "sin firmar: no hay ningún secret-files configurado"),
            (CONNECTION, "https://x.example/a answers", "https://x.example/a responde"),
            (
                CONNECTION,
                "mx.example answers over TLS, certificate checked",
                "mx.example responde por TLS, certificado comprobado",
            ),
            (NAME, "mx.example is 192.0.2.1, 192.0.2.2", "mx.example es 192.0.2.1, 192.0.2.2"),
            (MESSAGE, "250 the queue answers", "250 the queue answers"),
            (MESSAGE, "200 OK", "200 OK"),
            (CONNECTION, "", ""),
        ] {
            assert_eq!(outcome(of, told, Language::Spanish), expected);
            assert_eq!(outcome(of, told, Language::English), told);
        }
        assert_eq!(step("connect", Language::Spanish), "connect");
    }
}
