//! Words for places and for faults of probes, English and Spanish side by side.

use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::core::reading::Fault;
use crate::web::frame::said;

/// Where a probe sits.
pub(in crate::web) const fn place_word(place: Place, language: Language) -> &'static str {
    match place {
        Place::WashTank => said(language, "wash tank", "tanque de lavado"),
        Place::FinalRinse => said(language, "final rinse", "enjuague final"),
        Place::Ware => said(language, "at a ware", "en una pieza"),
        Place::Other => said(language, "other", "otro"),
    }
}

/// What is wrong with a probe.
pub(in crate::web) const fn fault_word(fault: Fault, language: Language) -> &'static str {
    match fault {
        Fault::OpenCircuit => said(language, "wire broken", "cable roto"),
        Fault::Short => said(language, "short circuit", "cortocircuito"),
        Fault::Reversed => said(language, "leads exchanged", "hilos invertidos"),
        Fault::OutOfRange => said(language, "outside its range", "fuera de su rango"),
        Fault::Stuck => said(language, "stuck at the same digits", "fija en las mismas cifras"),
        Fault::Silent => said(language, "silent", "sin señal"),
        Fault::NoColdJunction => {
            said(language, "no cold-junction temperature", "sin temperatura de la unión fría")
        }
        Fault::Reported => said(language, "reports a fault of its own", "avisa de un fallo propio"),
    }
}
