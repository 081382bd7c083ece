//! Whether two PDF files show the same, however they are packed: what each page draws, and what hangs on the catalogue
//! (ISO 32000-2 §7.7).
//!
//! A file that another program only saved anew has other object numbers, another packing and another order, and shows
//! the same. Left out are the attachments, which are read by themselves, and what describes the file.

use std::collections::{BTreeMap, HashSet};
use std::io::Read;
use std::sync::Arc;

use hayro_syntax::object::{Dict, MaybeRef, ObjRef, Object, Stream};
use hayro_syntax::page::Page;
use hayro_syntax::xref::XRef;
use hayro_syntax::{Filter, Pdf};

use super::source::Source;

/// Of the catalogue: the pages, which are compared one by one; attachments; what describes the file and how a viewer
/// opens it.
const OUTSIDE: [&[u8]; 7] = [b"Pages", b"Names", b"AF", b"Metadata", b"Version", b"Extensions", b"PageMode"];
/// What a page may have from the nodes above it (ISO 32000-2 §7.7.3.4).
const INHERITED: [&[u8]; 4] = [b"Resources", b"MediaBox", b"CropBox", b"Rotate"];
/// Deepest tree of pages that is followed (own choice: one of a report has a level or two).
const DEPTH_MAX: usize = 32;
/// Most pairs of objects, for each object that we made (own choice): one that is shared may have been written twice.
const PAIRS_MAX: usize = 8;

/// Whether a file shows what one that we made shows.
pub(super) fn shows_the_same(theirs: &Pdf, ours: &Pdf) -> bool {
    let (their_pages, our_pages) = (theirs.pages(), ours.pages());
    if their_pages.len() != our_pages.len() {
        return false;
    }
    let mut walk = Walk {
        theirs: theirs.xref(),
        ours: ours.xref(),
        seen: HashSet::new(),
        seen_max: ours.len().saturating_mul(PAIRS_MAX),
        open: Vec::new(),
    };
    walk.catalogues()
        && their_pages.iter().zip(our_pages.iter()).all(|(theirs, ours)| walk.pages(theirs, ours))
        && walk.finish()
}

type Value<'a> = MaybeRef<Object<'a>>;

/// What is still to be compared, and which objects are taken to be the same: they are, or something differs elsewhere.
struct Walk<'a> {
    theirs: &'a XRef,
    ours: &'a XRef,
    seen: HashSet<(ObjRef, ObjRef)>,
    seen_max: usize,
    open: Vec<(Value<'a>, Value<'a>)>,
}

impl<'a> Walk<'a> {
    fn catalogues(&mut self) -> bool {
        let roots = (self.theirs.get::<Dict<'a>>(self.theirs.root_id()), self.ours.get(self.ours.root_id()));
        let (Some(theirs), Some(ours)) = roots else { return false };
        let names = |root: &Dict<'a>| {
            root.get::<Dict<'a>>("Names")
                .map(|names| entries(&names, &[b"EmbeddedFiles"]))
                .unwrap_or_default()
        };
        let named = (names(&theirs), names(&ours));
        self.dicts(named.0, named.1) && self.dicts(entries(&theirs, &OUTSIDE), entries(&ours, &OUTSIDE))
    }

    fn pages(&mut self, theirs: &Page<'a>, ours: &Page<'a>) -> bool {
        let [theirs, ours] = [theirs, ours].map(|page| {
            let mut own = entries(page.raw(), &[b"Parent"]);
            for key in INHERITED {
                if let Some(value) = inherited(page.raw(), key) {
                    own.insert(key.to_vec(), value);
                }
            }
            own
        });
        self.dicts(theirs, ours)
    }

    /// Compares what is open until nothing is, or something differs.
    fn finish(mut self) -> bool {
        while let Some((theirs, ours)) = self.open.pop() {
            if let (MaybeRef::Ref(theirs), MaybeRef::Ref(ours)) = (&theirs, &ours)
                && !self.seen.insert((*theirs, *ours))
            {
                continue;
            }
            if self.seen.len() > self.seen_max {
                return false;
            }
            let (theirs, ours) = (resolved(theirs, self.theirs), resolved(ours, self.ours));
            if !self.objects(theirs, ours) {
                return false;
            }
        }
        true
    }

