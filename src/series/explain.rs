//! What went wrong with the server, for people: what, why, what to do.

use super::answer::{Denial, Fault, Missing, Outcome, Refusal, Thing, TlsFault};
use crate::config::series::SeriesOptions;

/// One message to a person; `app` gives it the form that all messages have.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Explanation {
    /// Its stable short name.
    pub slug: &'static str,
    /// What.
    pub summary: String,
    /// Why.
    pub cause: Option<String>,
    /// What to do.
    pub advice: String,
}

impl Explanation {
    pub(super) fn new(slug: &'static str, summary: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { slug, summary: summary.into(), cause: None, advice: advice.into() }
    }

    pub(super) fn because(mut self, cause: impl Into<Option<String>>) -> Self {
        self.cause = cause.into();
        self
    }
}

impl Outcome {
    /// What to tell a person; `None` where all went well.
    #[must_use]
    pub fn explain(&self, options: &SeriesOptions) -> Option<Explanation> {
        let SeriesOptions { url, organisation, bucket, .. } = options;
        let told = match self {
            Self::Taken => return None,
            Self::Busy { status, retry_after } => {
                let wait = retry_after.map(|wait| format!(" and asks to wait {} s", wait.as_secs()));
                Explanation::new(
                    "series-busy",
                    "the series server has too much to do",
                    "nothing: the points wait in the ledger. If it lasts, see what loads the server",
                )
                .because(format!("it answers {status}{}", wait.unwrap_or_default()))
            }
            Self::Later(fault) => return Some(fault.explain(options)),
            Self::TooLarge => Explanation::new(
                "series-refused",
                "a request is larger than the series server takes",
                "nothing: it is sent in smaller parts. A smaller [series] batch-points saves the first try",
            )
            .because("it answers 413".to_owned()),
            Self::Refused(refusal) => refusal.explain(),
            Self::Denied(denial) => denial.explain(options),
            Self::Missing(Missing { what: Thing::Bucket, message }) => Explanation::new(
                "series-bucket",
                format!("the bucket «{bucket}» is not on the series server"),
                format!(
                    "create the bucket «{bucket}» in the organisation «{organisation}», correct [series] bucket, or \
                     give the token the right to it: a server also hides a bucket that the token may not see"
                ),
            )
            .because(message.clone()),
            Self::Missing(Missing { what: Thing::Organisation, message }) => Explanation::new(
                "series-bucket",
                format!("the organisation «{organisation}» is not on the series server"),
                "correct [series] organisation: it is the name, not the number, as the server's own pages show it",
            )
            .because(message.clone()),
            Self::Missing(Missing { what: Thing::Path, message }) => Explanation::new(
                "series-api",
                "what answers does not know the write API of InfluxDB 2",
                format!("check [series] url, its port and its path: {url}api/v2/write must be the write API"),
            )
            .because(told("it does not know the path", message.as_deref())),
            Self::Foreign { status, location } => {
                let cause = match location {
                    Some(location) => format!("it answers {status} and points to {location}"),
                    None => format!("it answers {status}, where the API has 204"),
                };
                let advice = match location {
                    Some(location) => format!(
                        "if {location} is the right server, write it as [series] url; another host is never \
                         followed, for the token would go with it"
                    ),
                    None => format!("check [series] url, its port and its path, and what stands before {url}"),
                };
                Explanation::new("series-api", "what answers is not the write API of InfluxDB 2", advice)
                    .because(cause)
            }
        };
        Some(told)
    }
}

impl Refusal {
    /// What to tell a person.
    #[must_use]
    pub fn explain(&self) -> Explanation {
        let mut cause = told(&format!("it answers {}", self.status), self.message.as_deref());
        if let Some(line) = self.line {
            cause.push_str(&format!(" (line {line})"));
        }
        let too_old = self.message.as_deref().is_some_and(|message| message.contains("retention"));
        let advice = if too_old {
            "raise the retention of the bucket on the server; the refused points are set aside, then send them again \
             with `rinseward series resend`"
        } else {
            "nothing at once: the points at fault are set aside and the others go on; `rinseward series status` \
             shows them. A field that has another type on the server needs a bucket of its own"
        };
        Explanation::new("series-refused", "the series server refuses points", advice).because(cause)
    }
}

