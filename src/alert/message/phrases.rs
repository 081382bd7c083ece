//! Every sentence of a message, English and Spanish side by side.
//!
//! `{name}` stands for a value; both languages of a phrase use the same names.
//! The Spanish is that of kitchens in the Americas: «canasta» for rack.

use crate::core::logbook::words::{FILL_UP, NO_SANITIZER};
use crate::core::reader::{Language, filled};

/// Makes the list of phrases and what each says.
macro_rules! phrases {
    ($($name:ident: $english:expr, $spanish:expr;)*) => {
        /// A phrase.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub(crate) enum Phrase { $($name),* }

        impl Phrase {
            /// Every phrase.
            #[cfg(test)]
            pub(crate) const ALL: &'static [Self] = &[$(Self::$name),*];

            /// English and Spanish.
            pub(crate) const fn pair(self) -> (&'static str, &'static str) {
                match self { $(Self::$name => ($english, $spanish)),* }
            }
        }
    };
}

phrases! {
    // What is wrong.
    Cold: "Final rinse too cold", "Enjuague final demasiado frío";
    Brief: "Final rinse too short", "Enjuague final demasiado corto";
    Weak: "Sanitizer outside its range", "Desinfectante fuera de su rango";
    Unproven: "Racks without proof", "Canastas sin comprobación";
    WashLow: "Wash too cold", "Lavado demasiado frío";
    RinseHot: "Final rinse too hot", "Enjuague final demasiado caliente";
    Narrow: "Final rinse barely at its limit", "Enjuague final apenas en su límite";
    Drifting: "Final rinse drifting", "El enjuague final se está desviando";
    TankCold: "Wash tank not up to temperature", "Tanque de lavado aún frío";
    ProbeFault: "Probe at fault", "Sonda averiada";
    ProbeSilent: "Probe silent", "Sonda sin señal";
    CheckOverdue: "Check overdue", "Control atrasado";
    CalibrationOverdue: "Calibration overdue", "Calibración vencida";
    ThermometerOff: "Thermometer off", "Termómetro desajustado";
    SuppliesShort: "Supplies short", "Faltan suministros";
    RecordDamaged: "Record of a calibration damaged", "Asiento de una calibración dañado";
    DiskFilling: "Disk filling up", "Disco casi lleno";
    ClockUnsynchronised: "Clock not synchronised", "Reloj sin sincronizar";
    SeriesBacklog: "Time series not written", "Serie temporal sin escribir";
    Undelivered: "Message not delivered", "Mensaje sin entregar";

    // What to do, in the first line.
    OrderCold: "Hold the racks; run an empty one.", "Aparte las canastas; pase una vacía.";
    OrderColdFirst: "Hold this rack; run an empty one: it may only be catching up.", "Aparte esta canasta; pase una vacía: puede que solo se esté recuperando.";
    OrderColdAgain: "Stop, hold the racks, call service.", "Pare, aparte las canastas, llame al servicio técnico.";
    OrderBrief: "Hold the racks; let the cycle run to its end.", "Aparte las canastas; deje que el ciclo termine.";
    OrderWeak: "Hold the racks; test and correct the sanitizer.", "Aparte las canastas; mida y corrija el desinfectante.";
    OrderUnproven: "Check by hand before ware is used.", "Compruebe a mano antes de usar la vajilla.";
    OrderWashLow: "Hold the racks; check the wash tank.", "Aparte las canastas; revise el tanque de lavado.";
    OrderRinseHot: "Keep clear of the steam; have it turned down.", "No se acerque al vapor; haga que bajen la temperatura.";
    OrderNarrow: "The racks passed, barely; have the rinse looked at soon.", "Pasaron por poco; haga revisar pronto el enjuague.";
    OrderDrifting: "Early warning: it judges no rack; find the cause soon.", "Aviso temprano: no juzga ninguna canasta; busque pronto la causa.";
    OrderTankCold: "Do not wash yet.", "No lave todavía.";
    OrderProbe: "Not a cold rinse, but no proof: check by hand.", "No es agua fría, pero falta la comprobación: compruebe a mano.";
    OrderCheck: "Do it now and enter it.", "Hágalo ahora y anótelo.";
    OrderChecks: "Do and enter them now.", "Hágalos y anótelos ya.";
    OrderCalibration: "Have it calibrated.", "Haga que la calibren.";
    OrderThermometer: "Do not rely on it; check by hand.", "No se fíe de él; compruebe a mano.";
    OrderSupplies: "Fill up, then enter the supplies again.", "Rellene y anote otra vez los suministros.";
    OrderRecord: "Copy the ledger; calibrate again.", "Copie el registro; calibre de nuevo.";
    OrderDisk: "Free space before recording stops.", "Libere espacio antes de que se detenga el registro.";
    OrderClock: "Check the network: times on record may be off.", "Revise la red: las horas registradas pueden fallar.";
    OrderSeries: "The record is safe; look at the server.", "El registro está a salvo; revise el servidor.";
    OrderUndelivered: "Tell that person another way.", "Avise a esa persona por otra vía.";
    OrderWrite: "The corrective action is to be written.", "Falta escribir la acción correctiva.";
    OrderWithdrawn: "Hold its racks: no test that counts says that they are good. The corrective action is to be written.", "Aparte sus canastas: ninguna prueba que valga dice que están bien. Falta escribir la acción correctiva.";
    OrderEnteredWrongly: "It was entered wrongly: no rack is to be held for it. The corrective action is to be written.", "Se anotó mal: no hay que apartar ninguna canasta por ella. Falta escribir la acción correctiva.";
    OrderNothing: "Nothing more to do for this alert.", "Por esta alerta no hay nada más que hacer.";
    OrderTest: "Nothing is wrong. Nothing to do.", "Todo está en orden. No hay nada que hacer.";

    // Why this message was sent; before the first line.
    Grew: "Worse", "Empeora";
    Returned: "Back again", "Otra vez";
    ReturnedOften: "Came back {times}", "Volvió {times}";
    Summary: "Still open", "Sigue abierta";
    Escalated: "Nobody has answered", "Nadie ha respondido";
    Cleared: "Recovered", "Recuperado";
    EnteredWrongly: "Entered wrongly", "Se anotó mal";
    TestWithdrawn: "Test withdrawn", "Prueba retirada";
    ClearedLapsed: "Over, not seen good again", "Terminó sin verse bien otra vez";
    ClearedForGood: "Recovered for good ({rested})", "Recuperado de forma estable ({rested})";
    ActionMissing: "Corrective action missing", "Falta la acción correctiva";
    Closed: "Closed", "Cerrada";
    AfterMaintenance: "After maintenance, still open", "Tras el mantenimiento, sigue abierta";
    Test: "TEST", "PRUEBA";
    TestTitle: "This is only a test of the way to {contact}", "Esto es solo una prueba de la vía a {contact}";
    TestBody: "Somebody tried whether messages reach {contact}. If you read this, they do. A real alert looks like this message and begins with what is wrong.", "Alguien ha probado si los mensajes llegan a {contact}. Si usted lee esto, llegan. Una alerta real tiene este aspecto y empieza con lo que está mal.";
    EscalatedRecovered: "What raised it has not been seen since {cleared}. What is missing is somebody who takes care of the racks.", "Lo que la causó no se ha visto desde {cleared}. Falta alguien que se encargue de las canastas.";
    EscalatedBody: "The people told before have not acknowledged it. Please take it on.", "Las personas avisadas antes no la han confirmado. Hágase cargo, por favor.";

    // How bad it is.
    WhyCold: "Ware from these racks may not be sanitized.", "La vajilla de estas canastas puede no estar desinfectada.";
    WhyColdFirst: "It was the first rack after a pause: often the booster or the line is only catching up. This rack still counts as cold.", "Fue la primera canasta tras una pausa: a menudo el calentador o la tubería solo se están recuperando. Aun así, esta canasta cuenta como fría.";
    WhyColdAgain: "Several racks in a row: the booster heater has probably failed, or the supply water is too cool.", "Varias canastas seguidas: probablemente falla el calentador de refuerzo, o el agua de entrada llega demasiado fría.";
    WhyColdChemical: "The water is too cold for the sanitizer on file: it works only above its lowest temperature.", "El agua está demasiado fría para el desinfectante registrado: solo actúa por encima de su temperatura mínima.";
    WhyBrief: "The heat was there, but not for long enough to sanitize.", "Hubo calor, pero no el tiempo necesario para desinfectar.";
    WhyWeak: "At this concentration the sanitizer does not sanitize, or is too strong for food contact.", "Con esta concentración el desinfectante no desinfecta, o es demasiado fuerte para el contacto con alimentos.";
    WhyTooWeak: "At this concentration the sanitizer is too weak: it does not sanitize.", "Con esta concentración el desinfectante es demasiado débil: no desinfecta.";
    WhyPhTooHigh: "At this pH the sanitizer is not known to sanitize.", "Con este pH no consta que el desinfectante desinfecte.";
    WhyTooStrong: "At this concentration the sanitizer is too strong for food contact.", "Con esta concentración el desinfectante es demasiado fuerte para el contacto con alimentos.";
    WhyUnproven: "These racks may be good, but nothing proves it: a check is missing, or readings are.", "Estas canastas pueden estar bien, pero nada lo comprueba: falta un control, o faltan lecturas.";
    WhyWashLow: "A cold wash leaves soil, and a hot rinse does not make up for it.", "Un lavado frío deja suciedad, y un enjuague caliente no lo compensa.";
    WhyRinseHot: "Above the maximum the spray turns to vapour, and less heat reaches the ware.", "Por encima del máximo el agua se vuelve vapor, y llega menos calor a la vajilla.";
    WhyNarrow: "Every rack that it counts passed, but by less than the uncertainty of the measurement. A rack that another alert names is what that one says.", "Todas las canastas que cuenta pasaron, pero por menos que la incertidumbre de la medida. Para una canasta que nombre otra alerta vale lo que diga esa.";
    WhyDrifting: "The rinse moves away from its usual temperature: booster, scale, supply, or the probe itself.", "El enjuague se aparta de su temperatura habitual: calentador, cal, suministro o la propia sonda.";
    WhyTankCold: "The kitchen is open, and the wash tank has not reached its temperature.", "La cocina está abierta y el tanque de lavado no ha llegado a su temperatura.";
    WhyProbe: "The water may be hot enough; it is the measurement that is missing. Until it is back every rack is unproven.", "El agua puede estar bastante caliente; lo que falta es la medida. Hasta que vuelva, todas las canastas quedan sin comprobar.";
    WhyCheck: "It was due {due} and is not on record.", "Se esperaba para {due} y no consta en el registro.";
    WhyChecks: "The first of them was due {due}; none of them is on record.", "El primero se esperaba para {due}; ninguno consta en el registro.";
    WhyCheckRacks: "Most often it was not made, or nobody entered it: that is no fault of the machine. Until then nothing proves the racks that it counts ({racks}).", "Lo más habitual es que no se hiciera o que nadie lo anotara: no es una avería de la máquina. Hasta entonces nada comprueba las canastas que cuenta ({racks}).";
    WhyCalibration: "The probe is still used, but what it shows is no longer backed by a calibration.", "La sonda se sigue usando, pero ninguna calibración vigente respalda lo que muestra.";
    WhyThermometer: "It differs from its reference by more than its tolerance. Where it is a probe of the machine, racks were judged by what it shows.", "Se aparta de su referencia más que su tolerancia. Si es una sonda de la máquina, las canastas se juzgaron por lo que muestra.";
    WhySupplies: "Somebody looked at the supplies and found something short that was not filled up: {about}.", "Alguien revisó los suministros y faltaba algo que no se rellenó: {about}.";
    WhySuppliesChemical: "Without its sanitizer this machine washes and does not sanitize; without detergent, soil stays and uses the sanitizer up.", "Sin su desinfectante esta máquina lava pero no desinfecta; sin detergente queda suciedad, que consume el desinfectante.";
    WhySuppliesHeat: "Without detergent or rinse aid ware stays soiled or wet, and a hot rinse does not make up for it.", "Sin detergente o abrillantador la vajilla queda sucia o mojada, y un enjuague caliente no lo compensa.";
    WhyRecord: "{about} cannot be read. Whatever calibration, response test or withdrawal it holds does not count since {since}; no rack claims a calibration or a time constant that it may have replaced.", "No se puede leer {about}. La calibración, la prueba de respuesta o la retirada que contenga no cuenta desde {since}; ninguna canasta se apoya en una calibración o una constante de tiempo que pudo sustituir.";
    WhyDisk: "When the disk is full, no cycle can be recorded any more.", "Con el disco lleno ya no se podrá registrar ningún ciclo.";
    WhyClock: "The gateway cannot check its clock against the network.", "El equipo no puede comparar su reloj con la red.";
    WhySeries: "The server for the charts takes nothing. Alerts and the record do not depend on it.", "El servidor de las gráficas no acepta datos. Las alertas y el registro no dependen de él.";
    WhyUndelivered: "A message was given up, so somebody may not know of an alert.", "Se desistió de entregar un mensaje: alguien puede no saber de una alerta.";

    // What to do now, one step each.
    StopFeeding: "Stop feeding the machine.", "Deje de cargar la máquina.";
    HoldSinceGood: "Hold every rack washed since the last good one ({last_good}). Do not use that ware.", "Aparte todas las canastas lavadas desde la última correcta ({last_good}). No use esa vajilla.";
    HoldOlderToo: "Hold every rack washed since the last good one ({last_good}), and those of before that this alert names. Do not use that ware.", "Aparte todas las canastas lavadas desde la última correcta ({last_good}), y las anteriores que esta alerta nombra. No use esa vajilla.";
    HoldSinceCheck: "Hold every rack washed since the last good sanitizer check, whatever its verdict{so_far}. Do not use that ware.", "Aparte todas las canastas lavadas desde el último control correcto del desinfectante, sea cual sea su resultado{so_far}. No use esa vajilla.";
    HoldSinceCheckOlderToo: "Hold every rack washed since the last good sanitizer check, whatever its verdict{so_far}, and those of before that this alert counts. Do not use that ware.", "Aparte todas las canastas lavadas desde el último control correcto del desinfectante, sea cual sea su resultado{so_far}, y las anteriores que cuenta esta alerta. No use esa vajilla.";
    SoFar: " ({racks} so far)", " ({racks} hasta ahora)";
    SoFarOpen: " ({racks} so far without a corrective action)", " ({racks} hasta ahora sin acción correctiva)";
    SoFarNamed: " ({racks} so far; the page of this alert names them)", " ({racks} hasta ahora; la página de esta alerta las nombra)";
    HoldSince: "Hold every rack washed since {since}. Do not use that ware.", "Aparte todas las canastas lavadas desde {since}. No use esa vajilla.";
    RunEmpty: "Run an empty rack, then another: does the final rinse reach {limit}?", "Pase una canasta vacía y luego otra: ¿llega el enjuague final a {limit}?";
    RunEmptyPlain: "Run an empty rack, then another: is the final rinse good again?", "Pase una canasta vacía y luego otra: ¿vuelve a ser correcto el enjuague final?";
    RunToEnd: "Let the cycle run to its end; do not open the door before.", "Deje que el ciclo termine; no abra la puerta antes.";
    IndependentHeat: "Check independently: a {label} label on a plate, or a maximum thermometer in the rack.", "Compruebe por otro medio: una etiqueta de {label} sobre un plato, o un termómetro de máxima en la canasta.";
    IndependentStrip: "Check independently: a water thermometer, and a test strip at the end of the rinse.", "Compruebe por otro medio: un termómetro en el agua y una tira reactiva al final del enjuague.";
    IndependentGauge: "Check independently: read the machine's own gauge.", "Compruebe por otro medio: lea el indicador de la propia máquina.";
    Rewash: "Wash the held racks again once two racks in a row are good.", "Vuelva a lavar las canastas apartadas cuando dos seguidas sean correctas.";
    StillBad: "If it does not recover: stop, mark the machine out of service, wash by hand (figures below).", "Si no se recupera: pare, marque la máquina como fuera de servicio, lave a mano (datos más abajo).";
    Dispenser: "Look at the drum, the tube and the dosing pump; correct it by the product's label.", "Revise el bidón, el tubo y la bomba dosificadora; corrija según la etiqueta del producto.";
    TestAgain: "Test again with a strip and enter the result.", "Mida otra vez con una tira y anote el resultado.";
    CheckByHand: "Until proof is back: read the gauge and use the test kit or a surface label, and write it down, before ware is used.", "Hasta tener comprobación: lea el indicador y use el kit de prueba o una etiqueta de superficie, y anótelo, antes de usar la vajilla.";
    FindReason: "See why: a missing sanitizer check, a gap in the readings, a probe that is too slow.", "Busque la causa: falta un control del desinfectante, hay un hueco en las lecturas o la sonda es demasiado lenta.";
    TankHeater: "See that the tank is full and its heater is switched on. Wait until it reaches {limit}.", "Vea que el tanque esté lleno y su calentador encendido. Espere hasta que llegue a {limit}.";
    TankHeaterPlain: "See that the tank is full and its heater is switched on. Wait until it is hot.", "Vea que el tanque esté lleno y su calentador encendido. Espere hasta que esté caliente.";
    TurnDown: "Have a technician turn the booster down; more heat does not sanitize better.", "Haga que un técnico baje el calentador de refuerzo; más calor no desinfecta mejor.";
    LookSoon: "In a quiet hour have booster, supply water, rinse pressure and scale looked at.", "En una hora tranquila haga revisar el calentador, el agua de entrada, la presión del enjuague y la cal.";
    CompareProbe: "Compare the probe with a reference thermometer: it may be the probe that drifts.", "Compare la sonda con un termómetro de referencia: puede ser la sonda la que se desvía.";
    ProbeWires: "With the machine off and the line cool, look at plug and cable of {about}.", "Con la máquina apagada y la tubería fría, revise el conector y el cable de {about}.";
    ProbePower: "See that the sensor of {about} has power and network.", "Vea que el sensor de {about} tenga corriente y red.";
    DoChecks: "Make and enter at once: {about}.", "Haga y anote enseguida: {about}.";
    Calibrate: "Have {about} checked at ice and boil, or by a laboratory, and enter the calibration.", "Haga comprobar {about} en hielo y ebullición, o en un laboratorio, y anote la calibración.";
    CompareAgain: "Compare {about} once more, in well stirred ice and water. If it is still off, adjust or replace it, or calibrate it, and enter the result.", "Compare {about} otra vez, en hielo y agua bien removidos. Si sigue desajustado, ajústelo, cámbielo o calíbrelo, y anote el resultado.";
    HoldDoubted: "Hold what is left of the racks that this alert counts, and wash it again: they were hot enough only by what {about} shows too much.", "Aparte lo que quede de las canastas que cuenta esta alerta y lávelo otra vez: alcanzaron el calor solo por lo que {about} marca de más.";
    NoneDoubted: "Of the racks that this gateway has counted since it last agreed none is in doubt by {about}. Look through what was washed before it kept count.", "De las canastas que este equipo ha contado desde que coincidió por última vez ninguna está en duda por {about}. Repase lo que se lavó antes de que llevara la cuenta.";
    LookBack: "Look through the racks since it last agreed: which were hot enough only by what it shows?", "Repase las canastas desde que coincidió por última vez: ¿cuáles alcanzaron el calor solo según lo que muestra?";
    FillUp: FILL_UP.0, FILL_UP.1;
    NoSanitizer: NO_SANITIZER.0, NO_SANITIZER.1;
    EnterSupplies: "Look again and enter it: a look that finds everything there clears this alert.", "Revise otra vez y anótelo: una revisión que lo encuentre todo da por resuelta esta alerta.";
    KeepCopy: "Copy the ledger and the files beside it to another disk, then let «rinseward verify» say what is damaged; a backup may hold the record whole.", "Copie el registro y los archivos que lo acompañan a otro disco y pida a «rinseward verify» que diga qué está dañado; puede que una copia de seguridad lo tenga entero.";
    CalibrateAgain: "Calibrate every probe again that may be meant (rinseward calibrate), and measure how fast it answers (rinseward respond).", "Calibre de nuevo cada sonda a la que pueda referirse (rinseward calibrate) y mida lo rápido que responde (rinseward respond).";
    RecordNumber: "record {number}", "asiento {number}";
    FreeSpace: "Free space on the disk of the ledger. Never delete or move the ledger itself.", "Libere espacio en el disco del registro. Nunca borre ni mueva el propio registro.";
    CheckClock: "Whoever looks after the gateway: check its network and time service.", "Quien cuide del equipo: revise su red y su servicio de hora.";
    CheckSeries: "Whoever looks after the server: check that it runs and takes data. What waits is sent later.", "Quien cuide del servidor: compruebe que funciona y acepta datos. Lo que espera se envía después.";
    TellThem: "Tell the person behind {about} another way, and have the address checked.", "Avise por otra vía a la persona de {about} y haga revisar la dirección.";
    WriteAction: "Write down what happened to the racks and what was done: only that closes the alert.", "Anote qué pasó con las canastas y qué se hizo: solo eso cierra la alerta.";
    RewashNamed: "If it is not done yet: hold the racks that this alert counts, and wash them again.", "Si aún no se ha hecho: aparte las canastas que cuenta esta alerta y lávelas otra vez.";
    WriteActionCheck: "Write down what happened to the racks washed since the last good sanitizer check, and what was done, with your name: only that closes the alert.", "Anote qué pasó con las canastas lavadas desde el último control correcto del desinfectante y qué se hizo, con su nombre: solo eso cierra la alerta.";
    WriteActionOlderToo: "Write down what happened to all {racks} that this alert counts, those of before it came back too, and what was done, with your name: only that closes the alert.", "Anote qué pasó con todas las canastas que cuenta esta alerta ({racks}), también con las de antes de que volviera, y qué se hizo, con su nombre: solo eso cierra la alerta.";
    WriteActionSince: "Write down what happened to the racks washed since {since_good} and what was done, with your name: only that closes the alert.", "Anote qué pasó con las canastas lavadas desde {since_good} y qué se hizo, con su nombre: solo eso cierra la alerta.";
    NothingToHold: "For this alert no rack is to be held or washed again: the test that raised it was entered wrongly and is right as {amended_by} corrected it. Of the racks that it counts ({racks}), hold only those that another alert names.", "Por esta alerta no hay que apartar ni volver a lavar ninguna canasta: la prueba que la causó se anotó mal y es correcta tal como la corrigió {amended_by}. De las canastas que cuenta ({racks}), aparte solo las que nombre otra alerta.";
    WriteEnteredWrongly: "Write down as corrective action: «entered wrongly, corrected», with your name: only that closes the alert.", "Anote como acción correctiva: «se anotó mal, corregido», con su nombre: solo eso cierra la alerta.";
    WhyEnteredWrongly: "The test that raised it was entered wrongly: it showed {amended_counts}, and not {amended_was} (corrected by {amended_by}).", "La prueba que la causó se anotó mal: marcaba {amended_counts}, y no {amended_was} (la corrigió {amended_by}).";
    WhyTestWithdrawn: "The test that raised it was withdrawn by {amended_by} and counts no more: of the racks of this alert no test that counts says that they are good.", "La prueba que la causó la retiró {amended_by} y ya no vale: de las canastas de esta alerta ninguna prueba que valga dice que están bien.";
    AsCorrected: "{amended_counts}, as corrected by {amended_by}; entered as {amended_was}", "{amended_counts}, según la corrección de {amended_by}; anotado como {amended_was}";
    AsWithdrawn: "none: withdrawn by {amended_by}; entered as {amended_was}", "ninguna: retirada por {amended_by}; anotada como {amended_was}";
    Call: "Call {call}.", "Llame a {call}.";
    CallService: "Call the service company of the machine.", "Llame al servicio técnico de la máquina.";

    // By hand.
    SinkTitle: "By hand, in a three-compartment sink", "A mano, en un fregadero de tres compartimientos";
    SinkWash: "Scrape; wash at {wash} or above; rinse.", "Quite los restos; lave a {wash} o más; enjuague.";
    SinkHeat: "Sanitize in hot water of {heat} or above for at least 30 s,", "Desinfecte en agua caliente a {heat} o más durante al menos 30 s,";
    SinkChlorine: "or in chlorine, 50 to 99 mg/L at {chlorine} or above for at least 10 s, tested with a strip; other sanitizers by their label.", "o en cloro, de 50 a 99 mg/L a {chlorine} o más durante al menos 10 s, medido con una tira; otros desinfectantes según su etiqueta.";
    SinkDry: "Let it air-dry.", "Deje secar al aire.";
    SinkSource: "Figures: FDA Food Code 4-501.19, 4-501.111, 4-501.114, 4-703.11. Local rules and the label come first.", "Datos: Código de Alimentos de la FDA, 4-501.19, 4-501.111, 4-501.114, 4-703.11. Las normas locales y la etiqueta van primero.";

    // Cautions.
    CautionTitle: "Caution", "Precaución";
    Scald: "Rinse water and steam scald at once. Never open the door in mid-rinse, never reach into a running machine.", "El agua del enjuague y el vapor queman al instante. Nunca abra la puerta durante el enjuague ni meta la mano en una máquina en marcha.";
    Chlorine: "Never let chlorine meet acid (descaler, rinse aid) or ammonia: the gas is poisonous. On a sharp smell leave at once.", "Nunca junte cloro con ácido (desincrustante, abrillantador) ni con amoníaco: el gas es venenoso. Si huele fuerte, salga de inmediato.";
    Mains: "Behind the panels is mains voltage, and a booster often has a second supply: only for a qualified person, locked out.", "Tras los paneles hay tensión eléctrica, y el calentador de refuerzo suele tener una segunda alimentación: solo personal cualificado, con bloqueo.";
    Aid: "An aid only: the machine's gauges, the test kit and the surface label stay needed.", "Solo es una ayuda: los indicadores de la máquina, el kit de prueba y la etiqueta de superficie siguen siendo necesarios.";

    // Headings and rows.
    DoNow: "Do now", "Haga ahora";
    Facts: "Facts", "Datos";
    RowSite: "Site", "Sitio";
    RowMachine: "Machine", "Máquina";
    RowPlace: "Place", "Lugar";
    RowMeasured: "Measured last", "Última medida";
    RowMeasuredThen: "Measured last while it lasted", "Última medida mientras duró";
    RowWorst: "Worst", "Peor medida";
    RowSmoothed: "Smoothed mean of the racks, last", "Media suavizada de las canastas, última";
    RowSmoothedWorst: "Smoothed mean of the racks, worst", "Media suavizada de las canastas, peor";
    RowLimit: "Limit", "Límite";
    Permitted: "{least} to {most} mg/L", "de {least} a {most} mg/L";
    RowUsualFrom: "Usual range begins at", "Lo habitual empieza en";
    RowUsualTo: "Usual range ends at", "Lo habitual acaba en";
    RowSince: "Since", "Desde";
    RowOpenSince: "The alert is open since", "La alerta está abierta desde";
    RowReturned: "Came back", "Volvió";
    CheckDue: "{check} (due {at})", "{check} (pendiente desde {at})";
    RowRacks: "Racks affected", "Canastas afectadas";
    RacksWithEarlier: "{count}, {earlier} of them passed before it was found", "{count}, {earlier} de ellas pasaron antes de descubrirse";
    RacksWithBeside: "{count}, {beside} of them unproven, cold or too short by their own verdict", "{count}, {beside} de ellas sin comprobar, frías o cortas por su propio resultado";
    RacksWithBoth: "{count}, {earlier} of them passed before it was found, and {beside} are unproven, cold or too short by their own verdict", "{count}, {earlier} de ellas pasaron antes de descubrirse, y {beside} son sin comprobar, frías o cortas por su propio resultado";
    RowLastGood: "Last good rack", "Última canasta correcta";
    InDoubtBy: "in doubt since, by {alerts}", "en duda desde entonces, por {alerts}";
    ThisAlert: "this alert", "esta alerta";
    ThisAndOthers: "{this} and {others}", "{this} y {others}";
    RowLastGoodBack: "Last good rack before it came back", "Última canasta correcta antes de que volviera";
    BeforeItCameBack: "{time}, before it came back", "{time}, antes de que volviera";
    RowAbout: "About", "Sobre";
    RowTaken: "Taken on by", "Atendida por";
    RowRecovered: "Recovered", "Recuperado";
    RowLapsed: "Over", "Terminó";
    RowAction: "What was done", "Qué se hizo";
    RowActionRacks: "What happened to the racks", "Qué pasó con las canastas";
    RowAlert: "Alert", "Alerta";
    PlaceWashTank: "wash tank", "tanque de lavado";
    PlaceFinalRinse: "final rinse", "enjuague final";
    PlaceWare: "ware surface", "superficie de la vajilla";
    PlaceOther: "other", "otro";
    Link: "See it, acknowledge it, write down the action", "Verla, confirmarla, anotar la acción";
    LinkWrite: "See it and write down the action", "Verla y anotar la acción";
    LinkSee: "See it", "Verla";
    LinkNote: "Opening the link changes nothing; only the button on the page does.", "Abrir el enlace no cambia nada; solo lo hace el botón de la página.";

    // Pieces of sentences that are always used whole.
    RacksSince: "{racks} since {since}", "{racks} desde {since}";
    RacksAndEarlier: "{racks}, {earlier} of them had passed and are in doubt; since {since}", "{racks}, {earlier} de ellas habían pasado y están en duda; desde {since}";
    RacksAndEarlierOnly: "{racks}, {earlier} of them in doubt", "{racks}, {earlier} de ellas en duda";
    RacksAllEarlier: "{racks} that had passed, now in doubt; since {since}", "{racks} que habían pasado, ahora en duda; desde {since}";
    RacksAllEarlierOnly: "{racks} now in doubt", "{racks} ahora en duda";
    Since: "since {since}", "desde {since}";
    TestCorrected: "{begun}; test corrected {until}", "{begun}; prueba corregida: {until}";
    OnlyWithdrawn: "{begun}; test withdrawn {until}", "{begun}; prueba retirada: {until}";
    Lapsed: "{begun}; over at {until}, not seen good again", "{begun}; terminó {until}, sin verse bien otra vez";
    Until: "{begun}; good again since {until}", "{begun}; bien otra vez desde {until}";
    ByAt: "{by}, {at}", "{by}, {at}";
    FirstAndMore: "{first} and {more} more", "{first} y {more} más";
    CheckSanitizer: "sanitizer", "desinfectante";
    CheckSupply: "supplies", "suministros";
    CheckDrain: "drain and clean", "vaciado y limpieza";
    CheckThermometer: "thermometer", "termómetro";
    Judging: "this gateway stopped judging it: restart the service", "este equipo dejó de evaluarla: reinicie el servicio";
    TheSensor: "the probe", "la sonda";
    ThatRoute: "that address", "esa dirección";

    // The digest.
    DigestDay: "Yesterday", "Ayer";
    DigestWeek: "Last week", "La semana pasada";
    DigestNoRack: "no rack washed", "ninguna canasta lavada";
    DigestAllGood: "{racks}, all passed", "{racks}, todas correctas";
    DigestWorkedOn: "{count} of them while somebody worked on the machine", "{count} de ellas mientras alguien trabajaba en la máquina";
    DigestNothingOpen: "no alert open", "ninguna alerta abierta";
    DigestMissed: "checks not made in time: {count}", "controles no hechos a tiempo: {count}";
    DigestMissing: "checks missing now: {count}", "controles que faltan ahora: {count}";
    DigestFailed: "checks failed: {count}", "controles que no cumplen: {count}";
    DigestUnread: "records that cannot be read: {count}", "asientos que no se pueden leer: {count}";
    Damage: "Damaged records", "Asientos dañados";
    DamageNote: "They are in none of the numbers here. Whoever looks after the gateway: run «rinseward verify» on the ledger.", "No están en ninguna de estas cifras. Quien cuide del equipo: ejecute «rinseward verify» sobre el registro.";
    DamageOfAlerts: "Records of alerts that cannot be read: {count}. More may have happened than is shown here. Whoever looks after the gateway: run «rinseward verify» on the ledger.", "Asientos de alertas que no se pueden leer: {count}. Puede haber ocurrido más de lo que aquí se ve. Quien cuide del equipo: ejecute «rinseward verify» sobre el registro.";
    DigestPages: "See the pages", "Ver las páginas";
    DigestOpen: "alerts open: {count}", "alertas abiertas: {count}";
    Coldest: "Coldest: {measured} (limit {limit}), {at}", "Más fría: {measured} (límite {limit}), {at}";
    NotOperating: "No operating hours", "Sin horas de servicio";
    Monitored: "Monitored: {share}", "Vigilado: {share}";
    MonitoredGaps: "Monitored: {share}; gaps: {count}, together {time}", "Vigilado: {share}; huecos: {count}, en total {time}";
    MoreMachines: "{count} more without a rack that is bad or in doubt", "{count} más sin ninguna canasta mala ni en duda";
    MoreListed: "{count} more, see the page or the command «history»", "{count} más, vea la página o la orden «history»";
    OpenAlerts: "Open alerts", "Alertas abiertas";
    OpenAlert: "{number}: {what} – {where}, since {since}", "{number}: {what} – {where}, desde el {since}";
    Waiting: "nobody has taken it on", "nadie la atiende";
    Recovered: "recovered, not closed yet", "recuperada, aún sin cerrar";
    TakenBy: "taken on by {by}", "la atiende {by}";
    ToWrite: "corrective action to be written", "falta la acción correctiva";
    MissingChecks: "Checks missing", "Controles que faltan";
    FailedChecks: "Checks that failed", "Controles que no cumplen";
    AlertCounts: "Alerts raised: {raised}; closed: {closed}", "Alertas nuevas: {raised}; cerradas: {closed}";
    Days: "Day by day", "Día a día";
    DayLine: "{day}: {racks}", "{day}: {racks}";
    Integrity: "Proof for later", "Prueba para más tarde";
    IntegrityNote: "Keep this mail. The lines below fix every record up to them: whoever holds them can prove later that none was changed or removed.", "Guarde este correo. Las líneas de abajo fijan todos los asientos hasta ellas: quien las tenga puede probar después que ninguno se cambió ni se borró.";
    Machines: "Machines", "Máquinas";

    // The short form.
    ShortCold: "COLD RINSE", "ENJUAGUE FRÍO";
    ShortBrief: "RINSE TOO SHORT", "ENJUAGUE CORTO";
    ShortAtLeast: "{measured} (at least {limit})", "{measured} (mín. {limit})";
    ShortAtMost: "{measured} (at most {limit})", "{measured} (máx. {limit})";
    ShortWeak: "SANITIZER OUT OF RANGE", "DESINFECTANTE FUERA DE RANGO";
    ShortUnproven: "RACKS UNPROVEN", "CANASTAS SIN COMPROBAR";
    ShortWashLow: "COLD WASH", "LAVADO FRÍO";
    ShortRinseHot: "RINSE TOO HOT", "ENJUAGUE MUY CALIENTE";
    ShortNarrow: "RINSE BARELY HOT ENOUGH", "ENJUAGUE MUY JUSTO";
    ShortDrifting: "RINSE DRIFTING", "ENJUAGUE SE DESVÍA";
    ShortTankCold: "WASH TANK COLD", "TANQUE FRÍO";
    ShortProbeFault: "PROBE FAULT", "SONDA AVERIADA";
    ShortProbeSilent: "PROBE SILENT", "SONDA SIN SEÑAL";
    ShortCheckOverdue: "CHECK OVERDUE", "CONTROL PENDIENTE";
    ShortCalibrationOverdue: "CALIBRATION OVERDUE", "CALIBRACIÓN VENCIDA";
    ShortThermometerOff: "THERMOMETER OFF", "TERMÓMETRO DESAJUSTADO";
    ShortSuppliesShort: "SUPPLIES SHORT", "FALTAN SUMINISTROS";
    ShortRecordDamaged: "RECORD DAMAGED", "ASIENTO DAÑADO";
    ShortDiskFilling: "DISK FILLING UP", "DISCO CASI LLENO";
    ShortClock: "CLOCK NOT SYNCHRONISED", "RELOJ SIN SINCRONIZAR";
    ShortSeries: "TIME SERIES NOT WRITTEN", "SERIE SIN ESCRIBIR";
    ShortUndelivered: "MESSAGE NOT DELIVERED", "MENSAJE SIN ENTREGAR";
    ShortTest: "way to {contact} works. Nothing is wrong.", "la vía a {contact} funciona. Todo está en orden.";
    ShortAlert: "Alert {number}", "Alerta {number}";
}

impl Phrase {
    /// The phrase in a language, its names not yet filled.
    pub(crate) const fn say(self, language: Language) -> &'static str {
        let (english, spanish) = self.pair();
        match language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }

    /// The phrase with its values. A name without a value stays as it is, which a test finds.
    pub(crate) fn with(self, language: Language, values: &[(&str, &str)]) -> String {
        filled(self.say(language), values)
    }
}
