//! The store from outside: what outlives a kill, and what ends what.

use std::net::IpAddr;

use super::*;
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessDeed, AccessEvent};
use crate::web::access::event;
use crate::web::access::name::AccountName;

const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

fn name(text: &str) -> AccountName {
    text.parse().expect("a name")
}

fn later(seconds: u64) -> Timestamp {
    NOW.plus(Duration::from_secs(seconds))
}

fn stored(account: &str, role: Role) -> Stored {
    let account = Account {
        name: name(account),
        shown: account.to_owned(),
        role,
        language: Language::English,
        scale: Scale::Celsius,
        must_change: false,
        secret_until: None,
        disabled: false,
        made: NOW,
        last_login: None,
    };
    Stored { account, hash: "$argon2id$".to_owned() }
}

fn told(account: &str, what: AccessDeed) -> AccessEvent {
    event(account, what, None, None)
}

fn open() -> (tempfile::TempDir, Store) {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let store = Store::open(&directory.path().join("accounts")).expect("a store");
    (directory, store)
}

fn with_ana(store: &mut Store) {
    let added = AccessDeed::Added { role: Role::Manager, name: "ana".to_owned() };
    assert!(store.add(&stored("ana", Role::Manager), &told("ana", added)).expect("stored"));
    begin(store, NOW, b"one");
}

fn begin(store: &mut Store, now: Timestamp, hash: &[u8]) {
    let event = told("ana", AccessDeed::LoggedIn);
    let whose = (&name("ana"), IpAddr::from([192, 0, 2, 2]));
    assert!(store.begin(now, whose, hash, None, &event).expect("stored"));
}

// Own promise, as for the key of the links: nobody else reads it, and one that others may read is not used.
#[test]
fn the_file_is_for_the_service_alone() {
    let (directory, store) = open();
    drop(store);
    let path = directory.path().join("accounts");
    let mode = fs::metadata(&path).expect("it is there").permissions().mode() & 0o777;
    assert_eq!(mode, 0o600);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).expect("our own file");
    assert!(matches!(Store::open(&path), Err(StoreError::Exposed { mode: 0o640, .. })));
}

#[test]
fn a_later_format_is_not_touched() {
    let (directory, store) = open();
    store.connection.execute("UPDATE meta SET format = 2", []).expect("our own file");
    drop(store);
    let opened = Store::open(&directory.path().join("accounts"));
    assert!(matches!(opened, Err(StoreError::Version { found: 2, .. })));
}

