//! Proofs of cycles over the interface, and what is told where the ledger is not as it was sealed.

use super::*;

// RFC 9162 §2.1.3.2: the proof of a cycle leads from the hash of its bytes to the root that the key signed.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_cycle_is_proved_under_the_newest_checkpoint() {
    let running = Running::start().await;
    let page = running.page(Asked { limit: 1, ..asked(View::Cycles) }).await;
    let row: Value = serde_json::from_str(&page.items[0]).expect("JSON");
    let index = row["ledger_index"].as_u64().expect("an index");
    let one = running.house.single(Single::Proof(index)).await.expect("a proof");
    assert_eq!(
        running.house.proof(index).await.expect("a proof"),
        one.json,
        "pages and programs get one form"
    );
    let proof: Value = serde_json::from_str(&one.json).expect("JSON");
    let text = |key: &str| proof[key].as_str().expect("text").to_owned();
    let key = text("key").parse().expect("a key");
    let note = Note::parse(&text("checkpoint")).expect("a note");
    let head = Checkpoint::verified(&note, &key).expect("it holds").head;
    assert_eq!((proof["tree_size"].as_u64(), text("root_sha256")), (Some(head.size), head.root.to_string()));
    let hashes: Vec<Hash> = serde_json::from_value::<Vec<Hex>>(proof["inclusion_path"].clone())
        .expect("hashes")
        .into_iter()
        .map(|hash| hash.0)
        .collect();
    let leaf = leaf_hash(text("bytes").as_bytes());
    assert_eq!(leaf.to_string(), text("leaf_sha256"));
    assert_eq!(verify_inclusion(&leaf, index, &hashes, &head), Ok(()));
    assert!(verify_inclusion(&leaf, index + 1, &hashes, &head).is_err());
    let trace = running.house.single(Single::Trace(index)).await.expect("a trace");
    let trace: Trace = serde_json::from_str(&trace.json).expect("a trace");
    assert_eq!(trace.rinse.len(), 40);
    for unknown in [Single::Cycle(0), Single::Cycle(u64::MAX), Single::Trace(9_999), Single::Alert(999)] {
        let answer = running.house.single(unknown.clone()).await;
        assert!(matches!(answer, Err(Trouble::Unknown { .. })), "{unknown:?}: {answer:?}");
    }
    // Whichever way a machine is asked for that is none, those that there are are named; and so is the newest record.
    let advice = |answer: Trouble| {
        let Trouble::Unknown { advice, .. } = answer else { panic!("{answer:?}") };
        advice
    };
    let nope = || Some("nope".to_owned());
    let one = running.house.single(Single::Machine("nope".to_owned())).await.expect_err("there is none");
    let listed = running.house.rows(Asked { machine: nope(), ..asked(View::Cycles) }).await;
    let one = advice(one);
    assert!(one.starts_with("ask of one of these machines: ") && one.contains("dm1"), "{one}");
    assert_eq!(advice(listed.expect_err("there is none")), one);
    let cycle = advice(running.house.single(Single::Cycle(99_999)).await.expect_err("there is none"));
    assert!(cycle.starts_with("its records are numbered from 0 to "), "{cycle}");
}

// Own promise: where the ledger is not as it was sealed, no proof is given that leads nowhere, and nothing is
// denied that is there: it is told as damage, whichever record was changed.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_changed_ledger_is_told_as_damage_and_not_proved() {
    let running = Running::start().await;
    let page = running.page(Asked { limit: 2, ..asked(View::Cycles) }).await;
    let index = |row: &String| {
        serde_json::from_str::<Value>(row).expect("JSON")["ledger_index"].as_u64().expect("an index")
    };
    let (near, own) = (index(&page.items[0]), index(&page.items[1]));
    let change = |what: &str, index: u64| {
        let connection = rusqlite::Connection::open(running.ledger.path()).expect("a database");
        connection.execute_batch("DROP TRIGGER IF EXISTS record_stays").expect("it may have been there");
        let index = i64::try_from(index).expect("small");
        let changed = connection.execute(&format!("UPDATE record SET {what} WHERE idx = ?1"), [index]);
        assert_eq!(changed.expect("changed"), 1);
    };
    change("leaf = zeroblob(32)", near);
    for (record, what) in [(own, "by a neighbour"), (near, "itself")] {
        let answer = running.house.single(Single::Proof(record)).await;
        assert!(
            matches!(&answer, Err(Trouble::Refused { slug, .. }) if slug == "ledger-damaged"),
            "{what}: {answer:?}"
        );
        assert_eq!(running.house.proof(record).await, Err(Refusal::Damaged(Some(record))), "{what}");
    }
}
