//! Words for the kinds of records, English and Spanish side by side.

use crate::core::reader::Language;
use crate::core::record::CheckKind;
use crate::web::frame::said;

/// The word for a kind of record; a kind without one stands as in the record.
pub(super) fn kind_word(kind: &'static str, language: Language) -> &'static str {
    match kind {
        "access" => said(language, "account", "cuenta"),
        "alert-acknowledged" => said(language, "alert taken on", "alerta atendida"),
        "alert-changed" => said(language, "alert changed", "alerta cambiada"),
        "alert-cleared" => said(language, "alert cleared", "alerta recuperada"),
        "alert-closed" => said(language, "alert closed", "alerta cerrada"),
        "alert-raised" => said(language, "alert raised", "alerta"),
        "amendment" => said(language, "amendment", "enmienda"),
        "calibration" => said(language, "calibration", "calibración"),
        "check" => said(language, "check", "control"),
        "clock-step" => said(language, "clock stepped", "salto de reloj"),
        "configuration-change" => said(language, "configuration", "configuración"),
        "corrective-action" => said(language, "corrective action", "acción correctiva"),
        "gap" => said(language, "gap", "hueco"),
        "import" => said(language, "import", "importación"),
        "lawful-hold" => said(language, "hold", "retención"),
        "machine-failure" => said(language, "machine failure", "fallo de máquina"),
        "maintenance" => said(language, "maintenance", "mantenimiento"),
        "note" => said(language, "note", "nota"),
        "notification" => said(language, "message", "mensaje"),
        "pruned" => said(language, "readings pruned", "lecturas depuradas"),
        "response" => said(language, "response test", "ensayo de respuesta"),
        "restored" => said(language, "restored", "restaurado"),
        "service-start" => said(language, "service started", "servicio iniciado"),
        "service-stop" => said(language, "service stopped", "servicio detenido"),
        "sign-off" => said(language, "sign-off", "conformidad"),
        "signing-key" => said(language, "signing key", "clave de firma"),
        "wiring-proof" => said(language, "wiring proof", "prueba de cableado"),
        other => other,
    }
}

/// The word for a kind of check.
pub(super) const fn check_word(kind: CheckKind, language: Language) -> &'static str {
    match kind {
        CheckKind::Sanitizer => said(language, "sanitizer", "desinfectante"),
        CheckKind::Supply => said(language, "supplies", "suministros"),
        CheckKind::DrainAndClean => said(language, "drain and clean", "vaciado y limpieza"),
        CheckKind::Thermometer => said(language, "thermometer", "termómetro"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::Body;

    // Own rule: every kind has a word in Spanish.
    #[test]
    fn every_kind_has_a_word() {
        for kind in Body::EVENTS {
            assert_ne!(kind_word(kind, Language::Spanish), kind);
        }
    }
}
