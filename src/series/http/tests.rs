//! Waiting times, tokens and secrets.

use std::fs;
use std::os::unix::fs::OpenOptionsExt;

use super::*;

// RFC 9110 §10.2.3 with its example, §5.6.7 for the form of a date.
#[test]
fn retry_after_is_read_in_both_forms() {
    let date = Some("Fri, 31 Dec 1999 23:58:59 GMT");
    for (after, date, expected) in [
        ("120", None, Some(120)),
        (" 5 ", None, Some(5)),
        ("Fri, 31 Dec 1999 23:59:59 GMT", date, Some(60)),
        ("Fri, 31 Dec 1999 23:50:00 GMT", date, Some(0)),
        ("Fri, 31 Dec 1999 23:59:59 GMT", None, None),
        ("Fri, 01 Jan 2100 00:00:00 GMT", date, Some(3_600)),
        ("86400", None, Some(3_600)),
        ("-1", None, None),
        ("soon", date, None),
    ] {
        assert_eq!(wait(after, date), expected.map(Duration::from_secs), "{after}");
    }
}

fn write(path: &Path, mode: u32, text: &str) {
    use std::io::Write;
    drop(fs::remove_file(path));
    let file = fs::OpenOptions::new().write(true).create(true).truncate(true).mode(mode).open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes())).expect("our own directory");
}

#[test]
fn a_token_is_read_once_and_again_when_asked() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("token");
    let token = Token::new(&path);
    assert!(matches!(token.current(), Err(PrepareError::Files(secret::PrepareError::Read { .. }))));

    write(&path, 0o600, "  first  \nanother line\n");
    assert_eq!(token.current().expect("a token").as_bytes(), b"Token first");
    write(&path, 0o600, "second");
    assert_eq!(token.current().expect("the same").as_bytes(), b"Token first");
    assert_eq!(token.read_again().expect("the new one").as_bytes(), b"Token second");
    assert_eq!(token.current().expect("the new one").as_bytes(), b"Token second");
    assert!(!format!("{token:?}").contains("second"));
}

#[test]
fn a_bad_token_file_is_told_of() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("token");
    for (name, mode, text, expected) in [
        ("open to everybody", 0o644, "secret", format!("chmod o= {}", path.display())),
        ("empty", 0o600, "", format!("write the token into the first line of {}", path.display())),
        (
            "a blank first line",
            0o600,
            "\nsecret",
            format!("write the token into the first line of {}", path.display()),
        ),
        (
            "control characters",
            0o600,
            "a\u{1}b",
            format!("write the token into the first line of {}", path.display()),
        ),
    ] {
        write(&path, mode, text);
        let error = Token::new(&path).current().expect_err(name);
        assert_eq!(error.fix(), expected, "{name}");
        assert!(!error.to_string().contains("secret\""), "{name}: {error}");
    }
}
