//! Every kind of record in one sentence, English and Spanish side by side.

use super::{access, work};
use crate::core::alert::words::condition;
use crate::core::audit::Outcome;
use crate::core::counted::Noun;
use crate::core::cycle::words::verdict;
use crate::core::logbook::Missed;
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{
    Amendment, AmendmentChange, Body, CalibrationDone, CalibrationPoint, Clock, ClockStep, Gap, Import,
    KeyChange, LawfulHold, ProvenProbe, Pruned, ResponseDone, Restored, ServiceStart, ServiceStop, SignedOff,
    SigningKeyChange, StopCause, WiringProofDone,
};
use crate::core::wiring::finding;
use crate::web::alerts::trail;
use crate::web::logbook::words::{of_check, of_check_missing};
use crate::web::machine::words::fault_word;

/// English and Spanish.
pub(super) type Pair = (&'static str, &'static str);

/// The phrase in the reader's language, with its values.
pub(super) fn put(language: Language, pair: Pair, values: &[(&str, &str)]) -> String {
    let phrase = match language {
        Language::English => pair.0,
        Language::Spanish => pair.1,
    };
    filled(phrase, values)
}

/// What a record says, a check with the limits that it missed.
pub(super) fn judged(body: &Body, missed: Missed, reader: &Reader) -> String {
    let Body::Check(check) = body else { return told(body, reader) };
    format!("{} ({})", of_check_missing(check, missed, reader), check.by())
}

/// What a record says.
pub(super) fn told(body: &Body, reader: &Reader) -> String {
    let language = reader.language;
    let say = |pair: Pair, values: &[(&str, &str)]| put(language, pair, values);
    match body {
        Body::Cycle(cycle) => {
            say(("a rack: {word}", "una canasta: {word}"), &[("word", verdict(cycle.verdict, language))])
        }
        Body::Gap(gap) => of_gap(gap, reader),
        Body::Check(_) => judged(body, Missed::default(), reader),
        Body::ServiceStart(start) => of_start(start, reader),
        Body::ServiceStop(stop) => of_stop(stop, language),
        Body::ClockStep(step) => of_clock(step, reader),
        Body::ConfigurationChange(change) => say(
            (
                "a configuration came into force (SHA-256 {hash}…)",
                "entró en vigor una configuración (SHA-256 {hash}…)",
            ),
            &[("hash", change.sha256.get(..12).unwrap_or("?"))],
        ),
        Body::MachineFailure(failure) => say(
            ("the judging of the machine failed: {cause}", "falló el juicio de la máquina: {cause}"),
            &[("cause", &failure.cause)],
        ),
        Body::Maintenance(window) => work::told(window, reader),
        Body::Note(note) => format!("«{}» ({})", note.text, note.by),
        Body::Amendment(amendment) => of_amendment(amendment, reader),
        Body::SigningKey(change) => of_key(change, language),
        Body::LawfulHold(hold) => of_hold(hold, language),
        Body::Pruned(pruned) => of_pruned(pruned, reader),
        Body::Import(import) => of_import(import, language),
        Body::Restored(restored) => of_restored(restored, language),
        Body::Calibration(done) => of_calibration(done, reader),
        Body::Response(done) => of_response(done, language),
        Body::WiringProof(done) => of_wiring(done, language),
        Body::SignOff(signed) => of_sign_off(signed, language),
        Body::Access(event) => access::told(event, reader),
        Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_) => of_alert(body, reader),
    }
}

/// A record about an alert; what it is about stands before it where it was raised.
fn of_alert(body: &Body, reader: &Reader) -> String {
    let Some((what, written, _)) = trail::of(body, reader) else { return String::new() };
    let mut text = if let Body::AlertRaised(raised) = body {
        format!("{}. {what}", condition(raised.condition, reader.language))
    } else {
        what
    };
    for (name, words) in written {
        text.push_str(&format!(". {name}: «{words}»"));
    }
    text
}

fn of_start(start: &ServiceStart, reader: &Reader) -> String {
    if start.is_first() {
        let first = if start.from_file {
            (
                "a file was replayed into a new ledger (version {version})",
                "se reprodujo un archivo como comienzo del registro (versión {version})",
            )
        } else {
            (
                "the service started for the first time (version {version})",
                "arrancó el servicio por primera vez (versión {version})",
            )
        };
        return put(reader.language, first, &[("version", &start.version)]);
    }
    let pair = match (start.from_file, start.after_clean_stop) {
        (true, true) => (
            "a file was replayed (version {version}) after an orderly end",
            "se reprodujo un archivo (versión {version}) tras un final en orden",
        ),
        (true, false) => (
            "a file was replayed (version {version}) after an end without order",
            "se reprodujo un archivo (versión {version}) tras un final sin orden",
        ),
        (false, true) => (
            "the service started (version {version}) after an orderly end",
            "arrancó el servicio (versión {version}) tras un final en orden",
        ),
        (false, false) => (
            "the service started (version {version}) after an end without order",
            "arrancó el servicio (versión {version}) tras un final sin orden",
        ),
    };
    put(reader.language, pair, &[("version", &start.version)])
}

