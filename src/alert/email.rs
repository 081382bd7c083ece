//! E-mail: one message to one recipient, handed to the configured server.
//!
//! - The way is encrypted before anything is said (`tls`), or before anything
//!   but EHLO is (`starttls`); a server that offers no STARTTLS gets nothing.
//! - The `Message-ID` follows from the key of the message alone, so that one
//!   that is sent twice can be told: `<SHA-256 of origin and key @ domain>`.
//! - All messages of one alert refer to the same root, so that they make one thread.
//! - A recipient or a message refused with 5xx is given up; everything else, a
//!   refused login and a refused sender too, can be mended by a person while
//!   the message waits.

mod mime;
mod way;

use std::io;
use std::net::SocketAddr;
use std::time::Duration;

use lettre::Address;
use lettre::message::Mailbox;
use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::AsyncSmtpConnection;
use lettre::transport::smtp::commands::{Data, Mail as MailFrom, Rcpt};
use lettre::transport::smtp::extension::ClientId;
use lettre::transport::smtp::response::Response;
use tokio::net::TcpStream;
use tokio::time::timeout;

pub use way::WayError;

use self::way::Way;
use super::answer::{Answer, Step, Tell, printable};
use crate::config::delivery::{MailSecurity, MailSettings};
use crate::core::alert::trial::{self, Fact, Told};
use crate::core::time::Timestamp;
use crate::transport::certificate::{TlsFault, fault_among};
use crate::transport::dial::{DialError, Tls};
use crate::transport::secret::{PrepareError, first_line};

/// Longest farewell to a server that has taken the message (own choice).
const FAREWELL_MAX: Duration = Duration::from_secs(1);

/// Mechanisms in the order of preference; both send the password readable, and so only through TLS or on this computer.
const MECHANISMS: [Mechanism; 2] = [Mechanism::Plain, Mechanism::Login];

/// A message to one recipient, in words.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mail {
    /// Names the message for ever; unique within the gateway.
    pub key: String,
    /// What it belongs to, such as `alert-17`: mails of one thread are shown together.
    pub thread: String,
    /// The recipient's address.
    pub to: String,
    /// When it was written.
    pub at: Timestamp,
    /// Subject; control characters become spaces.
    pub subject: String,
    /// The message as plain text.
    pub text: String,
    /// The same as HTML.
    pub html: Option<String>,
    /// Pictures that the HTML shows.
    pub pictures: Vec<Picture>,
}

/// A picture inside a message.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Picture {
    /// The HTML shows it by `<img src="cid:ID">`.
    pub id: String,
    /// PNG.
    pub png: Vec<u8>,
}

/// Why a message was not taken.
#[derive(Debug, thiserror::Error)]
pub enum MailFault {
    /// The recipient's address is none.
    #[error("«{to}» is no address")]
    Recipient {
        /// What was given.
        to: String,
    },
    /// The message cannot be put into the form of a mail.
    #[error("the message cannot be written as a mail")]
    Form(#[source] lettre::error::Error),
    /// The name of the server is unknown.
    #[error("no address is known for {host}")]
    Name {
        /// The host.
        host: String,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// TLS was refused for a known reason.
    #[error("{host}: {fault}")]
    Tls {
        /// The host.
        host: String,
        /// Why.
        fault: TlsFault,
    },
    /// There is no way to the server, or none that is protected as configured.
    #[error("{host}")]
    Way {
        /// The host.
        host: String,
        /// Why.
        #[source]
        source: WayError,
    },
    /// The server offers no login that this program knows.
    #[error("{host} offers neither AUTH PLAIN nor LOGIN, and nothing was sent")]
    NoLogin {
        /// The host.
        host: String,
    },
    /// No answer in time.
    #[error("no answer of {host} within {within:?}, at the {stage}")]
    NoAnswer {
        /// The host.
        host: String,
        /// The time.
        within: Duration,
        /// Where.
        stage: Stage,
    },
    /// The server refused, or the connection broke.
    #[error("{host}, at the {stage}")]
    Refused {
        /// The host.
        host: String,
        /// Where.
        stage: Stage,
        /// What it said.
        #[source]
        source: lettre::transport::smtp::Error,
    },
}

/// How far a message came.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Stage {
    /// TCP, TLS and EHLO.
    Connection,
    /// AUTH.
    Login,
    /// MAIL.
    Sender,
    /// RCPT.
    Recipient,
    /// DATA and the message.
    Message,
}

impl Stage {
    pub(super) const fn as_str(self) -> &'static str {
        match self {
            Self::Connection => trial::CONNECTION,
            Self::Login => trial::LOGIN,
            Self::Sender => trial::SENDER,
            Self::Recipient => trial::RECIPIENT,
            Self::Message => trial::MESSAGE,
        }
    }
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.as_str())
    }
}