// Own promise: removal, another role, another password and a lock by the administrator end
// every session at once; another language does not.
#[test]
fn changes_end_the_sessions_of_their_account() {
    let disabled = |stored: &mut Stored| stored.account.disabled = true;
    let role = |stored: &mut Stored| stored.account.role = Role::Auditor;
    let password = |stored: &mut Stored| stored.hash = "other".to_owned();
    let language = |stored: &mut Stored| stored.account.language = Language::Spanish;
    let reads = AccessDeed::ReaderChanged { language: Language::Spanish, scale: Scale::Celsius };
    let role_deed = AccessDeed::RoleChanged { role: Role::Auditor, before: Role::Manager };
    type Case = (&'static str, fn(&mut Stored), AccessDeed, bool);
    let cases: [Case; 4] = [
        ("disabled", disabled, AccessDeed::Disabled, false),
        ("role", role, role_deed, false),
        ("password", password, AccessDeed::SecretReset, false),
        ("language", language, reads, true),
    ];
    for (what, change, deed, holds) in cases {
        let (_directory, mut store) = open();
        with_ana(&mut store);
        let mut ana = store.account(&name("ana")).expect("read").expect("it is there");
        change(&mut ana);
        store.put(NOW, &ana, None, &told("ana", deed)).expect("stored");
        assert_eq!(store.session(NOW, b"one").expect("read").is_some(), holds, "{what}");
    }
    let (_directory, mut store) = open();
    with_ana(&mut store);
    assert!(store.remove(NOW, &name("ana"), &told("ana", AccessDeed::Removed)).expect("stored"));
    assert_eq!(store.session(NOW, b"one").expect("read"), None);
}

// An own password ends every other session, and its own goes on under another secret.
#[test]
fn a_session_is_kept_and_cycled_at_a_new_password() {
    let (_directory, mut store) = open();
    with_ana(&mut store);
    begin(&mut store, NOW, b"two");
    let ana = store.account(&name("ana")).expect("read").expect("it is there");
    store.put(NOW, &ana, Some(b"two"), &told("ana", AccessDeed::PasswordChanged)).expect("stored");
    assert!(store.cycle(NOW, b"two", b"three").expect("stored"));
    let known = |store: &mut Store, hash: &[u8]| store.session(NOW, hash).expect("read").is_some();
    let found = [b"one".as_slice(), b"two", b"three"].map(|hash| known(&mut store, hash));
    assert_eq!(found, [false, false, true]);
}

#[test]
fn the_oldest_session_gives_its_place() {
    let (_directory, mut store) = open();
    with_ana(&mut store);
    for number in 0..u64::from(SESSIONS_MAX) {
        begin(&mut store, later(number + 1), &number.to_be_bytes());
    }
    let now = later(100);
    assert_eq!(store.session(now, b"one").expect("read"), None);
    assert!(store.session(now, &0_u64.to_be_bytes()).expect("read").is_some());
}

// Own promise: an event goes on record once, wherever the keeper is killed, also where the store
// comes back from an older copy.
#[test]
fn events_are_forgotten_once_they_are_on_record() {
    let (directory, mut store) = open();
    with_ana(&mut store);
    let copy = directory.path().join("copy");
    fs::copy(directory.path().join("accounts"), &copy).expect("a copy");
    let (events, recorded) = store.pending(10).expect("read");
    assert_eq!(events.len(), 2);
    // Killed between the append and this: read again, they are those that the bookmark names.
    store.recorded(&recorded).expect("stored");
    assert_eq!(store.pending(10).expect("read").0, []);

    fs::rename(&copy, directory.path().join("accounts")).expect("our own files");
    let mut store = Store::open(&directory.path().join("accounts")).expect("a store");
    store.recorded(&Recorded { last: 9, ..recorded.clone() }).expect("stored");
    assert_eq!(store.pending(10).expect("read").0, [], "they are on record");
    store.note(NOW, &[told("ana", AccessDeed::LoggedOut)]).expect("stored");
    let (events, _) = store.pending(10).expect("read");
    assert!(events.iter().all(|event| event.id > 9) && events.len() == 1, "{events:?}");

    // Another store's bookmark says nothing of this one.
    store.recorded(&Recorded { store: vec![1], last: 100 }).expect("stored");
    assert_eq!(store.pending(10).expect("read").0.len(), 1);
}

// Own promise: what cannot be recorded is not done.
#[test]
fn nothing_changes_where_too_much_waits() {
    let (_directory, mut store) = open();
    let event = serde_json::to_string(&told("x", AccessDeed::LoggedIn)).expect("JSON");
    let filled = store.connection.execute(
        "WITH RECURSIVE n (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < ?1)
         INSERT INTO pending (at, event) SELECT 0, ?2 FROM n",
        params![PENDING_MAX, event],
    );
    assert_eq!(filled.expect("our own file"), 10_000);
    let added = AccessDeed::Added { role: Role::Manager, name: "ana".to_owned() };
    let refused = store.add(&stored("ana", Role::Manager), &told("ana", added));
    assert!(matches!(refused, Err(StoreError::Unrecorded)));
    assert!(store.account(&name("ana")).expect("read").is_none());
}

#[test]
fn a_token_ends_when_revoked_and_its_name_can_be_used_again() {
    let (_directory, mut store) = open();
    let until = later(86_400);
    let deed = AccessDeed::TokenAdded { role: Role::Auditor, until };
    let token =
        Token { name: name("export"), role: Role::Auditor, made: NOW, until, revoked: false, seen: None };
    assert!(store.add_token(&token, &[1; 32], &told("export", deed.clone())).expect("stored"));
    assert!(!store.add_token(&token, &[2; 32], &told("export", deed.clone())).expect("refused"));
    assert!(store.token(NOW, &[2; 32]).expect("read").is_none());
    assert_eq!(store.token(NOW, &[1; 32]).expect("read").map(|token| token.revoked), Some(false));
    let revoked = told("export", AccessDeed::TokenRevoked);
    assert!(store.revoke(NOW, &name("export"), &revoked).expect("stored"));
    assert!(!store.revoke(NOW, &name("export"), &revoked).expect("read"));
    assert_eq!(store.token(NOW, &[1; 32]).expect("read").map(|token| token.revoked), Some(true));
    assert!(store.add_token(&token, &[2; 32], &told("export", deed)).expect("stored"));
}

// Own promise: whoever knows the name of an account keeps its owner out by tries from one address nowhere else than
// there; many addresses together have a bound as well, whether there is such an account or not; and each lock that a
// try leads to is told.
#[test]
fn wrong_tries_lock_whatever_was_typed_and_are_forgotten() {
    let (_directory, mut store) = open();
    with_ana(&mut store);
    let address = |last: u8| IpAddr::from([192, 0, 2, last]);
    let (theirs, own) = (address(1), address(2));
    let lock = |lasts, there| {
        let (until, lasts) = (later(lasts), Duration::from_secs(lasts));
        Lock { until, lasts, there }
    };
    for account in ["ana", "nobody"] {
        let account = name(account);
        let mut led = Vec::new();
        for _ in 0..10 {
            led.push(store.wrong(NOW, &account, theirs).expect("stored"));
        }
        assert!(led[..9].iter().all(Vec::is_empty));
        assert_eq!(led[9], [lock(900, true)]);
        assert_eq!(store.locked(later(899), &account, theirs).expect("read"), Some(later(900)));
        assert_eq!(store.locked(later(900), &account, theirs).expect("read"), None);
        assert_eq!(store.locked(NOW, &account, own).expect("read"), None);
        for tried in 10_u8..99 {
            led.push(store.wrong(NOW, &account, address(100 + tried / 9)).expect("stored"));
        }
        assert!(led[10..].iter().all(Vec::is_empty), "nine from each");
        // The tenth from its address, and the hundredth of all.
        led.push(store.wrong(NOW, &account, address(110)).expect("stored"));
        assert_eq!(led[99], [lock(900, true), lock(900, false)]);
        assert_eq!(store.locked(NOW, &account, own).expect("read"), Some(later(900)));
        let unlocked = told(account.as_str(), AccessDeed::Unlocked);
        assert!(store.unlock(NOW, &account, &unlocked).expect("stored"));
        for address in [theirs, own] {
            assert_eq!(store.locked(NOW, &account, address).expect("read"), None);
        }
    }
    // Who comes in forgives what came from their address, and nothing of theirs.
    let ana = name("ana");
    for address in [own, theirs] {
        for _ in 0..9 {
            assert!(store.wrong(NOW, &ana, address).expect("stored").is_empty());
        }
    }
    begin(&mut store, NOW, b"two");
    assert!(store.wrong(NOW, &ana, own).expect("stored").is_empty());
    assert!(!store.wrong(NOW, &ana, theirs).expect("stored").is_empty());
}
