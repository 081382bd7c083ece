//! The words for what an alert is about, in both languages: one list for terminal, paper and message.

use super::condition::Condition;
use crate::core::reader::Language;

/// What is wrong, as it stands in a sentence.
#[must_use]
pub const fn condition(condition: Condition, language: Language) -> &'static str {
    let (english, spanish) = match condition {
        Condition::Cold => ("final rinse too cold", "enjuague final demasiado frío"),
        Condition::Brief => ("final rinse too short", "enjuague final demasiado corto"),
        Condition::Weak => ("sanitizer outside its range", "desinfectante fuera de su rango"),
        Condition::Unproven => ("racks without proof", "canastas sin comprobación"),
        Condition::WashLow => ("wash too cold", "lavado demasiado frío"),
        Condition::RinseHot => ("final rinse too hot", "enjuague final demasiado caliente"),
        Condition::Narrow => ("final rinse barely at its limit", "enjuague final apenas en su límite"),
        Condition::Drifting => ("final rinse drifting", "el enjuague final se está desviando"),
        Condition::TankCold => ("wash tank not up to temperature", "tanque de lavado aún frío"),
        Condition::ProbeFault => ("probe at fault", "sonda averiada"),
        Condition::ProbeSilent => ("probe silent", "sonda sin señal"),
        Condition::CheckOverdue => ("check overdue", "control atrasado"),
        Condition::CalibrationOverdue => ("calibration overdue", "calibración vencida"),
        Condition::ThermometerOff => ("thermometer off", "termómetro desajustado"),
        Condition::SuppliesShort => ("supplies short", "faltan suministros"),
        Condition::RecordDamaged => ("record of a calibration damaged", "asiento de una calibración dañado"),
        Condition::DiskFilling => ("disk filling up", "disco casi lleno"),
        Condition::ClockUnsynchronised => ("clock not synchronised", "reloj sin sincronizar"),
        Condition::SeriesBacklog => ("time series not written", "serie temporal sin escribir"),
        Condition::Undelivered => ("message not delivered", "mensaje sin entregar"),
    };
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}
