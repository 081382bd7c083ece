//! Keys that come, are replaced and are lost, and what their checkpoints prove. The rules are
//! this program's own.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use super::*;
use crate::core::keys::{KeyChain, Standing as Trust};
use crate::core::note::Note;
use crate::ledger::{Names, Options, Writer};

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_micros(seconds * 1_000_000)
}

/// A ledger, its files, and who signs for it.
struct Place {
    directory: tempfile::TempDir,
}

impl Place {
    fn new() -> Self {
        Self { directory: tempfile::tempdir().expect("a directory") }
    }

    fn ledger(&self) -> PathBuf {
        self.directory.path().join("ledger.sqlite")
    }

    fn files(&self) -> KeyFiles {
        KeyFiles::of(&self.ledger())
    }

    fn open(&self, site: &str, standing: Standing) -> (LedgerHandle, Seal) {
        let path = self.ledger();
        let options = Options { path: path.clone(), block_retention: Duration::from_secs(86_400) };
        let names = Names { machines: &[], channels: &[] };
        let (writer, recovered) = Writer::open(&options, names, at(0)).expect("a ledger");
        let handle = LedgerHandle::new(writer, &recovered, &path);
        let seal = Seal::new(handle.clone(), site, standing);
        (handle, seal)
    }

    /// One run of the service that signs a checkpoint.
    async fn run(&self, site: &str, seconds: i64) -> Result<StoredCheckpoint, SealError> {
        let (handle, seal) = self.open(site, Standing::Service);
        let made = seal.checkpoint(at(seconds)).await;
        drop(seal);
        handle.close().expect("an orderly end");
        made
    }

    fn chain(&self) -> KeyChain {
        let reader = Reader::open(&self.ledger()).expect("a ledger");
        let changes = reader.signing_keys().expect("readable");
        key_chain(changes.iter().map(|(index, change)| (*index, change)))
    }

    fn trust(&self) -> Vec<Trust> {
        self.chain().keys.into_iter().map(|key| key.standing).collect()
    }

    /// Every checkpoint holds under the key that was in force at its last record.
    fn verify(&self) {
        let chain = self.chain();
        let reader = Reader::open(&self.ledger()).expect("a ledger");
        let checkpoints = reader.checkpoints().expect("readable");
        assert!(!checkpoints.is_empty());
        for stored in checkpoints {
            let note = Note::parse(&stored.note).expect("a note");
            let signer = &chain.signer_of(stored.size).expect("a key was in force").key;
            let read = Checkpoint::verified(&note, signer).expect("it holds");
            assert_eq!(read.head.size, stored.size);
            assert_eq!(note.cosigned_at(signer).expect("it holds"), Some(stored.at));
        }
    }
}

#[tokio::test]
async fn the_first_key_is_on_record_and_stays() {
    let place = Place::new();
    let first = place.run("North kitchen", 100).await.expect("signed");
    assert!(first.note.starts_with("rinseward/north-kitchen\n1\n"), "{}", first.note);
    let again = place.run("Renamed", 200).await.expect("signed");
    assert_eq!(again, first, "nothing was added");
    assert_eq!(place.trust(), [Trust::First]);
    let public = fs::read_to_string(place.files().public()).expect("readable");
    assert_eq!(public, format!("{}\n", place.chain().keys[0].key));
    place.verify();
}

#[tokio::test]
async fn a_new_key_is_signed_by_the_old_one() {
    let place = Place::new();
    let (handle, seal) = place.open("North kitchen", Standing::Service);
    let old = seal.checkpoint(at(100)).await.expect("signed");
    let public = seal.rotate(at(200), "Ana".to_owned()).await.expect("a new key");
    let new = seal.checkpoint(at(300)).await.expect("signed");
    drop(seal);
    handle.close().expect("an orderly end");
    assert_eq!((old.size, new.size), (1, 2));
    assert_eq!(place.trust(), [Trust::First, Trust::Endorsed]);
    assert_eq!(place.chain().keys[1].key, public);
    assert_eq!(public.name(), "rinseward/north-kitchen");
    let placed = place.files().load(Pair::Placed).expect("readable").expect("it is there");
    assert_eq!(placed.verifying(), public);
    place.run("North kitchen", 400).await.expect("signed");
    place.verify();
}

