//! Secrets made here: of browsers, of tokens, and those that are used once.
//!
//! A secret of 256 random bits needs no slow hash: nobody guesses it. It is kept as its SHA-256.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

/// Random bits of a browser's session and of a token, in bytes (twice the 128 bits that OWASP's
/// Session Management Cheat Sheet asks for as the least; from memory).
const SECRET_BYTES: usize = 32;
/// What a token begins with, so that one that leaked is recognised.
pub(super) const TOKEN_HEAD: &str = "rinseward_";
/// Letters of a one-time secret: Crockford's base 32, in which none looks like another.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// Letters of a one-time secret; five bits each, so 100.
const ONE_TIME_LETTERS: usize = 20;
/// Letters between two dashes.
const GROUP: usize = 5;

/// So many random bytes.
pub(super) fn random<const N: usize>() -> Result<[u8; N], getrandom::Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}

/// A new secret as it is handed out.
pub(super) fn fresh() -> Result<String, getrandom::Error> {
    Ok(URL_SAFE_NO_PAD.encode(random::<SECRET_BYTES>()?))
}

/// A new token as it is handed out.
pub(super) fn fresh_token() -> Result<String, getrandom::Error> {
    fresh().map(|secret| format!("{TOKEN_HEAD}{secret}"))
}

/// What is kept of a secret.
pub(super) fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// A new one-time secret, in groups that can be typed.
pub(super) fn one_time() -> Result<String, getrandom::Error> {
    let bytes = random::<ONE_TIME_LETTERS>()?;
    let mut text = String::with_capacity(ONE_TIME_LETTERS + ONE_TIME_LETTERS / GROUP);
    for (place, byte) in bytes.iter().enumerate() {
        if place > 0 && place.is_multiple_of(GROUP) {
            text.push('-');
        }
        // 256 is a multiple of 32, so that each letter is as likely as another.
        text.push(char::from(LETTERS[usize::from(byte % 32)]));
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Shapes of our own; that no two are equal is what 256 and 100 random bits promise.
    #[test]
    fn secrets_have_their_shape_and_are_never_the_same() {
        let (one, other) = (one_time().expect("random bytes"), one_time().expect("random bytes"));
        assert_ne!(one, other);
        assert_eq!(one.len(), 23, "{one}");
        assert!(one.split('-').all(|group| group.len() == 5 && group.bytes().all(|b| LETTERS.contains(&b))));
        let token = fresh_token().expect("random bytes");
        assert_eq!(token.len(), TOKEN_HEAD.len() + 43, "{token}");
        assert_ne!(hash(&token), hash(&fresh_token().expect("random bytes")));
    }

    // SHA-256 of "abc": FIPS 180-4, appendix of examples (from memory).
    #[test]
    fn a_secret_is_kept_as_its_hash() {
        assert_eq!(hash("abc")[..4], [0xba, 0x78, 0x16, 0xbf]);
    }
}