fn of_stop(stop: &ServiceStop, language: Language) -> String {
    let pair = match stop.cause {
        StopCause::Signal => ("the service was stopped", "se detuvo el servicio"),
        StopCause::EndOfInput => ("the service ended with its input", "el servicio terminó con su entrada"),
    };
    put(language, pair, &[])
}

fn of_clock(step: &ClockStep, reader: &Reader) -> String {
    let pair = match step.clock {
        Clock::Gateway => {
            ("the gateway's clock was set from {from} to {to}", "el reloj del equipo pasó de {from} a {to}")
        }
        Clock::Source => (
            "the clock of a source was set from {from} to {to}",
            "el reloj de una fuente pasó de {from} a {to}",
        ),
    };
    put(reader.language, pair, &[("from", &reader.moment(step.from)), ("to", &reader.moment(step.to))])
}

fn of_pruned(pruned: &Pruned, reader: &Reader) -> String {
    let pair = (
        "pruned by age: {n} that arrived before {before}",
        "depuración por antigüedad: {n} de antes de {before}",
    );
    let n = Noun::Readings.of(pruned.readings, reader.language);
    put(reader.language, pair, &[("n", &n), ("before", &reader.moment(pruned.before))])
}

fn of_import(import: &Import, language: Language) -> String {
    let pair = ("{by} took over {n} of «{file}»", "{by} incorporó {n} de «{file}»");
    let n = Noun::Readings.of(import.readings, language);
    put(language, pair, &[("n", &n), ("file", &import.file), ("by", &import.by)])
}

fn of_restored(restored: &Restored, language: Language) -> String {
    let pair =
        ("the ledger goes on from a backup of {n} ({by})", "el registro sigue desde una copia de {n} ({by})");
    put(language, pair, &[("n", &Noun::Records.of(restored.records, language)), ("by", &restored.by)])
}

fn of_response(done: &ResponseDone, language: Language) -> String {
    let pair = (
        "{probe} answers with a time constant of {tau} s ({by})",
        "{probe} responde con una constante de tiempo de {tau} s ({by})",
    );
    let tau = format!("{:.2}", done.tau_s);
    put(language, pair, &[("probe", &done.probe), ("tau", &tau), ("by", &done.by)])
}

/// How long something lasted, in the two largest units: «2 h 5 min».
pub(super) fn lasting(seconds: f64) -> String {
    // The sum of nothing may be -0, and would be shown so.
    let whole = seconds.abs().round();
    let (days, hours) = ((whole / 86_400.0).floor(), (whole / 3_600.0).floor());
    let (minutes, rest) = ((whole / 60.0).floor(), whole % 60.0);
    if days >= 1.0 {
        format!("{days:.0} d {:.0} h", hours - days * 24.0)
    } else if hours >= 1.0 {
        format!("{hours:.0} h {:.0} min", minutes - hours * 60.0)
    } else if minutes >= 1.0 {
        format!("{minutes:.0} min {rest:.0} s")
    } else {
        format!("{rest:.0} s")
    }
}

fn of_gap(gap: &Gap, reader: &Reader) -> String {
    let fault = fault_word(gap.fault, reader.language);
    let lasted = gap.to.map(|to| lasting(to.seconds_since(gap.from)));
    let pair = match (&lasted, gap.filled) {
        (Some(_), false) => ("{probe}: {fault} for {lasted}", "{probe}: {fault} durante {lasted}"),
        (Some(_), true) => (
            "{probe}: {fault} for {lasted}; its readings came after all, late",
            "{probe}: {fault} durante {lasted}; sus lecturas llegaron al fin, tarde",
        ),
        (None, _) => ("{probe}: {fault} from here on", "{probe}: {fault} desde aquí"),
    };
    let lasted = lasted.unwrap_or_default();
    put(reader.language, pair, &[("probe", &gap.probe), ("fault", fault), ("lasted", &lasted)])
}

fn of_amendment(amendment: &Amendment, reader: &Reader) -> String {
    let (pair, values) = match &amendment.change {
        AmendmentChange::Comment => (
            (
                "record {of} is commented on: «{reason}» ({by})",
                "comentario al asiento {of}: «{reason}» ({by})",
            ),
            String::new(),
        ),
        AmendmentChange::Withdrawn => (
            ("record {of} is withdrawn: «{reason}» ({by})", "se retira el asiento {of}: «{reason}» ({by})"),
            String::new(),
        ),
        AmendmentChange::Corrected(check) => (
            (
                "record {of} is corrected to {values}: «{reason}» ({by})",
                "el asiento {of} se corrige a {values}: «{reason}» ({by})",
            ),
            of_check(check, reader),
        ),
    };
    let of = amendment.of.to_string();
    let known =
        [("of", of.as_str()), ("reason", &amendment.reason), ("by", &amendment.by), ("values", &values)];
    put(reader.language, pair, &known)
}

