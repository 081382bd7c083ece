//! `[mail]`, `[[webhook]]`, `[publish]` and `[heartbeat]`: how messages leave.
//!
//! What could be read or forged on its way is refused here, with the reason,
//! unless it stays on this computer or the operator said so.

use lettre::message::Mailbox;
use reqwest::Url;

use super::secret::{read_secret, read_secrets};
use super::source::{read_login, read_tls, require_both, warn_of_open_password};
use super::{Canonical, entries};
use crate::config::delivery::{
    Delivery, HeartbeatSettings, MailLogin, MailSecurity, MailSettings, Pace, PublishSettings,
    WebhookSettings,
};
use crate::config::keys::{HEARTBEAT, Key, MAIL, METHODS, PUBLISH, SECURITIES, VERSIONS, WEBHOOK};
use crate::config::layers::Merged;
use crate::config::note::Whence;
use crate::config::problem::Findings;
use crate::config::reader::Reader;
use crate::core::id::check_part;

/// Most signing secrets of one receiver: the old one, the new one, and room.
const SECRETS_MAX: usize = 5;

/// Reads the four sections.
pub(super) fn read(merged: &Merged, site: &str, out: &mut Canonical, findings: &mut Findings) -> Delivery {
    let mail = optional("mail", &MAIL, merged, out, findings, read_mail);
    let mut webhooks = Vec::new();
    for (name, _, mut reader) in entries("webhook", &WEBHOOK, merged, findings) {
        if let Err(error) = check_part(name) {
            reader.refuse("name", error.to_string(), findings);
        }
        webhooks.extend(read_webhook(&mut reader, name, findings));
        out.section("[[webhook]]", reader.finish(findings));
    }
    let publish = optional("publish", &PUBLISH, merged, out, findings, |reader, findings| {
        read_publish(reader, &slug(site), findings)
    });
    let heartbeat = optional("heartbeat", &HEARTBEAT, merged, out, findings, read_heartbeat);
    Delivery { mail, webhooks, publish, heartbeat }
}

