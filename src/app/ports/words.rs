//! Every sentence of `ports` in English and Spanish.

use std::path::Path;

use super::RULES;
use crate::core::reader::Language;
pub(super) use crate::core::reader::said as say;
use crate::probe::ports::{NoPort, WhyNoPort};

/// What the user who asks must do to open a port that the group `dialout` may open, or that it may not.
pub(super) fn you(language: Language, by_group: bool, me: &str) -> String {
    match (language, by_group) {
        (Language::English, true) => format!("you: sudo usermod -aG dialout {me}, then log in anew"),
        (Language::English, false) => {
            format!("you: sudo, or a udev rule that gives it to the group dialout, see {RULES}")
        }
        (Language::Spanish, true) => {
            format!("usted: sudo usermod -aG dialout {me}, y entre de nuevo en la sesión")
        }
        (Language::Spanish, false) => {
            format!("usted: sudo, o una regla de udev que lo dé al grupo dialout, véase {RULES}")
        }
    }
}

/// What must be done for the service.
pub(super) fn service(language: Language) -> String {
    match language {
        Language::English => {
            format!("the service: a udev rule that gives it to the group dialout with mode 0660, see {RULES}")
        }
        Language::Spanish => {
            format!("el servicio: una regla de udev que lo dé al grupo dialout con modo 0660, véase {RULES}")
        }
    }
}

/// That another program has the port.
pub(super) fn end(language: Language, command: &str, pid: u32) -> String {
    match language {
        Language::English => {
            format!("end «{command}» (process {pid}): a port serves one program at a time")
        }
        Language::Spanish => {
            format!("cierre «{command}» (proceso {pid}): un puerto sirve a un solo programa a la vez")
        }
    }
}

/// That the name of the port may change.
pub(super) fn name(language: Language) -> String {
    match language {
        Language::English => format!("give it a name that stays, by its socket: {RULES}"),
        Language::Spanish => format!("dele un nombre que no cambie, por su conector: {RULES}"),
    }
}

pub(super) const fn nothing(language: Language) -> &'static str {
    say(
        language,
        "No serial port is there. Plug the converter in; dmesg tells what the system makes of it.",
        "No hay ningún puerto serie. Enchufe el convertidor; dmesg dice qué hace el sistema con él.",
    )
}

/// That the device of a source is not there.
pub(super) fn missing(language: Language, source: &str, device: &Path) -> String {
    let device = device.display();
    match language {
        Language::English => format!(
            "! source «{source}» wants {device}, which is not there: plug it in, or give the source a name from above"
        ),
        Language::Spanish => format!(
            "! la fuente «{source}» pide {device}, que no está: enchúfelo, o dé a la fuente un nombre de los de arriba"
        ),
    }
}

/// That a path is no serial port, and why.
pub(super) fn no_port(language: Language, none: &NoPort) -> String {
    let path = none.path.display();
    let why = match none.why {
        WhyNoPort::Missing => say(language, "it is not there", "no está"),
        WhyNoPort::Unseen => say(language, "this user may not look at it", "este usuario no puede mirarlo"),
        WhyNoPort::NoDevice => say(
            language,
            "it is no serial port: no bytes come from a file or a directory of a disk",
            "no es un puerto serie: de un archivo o un directorio no llegan bytes",
        ),
        WhyNoPort::NoLine => say(
            language,
            "it is no serial port: there is no line behind this device",
            "no es un puerto serie: no hay ninguna línea detrás de este dispositivo",
        ),
    };
    format!("{path}: {why}")
}

pub(super) const fn unseen(language: Language) -> &'static str {
    say(
        language,
        "Processes of other users are not seen; sudo shows what they hold.",
        "No se ven los procesos de otros usuarios; sudo muestra lo que tienen abierto.",
    )
}

pub(super) const fn no_service_user(language: Language) -> &'static str {
    say(
        language,
        "There is no user rinseward on this computer yet; the package makes it.",
        "Aún no hay usuario rinseward en este equipo; lo crea el paquete.",
    )
}

/// A holder of the port.
pub(super) fn holder(language: Language, command: &str, pid: u32, user: &str) -> String {
    match language {
        Language::English => format!("{command}, process {pid}, user {user}"),
        Language::Spanish => format!("{command}, proceso {pid}, usuario {user}"),
    }
}

/// Who may open it.
pub(super) fn may_open(language: Language, me: &str, you: bool, service: Option<bool>) -> String {
    let yes = |may: bool| match (language, may) {
        (Language::English, true) => "yes",
        (Language::Spanish, true) => "sí",
        (Language::English | Language::Spanish, false) => "NO",
    };
    let nobody = say(language, "no such user", "no existe ese usuario");
    let (you, service) = (yes(you), service.map_or(nobody, yes));
    match language {
        Language::English => format!("you ({me}): {you}, the service: {service}"),
        Language::Spanish => format!("usted ({me}): {you}, el servicio: {service}"),
    }
}
