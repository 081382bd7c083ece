//! Key files as they lie on disk, and what the record says to them. All of it is this
//! program's own rule; the form of a secret key is that of Go's `sumdb/note`.

use super::*;

fn files() -> (tempfile::TempDir, KeyFiles) {
    let directory = tempfile::tempdir().expect("a directory");
    let files = KeyFiles::of(&directory.path().join("ledger.sqlite"));
    (directory, files)
}

fn mode(path: &Path) -> u32 {
    fs::metadata(path).expect("it is there").permissions().mode() & 0o777
}

fn placed(files: &KeyFiles) -> SigningKey {
    let key = files.make_next("kitchen").expect("room for a key");
    files.place_next().expect("it takes its place");
    key
}

#[test]
fn a_pair_is_made_placed_and_read_back() {
    let (directory, files) = files();
    assert!(files.load(Pair::Placed).expect("nothing is no failure").is_none());
    let key = files.make_next("kitchen").expect("room for a key");
    assert!(files.load(Pair::Placed).expect("nothing is no failure").is_none(), "not before its record");
    let next = files.load(Pair::Next).expect("readable").expect("it waits");
    assert_eq!(next.verifying(), key.verifying());
    files.place_next().expect("it takes its place");
    let read = files.load(Pair::Placed).expect("readable").expect("it is there");
    assert_eq!(read.verifying(), key.verifying());
    assert_eq!((mode(files.secret()), mode(files.public())), (0o600, 0o644));
    let public = fs::read_to_string(files.public()).expect("readable");
    assert_eq!(public, format!("{}\n", key.verifying()));
    let names = fs::read_dir(directory.path()).expect("our own").count();
    assert_eq!(names, 2, "nothing else is left");
    assert_ne!(files.make_next("kitchen").expect("room").verifying(), key.verifying(), "drawn anew");
}

#[test]
fn a_secret_that_others_may_read_is_refused_with_what_to_type() {
    let (_directory, files) = files();
    placed(&files);
    for mode in [0o640, 0o604, 0o620, 0o601] {
        fs::set_permissions(files.secret(), fs::Permissions::from_mode(mode)).expect("our own file");
        let error = files.load(Pair::Placed).expect_err("others may use it");
        assert!(matches!(error, KeyFileError::Open { mode: found, .. } if found == mode), "{error:?}");
        assert!(error.fix().contains(&format!("chmod 600 {}", files.secret().display())), "{}", error.fix());
    }
    fs::set_permissions(files.secret(), fs::Permissions::from_mode(0o400)).expect("our own file");
    assert!(files.load(Pair::Placed).expect("fine again").is_some());
}

#[test]
fn what_is_no_key_is_refused() {
    let (_directory, files) = files();
    let key = placed(&files);
    let secret = key.secret_text();
    let half = &secret[..secret.len() / 2];
    for text in ["", "\n", half, &key.verifying().to_string(), &"x".repeat(5_000)] {
        fs::write(files.secret(), text).expect("our own file");
        let error = files.load(Pair::Placed).expect_err("no key");
        assert!(matches!(error, KeyFileError::Shape { .. }), "{text}: {error:?}");
        let told = format!("{error:?} {error} {}", error.fix());
        assert!(!told.contains(half), "the secret is not shown");
    }
}

/// A pair that a kill left behind, or that somebody put there with open doors, is replaced.
#[test]
fn what_waits_unrecorded_is_replaced() {
    let (directory, files) = files();
    let next = directory.path().join("ledger.sqlite.signing-key.next");
    let elsewhere = directory.path().join("elsewhere");
    fs::write(&elsewhere, "kept").expect("our own file");
    std::os::unix::fs::symlink(&elsewhere, &next).expect("a link");
    let key = files.make_next("kitchen").expect("room for a key");
    assert_eq!(fs::read_to_string(&elsewhere).expect("readable"), "kept", "no link is followed");
    assert_eq!(mode(&next), 0o600);
    files.drop_next().expect("our own files");
    assert!(files.load(Pair::Next).expect("no failure").is_none());
    drop(key);
}

#[test]
fn the_public_key_is_mended() {
    let (_directory, files) = files();
    let key = placed(&files).verifying();
    for damage in [None, Some("kitchen+00000000+AAAA\n")] {
        match damage {
            None => fs::remove_file(files.public()).expect("our own file"),
            Some(text) => fs::write(files.public(), text).expect("our own file"),
        }
        files.make_next("kitchen").expect("room for a key");
        files.tidy(&key).expect("our own files");
        assert_eq!(fs::read_to_string(files.public()).expect("readable"), format!("{key}\n"));
        assert_eq!(mode(files.public()), 0o644);
        assert!(files.load(Pair::Next).expect("no failure").is_none());
    }
}

/// sysfs takes no new files, from nobody (Linux, sysfs(5)); a missing directory neither.
#[test]
fn a_directory_that_takes_no_files_is_told() {
    for directory in ["/sys", "/no-such-directory"] {
        let files = KeyFiles::of(&Path::new(directory).join("ledger.sqlite"));
        assert!(files.load(Pair::Placed).expect("nothing is there").is_none());
        let error = files.make_next("kitchen").expect_err("no file can be made");
        assert!(matches!(error, KeyFileError::Make { .. }), "{error:?}");
        assert!(error.fix().contains(directory), "{}", error.fix());
    }
}

#[test]
fn the_record_decides() {
    let [a, b, c] =
        [1, 2, 3].map(|seed| SigningKey::from_seed("kitchen", &[seed; 32]).expect("a name").verifying());
    let (a, b, c) = (Some(&a), Some(&b), Some(&c));
    for (on_record, placed, next, settled, after) in [
        (None, None, None, Settled::ToMake, "a new ledger"),
        (None, None, a, Settled::ToMake, "killed before the first key was on record"),
        (None, a, None, Settled::ToRecord, "a new ledger beside an old key"),
        (a, a, None, Settled::InForce, "an orderly end"),
        (a, None, a, Settled::ToPlace, "killed between the first record and its place"),
        (a, a, b, Settled::InForce, "killed before a rotation was on record"),
        (b, a, b, Settled::ToPlace, "killed between a rotation's record and its place"),
        (b, b, None, Settled::InForce, "killed with the secret in its place"),
        (a, None, None, Settled::Lost, "the secret is gone"),
        (a, None, b, Settled::Lost, "the secret is gone, and killed before the next was on record"),
        (a, b, None, Settled::Foreign, "somebody put another key there"),
        (a, b, c, Settled::Foreign, "the same, and one that waits"),
    ] {
        assert_eq!(settle(on_record, placed, next), settled, "{after}");
    }
}