/// What amends a record, as it stands below it; `None` stands for one that cannot be read.
pub(super) fn amended(index: u64, amendment: Option<&Amendment>, reader: &Reader) -> String {
    let number = index.to_string();
    let pair = ("Record {n}: {what}", "Asiento {n}: {what}");
    let unread = ("it speaks of this one and is DAMAGED", "habla de este y está DAÑADO");
    let what = amendment.map_or_else(
        || put(reader.language, unread, &[]),
        |amendment| crate::web::logbook::words::amended(amendment, reader),
    );
    put(reader.language, pair, &[("n", &number), ("what", &what)])
}

fn of_key(change: &SigningKeyChange, language: Language) -> String {
    let pair = match change.change {
        KeyChange::First => (
            "signing key {key}: the first of this ledger",
            "clave de firma {key}: la primera de este registro",
        ),
        KeyChange::Rotated => (
            "signing key {key}: a new one, endorsed by the one before",
            "clave de firma {key}: una nueva, avalada por la anterior",
        ),
        KeyChange::Lost => (
            "signing key {key}: a new one, since the secret one before it was gone",
            "clave de firma {key}: una nueva, pues se perdió la secreta anterior",
        ),
    };
    put(language, pair, &[("key", &change.key)])
}

fn of_hold(hold: &LawfulHold, language: Language) -> String {
    let pair = if hold.on {
        ("nothing may be pruned: «{reason}» ({by})", "no se puede depurar nada: «{reason}» ({by})")
    } else {
        ("pruning is allowed again: «{reason}» ({by})", "se permite depurar de nuevo: «{reason}» ({by})")
    };
    put(language, pair, &[("reason", &hold.reason), ("by", &hold.by)])
}

fn of_calibration(done: &CalibrationDone, reader: &Reader) -> String {
    let worst = |error: fn(&CalibrationPoint) -> f64| {
        let worst = done.points.iter().map(error).max_by(|a, b| a.abs().total_cmp(&b.abs()));
        let error = reader.scale.difference(worst.unwrap_or_default());
        format!("{error:+.2} {}", reader.scale.symbol())
    };
    let pair = (
        "{probe} was calibrated at {n}: {found} from the reference as found, {left} as left ({by})",
        "{probe} se calibró en {n}: {found} respecto de la referencia al empezar, {left} al terminar ({by})",
    );
    let values = [
        ("probe", done.probe.as_str()),
        ("n", &Noun::Points.of(done.points.len() as u64, reader.language)),
        ("found", &worst(|point| point.found_error_c)),
        ("left", &worst(|point| point.left_error_c)),
        ("by", &done.by),
    ];
    put(reader.language, pair, &values)
}

fn of_wiring(done: &WiringProofDone, language: Language) -> String {
    let found = |probe: &ProvenProbe| {
        let instead = probe
            .instead
            .as_deref()
            .map(|other| put(language, (" ({other} answered)", " (respondió {other})"), &[("other", other)]));
        format!("{}: {}{}", probe.probe, finding(&probe.finding, language), instead.unwrap_or_default())
    };
    let found: Vec<String> = done.probes.iter().map(found).collect();
    let pair = ("the wiring was proved: {found} ({by})", "se probó el cableado: {found} ({by})");
    put(language, pair, &[("found", &found.join("; ")), ("by", &done.by)])
}

fn of_sign_off(signed: &SignedOff, language: Language) -> String {
    let open = signed.open_points.len() as u64;
    let pair = match open {
        0 => ("signed off by {by}", "conformidad de {by}"),
        _ => ("signed off by {by} with {n}", "conformidad de {by} con {n}"),
    };
    put(language, pair, &[("by", &signed.by), ("n", &Noun::OpenPoints.of(open, language))])
}

/// What a look at the whole ledger came to, in a few words.
pub(super) const fn outcome(outcome: Outcome, language: Language) -> &'static str {
    let pair = match outcome {
        Outcome::Whole => ("WHOLE", "ÍNTEGRO"),
        Outcome::NotWhole => ("NOT WHOLE", "NO ESTÁ ÍNTEGRO"),
        Outcome::NotChecked => ("could not be checked", "no se pudo comprobar"),
    };
    match language {
        Language::English => pair.0,
        Language::Spanish => pair.1,
    }
}
