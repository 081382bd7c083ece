//! Signatures by Standard Webhooks 1.0: HMAC-SHA256 over `id.timestamp.body`.

use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::core::time::Timestamp;
use crate::transport::secret::{PrepareError, first_line};

/// What a secret begins with.
const PREFIX: &str = "whsec_";

/// The secrets of one receiver; without `Debug`, so that no log can hold them.
pub(super) struct Signer {
    keys: Vec<Hmac<Sha256>>,
}

impl Signer {
    /// Reads each secret from its file.
    pub(super) fn read(paths: &[PathBuf]) -> Result<Self, PrepareError> {
        let key = |path: &PathBuf| parse(&first_line(path)?, path);
        Ok(Self { keys: paths.iter().map(key).collect::<Result<_, _>>()? })
    }

    /// The three headers; `None` without a secret. Every secret signs, so that
    /// a receiver may know the old one or the new one.
    pub(super) fn sign(&self, id: &str, at: Timestamp, body: &[u8]) -> Option<[(&'static str, String); 3]> {
        let seconds = at.micros().div_euclid(1_000_000).to_string();
        let sign = |key: &Hmac<Sha256>| {
            let mut mac = key.clone();
            mac.update(id.as_bytes());
            mac.update(b".");
            mac.update(seconds.as_bytes());
            mac.update(b".");
            mac.update(body);
            format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
        };
        let signatures: Vec<String> = self.keys.iter().map(sign).collect();
        (!signatures.is_empty()).then(|| {
            [
                ("webhook-id", id.to_owned()),
                ("webhook-timestamp", seconds.clone()),
                ("webhook-signature", signatures.join(" ")),
            ]
        })
    }
}

/// `whsec_` and 24 to 64 bytes in base64, as the specification asks.
fn parse(secret: &str, path: &Path) -> Result<Hmac<Sha256>, PrepareError> {
    let bytes = secret.trim_end().strip_prefix(PREFIX).and_then(|text| STANDARD.decode(text).ok());
    bytes
        .filter(|bytes| (24..=64).contains(&bytes.len()))
        .and_then(|bytes| Hmac::new_from_slice(&bytes).ok())
        .ok_or_else(|| PrepareError::SigningSecret { path: path.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    // The vector of the Standard Webhooks reference libraries.
    #[test]
    fn signs_as_the_reference_does() {
        let key = parse("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", Path::new("s")).expect("a legal secret");
        let signer = Signer { keys: vec![key.clone(), key] };
        let body = br#"{"test": 2432232314}"#;
        let at = Timestamp::from_micros(1_614_265_330_000_000);
        let headers = signer.sign("msg_p5jXN8AQM9LWM0D4loKWxJek", at, body).expect("there are secrets");
        let once = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        assert_eq!(headers[0].1, "msg_p5jXN8AQM9LWM0D4loKWxJek");
        assert_eq!(headers[1].1, "1614265330");
        assert_eq!(headers[2].1, format!("{once} {once}"));
    }

    #[test]
    fn refuses_what_is_no_secret() {
        for secret in ["", "whsec_", "whsec_c2hvcnQ=", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_!"] {
            assert!(parse(secret, Path::new("s")).is_err(), "{secret}");
        }
    }
}
