//! A look at the supplies: one press says that all is there, or which of them is short.

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
    /// What was short, where it has a button of its own.
    pub(super) short: Vec<Supply>,
    /// What was typed.
    pub(super) note: Option<String>,
}

/// What a look found by what was pressed and typed. Short of what no button names is short of nothing that anybody
/// could fetch, unless it is written.
pub(super) fn looked(pressed: &str, note: Option<String>) -> Result<Looked, Fault> {
    let (enough, short) = pressed_on(pressed).ok_or(Fault::NoChoice)?;
    if !enough && short.is_empty() && note.is_none() {
        return Err(Fault::Missing);
    }
    Ok(Looked { enough, short, note })
}

/// Whether everything was there by what was pressed, and what was short.
pub(super) fn pressed_on(pressed: &str) -> Option<(bool, Vec<Supply>)> {
    match pressed {
        "yes" => Some((true, Vec::new())),
        "no" => Some((false, Vec::new())),
        word => word.parse().ok().map(|supply| (false, vec![supply])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: what is short goes on record by its kind, whoever presses; a machine is not asked for what it has
    // not.
    #[test]
    fn what_is_short_is_said() {
        let typed = || Some("half a can left".to_owned());
        let found = |enough, short: &[Supply], note| Ok(Looked { enough, short: short.to_vec(), note });
        for (pressed, note, expected) in [
            ("yes", None, found(true, &[], None)),
            ("yes", typed(), found(true, &[], typed())),
            ("detergent", None, found(false, &[Supply::Detergent], None)),
            ("rinse-additive", typed(), found(false, &[Supply::RinseAdditive], typed())),
            ("no", typed(), found(false, &[], typed())),
            ("no", None, Err(Fault::Missing)),
            ("maybe", typed(), Err(Fault::NoChoice)),
        ] {
            assert_eq!(looked(pressed, note), expected, "{pressed}");
        }
        let all = |sanitizing| of(sanitizing).collect::<Vec<_>>();
        assert_eq!(all(Some(Sanitizing::HotWater)), [Supply::Detergent, Supply::RinseAdditive]);
        assert_eq!(all(Some(Sanitizing::Chlorine)), Supply::ALL);
        assert_eq!(all(None), Supply::ALL, "of the whole site");
    }
}
