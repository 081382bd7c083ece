//! A look at the supplies: one press says that all is there, or that what is ticked is short: one entry for all of it.

use std::collections::BTreeMap;

use crate::core::cycle::plate::Sanitizing;
use crate::core::record::Supply;
use crate::web::form::Fault;

/// What a machine can run short of: one that sanitizes with hot water takes no sanitizer and no strips.
pub(super) fn of(sanitizing: Option<Sanitizing>) -> impl Iterator<Item = Supply> {
    let hot_only = sanitizing.is_some_and(|own| !own.is_chemical());
    let fits =
        move |supply: &Supply| !hot_only || matches!(supply, Supply::Detergent | Supply::RinseAdditive);
    Supply::ALL.into_iter().filter(fits)
}

/// What a look found.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Looked {
    /// Whether everything was there.
    pub(super) enough: bool,
    /// What was short, where it has a tick of its own.
    pub(super) short: Vec<Supply>,
    /// What was typed.
    pub(super) note: Option<String>,
}

/// The name of a tick in a form: it goes into a form with others of its kind, each once.
pub(super) fn tick(supply: Supply) -> String {
    format!("short-{}", supply.as_str())
}

/// Takes the ticks out of what was sent.
pub(super) fn ticked(sent: &mut BTreeMap<String, String>) -> Vec<Supply> {
    Supply::ALL.into_iter().filter(|supply| sent.remove(&tick(*supply)).is_some()).collect()
}

/// What a look found by what was pressed, ticked and typed. Short of what nothing names is short of nothing that
/// anybody could fetch.
pub(super) fn looked(pressed: &str, short: &[Supply], note: Option<String>) -> Result<Looked, Fault> {
    let (enough, short) = said(pressed, short)?.ok_or(Fault::NoChoice)?;
    if !enough && short.is_empty() && note.is_none() {
        return Err(Fault::NothingShort);
    }
    Ok(Looked { enough, short, note })
}

/// Whether everything was there, and what was short; `None` where neither was said.
pub(super) fn said(pressed: &str, short: &[Supply]) -> Result<Option<(bool, Vec<Supply>)>, Fault> {
    match pressed {
        "yes" if short.is_empty() => Ok(Some((true, Vec::new()))),
        "yes" => Err(Fault::ShortAndEnough),
        "no" => Ok(Some((false, short.to_vec()))),
        "" if short.is_empty() => Ok(None),
        "" => Ok(Some((false, short.to_vec()))),
        _ => Err(Fault::NoChoice),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: whatever is short goes on record by its kind and in one entry; of ticks and a press that
    // contradict them neither wins; a machine is not asked for what it has not.
    #[test]
    fn what_is_short_is_said() {
        use Supply::{Detergent, RinseAdditive, TestStrips};
        let typed = || Some("half a can left".to_owned());
        let found = |enough, short: &[Supply], note| Ok(Looked { enough, short: short.to_vec(), note });
        for (pressed, short, note, expected) in [
            ("yes", &[][..], None, found(true, &[], None)),
            ("yes", &[], typed(), found(true, &[], typed())),
            ("yes", &[Detergent], None, Err(Fault::ShortAndEnough)),
            ("no", &[Detergent], None, found(false, &[Detergent], None)),
            ("no", &[Detergent, TestStrips], typed(), found(false, &[Detergent, TestStrips], typed())),
            // A press of the key that sends a form where no button was pressed.
            ("", &[RinseAdditive], None, found(false, &[RinseAdditive], None)),
            ("no", &[], typed(), found(false, &[], typed())),
            ("no", &[], None, Err(Fault::NothingShort)),
            ("", &[], typed(), Err(Fault::NoChoice)),
            ("maybe", &[], typed(), Err(Fault::NoChoice)),
        ] {
            assert_eq!(looked(pressed, short, note), expected, "{pressed} {short:?}");
        }
        let all = |sanitizing| of(sanitizing).collect::<Vec<_>>();
        assert_eq!(all(Some(Sanitizing::HotWater)), [Detergent, RinseAdditive]);
        assert_eq!(all(Some(Sanitizing::Chlorine)), Supply::ALL);
        assert_eq!(all(None), Supply::ALL, "of the whole site");
    }

    #[test]
    fn ticks_are_taken_and_nothing_else() {
        let names = ["short-detergent", "short-test-strips", "short-soap", "colour"];
        let mut sent = names.into_iter().map(|name| (name.to_owned(), "yes".to_owned())).collect();
        assert_eq!(ticked(&mut sent), [Supply::Detergent, Supply::TestStrips]);
        assert_eq!(sent.into_keys().collect::<Vec<_>>(), ["colour", "short-soap"]);
    }
}
