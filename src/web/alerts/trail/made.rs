//! Which check was made while an alert finds others still missing.

use super::{Told, say, still};
use crate::core::alert::entered::EnteredChecks;
use crate::core::logbook::Missed;
use crate::core::reader::{Reader, filled};
use crate::core::record::{AlertChanged, CheckKind};
use crate::web::logbook::words::{heading, of_check_missing};

/// Which check was made while others are still missing, and that it failed where it did.
pub(super) fn eased(
    changed: &AlertChanged,
    kinds: &[CheckKind],
    entered: &EnteredChecks,
    reader: &Reader,
) -> Told {
    let language = reader.language;
    let behind = changed.cause.and_then(|cause| entered.of(cause));
    let behind = behind.filter(|(check, _)| kinds.contains(&check.kind()));
    let named = kinds.iter().map(|kind| heading(Some(*kind), language)).collect::<Vec<_>>().join(", ");
    let found = behind.map(|(check, judgement)| match check.kind() {
        CheckKind::DrainAndClean => format!(" ({})", check.by()),
        CheckKind::Sanitizer | CheckKind::Supply | CheckKind::Thermometer => {
            format!(", {} ({})", of_check_missing(check, Missed::of(judgement), reader), check.by())
        }
    });
    let failed = behind.is_some_and(|(_, judgement)| judgement.good == Some(false));
    let pair = if failed {
        (
            "One of the checks was made, and FAILED: {made}; still missing: {still}",
            "Se hizo uno de los controles, y NO CUMPLIÓ: {made}; aún faltan: {still}",
        )
    } else {
        (
            "One of the checks was made: {made}; still missing: {still}",
            "Se hizo uno de los controles: {made}; aún faltan: {still}",
        )
    };
    let (made, still) = (format!("{named}{}", found.unwrap_or_default()), still(changed, language));
    let values = [("made", made.as_str()), ("still", &still.unwrap_or_default())];
    (filled(say(language, pair), &values), Vec::new(), failed)
}
