//! The words of the pages of access, English and Spanish side by side.

use std::time::Duration;

use super::login::Turned;
use super::name::NoShown;
use super::password::{CHARS_MAX, CHARS_MIN, PasswordRefusal};
use super::wanted::ChangeRefusal;
use crate::core::logbook::Impossible;
use crate::core::reader::{Language, filled};
use crate::core::record::AccessRefusal;
use crate::web::words::words;

words! {
    code: "en", "es";
    log_in: "Log in", "Entrar";
    account: "Account", "Cuenta";
    password: "Password", "Contraseña";
    password_hint: "A one-time secret goes here too.", "Un secreto de un solo uso también va aquí.";
    own: "Your account", "Su cuenta";
    must_change: "Choose a password of your own first: the secret you have just used ends with it.", "Elija primero una contraseña propia: con ella termina el secreto que acaba de usar.";
    change_password: "Change the password", "Cambiar la contraseña";
    current: "Password so far", "Contraseña actual";
    new: "New password", "Contraseña nueva";
    new_hint: "At least 10 characters. A few words are easier to keep in mind than signs.", "Al menos 10 caracteres. Unas cuantas palabras se recuerdan mejor que los signos.";
    again: "New password once more", "Contraseña nueva otra vez";
    changed: "It is changed. You are logged out everywhere else.", "Está cambiada. Se ha cerrado la sesión en todos los demás sitios.";
    go_on: "Go on to", "Seguir a";
    reading: "How you read", "Cómo lee usted";
    language: "Language", "Idioma";
    scale: "Temperatures", "Temperaturas";
    keep: "Keep", "Guardar";
    accounts: "Accounts", "Cuentas";
    to_accounts: "Accounts and tokens", "Cuentas y fichas";
    shown: "Name", "Nombre";
    shown_hint: "It goes on record beside what they do; nobody else may be called so.", "Queda registrado junto a lo que hace; nadie más puede llamarse igual.";
    name_hint: "What they type to log in: small letters, digits, . _ -", "Lo que se escribe para entrar: minúsculas, cifras, . _ -";
    token_hint: "It stands on record beside what the program does: small letters, digits, . _ -", "Queda registrado junto a lo que hace el programa: minúsculas, cifras, . _ -";
    login: "Login", "Usuario";
    role: "Role", "Función";
    roles: "What each role may do", "Qué puede hacer cada función";
    last_login: "Last login, by this computer's clock", "Última entrada, según el reloj de este equipo";
    never: "never", "nunca";
    disabled: "disabled", "desactivada";
    waits: "has a one-time secret", "tiene un secreto de un solo uso";
    add: "A new account", "Una cuenta nueva";
    add_button: "Make the account", "Crear la cuenta";
    tokens: "Tokens", "Fichas";
    tokens_hint: "A token lets a program in, with the rights of a role and until a day.", "Una ficha deja entrar a un programa, con los permisos de una función y hasta un día.";
    no_tokens: "There is none.", "No hay ninguna.";
    token: "Name of the token", "Nombre de la ficha";
    until: "valid until", "vale hasta el";
    ended: "ended", "terminada";
    revoke: "Revoke", "Revocar";
    revoke_now: "Yes, revoke", "Sí, revocar";
    add_token: "Make a token", "Crear una ficha";
    days: "Days that it can be used (1 to 366)", "Días que puede usarse (1 a 366)";
    change_role: "Change the role", "Cambiar la función";
    disable: "Disable", "Desactivar";
    disable_hint: "Nobody can log in with it; whoever is logged in is logged out.", "Nadie puede entrar con ella; a quien esté dentro se le cierra la sesión.";
    disable_now: "Yes, disable", "Sí, desactivar";
    enable: "Enable", "Activar";
    reset: "New one-time secret", "Nuevo secreto de un solo uso";
    reset_hint: "The password ends. Hand the secret over yourself; it can be used for 24 hours.", "La contraseña deja de valer. Entregue el secreto en persona; sirve durante 24 horas.";
    unlock: "Unlock", "Desbloquear";
    unlock_hint: "Ends a lock after too many wrong tries.", "Termina un bloqueo tras demasiados intentos fallidos.";
    remove: "Remove", "Quitar";
    remove_hint: "The account ends for good; it can only be made anew. What they did stays on record.", "La cuenta termina para siempre; solo se puede crear otra. Lo que hizo queda registrado.";
    remove_now: "Yes, remove", "Sí, quitar";
    secret: "The secret", "El secreto";
    secret_once: "It is shown this once. Write it down now.", "Solo se muestra esta vez. Anótelo ahora.";
    secret_account: "It is good for one login until", "Sirve para una entrada hasta";
    secret_then: "At the login it goes into the field «Password». A password of one's own is chosen right after it.", "Al entrar va en el campo «Contraseña». Enseguida se elige una contraseña propia.";
    secret_token: "The program shows it as «Authorization: Bearer …» until", "El programa lo muestra como «Authorization: Bearer …» hasta";
    back: "Back", "Volver";
}

