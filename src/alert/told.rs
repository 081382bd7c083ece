//! Errors of the channels as the facts that people are told.
//!
//! What a library or the system says goes along in its own words; what is ours to say is a fact.

use std::error::Error;

use super::answer::{chain, printable};
use super::email::{MailFault, WayError};
use crate::core::alert::trial::{Fact, Told};
use crate::transport::certificate::TlsFault;
use crate::transport::dial::DialError;
use crate::transport::mqtt::packets::{Ended, Refused, Rejection};
use crate::transport::secret::PrepareError;

impl From<TlsFault> for Told {
    fn from(fault: TlsFault) -> Self {
        Self::from(match fault {
            TlsFault::UnknownAuthority => Fact::AuthorityUnknown {},
            TlsFault::OtherName => Fact::NameOther {},
            TlsFault::NotValidNow => Fact::NotValidNow {},
            TlsFault::AuthorityAsServer => Fact::AuthorityAsServer {},
            TlsFault::ClientCertificateMissing => Fact::ClientCertificateMissing {},
            TlsFault::ClientCertificateRefused => Fact::ClientCertificateRefused {},
            TlsFault::NoTls => Fact::NoTls {},
        })
    }
}

impl From<&DialError> for Told {
    fn from(error: &DialError) -> Self {
        match error {
            DialError::Connect { host, port, source } => {
                Self::from(Fact::NotConnected { address: format!("{host}:{port}") }).because(chain(source))
            }
            DialError::Tls(fault) => (*fault).into(),
            DialError::Broken(source) => Self::from(Fact::Broken {}).because(chain(source)),
        }
    }
}

impl From<&WayError> for Told {
    fn from(error: &WayError) -> Self {
        match error {
            WayError::Connect { address, source } => {
                Self::from(Fact::NotConnected { address: address.to_string() }).because(chain(source))
            }
            WayError::Dial(error) => error.into(),
            WayError::Broken(source) => Self::from(Fact::Broken {}).because(chain(source)),
            WayError::NoServer => Fact::NoSmtp {}.into(),
            WayError::Refused { said } => Self::words(printable(said)),
            WayError::NoStartTls => Fact::NoStartTls {}.into(),
            WayError::Injected => Fact::Injected {}.into(),
        }
    }
}

impl From<&MailFault> for Told {
    fn from(fault: &MailFault) -> Self {
        match fault {
            MailFault::Recipient { to } => Fact::NoAddress { to: to.clone() }.into(),
            MailFault::Form(source) => Self::from(Fact::NotAMail {}).because(chain(source)),
            MailFault::Name { host, source } => {
                Self::from(Fact::NameUnknown { name: host.clone() }).because(chain(source))
            }
            MailFault::Tls { host, fault } => Self::from(*fault).at(host),
            MailFault::Way { host, source } => Self::from(source).at(host),
            MailFault::NoLogin { host } => Self::from(Fact::NoLogin {}).at(host),
            MailFault::NoAnswer { host, within, stage } => {
                let (within, stage) = (format!("{within:?}"), stage.as_str().to_owned());
                Self::from(Fact::NoAnswerAt { within, stage }).at(host)
            }
            MailFault::Refused { host, stage, source } => {
                let ended = Self::from(Fact::EndedAt { stage: stage.as_str().to_owned() }).at(host);
                // With a code they are the server's own words, without one the library's.
                match (source.status(), source.source()) {
                    (Some(code), Some(words)) => ended.because(printable(&format!("{code} {words}"))),
                    (Some(code), None) => ended.because(code.to_string()),
                    (None, _) => ended.because(chain(source)),
                }
            }
        }
    }
}

impl From<Rejection> for Told {
    fn from(rejection: Rejection) -> Self {
        Self::from(match rejection {
            Rejection::Version => Fact::RefusedVersion {},
            Rejection::ClientId => Fact::RefusedClient {},
            Rejection::Login => Fact::RefusedLogin {},
            Rejection::NotAuthorized => Fact::RefusedRight {},
            Rejection::Unavailable => Fact::RefusedNow {},
            Rejection::Banned => Fact::RefusedBanned {},
            Rejection::Other => Fact::RefusedOther {},
        })
    }
}

