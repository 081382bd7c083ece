//! What a page that shows nothing says.

use crate::core::reader::Language;
use crate::web::words::Telling;

/// What a page that shows nothing says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::web::access) enum Said {
    /// The role does not have the right.
    NotAllowed,
    /// The form came from another site.
    Foreign,
    /// The request names another host.
    Misdirected,
    /// A password must be chosen first.
    ChangeFirst,
    /// There is nothing of this name.
    Unknown,
    /// A field is missing, or too much was sent.
    Incomplete,
    /// What was asked for as a role is none.
    NoRole,
    /// It cannot be done just then.
    NotNow,
}

impl Said {
    /// What happened, what that means, what to do.
    pub(in crate::web::access) const fn words(
        self,
        language: Language,
    ) -> (&'static str, &'static str, &'static str) {
        let telling = match self {
            Self::NotAllowed => &NOT_ALLOWED,
            Self::Foreign => &FOREIGN,
            Self::Misdirected => &MISDIRECTED,
            Self::ChangeFirst => &CHANGE_FIRST,
            Self::Unknown => &UNKNOWN,
            Self::Incomplete => &INCOMPLETE,
            Self::NoRole => &NO_ROLE,
            Self::NotNow => &NOT_NOW,
        };
        telling.told(language)
    }
}

const NOT_ALLOWED: Telling = Telling {
    english: (
        "Your role does not have this right",
        "Nothing was changed, and that it was tried is on record.",
        "Ask the administrator where it belongs to your work.",
    ),
    spanish: (
        "Su función no tiene este permiso",
        "No se ha cambiado nada; el intento queda registrado.",
        "Pregunte al administrador si forma parte de su trabajo.",
    ),
};

const FOREIGN: Telling = Telling {
    english: (
        "This was sent from another site",
        "Only the pages of this gateway may do this. Nothing was changed.",
        "Open the page here and press the button there. A very old browser cannot be used.",
    ),
    spanish: (
        "Esto se envió desde otro sitio",
        "Solo las páginas de este equipo pueden hacerlo. No se ha cambiado nada.",
        "Abra la página aquí y pulse el botón allí. Un navegador muy antiguo no sirve.",
    ),
};

const MISDIRECTED: Telling = Telling {
    english: (
        "This gateway does not know that name",
        "The address names a host that this gateway was not told is its own, so nothing is shown: a \
                 stranger's name could lead here. Nothing was changed.",
        "Use the address that its messages name, or its address in numbers. If the name is right, whoever \
                 keeps the gateway sets public-url in [web] of its configuration to it; a proxy before it must pass \
                 the name on (header Host).",
    ),
    spanish: (
        "Este equipo no conoce ese nombre",
        "La dirección nombra un servidor que no consta como propio de este equipo, por lo que no se muestra \
                 nada: un nombre ajeno podría llevar aquí. No se ha cambiado nada.",
        "Use la dirección que figura en sus mensajes, o la dirección en números. Si el nombre es correcto, \
                 quien cuida el equipo lo pone como public-url en [web] de su configuración; un proxy delante debe \
                 transmitir el nombre (cabecera Host).",
    ),
};

const CHANGE_FIRST: Telling = Telling {
    english: (
        "Choose a password first",
        "Until then nothing else can be done. Nothing was changed.",
        "Open «Your account».",
    ),
    spanish: (
        "Elija primero una contraseña",
        "Hasta entonces no puede hacerse nada más. No se ha cambiado nada.",
        "Abra «Su cuenta».",
    ),
};

const UNKNOWN: Telling = Telling {
    english: (
        "There is nothing here",
        "There is no account or token of this name. Nothing was changed.",
        "Go back to the list.",
    ),
    spanish: (
        "Aquí no hay nada",
        "No hay ninguna cuenta ni ficha con este nombre. No se ha cambiado nada.",
        "Vuelva a la lista.",
    ),
};

const NO_ROLE: Telling = Telling {
    english: (
        "There is no such role",
        "The roles are auditor, operator, manager, technician and administrator. Nothing was changed.",
        "Go back, choose one of them, and send again.",
    ),
    spanish: (
        "No hay tal función",
        "Las funciones son auditor, operador (operator), encargado (manager), técnico (technician) y administrador \
                 (administrator). No se ha cambiado nada.",
        "Vuelva atrás, elija una de ellas y envíe de nuevo.",
    ),
};

const INCOMPLETE: Telling = Telling {
    english: (
        "Something is missing",
        "A field was missing or too long. Nothing was changed.",
        "Go back, fill in every field that is asked for, and send again.",
    ),
    spanish: (
        "Falta algo",
        "Un campo faltaba o era demasiado largo. No se ha cambiado nada.",
        "Vuelva atrás, rellene todos los campos que se piden y envíe de nuevo.",
    ),
};

const NOT_NOW: Telling = Telling {
    english: (
        "Not possible just now",
        "The accounts cannot be read or written at this moment. Nothing was changed.",
        "Try again in a minute; whoever keeps the gateway finds the cause in its log.",
    ),
    spanish: (
        "No es posible en este momento",
        "Las cuentas no se pueden leer ni escribir ahora mismo. No se ha cambiado nada.",
        "Inténtelo en un minuto; quien cuida el equipo encontrará la causa en su registro.",
    ),
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::access::Role;
    use crate::web::who;

    // Own promise: the answer names every role that there is.
    #[test]
    fn each_role_is_named_in_both_languages() {
        for language in Language::ALL {
            let (_, which, _) = Said::NoRole.words(language);
            for role in Role::ALL {
                assert!(which.contains(role.as_str()) && which.contains(who::role(role, language)), "{role}");
            }
        }
    }
}