impl MailFault {
    /// What it means for the letter.
    #[must_use]
    pub fn answer(&self) -> Answer {
        let error = Told::from(self);
        match self {
            Self::Recipient { .. } | Self::Form(_) => Answer::Never { error },
            Self::Refused { stage: Stage::Recipient | Stage::Message, source, .. }
                if source.is_permanent() =>
            {
                Answer::Never { error }
            }
            Self::Name { .. }
            | Self::Tls { .. }
            | Self::Way { .. }
            | Self::NoLogin { .. }
            | Self::NoAnswer { .. }
            | Self::Refused { .. } => Answer::Later { error, after: None },
        }
    }

    /// The step of a trial at which it came up.
    const fn step(&self) -> &'static str {
        match self {
            Self::Recipient { .. } => trial::RECIPIENT,
            Self::Form(_) => trial::MESSAGE,
            Self::Name { .. } => trial::NAME,
            Self::Tls { .. } => trial::ENCRYPTION,
            Self::Way { source: WayError::NoStartTls | WayError::Injected, .. } => trial::ENCRYPTION,
            Self::Way { .. } => trial::CONNECTION,
            Self::NoLogin { .. } => trial::LOGIN,
            Self::NoAnswer { stage, .. } | Self::Refused { stage, .. } => stage.as_str(),
        }
    }
}

/// How the way is protected, with what that needs.
enum Protection {
    StartTls(Tls),
    AtOnce(Tls),
    /// The configuration allows it for a server on this computer only.
    None,
}

/// A mail server, ready to be used. It holds no connection between messages.
pub struct Mailer {
    settings: MailSettings,
    from: Mailbox,
    reply_to: Option<Mailbox>,
    hello: ClientId,
    credentials: Option<Credentials>,
    protection: Protection,
    origin: String,
}

impl Mailer {
    /// Reads the password and the certificates. `origin` tells this gateway
    /// from every other that sends under the same domain.
    ///
    /// # Errors
    /// [`PrepareError`] names the file and what to do about it.
    pub fn prepare(settings: MailSettings, origin: &str) -> Result<Self, PrepareError> {
        let address = |text: &str| {
            text.parse::<Mailbox>().map_err(|_| PrepareError::Address { address: text.to_owned() })
        };
        let tls = || Tls::prepare(&settings.host, settings.ca_file.as_deref(), None);
        let protection = match settings.security {
            MailSecurity::StartTls => Protection::StartTls(tls()?),
            MailSecurity::Tls => Protection::AtOnce(tls()?),
            MailSecurity::None => Protection::None,
        };
        let credentials = match &settings.login {
            Some(login) => Some(Credentials::new(login.user.clone(), first_line(&login.password_file)?)),
            None => None,
        };
        Ok(Self {
            from: address(&settings.from)?,
            reply_to: settings.reply_to.as_deref().map(address).transpose()?,
            hello: settings.hello_name.clone().map_or_else(ClientId::default, ClientId::Domain),
            credentials,
            protection,
            origin: origin.to_owned(),
            settings,
        })
    }

    /// Hands a message over.
    pub async fn send(&self, mail: &Mail) -> Answer {
        self.trial(mail, &mut |_| ()).await
    }

    /// Hands a message over and tells each step.
    pub async fn trial(&self, mail: &Mail, tell: Tell<'_>) -> Answer {
        match self.hand_over(mail, tell).await {
            Ok(()) => Answer::Taken,
            Err(fault) => {
                tell(Step { what: fault.step(), outcome: Err(Told::from(&fault)) });
                fault.answer()
            }
        }
    }

    async fn hand_over(&self, mail: &Mail, tell: Tell<'_>) -> Result<(), MailFault> {
        let to: Address = mail.to.parse().map_err(|_| MailFault::Recipient { to: printable(&mail.to) })?;
        let bytes = mime::write(self, &to, mail).map_err(MailFault::Form)?;
        let addresses = self.look_up(tell).await?;
        let mut server = self.connect(&addresses, tell).await?;
        if let Some(credentials) = &self.credentials {
            if server.server_info().get_auth_mechanism(&MECHANISMS).is_none() {
                return Err(MailFault::NoLogin { host: self.settings.host.clone() });
            }
            let said = self.within(Stage::Login, server.auth(&MECHANISMS, credentials)).await?;
            tell(done(trial::LOGIN, &said));
        }
        let sender = MailFrom::new(Some(self.from.email.clone()), Vec::new());
        self.within(Stage::Sender, server.command(sender)).await?;
        let said = self.within(Stage::Recipient, server.command(Rcpt::new(to, Vec::new()))).await?;
        tell(done(trial::RECIPIENT, &said));
        self.within(Stage::Message, server.command(Data)).await?;
        let said = self.within(Stage::Message, server.message(&bytes)).await?;
        tell(done(trial::MESSAGE, &said));
        // It is taken; a lost farewell changes nothing.
        if let Ok(Err(_)) | Err(_) = timeout(FAREWELL_MAX, server.quit()).await {
            tracing::debug!(host = self.settings.host, "left the mail server without a farewell");
        }
        Ok(())
    }