impl From<Ended> for Told {
    fn from(ended: Ended) -> Self {
        Self::from(match ended {
            Ended::TakenOver => Fact::EndedTakenOver {},
            Ended::ShuttingDown => Fact::EndedShuttingDown {},
            Ended::NotAuthorized => Fact::EndedRight {},
            Ended::Other => Fact::EndedOther {},
        })
    }
}

impl From<Refused> for Told {
    fn from(refused: Refused) -> Self {
        Self::from(match refused {
            Refused::NotAuthorized => Fact::TopicForbidden {},
            Refused::Topic => Fact::TopicRefused {},
            Refused::Quota => Fact::Quota {},
            Refused::Other => Fact::NotTaken {},
        })
    }
}

impl From<&PrepareError> for Told {
    fn from(error: &PrepareError) -> Self {
        let shown = |path: &std::path::Path| path.display().to_string();
        let fact = match error {
            PrepareError::Read { path, .. } => Fact::Unreadable { path: shown(path) },
            PrepareError::Exposed { path } => Fact::Exposed { path: shown(path) },
            PrepareError::Empty { path } => Fact::Empty { path: shown(path) },
            PrepareError::Certificates { path, .. } => Fact::NoCertificate { path: shown(path) },
            PrepareError::PrivateKey { path, .. } => Fact::NoPrivateKey { path: shown(path) },
            PrepareError::NoSystemRoots => Fact::NoAuthorities {},
            PrepareError::Tls(_) => Fact::NotForTls {},
            PrepareError::SigningSecret { path } => Fact::NoSigningSecret { path: shown(path) },
            PrepareError::Address { address } => Fact::NoAddress { to: address.clone() },
            PrepareError::Client(_) => Fact::NoHttpClient {},
            PrepareError::HostName { host } => Fact::NoHostName { name: host.clone() },
        };
        Self::from(fact).because(error.source().map(chain).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reader::Language;

    // Own rule: whoever types `check-config` and whoever reads the page are told the same.
    #[test]
    fn settings_that_cannot_work_are_told_alike_in_the_terminal_and_on_the_page() {
        let path = || std::path::PathBuf::from("/etc/x");
        for error in [
            PrepareError::Exposed { path: path() },
            PrepareError::Empty { path: path() },
            PrepareError::Certificates { path: path(), source: None },
            PrepareError::NoSystemRoots,
            PrepareError::Tls(rustls::Error::DecryptError),
            PrepareError::SigningSecret { path: path() },
            PrepareError::Address { address: "nobody".to_owned() },
            PrepareError::HostName { host: "a b".to_owned() },
            PrepareError::Read { path: path(), source: std::io::ErrorKind::NotFound.into() },
        ] {
            let told = Told::from(&error);
            assert!(told.to_string().starts_with(&error.to_string()), "{told}");
            assert_eq!(told.advice(Language::English), Some(error.fix()), "{told}");
            assert_ne!(told.tell(Language::Spanish), told.to_string());
        }
    }

    // Own rule: what a fault is called by itself is what people are told of it.
    #[test]
    fn faults_are_told_by_their_own_texts() {
        for fault in [
            TlsFault::UnknownAuthority,
            TlsFault::OtherName,
            TlsFault::NotValidNow,
            TlsFault::AuthorityAsServer,
            TlsFault::ClientCertificateMissing,
            TlsFault::ClientCertificateRefused,
            TlsFault::NoTls,
        ] {
            assert_eq!(Told::from(fault).to_string(), fault.to_string());
        }
        for refused in [Refused::NotAuthorized, Refused::Topic, Refused::Quota, Refused::Other] {
            assert_eq!(Told::from(refused).to_string(), refused.to_string());
        }
        for rejection in [
            Rejection::Version,
            Rejection::ClientId,
            Rejection::Login,
            Rejection::NotAuthorized,
            Rejection::Unavailable,
            Rejection::Banned,
            Rejection::Other,
        ] {
            assert!(Told::from(rejection).to_string().ends_with(&rejection.to_string()), "{rejection}");
        }
        for ended in [Ended::TakenOver, Ended::ShuttingDown, Ended::NotAuthorized, Ended::Other] {
            assert!(Told::from(ended).to_string().ends_with(&ended.to_string()), "{ended}");
        }
    }
}
