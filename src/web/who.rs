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

/// Who may do what the person may not: a sentence for the place of the button, `None` for those who may.
pub(super) fn instead(person: &Person, right: Right, what: &str) -> Option<String> {
    if person.may(right) {
        return None;
    }
    let language = person.reader.language;
    let roles: Vec<&str> =
        Role::ALL.into_iter().filter(|one| one.may(right)).map(|one| role(one, language)).collect();
    Some(match language {
        Language::English => {
            format!("{what}: not by your role ({}). Ask: {}.", role(person.role, language), roles.join(", "))
        }
        Language::Spanish => {
            format!(
                "{what}: su función ({}) no lo permite. Pídalo a: {}.",
                role(person.role, language),
                roles.join(", ")
            )
        }
    })
}
