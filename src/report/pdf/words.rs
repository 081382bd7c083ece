//! Every word of the report on paper, English and Spanish side by side.
//!
//! `{name}` stands for a value; both languages of a phrase use the same names.
//! The Spanish is that of kitchens in the Americas: «canasta» for rack.

use crate::core::reader::{Language, filled};

/// Makes the list of phrases and what each says.
macro_rules! words {
    ($($name:ident: $english:literal, $spanish:literal;)*) => {
        /// A word or a phrase of the report.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub(in crate::report) enum Word { $($name),* }

        impl Word {
            /// Every one of them.
            #[cfg(test)]
            pub(super) const ALL: &'static [Self] = &[$(Self::$name),*];

            /// English and Spanish.
            pub(super) const fn pair(self) -> (&'static str, &'static str) {
                match self { $(Self::$name => ($english, $spanish)),* }
            }
        }
    };
}

words! {
    // The page around the text.
    Title: "Warewashing report", "Informe de lavado de vajilla";
    PageOf: "page {page} of {pages}", "página {page} de {pages}";
    SealedHead: "checkpoint over {count} records", "punto de control sobre {count} asientos";
    UnsealedHead: "not sealed", "sin sello";
    Contents: "Contents", "Contenido";
    Span: "{from} to {to}", "{from} a {to}";
    SpanSoFar: "{from} to {to}, so far until {made}", "{from} a {to}, por ahora hasta {made}";
    SpanSealed: "{from} to {to}; its signed records go until {made}", "{from} a {to}; sus asientos firmados llegan hasta {made}";
    SpanNotOver: "{from} to {to}. It was not over when this was made: the record goes until {made}.", "{from} a {to}. No había terminado al hacer este informe: el registro llega hasta {made}.";

    // Cover.
    CoverHeading: "What this report is about", "De qué trata este informe";
    Site: "Site", "Sitio";
    SpanRow: "Span", "Período";
    Zone: "Time zone of all times", "Zona horaria de todas las horas";
    OnlyMachines: "Only these machines", "Solo estas máquinas";
    Made: "Made", "Hecho el";
    Program: "Made by", "Hecho por";
    ProgramName: "rinseward {version}", "rinseward {version}";
    RecordsRow: "Records it stands on", "Asientos en que se basa";
    RecordsValue: "{from} to {last} of the ledger", "{from} a {last} del registro";
    NoRecords: "none", "ninguno";
    MachinesHeading: "Machines and their limits", "Máquinas y sus límites";
    Machine: "Machine", "Máquina";
    Kind: "Kind", "Tipo";
    Method: "Sanitized by", "Desinfección";
    RinseLimit: "Final-rinse limit", "Límite del enjuague";
    LimitFrom: "Source of the limit", "Origen del límite";
    WashLimit: "Wash limit", "Límite del lavado";
    MethodRange: "{method}, {min} to {max} mg/L", "{method}, de {min} a {max} mg/L";
    DwellRow: "Held for", "Sostenido";
    InForceSince: "In force since", "Vigente desde";
    FromRackOf: "From the rack of", "Desde la canasta de";
    NoCycleInSpan: "no rack in the span", "ninguna canasta en el período";
    IntegrityHeading: "Integrity", "Integridad";
    EndsText: "The signed records end at {at}. What came on record after them is not in this report: times and gaps are counted up to then, and nothing is said of later ones. «rinseward checkpoint make» signs what is on record.", "Los asientos firmados terminan a las {at}. Lo registrado después no está en este informe: los tiempos y las interrupciones se cuentan hasta entonces, y de después no se dice nada. «rinseward checkpoint make» firma lo registrado.";
    SealedText: "A signed checkpoint over {count} records seals this account. Whoever has this file and the public key can check that no record attached to it was changed: the steps stand under «{section}».", "Un punto de control firmado sobre {count} asientos sella este informe. Quien tenga este archivo y la clave pública puede comprobar que no se cambió ningún asiento adjunto: los pasos están en «{section}».";
    UnsealedText: "NOT SEALED: no signing key was at hand when this account was made. Nothing in this file proves that the record is whole; ask for a report with a checkpoint.", "SIN SELLO: no había clave de firma al hacer este informe. Nada en este archivo prueba que el registro esté entero; pida un informe con punto de control.";
    DamagedText: "DAMAGED: records that could not be read, so that nothing of them is in this account: {count} ({list}).", "DAÑADO: asientos que no se pudieron leer, así que nada de ellos está en este informe: {count} ({list}).";
    UndamagedText: "Every record of the span could be read.", "Se pudieron leer todos los asientos del período.";
    MoreListed: "{list} and {count} more", "{list} y {count} más";
    AidText: "This program is an aid. It replaces neither the machine's own gauges nor the required test kit or surface indicator; local rules come first.", "Este programa es una ayuda. No sustituye los indicadores de la máquina, ni el kit de prueba o el indicador de superficie exigidos; las normas locales van primero.";

    // Summary.
    SummaryHeading: "Summary", "Resumen";
    Racks: "Racks", "Canastas";
    PassRate: "Passed", "Correctas";
    PassRateNote: "«Passed» is the share of racks that passed, narrowly or plainly. An unproven rack is never counted as one that passed. Shares are rounded down.", "«Correctas» es el porcentaje de canastas que cumplieron, con holgura o por poco. Una canasta sin comprobar nunca cuenta como correcta. Los porcentajes se redondean hacia abajo.";
    InDoubtColumn: "In doubt", "En duda";
    InDoubtCounted: "Racks in doubt are counted above by their verdicts, as racks that passed: {count}. They are not to be relied on; see «{section}».", "Las canastas en duda se cuentan arriba por su veredicto, como canastas correctas: {count}. No se fíe de ellas; véase «{section}».";
    Lowest: "Lowest minimum", "Mínimo más bajo";
    Median: "Median minimum", "Mediana de mínimos";
    Monitored: "Monitored", "Vigilado";
    MonitoredOf: "{share} of {time}", "{share} de {time}";
    GapCount: "Gaps", "Huecos";
    Late: "Recorded late", "Registradas tarde";
    AllMachines: "All machines", "Todas las máquinas";
    Attention: "What needs attention", "Lo que pide atención";
    OpenAlerts: "Alerts still open", "Alertas aún abiertas";
    ActionsMissing: "Corrective actions missing", "Acciones correctivas que faltan";
    MissedChecks: "Missed checks", "Controles omitidos";
    BadChecks: "Checks failed", "Controles que no cumplen";
    EarlyWarnings: "Early warnings", "Avisos tempranos";
    VerdictsHeading: "What the verdicts mean", "Qué significan los veredictos";
    VerdictColumn: "Verdict", "Veredicto";
    MeaningColumn: "Meaning", "Significado";

    // Day by day.
    DaysHeading: "Day by day", "Día a día";
    DaysNote: "Each mark is the settled minimum of one rack; the band is the limit ± its expanded uncertainty (k = 2). Marks that would cover one another are drawn once. Where all racks lie in a small part of the span, only those days are drawn.", "Cada marca es el mínimo estable de una canasta; la banda es el límite ± su incertidumbre expandida (k = 2). Las marcas que se taparían se dibujan una vez. Si todas las canastas caen en una pequeña parte del período, solo se dibujan esos días.";
    Day: "Day", "Día";
    NotPassed: "Not passed", "No correctas";
    NarrowColumn: "Narrow", "Justas";
    LowestOf: "Lowest", "Mínimo";
    MedianOf: "Median", "Mediana";
    Limit: "Limit", "Límite";
    Recovery: "Recovery", "Recuperación";
    NotRecorded: "none on record", "no consta";
    NoneF: "none in the span", "nada en el período";

    // Exceptions.
    ExceptionsHeading: "Racks that did not plainly pass", "Canastas que no pasaron con holgura";
    ExceptionsCount: "Racks told here, each with its trace, what was found, and what was done about it: {count}.", "Canastas que siguen, cada una con su traza, lo hallado y lo que se hizo: {count}.";
    ExceptionsRule: "There are {count} of them. The {drawn} worst are shown with their trace: by verdict first ({verdicts}), within a verdict the oldest first. {listed} more are in the table below.", "Son {count}. Las {drawn} peores se muestran con su traza: primero por veredicto ({verdicts}) y dentro de cada uno las más antiguas. Otras {listed} están en la tabla de abajo.";
    ExceptionsBeyond: "{count} more are not listed on paper; all of them stand in the attached cycles.csv and account.json.", "Otras {count} no figuran en papel; todas están en cycles.csv y account.json, adjuntos.";
    ExceptionsLeftOut: "More racks of «{machine}» that are counted above and told neither here nor in account.json, since there were too many: {count} ({verdicts}). All of them stand in the attached cycles.csv.", "Más canastas de «{machine}» que se cuentan arriba y no se detallan ni aquí ni en account.json, por ser demasiadas: {count} ({verdicts}). Todas están en cycles.csv, adjunto.";
    TracesLeftOut: "More traces that are kept and not drawn, since there were too many: {count}. Ask for a shorter span.", "Más trazas que se conservan y no se dibujan, por ser demasiadas: {count}. Pida un período más corto.";
    TraceLeftOut: "No trace of this rack is drawn: too many are kept to draw them all.", "No se dibuja traza de esta canasta: se conservan demasiadas para dibujarlas todas.";
    DoubtedHeading: "Racks that passed and are in doubt", "Canastas que pasaron y están en duda";
    DoubtedNote: "What these passed by was found wrong after them, by a test of the sanitizer or a comparison of a thermometer: {count}. Each verdict stands as it was judged; the ware is not to be relied on. The alert says what was found.", "Después se comprobó que era erróneo aquello por lo que se dieron por buenas, con una prueba del desinfectante o comparando un termómetro: {count}. Cada veredicto queda como se juzgó, pero no se fíe de la vajilla. La alerta dice qué se halló.";
    DoubtedBeyond: "{count} more are not listed on paper; all of them stand in the attached cycles.csv, column in_doubt_by.", "Otras {count} no figuran en papel; todas están en cycles.csv, adjunto, columna in_doubt_by.";
    WorkRacksHeading: "Racks made while somebody worked on the machine", "Canastas hechas mientras alguien trabajaba en la máquina";
    WorkRacksNote: "Unproven, since nobody can tell what they show: {count}. Their traces are not drawn.", "Sin comprobar, pues no se sabe qué muestran: {count}. Sus trazas no se dibujan.";
    FurtherHeading: "Further racks, without trace", "Otras canastas, sin traza";
    ExceptionHead: "{machine}, {at}", "{machine}, {at}";
    Minimum: "Settled minimum", "Mínimo estable";
    AgainstLimit: "{measured} {unit} against {limit} {unit} ± {uncertainty}", "{measured} {unit} frente a {limit} {unit} ± {uncertainty}";
    NoMinimum: "none; limit {limit}", "ninguno; límite {limit}";
    Basis: "Judged by", "Evaluado con";
    BasisCorrected: "the minimum corrected for the probe's delay; shown by the probe: {raw}", "el mínimo corregido por el retardo de la sonda; la sonda mostró: {raw}";
    Held: "Limit held for", "Límite sostenido";
    HeldOf: "{held} s of the {required} s asked for", "{held} s; se exigen {required} s";
    WashMinimum: "Wash minimum", "Mínimo del lavado";
    WashAgainst: "{measured} {unit} against {limit} {unit}", "{measured} {unit} frente a {limit} {unit}";
    Why: "Why", "Por qué";
    Found: "Found beside it", "Hallado además";
    RecordRow: "Record", "Asiento";
    RecordLate: "{index}, recorded late: {at}", "{index}, registrado tarde: {at}";
    AlertRow: "Alert", "Alerta";
    ActionRow: "Corrective action", "Acción correctiva";
    ActionText: "Alert {number}. Racks: {racks} Done: {done} ({by}, {at}, record {index}{covers})", "Alerta {number}. Canastas: {racks} Hecho: {done} ({by}, {at}, asiento {index}{covers})";
    ActionCoversThis: ", covers this rack", ", abarca esta canasta";
    ActionNotYet: "Alert {number}: no action covers this rack yet", "Alerta {number}: ninguna acción abarca todavía esta canasta";
    NotCoveredYet: "none yet", "ninguna todavía";
    CoverUnknown: "not known", "no se sabe";
    OfAlert: "alert {number}: {told}", "alerta {number}: {told}";
    RecordsNamed: "record {list}", "asiento {list}";
    ActionMissing: "Alert {number}: none on record", "Alerta {number}: no consta";
    ActionUnknown: "Alert {number}: not known, since records are damaged", "Alerta {number}: no se sabe, pues hay asientos dañados";
    NoAlertKnown: "no alert that this report knows; a later one may count this rack", "ninguna alerta que conozca este informe; una posterior puede contar esta canasta";
    NoAlert: "no alert names this rack", "ninguna alerta nombra esta canasta";
    InDoubtBy: "in doubt by alert {number}", "en duda por la alerta {number}";
    AmendmentRow: "Amendment", "Enmienda";
    NoTrace: "No trace is kept of this rack.", "No se conserva traza de esta canasta.";
    RinseBegan: "Final rinse began", "Inicio del enjuague";

    // Reasons and findings.
    BelowLimit: "The final rinse settled at {measured}, below its limit of {limit}.", "El enjuague final se estabilizó en {measured}, por debajo de su límite de {limit}.";
    DwellShort: "The limit was held for {held} s; {required} s are required.", "El límite se sostuvo {held} s; se exigen {required} s.";
    Aborted: "The final rinse ended after {time} s, before the line could settle.", "El enjuague final terminó a los {time} s, antes de estabilizarse.";
    TooWeak: "The sanitizer on file, {value} mg/L, is too weak{bound}.", "El desinfectante registrado, {value} mg/L, es demasiado débil{bound}.";
    TooStrong: "The sanitizer on file, {value} mg/L, is too strong{bound}.", "El desinfectante registrado, {value} mg/L, es demasiado fuerte{bound}.";
    PhTooHigh: "The sanitizer on file, {value} mg/L, is at a pH above what the Food Code's table covers{bound}.", "El desinfectante registrado, {value} mg/L, tiene un pH mayor que el de la tabla del Código de Alimentos{bound}.";
    NotAMeasurement: "The sanitizer on file, {value} mg/L, is no possible measurement.", "El desinfectante registrado, {value} mg/L, no es una medida posible.";
    NotChemical: "A sanitizer on file, {value} mg/L, does not count on a hot-water machine.", "Un desinfectante registrado, {value} mg/L, no cuenta en una máquina de agua caliente.";
    NoCheck: "No sanitizer check is on file for this shift.", "No consta ningún control del desinfectante en este turno.";
    ProbeFailed: "The final-rinse probe failed during the cycle: {fault}.", "La sonda del enjuague final falló durante el ciclo: {fault}.";
    GapInRinse: "Readings are missing for {time} s of the final rinse.", "Faltan lecturas durante {time} s del enjuague final.";
    TooFew: "Only {readings} readings lie in the settled rinse; {needed} are needed.", "Solo hay {readings} lecturas en el enjuague estable; se necesitan {needed}.";
    TooSlow: "The probe answers too slowly for this rinse, and its time constant is not on file.", "La sonda responde demasiado despacio para este enjuague y no consta su constante de tiempo.";
    EndNotSeen: "The trace does not show when the final rinse ended.", "La traza no muestra cuándo terminó el enjuague final.";
    ClockStepped: "The clock of the source stepped during the cycle.", "El reloj de la fuente saltó durante el ciclo.";
    TooSoon: "It came {after} s after other water in the line; a wash takes {needed} s at least, so one of the two was no rinse.", "Llegó {after} s después de otra agua en la línea; un lavado dura al menos {needed} s, así que una de las dos no era un enjuague.";
    Faint: "The line, long at rest, cooled by only {change}: a rinse of cold water, or none.", "La línea, en reposo desde hacía tiempo, se enfrió solo {change}: un enjuague de agua fría, o ninguno.";
    TankUnseen: "The wash probe fell faster than a tank does, so it was not in the water: a rack, or water that ran in an empty machine.", "La sonda del lavado bajó más deprisa que un tanque, así que no estaba en el agua: una canasta, o agua que corrió en una máquina vacía.";
    WorkedOnCount: "{machine}: unproven racks that were made while somebody worked on the machine: {count} of {all}.", "{machine}: canastas sin comprobar que se hicieron mientras alguien trabajaba en la máquina: {count} de {all}.";
    WorkedOn: "Somebody worked on the machine: what its probes showed need not be its water.", "Alguien trabajaba en la máquina: lo que mostraron sus sondas puede no ser su agua.";
    Inside: "The settled minimum is {margin} above the limit, within the uncertainty of ±{uncertainty}.", "El mínimo estable está {margin} sobre el límite, dentro de la incertidumbre de ±{uncertainty}.";
    WashLow: "The lowest wash was {measured}, below its limit of {limit}.", "El lavado más bajo fue de {measured}, por debajo de su límite de {limit}.";
    RinseHot: "The highest final rinse was {measured}, above its maximum of {limit}.", "El enjuague final más alto fue de {measured}, por encima de su máximo de {limit}.";
    WashFault: "The wash could not be judged: {fault}.", "El lavado no se pudo evaluar: {fault}.";
    WashUnproven: "The wash could not be judged.", "El lavado no se pudo evaluar.";

    // Alerts.
    AlertsHeading: "Alerts and their answers", "Alertas y sus respuestas";
    Number: "No.", "N.º";
    Condition: "Condition", "Condición";
    Since: "Since", "Desde";
    MeasuredColumn: "Worst measured (limit)", "Peor medida (límite)";
    AnsweredColumn: "Answer and outcome", "Respuesta y resultado";
    TakenBy: "Taken on by {by}, {at}.", "Atendida por {by}, {at}.";
    TakenUntil: "Taken on by {by}, {at}; that ended {ended}, when it came back.", "Atendida por {by}, {at}; terminó el {ended}, cuando volvió.";
    NobodyTookAnew: "Nobody took it on anew.", "Nadie la atendió de nuevo.";
    NobodyTook: "Nobody took it on.", "Nadie la atendió.";
    Recovered: "Recovered {at}.", "Recuperado el {at}.";
    CameBack: "It had recovered and came back: {times}.", "Se había recuperado y volvió: {times}.";
    CameBackLast: "It had recovered and came back {count} times, last {at}.", "Se había recuperado y volvió {count} veces, la última el {at}.";
    NotRecovered: "Not recovered.", "Sin recuperar.";
    Closed: "Closed {at}.", "Cerrada el {at}.";
    RaisedLater: "Raised after this span, {at}: about racks of it.", "Surgida después del período, el {at}: trata de canastas de este.";
    StillOpen: "OPEN.", "ABIERTA.";
    Messages: "Messages: {delivered} delivered, {given_up} given up.", "Mensajes entregados: {delivered}; sin entregar: {given_up}.";
    ActionIn: "Racks: {racks} Done: {done} ({by}, {at}, record {index}{covers})", "Canastas: {racks} Hecho: {done} ({by}, {at}, asiento {index}{covers})";
    ActionCovers: ", covers {covered} of {all}", ", abarca {covered} de {all}";
    Doubted: "racks that had passed and are in doubt: {count}", "canastas que habían pasado y están en duda: {count}";
    RacksDoubted: "Racks that passed and are in doubt", "Canastas que pasaron y están en duda";
    RacksOf: "{inside} of {all}", "{inside} de {all}";
    RacksOutside: "«{inside} of {all}»: of the {all} racks that the alert counts {inside} are among those of this report. The others were washed before or after its span, or their records could not be read.", "«{inside} de {all}»: de las {all} canastas que cuenta la alerta, {inside} están entre las de este informe. Las demás se lavaron antes o después del período, o sus asientos no se pudieron leer.";
    ActionShort: "Later racks without a corrective action: {count} of {all}.", "Canastas posteriores sin acción correctiva: {count} de {all}.";
    WorstOtherSide: "{worst}; on the other side {other}", "{worst}; por el otro lado {other}";
    OfSite: "site", "sitio";

    // Checks.
    ChecksHeading: "Checks", "Controles";
    Check: "Check", "Control";
    Result: "Result", "Resultado";
    FoundColumn: "Found", "Hallado";
    By: "By", "Por";
    At: "Made", "Hecho";
    Good: "good", "bien";
    NotGood: "FAILED", "NO CUMPLE";
    DoneOnly: "done", "hecho";
    WithdrawnBy: "withdrawn by record {index}", "retirado por el asiento {index}";
    CorrectedBy: "corrected by record {index}", "corregido por el asiento {index}";
    AmendedBy: "see record {index}", "véase el asiento {index}";
    CheckSanitizer: "sanitizer concentration", "concentración del desinfectante";
    CheckSupply: "supplies", "suministros";
    CheckDrain: "drain and clean", "vaciado y limpieza";
    CheckThermometer: "thermometer", "termómetro";
    Enough: "enough", "suficiente";
    NotEnough: "short", "falta";
    SolutionAt: "solution at {at}", "solución a {at}";
    ThermometerFound: "{what}: showed {shown}, reference {reference} ({with}), tolerance {tolerance}", "{what}: mostró {shown}, referencia {reference} ({with}), tolerancia {tolerance}";
    OverdueHeading: "Missed checks", "Controles omitidos";
    DueColumn: "Due", "Pendiente desde";
    MadeAfterAll: "Made after all", "Hecho al fin";
    MadeFailed: "{at}: FAILED", "{at}: NO CUMPLE";
    NeverMade: "NOT ENTERED", "NO ANOTADO";

    // Calibrations, gaps, drift.
    CalibrationsHeading: "Calibrations in force", "Calibraciones vigentes";
    Probe: "Probe", "Sonda";
    CalibrationMade: "Made on", "Hecha el";
    PointsColumn: "Reference / shown", "Referencia / mostrado";
    UncertaintyColumn: "U (k = 2)", "U (k = 2)";
    LargestUncertainty: "Largest U (k = 2)", "Mayor U (k = 2)";
    TauColumn: "Time constant", "Constante de tiempo";
    NotOnFile: "not on file", "no consta";
    InDoubt: "in doubt", "en duda";
    InDoubtNote: "What is in doubt counts for nothing, since a record that may have taken its place cannot be read: readings are corrected by it all the same, with the uncertainty of an uncalibrated probe, and a time constant is taken as not known.", "Lo que está en duda no cuenta, porque un asiento que pudo sustituirlo no se puede leer: las lecturas se siguen corrigiendo con ello, con la incertidumbre de una sonda sin calibrar, y una constante de tiempo se toma por desconocida.";
    GapsHeading: "Gaps", "Huecos";
    GapsNote: "Stretches in which nothing is known. A rack washed in one is either unproven or not on record.", "Tramos de los que no se sabe nada. Una canasta lavada en uno queda sin comprobar o no consta.";
    From: "From", "Desde";
    To: "To", "Hasta";
    Length: "Length", "Duración";
    Cause: "Cause", "Causa";
    Lasts: "lasts", "continúa";
    LastedAt: "lasted at {at}", "duraba a las {at}";
    ServiceDown: "the service did not run", "el servicio no funcionaba";
    FilledLater: "readings came late", "las lecturas llegaron tarde";
    DriftHeading: "Early warnings", "Avisos tempranos";
    DriftNote: "Control charts on the settled minima: an early warning of a slow decline, never a verdict.", "Gráficos de control sobre los mínimos estables: aviso temprano de un descenso lento, nunca un veredicto.";
    LearningAnew: "learning anew since work on the machine ended, {since}: {racks} of {of} good racks so far", "aprende de nuevo desde que terminó el trabajo en la máquina, {since}: {racks} de {of} canastas buenas hasta ahora";
    Learning: "still learning: {racks} of {of} good racks so far", "todavía aprende: {racks} de {of} canastas buenas hasta ahora";
    LearntBefore: "; signals are against what was usual before", "; los avisos se comparan con lo habitual de antes";
    Usual: "Usual minimum", "Mínimo habitual";
    UsualValue: "{mean}, standard deviation {sigma}", "{mean}, desviación típica {sigma}";
    ColdFirst: "Cold first racks after a pause", "Primeras canastas frías tras una pausa";
    RecoveryRow: "Recovery in the rush, first and last quarter", "Recuperación en la hora punta, primer y último cuarto";
    Signals: "Signals of the charts", "Señales de los gráficos";
    Signal: "{at}: {chart}, {shift} against the usual, shift since {since}", "{at}: {chart}, {shift} frente a lo habitual, cambio desde {since}";
    SignalPlain: "{at}: {chart}, {shift} against the usual", "{at}: {chart}, {shift} frente a lo habitual";
    MoreSignals: "and {count} more, in account.json", "y {count} más, en account.json";
    Ewma: "moving average (EWMA, ISO 7870-6)", "media móvil (EWMA, ISO 7870-6)";
    Cusum: "cumulative sum (CUSUM, ISO 7870-4)", "suma acumulada (CUSUM, ISO 7870-4)";

    // Remarks and service.
    RemarksHeading: "Remarks and amendments", "Observaciones y enmiendas";
    RemarksNote: "An amendment stands beside the record it is about; the record itself is never changed.", "Una enmienda figura junto al asiento al que se refiere; el asiento mismo nunca se cambia.";
    Recorded: "Recorded", "Registrado";
    About: "About", "Sobre";
    Text: "Text", "Texto";
    Noted: "note", "nota";
    CommentOn: "comment on record {index}", "comentario al asiento {index}";
    WithdrawsRecord: "withdraws record {index}", "retira el asiento {index}";
    CorrectsRecord: "corrects record {index}", "corrige el asiento {index}";
    ServiceHeading: "The program and the record", "El programa y el registro";
    ServiceNote: "Texts as recorded, in English.", "Textos tal como se registraron, en inglés.";
    ServiceLeftOut: "Not in this list, nor in any other of this report: log-ins and log-outs, refusals, files that were taken away, checks of the record, what language or scale somebody reads in, who ended another's dialog at a probe, and each message of an alert. All of them are on record: in the evidence and in an export as JSON Lines, and `rinseward verify` checks them with all others.", "No están en esta lista ni en otra de este informe: los inicios de sesión y sus cierres, los rechazos, los archivos que alguien se llevó, las verificaciones del registro, en qué idioma o escala lee cada quien, quién puso fin al diálogo de otra persona en una sonda y cada mensaje de una alerta. Todo eso consta en el registro: en las pruebas y en una exportación como JSON Lines, y `rinseward verify` lo comprueba con todo lo demás.";
    ServiceFolded: "Left out here, since by them a dialog at a probe only kept its machine marked as worked on, which the beginning and the end of the work tell: {count} records. They stand in the attached evidence.", "No figuran, porque con ellos un diálogo en una sonda solo mantuvo su máquina marcada como en trabajo, lo que dicen el comienzo y el final del trabajo: {count} asientos. Están en las pruebas adjuntas.";
    Event: "Event", "Suceso";

    // Proof.
    ProofHeading: "Checkpoint and how to verify this report", "Punto de control y cómo verificar este informe";
    CheckpointHeading: "The checkpoint", "El punto de control";
    CheckpointText: "A signed note (C2SP tlog-checkpoint): origin, number of records, root over all of them, signature.", "Una nota firmada (C2SP tlog-checkpoint): origen, número de asientos, raíz sobre todos ellos, firma.";
    KeyHeading: "The public key", "La clave pública";
    KeyText: "Do not take the key from this page alone: have it given or read to you by the site another way, and compare. Whoever forges a report also prints a key.", "No tome la clave solo de esta página: pídala al sitio por otra vía y compárela. Quien falsifica un informe también imprime una clave.";
    StepsHeading: "Step by step, on any computer", "Paso a paso, en cualquier computadora";
    StepSave: "Save this file as report.pdf, and the public key that you were given as site.verify-key.", "Guarde este archivo como report.pdf y la clave pública que le dieron como site.verify-key.";
    StepVerify: "Verify it. No network and no trust in the kitchen is needed.", "Verifíquelo. No hace falta red ni confiar en la cocina.";
    StepExit: "If it answers «whole» (exit code 0), the attached records are those that the checkpoint counts, unchanged. «NOT WHOLE» is exit code 1; 2 says that it could not be checked.", "Si responde «whole» («entero», código 0), los asientos adjuntos son los que cuenta el punto de control, sin cambios. «NOT WHOLE» («no entero») es el código 1; 2 indica que no se pudo comprobar.";
    StepDetach: "Or take the attachments out first, with any PDF program, and verify the table by itself.", "O saque antes los adjuntos, con cualquier programa de PDF, y verifique la tabla por sí sola.";
    StepEarlier: "Where you kept an earlier checkpoint as kept.txt, give it too: it proves that nothing older was changed since.", "Si guardó un punto de control anterior como kept.txt, indíquelo también: prueba que desde entonces no se cambió nada más antiguo.";
    StepKeep: "Keep a checkpoint for next time, where the kitchen cannot reach it: have the site type this, and keep the file that it sends you.", "Guarde un punto de control para la próxima vez, fuera del alcance de la cocina: pida al sitio que escriba esto y guarde el archivo que le envíe.";
    StepPaper: "The pages you read are made from the attached account.json. It is made again from the sealed records and compared, but for monitored time, early warnings and what else the answer names. Where the same version of rinseward-report is installed, the pages are made again too, and compared.", "Las páginas que lee se hacen de account.json, adjunto. Se rehace con los asientos sellados y se compara, salvo el tiempo vigilado, los avisos tempranos y lo demás que nombra la respuesta. Donde está instalada la misma versión de rinseward-report, también las páginas se rehacen y se comparan.";
    AttachmentsHeading: "Attached files", "Archivos adjuntos";
    File: "File", "Archivo";
    Holds: "Holds", "Contiene";
    Size: "Size", "Tamaño";
    HoldsCycles: "every rack of the span as a table (CSV, RFC 4180)", "todas las canastas del período como tabla (CSV, RFC 4180)";
    HoldsEvidence: "the records with their proof, for verification", "los asientos con su prueba, para verificar";
    HoldsAccount: "everything shown on these pages (JSON)", "todo lo que muestran estas páginas (JSON)";
    Replaced: "A character that the fonts of this file lack stands as «□»; account.json holds it.", "Un carácter que falta en las letras de este archivo figura como «□»; account.json lo contiene.";

    // Cautions.
    CautionHeading: "Cautions", "Precauciones";
    CautionScald: "Rinse water and steam scald at once: a deep burn takes about 5 s at {at60} and 1 s at {at68}. Never open the door in mid-rinse, never reach into a running machine; let lines cool and drain before a fitting is loosened.", "El agua del enjuague y el vapor queman al instante: una quemadura profunda tarda unos 5 s a {at60} y 1 s a {at68}. Nunca abra la puerta durante el enjuague ni meta la mano en una máquina en marcha; deje enfriar y vaciar las tuberías antes de aflojar una conexión.";
    CautionChlorine: "Never let chlorine meet acid (descaler, rinse aid) or ammonia: the gas is poisonous. Rinse fully between deliming and refilling; on a sharp smell leave at once.", "Nunca junte cloro con ácido (desincrustante, abrillantador) ni con amoníaco: el gas es venenoso. Enjuague por completo entre la descalcificación y el rellenado; si huele fuerte, salga de inmediato.";
    CautionMains: "Behind the panels is mains voltage, and a booster often has a second supply: isolate, lock out and verify before any work (OSHA 29 CFR 1910.147), by a qualified person.", "Tras los paneles hay tensión eléctrica, y el calentador de refuerzo suele tener una segunda alimentación: aísle, bloquee y verifique antes de cualquier trabajo (OSHA 29 CFR 1910.147), por personal cualificado.";
    CautionPlumbing: "Fittings under pressure are the work of a licensed plumber where the law asks. Do not drill a listed machine.", "Las conexiones a presión son trabajo de un plomero autorizado donde la ley lo exige. No perfore una máquina certificada.";
}

