//! Whom to ask: the roles that have a right, for those who have it not.

use super::person::Person;
use crate::core::access::{Right, Role};
use crate::core::reader::Language;

/// A role in the words of its reader.
pub(super) const fn role(role: Role, language: Language) -> &'static str {
    match (role, language) {
        (_, Language::English) => role.as_str(),
        (Role::Auditor, Language::Spanish) => "auditor",
        (Role::Operator, Language::Spanish) => "operador",
        (Role::Manager, Language::Spanish) => "encargado",
        (Role::Technician, Language::Spanish) => "técnico",
        (Role::Administrator, Language::Spanish) => "administrador",
    }
}

/// What a role may do, in one line: [`Role::may`] in words.
pub(super) const fn may(role: Role, language: Language) -> &'static str {
    match (role, language) {
        (Role::Auditor, Language::English) => {
            "sees all machines, the whole history and the settings, and takes the record away as a file; enters nothing"
        }
        (Role::Auditor, Language::Spanish) => {
            "ve todas las máquinas, todo el historial y la configuración, y se lleva el registro en un archivo; no anota nada"
        }
        (Role::Operator, Language::English) => {
            "sees all of it, enters checks and notes and puts right its own for ten minutes where they did not fail, comments on entries, takes alerts on"
        }
        (Role::Operator, Language::Spanish) => {
            "lo ve todo, anota comprobaciones y notas y rectifica las suyas durante diez minutos si no fallaron, comenta anotaciones, atiende alertas"
        }
        (Role::Manager, Language::English) => {
            "as the operator; also writes corrective actions, amends entries, says that a machine is worked on, takes the record away, sees and tries the settings"
        }
        (Role::Manager, Language::Spanish) => {
            "como el operador; además escribe acciones correctivas, enmienda anotaciones, dice que se trabaja en una máquina, se lleva el registro, ve y prueba la configuración"
        }
        (Role::Technician, Language::English) => {
            "as the operator; also calibrates and proves probes, signs machines off, says that a machine is worked on, sees the settings"
        }
        (Role::Technician, Language::Spanish) => {
            "como el operador; además calibra y comprueba sondas, firma máquinas, dice que se trabaja en una máquina, ve la configuración"
        }
        (Role::Administrator, Language::English) => "all of this, and decides who else may do what",
        (Role::Administrator, Language::Spanish) => "todo lo anterior, y decide quién más puede hacer qué",
    }
}

/// The roles that have a right, in words.
pub(super) fn having(right: Right, language: Language) -> String {
    let roles: Vec<&str> =
        Role::ALL.into_iter().filter(|one| one.may(right)).map(|one| role(one, language)).collect();
    roles.join(", ")
}

/// Who may do what the person may not: a sentence for the place of the button, `None` for those who may.
pub(super) fn instead(person: &Person, right: Right, what: &str) -> Option<String> {
    if person.may(right) {
        return None;
    }
    let language = person.reader.language;
    let roles = having(right, language);
    Some(match language {
        Language::English => {
            format!("{what}: not by your role ({}). Ask: {}.", role(person.role, language), roles)
        }
        Language::Spanish => {
            format!(
                "{what}: su función ({}) no lo permite. Pídalo a: {}.",
                role(person.role, language),
                roles
            )
        }
    })
}