/// How long to wait: whole seconds, or whole minutes where it is longer, as it is said to people and to programs.
pub(super) fn wait_s(wait: Duration) -> u64 {
    let seconds = wait.as_secs() + u64::from(wait.subsec_nanos() > 0);
    if seconds > 60 { seconds.div_ceil(60) * 60 } else { seconds }
}

/// Why nobody was logged in. Whatever depends on the account being there is told only to whoever
/// knows its password.
pub(super) fn turned_away(Turned { why, wait }: Turned, language: Language) -> String {
    let wait = match wait.map_or(60, wait_s) {
        seconds if seconds > 60 => format!("{} min", seconds / 60),
        seconds => format!("{seconds} s"),
    };
    let (english, spanish) = match why {
        AccessRefusal::Locked => (
            "There were too many wrong tries for this account. Wait {wait}, or ask the administrator.",
            "Hubo demasiados intentos fallidos con esta cuenta. Espere {wait} o pregunte al administrador.",
        ),
        AccessRefusal::TooMany => (
            "There were too many tries from here. Wait {wait}.",
            "Hubo demasiados intentos desde aquí. Espere {wait}.",
        ),
        AccessRefusal::Disabled => (
            "This account is disabled. Ask the administrator.",
            "Esta cuenta está desactivada. Pregunte al administrador.",
        ),
        AccessRefusal::Expired => (
            "This one-time secret has expired. Ask the administrator for a new one.",
            "Este secreto de un solo uso ha caducado. Pida uno nuevo al administrador.",
        ),
        AccessRefusal::Wrong
        | AccessRefusal::NotAllowed
        | AccessRefusal::Foreign
        | AccessRefusal::Misdirected
        | AccessRefusal::UnknownToken => {
            ("Account or password is wrong.", "La cuenta o la contraseña no es correcta.")
        }
    };
    let phrase = match language {
        Language::English => english,
        Language::Spanish => spanish,
    };
    filled(phrase, &[("wait", &wait)])
}

/// The words where the gateway cannot do it just then.
pub(super) const fn not_now(language: Language) -> &'static str {
    match language {
        Language::English => "That is not possible just now. Try again in a moment.",
        Language::Spanish => "No es posible en este momento. Inténtelo de nuevo enseguida.",
    }
}

/// Why a password is not taken.
pub(super) fn no_password(why: PasswordRefusal, language: Language) -> String {
    match (why, language) {
        (PasswordRefusal::TooShort, Language::English) => {
            format!("It needs at least {CHARS_MIN} characters.")
        }
        (PasswordRefusal::TooShort, Language::Spanish) => {
            format!("Necesita al menos {CHARS_MIN} caracteres.")
        }
        (PasswordRefusal::TooLong, Language::English) => format!("It has more than {CHARS_MAX} characters."),
        (PasswordRefusal::TooLong, Language::Spanish) => format!("Tiene más de {CHARS_MAX} caracteres."),
        (PasswordRefusal::Guessable, Language::English) => {
            "It holds the name of the account or of this place: anybody would try that.".to_owned()
        }
        (PasswordRefusal::Guessable, Language::Spanish) => {
            "Contiene el nombre de la cuenta o de este lugar: cualquiera lo probaría.".to_owned()
        }
        (PasswordRefusal::Common, Language::English) => "It is one that everybody tries.".to_owned(),
        (PasswordRefusal::Common, Language::Spanish) => "Es una de las que todo el mundo prueba.".to_owned(),
        (PasswordRefusal::Differ, Language::English) => "The two are not the same.".to_owned(),
        (PasswordRefusal::Differ, Language::Spanish) => "Las dos no son iguales.".to_owned(),
        (PasswordRefusal::Same, Language::English) => "It is the one you have. Choose another.".to_owned(),
        (PasswordRefusal::Same, Language::Spanish) => "Es la que ya tiene. Elija otra.".to_owned(),
    }
}