impl Word {
    /// In a language, its names not yet filled.
    pub(in crate::report) const fn say(self, language: Language) -> &'static str {
        let (english, spanish) = self.pair();
        match language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }

    /// With its values. A name without a value stays as it is, which a test finds.
    pub(in crate::report) fn with(self, language: Language, values: &[(&str, &str)]) -> String {
        filled(self.say(language), values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> std::collections::BTreeSet<&str> {
        text.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(name, _)| name).collect()
    }

    /// Words that both languages write alike.
    const ALIKE: [Word; 2] = [Word::ProgramName, Word::UncertaintyColumn];

    #[test]
    fn both_languages_are_complete_and_use_the_same_names() {
        for word in Word::ALL {
            let [english, spanish] = Language::ALL.map(|language| word.say(language));
            assert!(!english.is_empty() && !spanish.is_empty(), "{word:?}");
            assert_eq!(names(english), names(spanish), "{word:?}");
            let only_names =
                english.replace(['{', '}', ',', ' '], "").len() <= 16 && english.starts_with('{');
            assert!(english != spanish || ALIKE.contains(word) || only_names, "{word:?}");
        }
    }

    #[test]
    fn a_brace_inside_a_value_is_only_a_brace() {
        let found = Word::Closed.with(Language::English, &[("at", "{at} {x}")]);
        assert_eq!(found, "Closed {at} {x}.");
    }
}