    async fn look_up(&self, tell: Tell<'_>) -> Result<Vec<SocketAddr>, MailFault> {
        let host = &self.settings.host;
        let fault = |source| MailFault::Name { host: host.clone(), source };
        let looked = tokio::net::lookup_host((host.as_str(), self.settings.port));
        let found = match timeout(self.settings.timeout, looked).await {
            Ok(found) => found.map_err(fault)?.collect::<Vec<SocketAddr>>(),
            Err(_) => return Err(fault(io::ErrorKind::TimedOut.into())),
        };
        if found.is_empty() {
            return Err(fault(io::ErrorKind::NotFound.into()));
        }
        let shown: Vec<String> = found.iter().map(ToString::to_string).collect();
        let addresses = shown.join(", ");
        let told = Fact::Found { name: host.clone(), addresses };
        tell(Step { what: trial::NAME, outcome: Ok(told.into()) });
        Ok(found)
    }

    async fn connect(
        &self,
        addresses: &[SocketAddr],
        tell: Tell<'_>,
    ) -> Result<AsyncSmtpConnection, MailFault> {
        let tcp = self.reach(addresses).await?;
        let way = match timeout(self.settings.timeout, self.protect(tcp)).await {
            Ok(way) => way.map_err(|source| self.no_way(source))?,
            Err(_) => return Err(self.no_answer(Stage::Connection)),
        };
        let opening = AsyncSmtpConnection::connect_with_transport(Box::new(way), &self.hello);
        let server = self.within(Stage::Connection, opening).await?;
        let who = printable(server.server_info().name());
        let told = match self.protection {
            Protection::AtOnce(_) => Fact::AnswersByTls { who },
            Protection::StartTls(_) => Fact::AnswersByStartTls { who },
            Protection::None => Fact::AnswersHere { who },
        };
        tell(Step { what: trial::CONNECTION, outcome: Ok(told.into()) });
        Ok(server)
    }

    /// Connects to the first address that answers, each within its time.
    async fn reach(&self, addresses: &[SocketAddr]) -> Result<TcpStream, MailFault> {
        let mut failed = self.no_answer(Stage::Connection);
        for address in addresses {
            match timeout(self.settings.timeout, TcpStream::connect(address)).await {
                Ok(Ok(tcp)) => return Ok(tcp),
                Ok(Err(source)) => failed = self.no_way(WayError::Connect { address: *address, source }),
                Err(_) => {}
            }
        }
        Err(failed)
    }

    async fn protect(&self, tcp: TcpStream) -> Result<Way, WayError> {
        tcp.set_nodelay(true).map_err(WayError::Broken)?;
        match &self.protection {
            Protection::AtOnce(tls) => way::encrypted(tcp, tls).await,
            Protection::StartTls(tls) => way::starttls(tcp, &self.hello.to_string(), tls).await,
            Protection::None => way::plain(tcp),
        }
    }

    fn no_way(&self, source: WayError) -> MailFault {
        let host = self.settings.host.clone();
        if let WayError::Dial(DialError::Tls(fault)) = source {
            return MailFault::Tls { host, fault };
        }
        MailFault::Way { host, source }
    }

    fn no_answer(&self, stage: Stage) -> MailFault {
        MailFault::NoAnswer { host: self.settings.host.clone(), within: self.settings.timeout, stage }
    }

    async fn within<T>(
        &self,
        stage: Stage,
        step: impl Future<Output = Result<T, lettre::transport::smtp::Error>>,
    ) -> Result<T, MailFault> {
        let host = || self.settings.host.clone();
        match timeout(self.settings.timeout, step).await {
            Ok(Ok(said)) => Ok(said),
            Ok(Err(source)) => Err(match fault_among(&source) {
                Some(fault) => MailFault::Tls { host: host(), fault },
                None => MailFault::Refused { host: host(), stage, source },
            }),
            Err(_) => Err(self.no_answer(stage)),
        }
    }
}

fn done(what: &'static str, said: &Response) -> Step {
    let text: Vec<&str> = said.message().collect();
    let words = printable(&format!("{} {}", said.code(), text.join(" ")));
    Step { what, outcome: Ok(Told::words(words)) }
}
