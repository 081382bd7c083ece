//! The files within a PDF (ISO 32000-2 §7.11.4), by their names.
//!
//! The PDF is read by a crate of others; the bytes of an attachment are unpacked only when they
//! are read, so that a small PDF cannot fill the memory. What is on the pages is not looked at.

use std::collections::BTreeMap;
use std::sync::Arc;

use hayro_syntax::Filter;
use hayro_syntax::Pdf;
use hayro_syntax::object::{Array, Dict, Stream, String as PdfString};

use super::source::Source;

/// Deepest tree of names that is followed; one of a few names has a root only.
const DEPTH_MAX: u32 = 8;
/// Most attachments that are looked at.
const ATTACHMENTS_MAX: usize = 64;

/// Why nothing can be taken out of a PDF.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub(in crate::app) enum AttachmentError {
    /// It cannot be read.
    #[error("the PDF cannot be read: it is damaged, cut short, or locked with a password")]
    Pdf,
    /// Two attachments have one name.
    #[error("two attachments of the PDF have one name, so that it is not clear which one is meant")]
    Twice,
    /// It is packed in a way that this program does not write.
    #[error("an attachment of the PDF is packed in a way that rinseward does not write")]
    Packing,
    /// There are more than a report has.
    #[error("the PDF has more attachments than a report of rinseward")]
    TooMany,
}

/// Takes the attachments out of a PDF.
pub(super) fn attachments(pdf: Arc<Vec<u8>>) -> Result<BTreeMap<String, Source>, AttachmentError> {
    let pdf = Pdf::new(pdf).map_err(|_| AttachmentError::Pdf)?;
    let xref = pdf.xref();
    let root: Dict<'_> = xref.get(xref.root_id()).ok_or(AttachmentError::Pdf)?;
    let mut found = BTreeMap::new();
    let names = root.get::<Dict<'_>>("Names").and_then(|names| names.get::<Dict<'_>>("EmbeddedFiles"));
    if let Some(names) = names {
        collect(&names, 0, &mut found)?;
    }
    Ok(found)
}

fn collect(node: &Dict<'_>, depth: u32, found: &mut BTreeMap<String, Source>) -> Result<(), AttachmentError> {
    if depth > DEPTH_MAX {
        return Err(AttachmentError::TooMany);
    }
    if let Some(kids) = node.get::<Array<'_>>("Kids") {
        for kid in kids.iter::<Dict<'_>>() {
            collect(&kid, depth + 1, found)?;
        }
    }
    let Some(names) = node.get::<Array<'_>>("Names") else { return Ok(()) };
    let mut pairs = names.flex_iter();
    while let Some(key) = pairs.next::<PdfString<'_>>() {
        let Some(file) = pairs.next::<Dict<'_>>() else { continue };
        if found.len() >= ATTACHMENTS_MAX {
            return Err(AttachmentError::TooMany);
        }
        // The name that viewers show; where it differs from the key both are looked for.
        let shown = file.get::<PdfString<'_>>("UF").or_else(|| file.get("F")).unwrap_or(key);
        let Some(stream) = file
            .get::<Dict<'_>>("EF")
            .and_then(|files| files.get::<Stream<'_>>("F").or_else(|| files.get::<Stream<'_>>("UF")))
        else {
            continue;
        };
        let packed = match stream.filters().as_slice() {
            [] => false,
            [Filter::FlateDecode] => true,
            _ => return Err(AttachmentError::Packing),
        };
        let bytes: Arc<[u8]> = stream.raw_data().as_ref().into();
        if found.insert(text(shown.as_bytes()), Source::Attachment { bytes, packed }).is_some() {
            return Err(AttachmentError::Twice);
        }
    }
    Ok(())
}

/// A text string of a PDF (ISO 32000-2 §7.9.2): UTF-16 with its mark, else read as UTF-8, of which
/// the letters of a file name are a part in every other encoding.
fn text(bytes: &[u8]) -> String {
    match bytes.strip_prefix(&[0xfe, 0xff]) {
        Some(wide) => {
            let units = wide.as_chunks::<2>().0.iter().copied().map(u16::from_be_bytes);
            char::decode_utf16(units).map(|unit| unit.unwrap_or(char::REPLACEMENT_CHARACTER)).collect()
        }
        None => String::from_utf8_lossy(bytes).trim_start_matches('\u{feff}').to_owned(),
    }
}
