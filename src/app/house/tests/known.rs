//! What is read of a ledger once for all who ask, whichever state of it they ask from.

use std::time::Duration;

use tokio::runtime::Handle;
use tokio::task::block_in_place;

use super::{NOW, book, of, put};
use crate::app::amended::Amended;
use crate::app::fixture::{CHEMICAL, CONFIGURATION, strip};
use crate::app::sites::Sites;
use crate::core::record::{Amendment, AmendmentChange, Body, Check, ConfigurationChange, Note};
use crate::ledger::{Known, NewRecord, ReadOn, Reader};

fn note() -> NewRecord {
    of("dm1", NOW, Body::Note(Note { text: "wet".to_owned(), by: "Ana".to_owned(), at: None }))
}

fn withdrawn(record: u64) -> NewRecord {
    amended(record, AmendmentChange::Withdrawn)
}

fn corrected(record: u64) -> NewRecord {
    let (at, by) = (NOW, "Ben".to_owned());
    let check = Check::Sanitizer { at, mg_per_l: 50.0, ph: None, solution_c: None, method: None, by };
    amended(record, AmendmentChange::Corrected(check))
}

fn amended(record: u64, change: AmendmentChange) -> NewRecord {
    let (reason, by) = ("twice".to_owned(), "Ben".to_owned());
    let body = Amendment { of: record, reason, by, change };
    of("dm1", NOW.plus(Duration::from_secs(60)), Body::Amendment(Box::new(body)))
}

// Own promise: what is read on is what a first reading comes to, nothing lost and nothing doubled, also while one asks
// from a state of the ledger that others have gone past.
#[tokio::test(flavor = "multi_thread")]
async fn an_older_state_takes_nothing_from_what_is_known() {
    let (_directory, path, handle) = book();
    put(&handle, vec![note(), note(), withdrawn(0)]).await;
    let [old, new] = [(), ()].map(|()| Reader::open(&path).expect("a reader"));
    let known = Known::<Amended>::default();
    let told = |amended: &Amended| amended.withdrawn().collect::<Vec<_>>();
    let of_old = old.in_one_state(|size| {
        assert_eq!(size, 3);
        block_in_place(|| Handle::current().block_on(put(&handle, vec![withdrawn(1), corrected(1)])));
        let of_new = known.fresh(&new)?;
        assert_eq!(told(&of_new), [(2, Some(0)), (3, Some(1))]);
        known.fresh(&old)
    });
    let of_old = of_old.expect("read");
    assert_eq!(told(&of_old), [(2, Some(0)), (3, Some(1))], "what is known by then");
    assert_eq!(
        [of_old.corrected(4), of_old.corrected(5)].map(Iterator::count),
        [0, 1],
        "told as far as asked"
    );
    let behind = Known::<Amended>::default();
    let of_old = old.in_one_state(|_| {
        block_in_place(|| Handle::current().block_on(put(&handle, vec![withdrawn(2)])));
        behind.fresh(&old)
    });
    assert_eq!(of_old.expect("read").next(), 5, "no more than its state");
    for reader in [&old, &new] {
        let anew = Amended::whole(reader).expect("read");
        for known in [&known, &behind] {
            assert_eq!(told(&known.fresh(reader).expect("read on")), told(&anew));
            assert_eq!(told(&anew).len(), 3);
        }
    }
}

// Own promise: a check is judged by what the machine was when it went on record, whatever was configured since and
// however often the record was read on; what is no configuration changes nothing, and a machine that sanitizes by hot
// water has no strip to judge.
#[tokio::test]
async fn a_check_is_judged_by_the_site_of_then() {
    let (_directory, path, handle) = book();
    let reader = Reader::open(&path).expect("a reader");
    let (known, strong) = (Known::<Sites>::default(), strip(0, 100.0));
    let configured = |toml: &str| {
        let change = ConfigurationChange { sha256: "0".repeat(64), toml: toml.to_owned() };
        of("dm1", NOW, Body::ConfigurationChange(change))
    };
    let mut judged = Vec::new();
    for toml in [CHEMICAL, "no configuration", CONFIGURATION] {
        put(&handle, vec![configured(toml), note()]).await;
        let (read_on, anew) = (known.fresh(&reader).expect("read on"), Sites::whole(&reader).expect("read"));
        let good = |sites: &Sites| [0, 1, 3, 5].map(|index| sites.good(&strong, Some("dm1"), index));
        assert_eq!(good(&read_on), good(&anew), "{toml}");
        judged.push(good(&anew));
    }
    let good = Some(true);
    assert_eq!(judged, [[None, good, good, good], [None, good, good, good], [None, good, good, None]]);
}
