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
        fault.fact().into()
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
        rejection.fact().into()
    }
}

impl From<Ended> for Told {
    fn from(ended: Ended) -> Self {
        ended.fact().into()
    }
}

impl From<Refused> for Told {
    fn from(refused: Refused) -> Self {
        refused.fact().into()
    }
}

impl From<&PrepareError> for Told {
    fn from(error: &PrepareError) -> Self {
        Self::from(error.fact()).because(error.source().map(chain).unwrap_or_default())
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
            assert_eq!(
                told.advice(Language::English),
                Some(error.fix()),
                "{told}: what to do is known of each"
            );
            assert_ne!(told.tell(Language::Spanish), told.to_string());
        }
    }
}
