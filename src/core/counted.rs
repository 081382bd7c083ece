//! How many of something, in both languages: one list of the words of one and of more.

use super::reader::Language;

/// What is counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Noun {
    /// Racks that went through a machine.
    Racks,
    /// Records of the ledger.
    Records,
    /// Values of probes.
    Readings,
    /// Cycles of a machine.
    Cycles,
    /// Stretches in which something was missing.
    Gaps,
    /// What a check of the ledger found.
    Findings,
    /// Points of a calibration.
    Points,
    /// What is open where a machine is signed off.
    OpenPoints,
    /// Values that were set aside.
    Spikes,
    /// What of an input may be refused: a line, or a part of one.
    Pieces,
    /// Tries to do something.
    Tries,
    /// How often something happened.
    Times,
    /// Dish machines.
    Machines,
    /// Probes of a site.
    Probes,
    /// What readings come from.
    Sources,
    /// People who are told of alerts.
    Contacts,
    /// Ways on which messages go out.
    Channels,
    /// What is doubtful, but stops nothing.
    Warnings,
    /// What a machine is driven by: a reading, or that time has passed.
    Inputs,
}

impl Noun {
    /// One of it, and more.
    const fn words(self, language: Language) -> (&'static str, &'static str) {
        match (self, language) {
            (Self::Racks, Language::English) => ("rack", "racks"),
            (Self::Racks, Language::Spanish) => ("canasta", "canastas"),
            (Self::Records, Language::English) => ("record", "records"),
            (Self::Records, Language::Spanish) => ("asiento", "asientos"),
            (Self::Readings, Language::English) => ("reading", "readings"),
            (Self::Readings, Language::Spanish) => ("lectura", "lecturas"),
            (Self::Cycles, Language::English) => ("cycle", "cycles"),
            (Self::Cycles, Language::Spanish) => ("ciclo", "ciclos"),
            (Self::Gaps, Language::English) => ("gap", "gaps"),
            (Self::Gaps, Language::Spanish) => ("hueco", "huecos"),
            (Self::Findings, Language::English) => ("finding", "findings"),
            (Self::Findings, Language::Spanish) => ("hallazgo", "hallazgos"),
            (Self::Points, Language::English) => ("point", "points"),
            (Self::Points, Language::Spanish) => ("punto", "puntos"),
            (Self::OpenPoints, Language::English) => ("open point", "open points"),
            (Self::OpenPoints, Language::Spanish) => ("punto abierto", "puntos abiertos"),
            (Self::Spikes, Language::English) => ("spike", "spikes"),
            (Self::Spikes, Language::Spanish) => ("pico", "picos"),
            (Self::Pieces, Language::English) => ("piece of input", "pieces of input"),
            (Self::Pieces, Language::Spanish) => ("parte de la entrada", "partes de la entrada"),
            (Self::Tries, Language::English) => ("try", "tries"),
            (Self::Tries, Language::Spanish) => ("intento", "intentos"),
            (Self::Times, Language::English) => ("time", "times"),
            (Self::Times, Language::Spanish) => ("vez", "veces"),
            (Self::Machines, Language::English) => ("machine", "machines"),
            (Self::Machines, Language::Spanish) => ("máquina", "máquinas"),
            (Self::Probes, Language::English) => ("probe", "probes"),
            (Self::Probes, Language::Spanish) => ("sonda", "sondas"),
            (Self::Sources, Language::English) => ("source", "sources"),
            (Self::Sources, Language::Spanish) => ("fuente", "fuentes"),
            (Self::Contacts, Language::English) => ("contact", "contacts"),
            (Self::Contacts, Language::Spanish) => ("contacto", "contactos"),
            (Self::Channels, Language::English) => ("channel", "channels"),
            (Self::Channels, Language::Spanish) => ("canal", "canales"),
            (Self::Warnings, Language::English) => ("warning", "warnings"),
            (Self::Warnings, Language::Spanish) => ("aviso", "avisos"),
            (Self::Inputs, Language::English) => ("reading or tick", "readings and ticks"),
            (Self::Inputs, Language::Spanish) => ("lectura o pulso", "lecturas y pulsos"),
        }
    }

    /// The word for so many of it.
    #[must_use]
    pub const fn word(self, count: u64, language: Language) -> &'static str {
        let (one, more) = self.words(language);
        if count == 1 { one } else { more }
    }

    /// So many of it: «1 rack», «2 racks».
    ///
    /// ```
    /// use rinseward::core::counted::Noun;
    /// use rinseward::core::reader::Language;
    ///
    /// assert_eq!(Noun::Racks.of(1, Language::English), "1 rack");
    /// assert_eq!(Noun::Records.of(0, Language::Spanish), "0 asientos");
    /// ```
    #[must_use]
    pub fn of(self, count: u64, language: Language) -> String {
        format!("{count} {}", self.word(count, language))
    }
}
