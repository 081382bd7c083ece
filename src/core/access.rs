//! Who may do what: the roles of people and programs, and the rights of each.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::reader::Language;

/// What somebody is to the kitchen.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Reads the whole history and takes it away; changes nothing.
    Auditor,
    /// Works at the machine: enters the shift's checks and takes alerts on.
    Operator,
    /// Answers for the shift: corrective actions, amendments, exports.
    Manager,
    /// Fits, proves and calibrates probes.
    Technician,
    /// Decides who else may do what.
    Administrator,
}

/// What it takes a permission to do.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Right {
    /// See machines, racks, alerts, checks and the history.
    Look,
    /// Enter checks and notes, put one's own right soon after, and comment on what was entered.
    Enter,
    /// Take an alert on.
    Acknowledge,
    /// Write a corrective action, which can close an alert.
    Act,
    /// Withdraw or correct what was entered, and say what is to be known of it.
    Amend,
    /// Say that a machine is being worked on.
    Maintain,
    /// Prove the wiring, calibrate, measure the response, sign off.
    Measure,
    /// Take the record away as a file.
    Export,
    /// See the configuration in force, and try the channels of contacts.
    Settings,
    /// Make, change and end accounts and tokens.
    Accounts,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 5] =
        [Self::Auditor, Self::Operator, Self::Manager, Self::Technician, Self::Administrator];

    /// Its word in the record, on the command line and in the interface for programs.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Auditor => "auditor",
            Self::Operator => "operator",
            Self::Manager => "manager",
            Self::Technician => "technician",
            Self::Administrator => "administrator",
        }
    }

    /// Whether it has this right.
    #[must_use]
    pub const fn may(self, right: Right) -> bool {
        match right {
            Right::Look => true,
            Right::Enter | Right::Acknowledge => !matches!(self, Self::Auditor),
            Right::Act | Right::Amend => matches!(self, Self::Manager | Self::Administrator),
            Right::Maintain => matches!(self, Self::Manager | Self::Technician | Self::Administrator),
            Right::Measure => matches!(self, Self::Technician | Self::Administrator),
            Right::Export => matches!(self, Self::Auditor | Self::Manager | Self::Administrator),
            Right::Settings => !matches!(self, Self::Operator),
            Right::Accounts => matches!(self, Self::Administrator),
        }
    }
}

impl Right {
    /// Every right.
    pub const ALL: [Self; 10] = [
        Self::Look,
        Self::Enter,
        Self::Acknowledge,
        Self::Act,
        Self::Amend,
        Self::Maintain,
        Self::Measure,
        Self::Export,
        Self::Settings,
        Self::Accounts,
    ];

    /// Its word in the record.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Look => "look",
            Self::Enter => "enter",
            Self::Acknowledge => "acknowledge",
            Self::Act => "act",
            Self::Amend => "amend",
            Self::Maintain => "maintain",
            Self::Measure => "measure",
            Self::Export => "export",
            Self::Settings => "settings",
            Self::Accounts => "accounts",
        }
    }

    /// What it is for, behind «the right» or «permiso».
    #[must_use]
    pub const fn words(self, language: Language) -> &'static str {
        let (english, spanish) = match self {
            Self::Look => ("to look at machines and the history", "para ver máquinas e historial"),
            Self::Enter => ("to enter checks and notes", "para anotar controles y notas"),
            Self::Acknowledge => ("to take alerts on", "para atender alertas"),
            Self::Act => ("to write corrective actions", "para escribir acciones correctivas"),
            Self::Amend => ("to withdraw or correct entries", "para retirar o corregir anotaciones"),
            Self::Maintain => {
                ("to say that a machine is worked on", "para decir que se trabaja en una máquina")
            }
            Self::Measure => (
                "to prove and calibrate probes and sign machines off",
                "para comprobar y calibrar sondas y firmar máquinas",
            ),
            Self::Export => ("to take the record away", "para llevarse el registro"),
            Self::Settings => ("to see and try the settings", "para ver y probar la configuración"),
            Self::Accounts => ("to change accounts and tokens", "para cambiar cuentas y fichas"),
        };
        match language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no role.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a role is one of auditor, operator, manager, technician, administrator")]
pub struct UnknownRole;

impl FromStr for Role {
    type Err = UnknownRole;

    fn from_str(text: &str) -> Result<Self, UnknownRole> {
        Self::ALL.into_iter().find(|role| role.as_str() == text).ok_or(UnknownRole)
    }
}

#[cfg(test)]
mod tests {
    use super::{Right, Role};

    // Shows that whoever examines the record cannot add to it, and that only one role gives rights away.
    #[test]
    fn rights_are_as_narrow_as_the_job() {
        let rights = |role: Role| Right::ALL.into_iter().filter(|right| role.may(*right)).collect::<Vec<_>>();
        assert_eq!(rights(Role::Auditor), [Right::Look, Right::Export, Right::Settings]);
        assert_eq!(rights(Role::Operator), [Right::Look, Right::Enter, Right::Acknowledge]);
        let manager =
            Right::ALL.into_iter().filter(|right| !matches!(right, Right::Measure | Right::Accounts));
        assert_eq!(rights(Role::Manager), manager.collect::<Vec<_>>(), "no probe, no account");
        let technician =
            [Right::Look, Right::Enter, Right::Acknowledge, Right::Maintain, Right::Measure, Right::Settings];
        assert_eq!(rights(Role::Technician), technician, "no corrective action, and nothing taken away");
        assert_eq!(rights(Role::Administrator), Right::ALL);
        let giving: Vec<Role> = Role::ALL.into_iter().filter(|role| role.may(Right::Accounts)).collect();
        assert_eq!(giving, [Role::Administrator]);
    }

    // Shows that the word of a role or right is the one that is stored.
    #[test]
    fn words_lead_back_to_their_role() {
        for role in Role::ALL {
            assert_eq!(role.as_str().parse(), Ok(role));
            assert_eq!(serde_json::to_string(&role).expect("a word"), format!("\"{role}\""));
        }
        for right in Right::ALL {
            assert_eq!(serde_json::to_string(&right).expect("a word"), format!("\"{}\"", right.as_str()));
        }
    }
}