#[tokio::test]
async fn a_lost_key_is_replaced_by_the_service_alone() {
    let place = Place::new();
    place.run("North kitchen", 100).await.expect("signed");
    fs::remove_file(place.files().secret()).expect("our own file");
    let (handle, seal) = place.open("Copy", Standing::Command);
    let error = seal.checkpoint(at(200)).await.expect_err("a copy is not signed for");
    assert!(matches!(error, SealError::NotHere { .. }), "{error:?}");
    drop(seal);
    handle.close().expect("an orderly end");
    assert_eq!(place.trust(), [Trust::First]);

    let new = place.run("Renamed", 300).await.expect("signed");
    assert!(new.note.starts_with("rinseward/north-kitchen\n2\n"), "the origin stays: {}", new.note);
    assert_eq!(place.trust(), [Trust::First, Trust::Lost]);
    place.verify();
}

/// Nothing is signed, nothing is put on record, and once it is mended all goes on.
#[tokio::test]
async fn a_key_that_cannot_be_used_is_told_and_changes_nothing() {
    let place = Place::new();
    place.run("North kitchen", 100).await.expect("signed");
    let secret = fs::read_to_string(place.files().secret()).expect("readable");
    let mode = |mode| {
        let permissions = fs::Permissions::from_mode(mode);
        fs::set_permissions(place.files().secret(), permissions).expect("our own file");
    };
    let (handle, seal) = place.open("North kitchen", Standing::Service);
    mode(0o644);
    let told = seal.rotate(at(200), "Ana".to_owned()).await.expect_err("open").diagnose(&place.ledger());
    assert_eq!(told.slug(), "signing-key");
    assert!(told.to_string().contains("chmod 600 "), "{told}");
    mode(0o600);

    let foreign = SigningKey::from_seed("rinseward/north-kitchen", &[7; 32]).expect("a name");
    fs::write(place.files().secret(), foreign.secret_text()).expect("our own file");
    let error = seal.rotate(at(200), "Ana".to_owned()).await.expect_err("not its key");
    assert!(matches!(error, SealError::Foreign { .. }), "{error:?}");
    let told = error.diagnose(&place.ledger()).to_string();
    assert!(told.contains("move that file away") && !told.contains(&foreign.secret_text()), "{told}");

    assert_eq!(place.trust(), [Trust::First]);
    fs::write(place.files().secret(), secret).expect("our own file");
    seal.rotate(at(300), "Ana".to_owned()).await.expect("mended");
    seal.checkpoint(at(300)).await.expect("signed");
    drop(seal);
    handle.close().expect("an orderly end");
    assert_eq!(place.trust(), [Trust::First, Trust::Endorsed]);
    place.verify();
}

/// Whoever asked goes away while the record is on its way: the next call asks the record.
#[tokio::test]
async fn a_rotation_that_nobody_waits_for_is_whole_or_not_there() {
    let place = Place::new();
    let (handle, seal) = place.open("North kitchen", Standing::Service);
    seal.checkpoint(at(100)).await.expect("signed");
    for turn in 0..20_u32 {
        // The future is dropped after a number of polls that differs from turn to turn.
        let mut rotation = Box::pin(seal.rotate(at(200), "Ana".to_owned()));
        for _ in 0..turn % 5 {
            let polled = std::future::poll_fn(|context| {
                std::task::Poll::Ready(rotation.as_mut().poll(context).is_ready())
            });
            if polled.await {
                break;
            }
            tokio::task::yield_now().await;
        }
        drop(rotation);
        seal.checkpoint(at(300)).await.expect("signed");
        place.verify();
    }
    drop(seal);
    handle.close().expect("an orderly end");
    let trust = place.trust();
    assert!(trust.iter().skip(1).all(|standing| *standing == Trust::Endorsed), "{trust:?}");
}
