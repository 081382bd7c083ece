//! Webhooks: events by POST, as CloudEvents in structured JSON, signed by
//! Standard Webhooks.
//!
//! What an answer means: 2xx taken; 410 the receiver wants no more; 408, 425,
//! 429 and 5xx later, after `Retry-After` where given; any other refusal a few
//! tries and then given up, a redirection too, since none is followed.

mod signature;

use reqwest::header::CONTENT_TYPE;
use reqwest::{Client, StatusCode};

use self::signature::Signer;
use super::answer::{Answer, Step, Tell};
use super::event::{CloudEvent, MEDIA_TYPE};
use super::http;
use crate::config::delivery::WebhookSettings;
use crate::core::alert::trial::{self, Fact, Told};
use crate::core::time::Timestamp;
use crate::transport::secret::PrepareError;

/// A receiver, ready to be used.
pub struct Webhook {
    settings: WebhookSettings,
    client: Client,
    signer: Signer,
}

impl Webhook {
    /// Reads the secrets and the certificates.
    ///
    /// # Errors
    /// [`PrepareError`] names the file and what to do about it.
    pub fn prepare(settings: WebhookSettings) -> Result<Self, PrepareError> {
        Ok(Self {
            client: http::client(settings.ca_file.as_deref(), settings.timeout)?,
            signer: Signer::read(&settings.secret_files)?,
            settings,
        })
    }

    /// Name of the receiver.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.settings.name
    }

    /// Sends an event; `now` is the time that is signed.
    pub async fn send(&self, event: &CloudEvent, now: Timestamp) -> Answer {
        self.trial(event, now, &mut |_| ()).await
    }

    /// Sends an event and tells each step.
    pub async fn trial(&self, event: &CloudEvent, now: Timestamp, tell: Tell<'_>) -> Answer {
        let body = event.to_json();
        let mut request =
            self.client.post(&self.settings.url).header(CONTENT_TYPE, format!("{MEDIA_TYPE}; charset=utf-8"));
        let signed = match self.signer.sign(&event.id, now, &body) {
            Some(headers) => {
                for (name, value) in headers {
                    request = request.header(name, value);
                }
                Fact::Signed {}
            }
            None => Fact::NotSigned {},
        };
        tell(Step { what: trial::SIGNATURE, outcome: Ok(signed.into()) });
        let answer = match request.body(body).send().await {
            Ok(mut response) => {
                let status = response.status();
                tell(Step {
                    what: trial::CONNECTION,
                    outcome: Ok(Fact::Answers { who: self.settings.url.clone() }.into()),
                });
                let after = http::asked_to_wait(response.headers());
                if status.is_success() {
                    tell(Step { what: trial::MESSAGE, outcome: Ok(Told::words(status.to_string())) });
                    return Answer::Taken;
                }
                let said = http::said(&mut response).await;
                judge(status, said, after)
            }
            Err(error) => {
                let error = http::failure(error, self.settings.timeout);
                tell(Step { what: trial::CONNECTION, outcome: Err(error.clone()) });
                return Answer::later(error);
            }
        };
        if let Some(error) = answer.error() {
            tell(Step { what: trial::MESSAGE, outcome: Err(error.clone()) });
        }
        answer
    }
}

fn judge(status: StatusCode, said: String, after: Option<std::time::Duration>) -> Answer {
    let answers = |status: StatusCode| match status.is_redirection() {
        true => Fact::Redirected { status: status.to_string() },
        false => Fact::Status { status: status.to_string() },
    };
    let error = Told::from(answers(status)).because(said);
    match status {
        StatusCode::GONE => Answer::Closed { error },
        StatusCode::REQUEST_TIMEOUT | StatusCode::TOO_EARLY | StatusCode::TOO_MANY_REQUESTS => {
            Answer::Later { error, after }
        }
        status if status.is_server_error() => Answer::Later { error, after },
        _ => Answer::Doubtful { error },
    }
}