/// Why a name cannot stand on record.
pub(in crate::web) fn name_refused(why: &NoShown, language: Language) -> String {
    unchanged(&ChangeRefusal::Shown(why.clone()), language)
}

/// Why nothing was changed.
pub(super) fn unchanged(why: &ChangeRefusal, language: Language) -> String {
    let other = if let ChangeRefusal::ReadsAlike(other) = why { other.as_str() } else { "" };
    let (english, spanish) = match why {
        ChangeRefusal::NoName(_) => (
            "A name has 1 to 32 small letters, digits, . _ - and begins with a letter or a digit.",
            "El nombre tiene de 1 a 32 minúsculas, cifras, . _ - y empieza por letra o cifra.",
        ),
        ChangeRefusal::Shown(NoShown::Impossible(Impossible::Missing { .. })) => {
            ("The name is missing.", "Falta el nombre.")
        }
        ChangeRefusal::Shown(NoShown::Unseen { .. }) => (
            "The name holds a sign that is not seen, or a blank that is no plain one. Type it anew rather than copying it.",
            "El nombre contiene un signo que no se ve o un espacio especial. Escríbalo de nuevo en vez de copiarlo.",
        ),
        ChangeRefusal::Shown(NoShown::Blank) => (
            "The name begins or ends with a blank. Take it away.",
            "El nombre empieza o termina con un espacio. Quítelo.",
        ),
        ChangeRefusal::Shown(NoShown::MixedScripts { .. }) => (
            "A word of the name mixes letters of several alphabets, such as Latin and Cyrillic, of which many look alike. Type it anew in the letters of one.",
            "Una palabra del nombre mezcla letras de varios alfabetos, como el latino y el cirílico, de las que muchas se parecen. Escríbala de nuevo con las de uno solo.",
        ),
        ChangeRefusal::Shown(NoShown::Slash) => (
            "The name holds «/», as only names of probes do. Give it as people call them.",
            "El nombre contiene «/», como solo los nombres de sondas. Ponga el nombre con que se le conoce.",
        ),
        ChangeRefusal::ReadsAlike(_) => (
            "The name reads like that of the account {other}: on record one could be taken for the other. Add what tells them apart, such as a second surname.",
            "El nombre se lee como el de la cuenta {other}: en el registro se confundirían. Añada algo que los distinga, como el segundo apellido.",
        ),
        ChangeRefusal::Shown(_) => (
            "The name must be one line of at most 100 characters.",
            "El nombre debe ser una línea de 100 caracteres como máximo.",
        ),
        ChangeRefusal::ReadsAsToken => (
            "A name does not begin with «token»: so it stands on record of a program. Give it as people call them.",
            "El nombre no puede empezar por «token»: así consta en el registro un programa. Ponga el nombre con que se le conoce.",
        ),
        ChangeRefusal::Unknown => ("There is none of this name.", "No hay ninguna con este nombre."),
        ChangeRefusal::Taken => (
            "There is one of this name already, or there are too many.",
            "Ya hay una con este nombre, o hay demasiadas.",
        ),
        ChangeRefusal::LastAdministrator => (
            "It is the last administrator who can log in: make another one first.",
            "Es el último administrador que puede entrar: cree otro primero.",
        ),
        ChangeRefusal::Same => ("It is so already.", "Ya es así."),
        ChangeRefusal::Days => ("A token lives from 1 to 366 days.", "Una ficha vive de 1 a 366 días."),
    };
    let phrase = match language {
        Language::English => english,
        Language::Spanish => spanish,
    };
    filled(phrase, &[("other", other)])
}