    fn objects(&mut self, theirs: Object<'a>, ours: Object<'a>) -> bool {
        match (theirs, ours) {
            (Object::Null(_), Object::Null(_)) => true,
            (Object::Boolean(theirs), Object::Boolean(ours)) => theirs == ours,
            (Object::Number(theirs), Object::Number(ours)) => {
                theirs.as_f64().to_bits() == ours.as_f64().to_bits()
            }
            (Object::String(theirs), Object::String(ours)) => theirs.as_bytes() == ours.as_bytes(),
            (Object::Name(theirs), Object::Name(ours)) => *theirs == *ours,
            (Object::Array(theirs), Object::Array(ours)) => {
                let (theirs, ours): (Vec<_>, Vec<_>) =
                    (theirs.raw_iter().collect(), ours.raw_iter().collect());
                let alike = theirs.len() == ours.len();
                self.open.extend(theirs.into_iter().zip(ours));
                alike
            }
            // The tree of pages is gone through from its leaves.
            (Object::Dict(theirs), Object::Dict(ours)) => {
                self.dicts(entries(&theirs, &[b"Parent"]), entries(&ours, &[b"Parent"]))
            }
            (Object::Stream(theirs), Object::Stream(ours)) => {
                let packing: [&[u8]; 2] = [b"Length", b"Filter"];
                self.dicts(entries(theirs.dict(), &packing), entries(ours.dict(), &packing))
                    && holds_the_same(&theirs, &ours)
            }
            _ => false,
        }
    }

    /// Both have the same keys; what they hold is compared later.
    fn dicts(&mut self, theirs: Entries<'a>, ours: Entries<'a>) -> bool {
        let alike = theirs.keys().eq(ours.keys());
        self.open.extend(theirs.into_values().zip(ours.into_values()));
        alike
    }
}

type Entries<'a> = BTreeMap<Vec<u8>, Value<'a>>;

fn entries<'a>(dict: &Dict<'a>, without: &[&[u8]]) -> Entries<'a> {
    let wanted = dict.entries().filter(|(key, _)| !without.contains(&&**key));
    wanted.map(|(key, value)| (key.to_vec(), value)).collect()
}

fn inherited<'a>(page: &Dict<'a>, key: &[u8]) -> Option<Value<'a>> {
    let mut node = page.clone();
    for _ in 0..DEPTH_MAX {
        if let Some(value) = node.get_raw::<Object<'a>>(key) {
            return Some(value);
        }
        node = node.get::<Dict<'a>>("Parent")?;
    }
    None
}

/// What is nowhere is null (ISO 32000-2 §7.3.10).
fn resolved<'a>(value: Value<'a>, xref: &'a XRef) -> Object<'a> {
    let found = match value {
        MaybeRef::Ref(number) => xref.get::<Object<'a>>(number.into()),
        MaybeRef::NotRef(object) => Some(object),
    };
    found.unwrap_or(Object::Null(hayro_syntax::object::Null))
}

/// Both are unpacked with the same settings, if any: those are compared beside what they hold. What of ours is unpacked fits
/// the memory; of theirs no more is.
fn holds_the_same(theirs: &Stream<'_>, ours: &Stream<'_>) -> bool {
    if theirs.filters() == ours.filters() && theirs.raw_data() == ours.raw_data() {
        return true;
    }
    let (Some(theirs), Some(ours)) = (source(theirs), source(ours)) else { return false };
    let read = |source: &Source, most: u64| {
        let mut bytes = Vec::new();
        source.open().and_then(|input| input.take(most).read_to_end(&mut bytes)).is_ok().then_some(bytes)
    };
    let ours = read(&ours, u64::MAX);
    let most = ours.as_ref().map_or(0, |ours| ours.len() as u64 + 1);
    ours.is_some() && ours == read(&theirs, most)
}

/// What a stream holds; `None` where it is packed in a way that no program packs it anew.
fn source(stream: &Stream<'_>) -> Option<Source> {
    let packed = match stream.filters().as_slice() {
        [] => false,
        [Filter::FlateDecode] => true,
        _ => return None,
    };
    Some(Source::Attachment { bytes: Arc::from(stream.raw_data().as_ref()), packed })
}
