//! `check-config`: every problem of the files in one run, and what is not there now.

use super::{Failure, Streams, channels, configuration, in_force, ports};
use crate::cli::CheckConfigArgs;
use crate::config::resolve::WebOptions;
use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;
use crate::web::tls::Identity;

pub(super) fn check_config(arguments: &CheckConfigArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load_with_doubts(&arguments.files, streams)?;
    let configuration = &loaded.configuration;
    let missing = ports::missing_devices(configuration);
    for ports::Missing { source, device } in &missing {
        let told = Diagnostic::warning(
            "source-open",
            format!("the device of source «{source}» is not there now"),
        )
        .place(device.display().to_string())
        .advice("plug it in, or give the source a name that rinseward ports lists; the service waits for it");
        writeln!(streams.err, "{told}").map_err(Failure::output)?;
    }
    let unserved = pages_unserved(configuration.web.as_ref());
    if let Some(told) = &unserved {
        writeln!(streams.err, "{told}").map_err(Failure::output)?;
    }
    writeln!(
        streams.out,
        "ok: site «{}», {}, {}, {}, {}, {}",
        configuration.site,
        counted(configuration.machines.len(), Noun::Machines),
        counted(configuration.channels.len(), Noun::Probes),
        counted(configuration.sources.len(), Noun::Sources),
        counted(configuration.alerts.contacts.len(), Noun::Contacts),
        counted(loaded.warnings.len() + missing.len() + usize::from(unserved.is_some()), Noun::Warnings),
    )
    .map_err(Failure::output)?;
    for line in in_force::told(configuration) {
        writeln!(streams.out, "  on record: {line}").map_err(Failure::output)?;
    }
    let (count, broken) = channels::tried(&configuration.delivery);
    if broken.is_empty() {
        return Ok(());
    }
    let told = format!(
        "{} of {} cannot work here; messages by them wait:",
        broken.len(),
        counted(count, Noun::Channels)
    );
    writeln!(streams.out, "{told}").map_err(Failure::output)?;
    broken
        .iter()
        .try_for_each(|one| writeln!(streams.out, "  {}: {}; {}", one.channel, one.told, one.advice()))
        .map_err(Failure::output)
}

/// Why the pages would not be served with the certificate and the key that are there now, by the very reading of the
/// service. A warning: the gateway itself starts, and proves racks without them. It is read here with the rights of
/// whoever typed the command, which are not those of the service: where they are at fault nothing is known of it.
fn pages_unserved(web: Option<&WebOptions>) -> Option<Diagnostic> {
    let files = web?.tls.clone()?;
    let error = Identity::load(files.clone()).err()?;
    let place = match error.path() {
        Some(path) if path == files.key => format!("[web] key = «{}»", path.display()),
        Some(path) => format!("[web] certificate = «{}»", path.display()),
        None => {
            format!("[web] certificate = «{}», key = «{}»", files.certificate.display(), files.key.display())
        }
    };
    if error.is_of_rights() {
        let told =
            Diagnostic::warning("web-tls", "whoever types this may not read what the pages are served with");
        let advice = "check as the user that the service runs as, such as sudo -u rinseward rinseward check-config …; \
                      that one must be able to read it";
        return Some(told.place(place).because(&error).advice(advice));
    }
    let told = Diagnostic::warning("web-tls", "no page can be served with this certificate and key");
    Some(told.place(place).because(&error).advice(error.fix()))
}

fn counted(count: usize, noun: Noun) -> String {
    noun.of(count as u64, Language::English)
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::os::unix::fs::PermissionsExt;
    use std::time::Duration;

    use super::*;
    use crate::config::resolve::TlsFiles;

    // Own promise: what the service refuses is found before it starts, and each file that is at fault is named by its
    // key and its path.
    #[test]
    fn what_the_pages_cannot_be_served_with_is_found() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let files = TlsFiles {
            certificate: directory.path().join("pages.pem"),
            key: directory.path().join("pages.key"),
        };
        let made = rcgen::generate_simple_self_signed(["one.example".to_owned()]).expect("a certificate");
        fs::write(&files.certificate, made.cert.pem()).expect("a temporary file");
        fs::write(&files.key, made.signing_key.serialize_pem()).expect("a temporary file");
        let mode = |mode| {
            fs::set_permissions(&files.key, fs::Permissions::from_mode(mode)).expect("our own file");
        };
        let web = WebOptions {
            listen: ([127, 0, 0, 1], 8480).into(),
            behind_proxy: false,
            tls: Some(files.clone()),
            public_url: None,
            link_life: Duration::from_secs(60),
        };
        mode(0o600);
        assert_eq!(pages_unserved(Some(&web)).map(|told| told.to_string()), None);
        mode(0o644);
        let told = pages_unserved(Some(&web)).expect("it is found").to_string();
        for part in ["warning[web-tls]", "pages.key", "every user of this computer can read it", "chmod o= "]
        {
            assert!(told.contains(part), "{part}: {told}");
        }
        mode(0o600);
        let told = || pages_unserved(Some(&web)).expect("it is found").to_string();
        let whole = fs::read(&files.certificate).expect("our own file");
        fs::write(&files.certificate, "no certificate").expect("our own file");
        let place = format!("where: [web] certificate = «{}»\n", files.certificate.display());
        assert!(told().contains(&place) && told().contains("holds no certificate in PEM form"), "{}", told());
        // A key of another certificate: neither file is wrong by itself.
        let other = rcgen::generate_simple_self_signed(["one.example".to_owned()]).expect("a certificate");
        fs::write(&files.certificate, other.cert.pem()).expect("our own file");
        let (certificate, key) = (files.certificate.display(), files.key.display());
        let place = format!("where: [web] certificate = «{certificate}», key = «{key}»\n");
        assert!(
            told().contains(&place) && told().contains("the key belongs to the certificate"),
            "{}",
            told()
        );
        fs::write(&files.certificate, whole).expect("our own file");
        assert!(pages_unserved(Some(&web)).is_none());
        fs::remove_file(&files.key).expect("our own file");
        let place = format!("where: [web] key = «{}»\n", files.key.display());
        assert!(told().contains(&place) && told().contains("No such file"), "{}", told());
        fs::remove_file(&files.certificate).expect("our own file");
        assert!(told().contains("where: [web] certificate = "), "{}", told());
        assert!(pages_unserved(Some(&WebOptions { tls: None, ..web })).is_none());
        assert!(pages_unserved(None).is_none());
    }
}
