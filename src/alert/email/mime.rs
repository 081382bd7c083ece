//! The mail as bytes: MIME with plain text, HTML and pictures (RFC 2045, 2046, 2387, 5322).

use std::time::{Duration, SystemTime};

use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, Message, MultiPart, SinglePart};
use lettre::{Address, error::Error};
use sha2::{Digest, Sha256};

use super::{Mail, Mailer, Picture};
use crate::alert::answer::printable;
use crate::core::time::Timestamp;

/// `Auto-Submitted: auto-generated` (RFC 3834 §5): no vacation notice answers it.
#[derive(Clone, Copy)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

/// Writes a mail.
pub(super) fn write(mailer: &Mailer, to: &Address, mail: &Mail) -> Result<Vec<u8>, Error> {
    let id = |kind: &str, text: &str| id(&mailer.origin, kind, text, mailer.from.email.domain());
    // The root is never sent: whichever message of the alert comes first, the others find it.
    let root = id("thread", &mail.thread);
    let mut builder = Message::builder()
        .from(mailer.from.clone())
        .to(Mailbox::new(None, to.clone()))
        .subject(printable(&mail.subject))
        .date(system_time(mail.at))
        .message_id(Some(id("message", &mail.key)))
        .in_reply_to(root.clone())
        .references(root)
        .header(AutoSubmitted);
    if let Some(reply_to) = &mailer.reply_to {
        builder = builder.reply_to(reply_to.clone());
    }
    let text = SinglePart::plain(mail.text.clone());
    let message = match &mail.html {
        None => builder.singlepart(text)?,
        Some(html) => {
            let both = MultiPart::alternative().singlepart(text);
            builder.multipart(match mail.pictures.as_slice() {
                [] => both.singlepart(SinglePart::html(html.clone())),
                pictures => both.multipart(with_pictures(html, pictures)?),
            })?
        }
    };
    Ok(message.formatted())
}

fn with_pictures(html: &str, pictures: &[Picture]) -> Result<MultiPart, Error> {
    let png = ContentType::parse("image/png").map_err(|_| Error::CannotParseFilename)?;
    let mut related = MultiPart::related().singlepart(SinglePart::html(html.to_owned()));
    for picture in pictures {
        let part = Attachment::new_inline(printable(&picture.id)).body(picture.png.clone(), png.clone());
        related = related.singlepart(part);
    }
    Ok(related)
}

/// A message identifier (RFC 5322 §3.6.4) that follows from what it names: 128 bits of SHA-256.
fn id(origin: &str, kind: &str, text: &str, domain: &str) -> String {
    let mut hash = Sha256::new();
    for part in [origin, kind, text] {
        hash.update(part.as_bytes());
        hash.update([0]);
    }
    let hex: String = hash.finalize().iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    format!("<{hex}.rinseward@{domain}>")
}

fn system_time(at: Timestamp) -> SystemTime {
    let micros = u64::try_from(at.micros()).unwrap_or(0);
    SystemTime::UNIX_EPOCH + Duration::from_micros(micros)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::config::delivery::{MailSecurity, MailSettings, Pace};

    fn mailer() -> Mailer {
        let pace = Pace { per_minute: 1, give_up_after: Duration::ZERO, attempts_max: 1 };
        let settings = MailSettings {
            host: "localhost".to_owned(),
            port: 25,
            security: MailSecurity::None,
            login: None,
            ca_file: None,
            from: "Dish <kitchen@example.org>".to_owned(),
            reply_to: None,
            hello_name: None,
            timeout: Duration::ZERO,
            pace,
        };
        Mailer::prepare(settings, "north").expect("legal settings")
    }

    proptest! {
        /// Whatever a message holds, its head has these fields, each once, and no line over 998
        /// characters (RFC 5322 §2.1.1, §3.6).
        #[test]
        fn the_head_is_ours(
            subject in any::<String>(), text in any::<String>(), html in any::<String>(),
            key in any::<String>(), thread in any::<String>(), picture in any::<String>(),
        ) {
            let mail = Mail {
                key, thread, subject, text,
                to: "ana@example.org".to_owned(),
                at: Timestamp::from_micros(1_700_000_000_000_000),
                html: Some(html),
                pictures: vec![Picture { id: picture, png: vec![0, 13, 10, 255] }],
            };
            let to = mail.to.parse().expect("an address");
            let bytes = write(&mailer(), &to, &mail).expect("a mail");
            let text = String::from_utf8(bytes).expect("7 bits");
            prop_assert!(text.is_ascii());
            prop_assert!(text.split("\r\n").all(|line| line.len() <= 998 && !line.contains(['\r', '\n'])));
            let (head, _) = text.split_once("\r\n\r\n").expect("an empty line ends the head");
            let mut names: Vec<&str> = head
                .split("\r\n")
                .filter(|line| !line.starts_with([' ', '\t']))
                .map(|line| line.split(':').next().unwrap_or_default())
                .collect();
            names.sort_unstable();
            prop_assert_eq!(names, [
                "Auto-Submitted", "Content-Type", "Date", "From", "In-Reply-To", "MIME-Version", "Message-ID",
                "References", "Subject", "To",
            ]);
        }
    }

    // Own rule: a repeat has the same identifier, anything else another.
    #[test]
    fn a_repeat_can_be_told() {
        let first = id("north", "message", "17-1-ana", "example.org");
        assert_eq!(first, id("north", "message", "17-1-ana", "example.org"));
        assert!(first.starts_with('<') && first.ends_with(".rinseward@example.org>"), "{first}");
        for other in [
            id("south", "message", "17-1-ana", "example.org"),
            id("north", "thread", "17-1-ana", "example.org"),
            id("north", "message", "17-2-ana", "example.org"),
            id("northmessage", "", "17-1-ana", "example.org"),
        ] {
            assert_ne!(first, other);
        }
    }
}