/// Reads a section that may be left out as a whole.
fn optional<T>(
    name: &str,
    keys: &'static [Key],
    merged: &Merged,
    out: &mut Canonical,
    findings: &mut Findings,
    read: impl FnOnce(&mut Reader<'_>, &mut Findings) -> Option<T>,
) -> Option<T> {
    let node = merged.table.get(name)?;
    let header = format!("[{name}]");
    let mut reader = Reader::new(keys, Some(node), header.clone(), None);
    if node.value.as_table().is_none() {
        reader.refuse("", format!("a table: write {header}"), findings);
        return None;
    }
    let section = read(&mut reader, findings);
    out.section(&header, reader.finish(findings));
    section
}

fn read_pace(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Pace> {
    let per_minute = reader.integer("messages-per-minute", findings);
    let give_up_after = reader.duration("give-up-after", findings);
    let attempts_max = reader.integer("attempts-max", findings);
    Some(Pace { per_minute: per_minute?, give_up_after: give_up_after?, attempts_max: attempts_max? })
}

fn read_mail(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<MailSettings> {
    let host = reader.text("host", findings);
    let security = reader.choice("security", &SECURITIES, findings);
    if let (Some(host), Some(MailSecurity::None)) = (&host, security)
        && !is_here(host)
    {
        let wanted = "starttls or tls: without it everybody on the way can read the messages and the password; \
                      none is for a mail server on this computer";
        reader.refuse("security", wanted, findings);
    }
    let given_port = reader.integer("port", findings);
    let user = reader.text("user", findings);
    let password_file = read_secret(reader, "password-file", findings);
    require_both(reader, ["user", "password-file"], findings);
    let ca_file = reader.path("ca-file", findings);
    let from = read_mailbox(reader, "from", findings);
    let reply_to = read_mailbox(reader, "reply-to", findings);
    let hello_name = reader.text("hello-name", findings);
    if hello_name.as_ref().is_some_and(|name| !is_host_name(name)) {
        reader.refuse("hello-name", "a host name: letters, digits, hyphens and dots", findings);
    }
    let timeout = reader.duration("timeout", findings);
    let pace = read_pace(reader, findings);
    let security = security?;
    let port = given_port.unwrap_or_else(|| {
        let port = match security {
            MailSecurity::StartTls => 587,
            MailSecurity::Tls => 465,
            MailSecurity::None => 25,
        };
        reader.note_derived("port", &port.to_string(), Whence::Iana);
        port
    });
    let login = user.zip(password_file).map(|(user, password_file)| MailLogin { user, password_file });
    Some(MailSettings {
        host: host?,
        port,
        security,
        login,
        ca_file,
        from: from?,
        reply_to,
        hello_name,
        timeout: timeout?,
        pace: pace?,
    })
}

fn read_mailbox(reader: &mut Reader<'_>, key: &'static str, findings: &mut Findings) -> Option<String> {
    let text = reader.text(key, findings)?;
    // A line end would begin a header of its own.
    if text.parse::<Mailbox>().is_err() || text.chars().any(char::is_control) {
        reader.refuse(
            key,
            "an address such as \"kitchen@example.org\" or \"Name <kitchen@example.org>\"",
            findings,
        );
        return None;
    }
    Some(text)
}

fn read_webhook(reader: &mut Reader<'_>, name: &str, findings: &mut Findings) -> Option<WebhookSettings> {
    let url = read_url(reader, findings);
    let secret_files = read_secrets(reader, "secret-files", findings).unwrap_or_default();
    if secret_files.len() > SECRETS_MAX {
        reader.refuse("secret-files", format!("at most {SECRETS_MAX} files"), findings);
    }
    let ca_file = reader.path("ca-file", findings);
    let timeout = reader.duration("timeout", findings);
    let pace = read_pace(reader, findings);
    Some(WebhookSettings {
        name: name.to_owned(),
        url: url?,
        secret_files,
        ca_file,
        timeout: timeout?,
        pace: pace?,
    })
}

/// The keys `url` and `allow-http`.
fn read_url(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<String> {
    let text = reader.text("url", findings);
    let allow_http = reader.flag("allow-http", findings).unwrap_or(false);
    let text = text?;
    let refused = match text.parse::<Url>() {
        Err(_) => Some("a url such as \"https://hooks.example.org/rinseward\""),
        Ok(url) if !url.username().is_empty() || url.password().is_some() => {
            Some("a url without user and password, which would be put on record with the configuration")
        }
        Ok(url) => match url.scheme() {
            "https" => None,
            "http" if allow_http || url.host_str().is_some_and(is_here) => None,
            "http" => Some(
                "https: without it everybody on the way can read and change it; or set allow-http = true",
            ),
            _ => Some("a url that begins with https://"),
        },
    };
    if let Some(wanted) = refused {
        reader.refuse("url", wanted, findings);
        return None;
    }
    Some(text)
}

fn read_publish(reader: &mut Reader<'_>, site: &str, findings: &mut Findings) -> Option<PublishSettings> {
    let host = reader.text("host", findings);
    let version = reader.choice("version", &VERSIONS, findings);
    let given_id = reader.text("client-id", findings);
    let given_prefix = reader.text("prefix", findings);
    if given_prefix.as_ref().is_some_and(|prefix| !is_prefix(prefix)) {
        let wanted = "a topic without +, # and $ and without a slash at either end (MQTT 5.0 §4.7)";
        reader.refuse("prefix", wanted, findings);
    }
    let keep_alive = reader.duration("keep-alive", findings);
    let login = read_login(reader, findings);
    let tls = read_tls(reader, findings);
    let given_port = reader.integer("port", findings);
    let per_minute = reader.integer("messages-per-minute", findings);
    let give_up_after = reader.duration("give-up-after", findings);
    let client_id = given_id.unwrap_or_else(|| {
        let id = format!("rinseward-publish-{site}");
        reader.note_derived("client-id", &id, Whence::Site);
        id
    });
    let prefix = given_prefix.unwrap_or_else(|| {
        let prefix = format!("rinseward/{site}");
        reader.note_derived("prefix", &prefix, Whence::Site);
        prefix
    });
    let port = given_port.unwrap_or_else(|| {
        let port = if tls.is_some() { 8883 } else { 1883 };
        reader.note_derived("port", &port.to_string(), Whence::Iana);
        port
    });
    let host = host?;
    if login.is_some() && tls.is_none() {
        warn_of_open_password(reader, &host, findings);
    }
    let pace = Pace { per_minute: per_minute?, give_up_after: give_up_after?, attempts_max: u32::MAX };
    Some(PublishSettings {
        host,
        port,
        version: version?,
        client_id,
        prefix,
        keep_alive: keep_alive?,
        login,
        tls,
        pace,
    })
}

fn read_heartbeat(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<HeartbeatSettings> {
    let url = read_url(reader, findings);
    let method = reader.choice("method", &METHODS, findings);
    let every = reader.duration("every", findings);
    let ca_file = reader.path("ca-file", findings);
    Some(HeartbeatSettings { url: url?, method: method?, every: every?, ca_file })
}

/// Whether a host is this computer.
fn is_here(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    let address = bare.parse::<std::net::IpAddr>();
    host.eq_ignore_ascii_case("localhost") || address.is_ok_and(|address| address.is_loopback())
}

/// RFC 1123 §2.1.
fn is_host_name(name: &str) -> bool {
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
    };
    name.len() <= 253 && name.split('.').all(label)
}

/// A topic that others can be made of by a slash and more (MQTT 5.0 §4.7.1 to §4.7.3).
fn is_prefix(prefix: &str) -> bool {
    !prefix.contains(['+', '#', '$'])
        && !prefix.chars().any(char::is_control)
        && !prefix.starts_with('/')
        && !prefix.ends_with('/')
        && prefix.len() <= 1_024
}

/// The name of the site as one level of a topic: lower case, a hyphen for whatever else is there.
fn slug(site: &str) -> String {
    let mut slug = String::new();
    for character in site.to_lowercase().chars() {
        if character.is_alphanumeric() {
            slug.push(character);
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "site".to_owned() } else { slug.to_owned() }
}
