//! How messages leave: what is taken, and what is refused for being readable or forged on its way.

use std::time::Duration;

use super::{MACHINE, RINSE, good, load, problems};
use crate::config::delivery::{BeatMethod, MailSecurity};

fn with(section: &str) -> String {
    format!("[site]\nname = \"North Kitchen, 2nd\"\n{MACHINE}{RINSE}{section}")
}

#[test]
fn nothing_leaves_where_nothing_is_configured() {
    assert_eq!(good(&[&with("")]).delivery, super::super::delivery::Delivery::default());
}

// Ports: IANA registry (submission 587, submissions 465, smtp 25; secure-mqtt 8883, mqtt 1883).
#[test]
fn ports_follow_the_protection() {
    for (security, port, expected) in [
        ("starttls", 587, MailSecurity::StartTls),
        ("tls", 465, MailSecurity::Tls),
        ("none", 25, MailSecurity::None),
    ] {
        let text =
            format!("[mail]\nhost = \"127.0.0.1\"\nfrom = \"a@b.example\"\nsecurity = \"{security}\"\n");
        let mail = good(&[&with(&text)]).delivery.mail.expect("the section is there");
        assert_eq!((mail.port, mail.security), (port, expected));
    }
    for (tls, port) in [(true, 8883), (false, 1883)] {
        let text = format!("[publish]\nhost = \"broker.example\"\ntls = {tls}\n");
        let publish = good(&[&with(&text)]).delivery.publish.expect("the section is there");
        assert_eq!(publish.port, port);
        assert_eq!(publish.prefix, "rinseward/north-kitchen-2nd");
        assert_eq!(publish.client_id, "rinseward-publish-north-kitchen-2nd");
    }
}

#[test]
fn what_is_configured_is_taken() {
    let text = "[[webhook]]\nname = \"facility\"\nurl = \"http://[::1]:8080/x\"\nsecret-files = [\"a\", \"b\"]\n\
                [heartbeat]\nurl = \"https://watch.example/1\"\nmethod = \"post\"\nevery = \"30s\"\n";
    let delivery = good(&[&with(text)]).delivery;
    assert_eq!(delivery.webhooks[0].secret_files.len(), 2);
    assert!(delivery.webhooks[0].secret_files[0].is_absolute(), "counted from the file that names it");
    let heartbeat = delivery.heartbeat.expect("the section is there");
    assert_eq!((heartbeat.method, heartbeat.every), (BeatMethod::Post, Duration::from_secs(30)));
    // A later file changes one key of a receiver by its name, and so does a variable.
    let later = "[[webhook]]\nname = \"facility\"\ntimeout = \"5s\"\n";
    let variables = [("RINSEWARD__WEBHOOK__FACILITY__MESSAGES_PER_MINUTE", "7")];
    let webhook = &load(&[&with(text), later], &variables).expect("legal").configuration.delivery.webhooks[0];
    assert_eq!((webhook.timeout, webhook.pace.per_minute), (Duration::from_secs(5), 7));
    assert_eq!(webhook.secret_files.len(), 2);
}

// Own rules, each with its reason in the message; addresses by RFC 5321 §4.1.2, topics by MQTT 5.0 §4.7.
#[test]
fn what_could_be_read_or_forged_is_refused() {
    for (text, told) in [
        (
            "[mail]\nhost = \"m.example\"\nfrom = \"a@b.example\"\nsecurity = \"none\"\n",
            "config-value [mail], security",
        ),
        ("[mail]\nhost = \"m.example\"\nfrom = \"no address\"\n", "config-value [mail], from"),
        (
            "[mail]\nhost = \"m.example\"\nfrom = \"a\\r\\nBcc: x@y.example <a@b.example>\"\n",
            "config-value [mail], from",
        ),
        (
            "[mail]\nhost = \"m.example\"\nfrom = \"a@b.example\"\nuser = \"u\"\n",
            "config-missing [mail], password-file",
        ),
        (
            "[mail]\nhost = \"m.example\"\nfrom = \"a@b.example\"\nhello-name = \"a b\"\n",
            "config-value [mail], hello-name",
        ),
        ("[mail]\nfrom = \"a@b.example\"\n", "config-missing [mail], host"),
        ("[[webhook]]\nname = \"w\"\nurl = \"http://hooks.example\"\n", "config-value [[webhook]] w, url"),
        (
            "[[webhook]]\nname = \"w\"\nurl = \"https://u:p@hooks.example\"\n",
            "config-value [[webhook]] w, url",
        ),
        ("[[webhook]]\nname = \"w\"\nurl = \"ftp://hooks.example\"\n", "config-value [[webhook]] w, url"),
        (
            "[[webhook]]\nname = \"a b\"\nurl = \"https://hooks.example\"\n",
            "config-value [[webhook]] a b, name",
        ),
        ("[publish]\nhost = \"b.example\"\nprefix = \"a/#\"\n", "config-value [publish], prefix"),
        ("[publish]\nhost = \"b.example\"\nprefix = \"a/\"\n", "config-value [publish], prefix"),
        ("[heartbeat]\nurl = \"http://watch.example\"\n", "config-value [heartbeat], url"),
        ("[heartbeat]\nurl = \"https://watch.example\"\nevery = \"1s\"\n", "config-value [heartbeat], every"),
    ] {
        assert_eq!(problems(&[&with(text)], &[]), [told], "{text}");
    }
    // The operator may say so.
    good(&[&with("[[webhook]]\nname = \"w\"\nurl = \"http://hooks.example\"\nallow-http = true\n")]);
}
