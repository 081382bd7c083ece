//! Roots of whole subtrees of the Merkle tree, kept so that a proof need not read every leaf.
//!
//! The table `subtree` is derived and never proof: a row is written with the record that makes its
//! subtree whole. Whoever makes a proof compares the root of the whole tree with what was signed, and
//! goes back to the leaves where it differs. A file of format 1 that is only read has none.

use rusqlite::{Connection, params};

use super::reader::index_of;
use crate::core::merkle::{Frontier, Hash, SUBTREE_LEVEL};

/// Appends a leaf to the tree, and keeps the root of the subtree that it makes whole.
pub(super) fn push(connection: &Connection, tree: &mut Frontier, leaf: Hash) -> rusqlite::Result<()> {
    let mut made = None;
    tree.push_and_tell(leaf, |level, root| {
        if level == SUBTREE_LEVEL {
            made = Some(root);
        }
    });
    let Some(root) = made else { return Ok(()) };
    // In place of whatever stands there: nothing beside the records may stop recording.
    connection
        .prepare_cached("REPLACE INTO subtree (idx, root) VALUES (?1, ?2)")?
        .execute(params![(tree.size() >> SUBTREE_LEVEL) - 1, root.0])?;
    Ok(())
}

/// Keeps the roots of all subtrees that are whole.
pub(super) fn put_all(connection: &Connection) -> rusqlite::Result<()> {
    let mut tree = Frontier::default();
    let mut leaves = connection.prepare("SELECT leaf FROM record ORDER BY idx")?;
    let mut rows = leaves.query([])?;
    while let Some(row) = rows.next()? {
        push(connection, &mut tree, Hash(row.get(0)?))?;
    }
    Ok(())
}

/// The roots that are kept of the subtrees from `first` on and before `end`, in order up to the first that
/// is missing or is no hash.
pub(super) fn kept(connection: &Connection, first: u64, end: u64) -> rusqlite::Result<Vec<Hash>> {
    let mut statement = connection
        .prepare_cached("SELECT idx, root FROM subtree WHERE idx >= ?1 AND idx < ?2 ORDER BY idx")?;
    let mut rows = statement.query(params![index_of(first), index_of(end)])?;
    let mut roots = Vec::new();
    while let Some(row) = rows.next()? {
        let next = first + roots.len() as u64;
        match row.get_ref(1)?.as_blob().ok().and_then(|root| root.try_into().ok()) {
            Some(root) if row.get::<_, i64>(0)? == index_of(next) => roots.push(Hash(root)),
            Some(_) | None => break,
        }
    }
    Ok(roots)
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::time::Duration;

    use super::*;
    use crate::core::audit::{BesideFault, Finding};
    use crate::core::record::Record;
    use crate::core::record::{Body, ServiceStop, StopCause};
    use crate::core::time::Timestamp;
    use crate::ledger::walk::{Extent, audit};
    use crate::ledger::{Commit, Names, NewRecord, Options, Reader, WholeChunks, Writer};

    fn write(path: &Path, records: usize) {
        let options = Options { path: path.to_path_buf(), block_retention: Duration::from_secs(86_400) };
        let names = Names { machines: &[], channels: &[] };
        let (writer, _) = Writer::open(&options, names, Timestamp::MIN).expect("the ledger opens");
        let stop = || Body::ServiceStop(ServiceStop { cause: StopCause::Signal });
        let record = |n| Record::new(Timestamp::from_micros(n), None, stop());
        let records = (0..).take(records).map(|n| NewRecord { record: record(n), trace: None }).collect();
        let (done, wait) = std::sync::mpsc::sync_channel(1);
        let commit = Commit { records, ..Commit::default() };
        writer.submit(commit, Box::new(move |result| done.send(result.is_ok()).expect("we wait")));
        assert!(wait.recv().expect("an answer"));
        writer.close().expect("an orderly end");
    }

    // RFC 6962 §2.1: the tree by what is kept is that by the leaves, of any size; what is kept and
    // damaged, or missing, costs time only, and an audit names it.
    #[test]
    fn what_is_kept_gives_the_same_tree() {
        let directory = tempfile::tempdir().expect("room");
        let path = directory.path().join("ledger.sqlite");
        write(&path, 2_500);
        let reader = Reader::open(&path).expect("a reader");
        assert_eq!(kept(&reader.connection, 0, 9).expect("rows").len(), 2);
        for size in [0, 1, 1_023, 1_024, 1_025, 2_048, 2_500] {
            let by_leaves = reader.tree(size, |_, _| {}).expect("a tree").head();
            let by_kept = reader.tree_by(size, &mut WholeChunks::default()).expect("a tree").head();
            assert_eq!(by_kept, by_leaves, "{size}");
        }
        let found = || audit(&path, &[], Vec::new(), Extent::Whole).expect("an audit").report.findings;
        let named = |findings: &[Finding]| {
            findings.iter().any(|finding| {
                matches!(finding, Finding::Beside(BesideFault::LookupDiffers { name: "subtree" }))
            })
        };
        assert!(!named(&found()));
        let right = reader.tree(2_500, |_, _| {}).expect("a tree").head();
        let change =
            |sql: &str| Connection::open(&path).expect("it opens").execute_batch(sql).expect("our own row");
        change("UPDATE subtree SET root = zeroblob(32) WHERE idx = 1");
        assert_ne!(reader.tree_by(2_500, &mut WholeChunks::default()).expect("a tree").head(), right);
        assert_eq!(reader.tree_by(2_500, &mut WholeChunks::of_leaves()).expect("a tree").head(), right);
        assert!(named(&found()));
        change("DELETE FROM subtree WHERE idx = 0");
        assert_eq!(reader.tree_by(2_500, &mut WholeChunks::default()).expect("a tree").head(), right);
        assert!(named(&found()));
    }
}