impl Denial {
    /// What to tell a person.
    #[must_use]
    pub fn explain(&self, options: &SeriesOptions) -> Explanation {
        let cause = told(&format!("it answers {}", self.status), self.message.as_deref());
        let (summary, advice) = match (&options.token_file, self.status) {
            (None, _) => (
                "the series server wants a token".to_owned(),
                format!(
                    "create a token on the server that may write the bucket «{}», put it into a file (chmod 600, owned \
                     by the service user) and name that as [series] token-file",
                    options.bucket
                ),
            ),
            (Some(file), 401) => (
                "the series server does not know the token".to_owned(),
                format!(
                    "put a valid token into {}; it is read again by itself, no restart is needed",
                    file.display()
                ),
            ),
            (Some(file), _) => (
                "the token may not do this on the series server".to_owned(),
                format!(
                    "give the token in {} the right to write the bucket «{}» of the organisation «{}»",
                    file.display(),
                    options.bucket,
                    options.organisation
                ),
            ),
        };
        Explanation::new("series-denied", summary, advice).because(cause)
    }
}

impl Fault {
    /// What to tell a person.
    #[must_use]
    pub fn explain(&self, options: &SeriesOptions) -> Explanation {
        let url = &options.url;
        let host = url.host_str().unwrap_or_default();
        let unreachable = |advice: String| {
            Explanation::new(
                "series-unreachable",
                format!("the series server at {url} is not reached"),
                advice,
            )
            .because(self.to_string())
        };
        let waits = "the points wait in the ledger meanwhile";
        match self {
            Self::Name => unreachable(format!(
                "check the host «{host}» in [series] url, and the DNS of this computer; {waits}"
            )),
            Self::ConnectionRefused => {
                unreachable(format!("see whether the server runs, and on this port; {waits}"))
            }
            Self::Connect { .. } | Self::ConnectTimeout => {
                unreachable(format!("check the network, the firewall and the port; {waits}"))
            }
            Self::Timeout => unreachable(format!(
                "see what keeps the server or the link; {waits}. A slow link may need a longer [series] timeout"
            )),
            Self::Cut => unreachable(format!(
                "nothing if it happens now and then: the points are sent again. Else see what ends connections on the way, such as a proxy; {waits}"
            )),
            Self::NotHttp => {
                unreachable(format!("check the port in [series] url: something else answers there; {waits}"))
            }
            Self::Tls(fault) => fault.explain(options),
            Self::Server { .. } => unreachable(format!("read the log of the server; {waits}")),
            Self::Token { fix, .. } => {
                let summary = "the token for the series server cannot be read";
                Explanation::new("series-denied", summary, fix.clone()).because(self.to_string())
            }
            Self::Certificates { fix, .. } => {
                let summary = "the certificates for the series server cannot be used";
                Explanation::new("series-tls", summary, format!("{fix}; it is tried again by itself"))
                    .because(self.to_string())
            }
            Self::Other { .. } => unreachable(format!("read the cause; {waits}")),
        }
    }
}

impl TlsFault {
    fn explain(&self, options: &SeriesOptions) -> Explanation {
        let host = options.url.host_str().unwrap_or_default();
        let advice = match self {
            Self::UnknownAuthority => match &options.ca_file {
                Some(file) => format!("put the certificate of the CA that signed the server's into {}", file.display()),
                None => "name the certificate of the private CA as [series] ca-file, or give the server a certificate of a public one".to_owned(),
            },
            Self::OtherName => format!("write the name that stands in the certificate into [series] url, or have it made for «{host}»"),
            Self::NotValidNow => "renew the server's certificate; check the clock of this computer too".to_owned(),
            Self::NoTls => "check the port; if the server has no TLS, begin [series] url with http://".to_owned(),
            Self::Other { .. } => "check the TLS settings of the server: TLS 1.2 or 1.3 is needed".to_owned(),
        };
        Explanation::new(
            "series-tls",
            format!("no encrypted connection to the series server «{host}»"),
            advice,
        )
        .because(self.to_string())
    }
}

fn told(what: &str, message: Option<&str>) -> String {
    message.map_or_else(|| what.to_owned(), |message| format!("{what}: «{message}»"))
}
