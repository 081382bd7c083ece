//! Words of the pages of settings, English and Spanish side by side.

use crate::config::note::Whence;
use crate::core::reader::Language;
use crate::web::frame::said;
use crate::web::words::words;

words! {
    more: "More", "Más";
    account: "Your account", "Su cuenta";
    account_what: "Language, °C or °F, password.", "Idioma, °C o °F, contraseña.";
    maintenance: "Work on a machine", "Trabajo en una máquina";
    maintenance_what: "Its racks are marked unproven and its messages held while somebody works on it.", "Sus canastas quedan sin comprobar y sus mensajes se retienen mientras alguien trabaja en ella.";
    settings: "Settings", "Configuración";
    settings_what: "Contacts and their channels, who may log in, the configuration in force.", "Contactos y sus canales, quién puede entrar, la configuración vigente.";
    accounts: "Accounts", "Cuentas";
    accounts_what: "Who may log in, and what each may do.", "Quién puede entrar, y qué puede hacer cada cual.";
    accounts_change: "Make or change accounts and tokens", "Crear o cambiar cuentas y fichas";
    accounts_unread: "Accounts and tokens CANNOT BE READ: nothing is told here of who may log in.", "NO SE PUEDEN LEER las cuentas ni las fichas: aquí no se dice quién puede entrar.";
    accounts_unread_do: "Try again in a minute. If it stays so, tell whoever looks after the gateway: its journal says why, beside «the accounts cannot be read».", "Inténtelo en un minuto. Si sigue igual, avise a quien cuida del equipo: su registro de sucesos dice por qué, junto a «the accounts cannot be read».";
    contacts: "Contacts", "Contactos";
    none_contacts: "No contact is configured: nobody is told of an alert. Add a [[contact]].", "No hay ningún contacto: nadie recibe las alertas. Añada un [[contact]].";
    step: "step", "paso";
    last_resort: "last resort", "último recurso";
    hours: "at certain hours", "a ciertas horas";
    test: "Try this contact's channels", "Probar los canales de este contacto";
    test_hint: "A message marked TEST goes out by every route.", "Sale un mensaje marcado PRUEBA por cada vía.";
    tested: "Tried", "Probado";
    running: "Under way.", "En curso.";
    look_again: "Look again", "Mirar otra vez";
    good: "good", "bien";
    failed: "FAILED", "FALLA";
    channels: "Channels", "Canales";
    none_channels: "No channel is configured.", "No hay ningún canal configurado.";
    unknown: "nothing is known of it: none of the last {most} messages and no test since the start", "nada se sabe de él: ni en los últimos {most} mensajes ni por una prueba desde el arranque";
    watched: "configured; whoever listens for it knows whether it comes", "configurado; quien lo espera sabe si llega";
    taken: "the last was taken:", "el último fue aceptado:";
    not_taken: "the last was not taken:", "el último no fue aceptado:";
    waiting: "waiting to be sent", "en espera de envío";
    cannot: "CANNOT WORK", "NO PUEDE FUNCIONAR";
    mend: "Do", "Hacer";
    configuration: "Configuration in force", "Configuración vigente";
    configuration_hint: "Read only: it is changed in its files, and is in force after a restart. Times and temperatures stand here in one spelling, whatever the files have: 180s as 3min. Secrets are shown by their path only.", "Solo lectura: se cambia en sus archivos y rige tras reiniciar. Tiempos y temperaturas se escriben aquí de una sola forma, sea cual sea la de los archivos: 180s como 3min. De los secretos solo se muestra la ruta.";
    line: "Key and value", "Clave y valor";
    source: "From", "De";
    default: "default", "por omisión";
    follows: "follows from elsewhere", "se deduce de otra parte";
    maintenance_hint: "What the probes show meanwhile need not be the water of the machine: its racks go on record as unproven, and the messages about it wait. It ends by itself.", "Lo que muestren las sondas mientras tanto puede no ser el agua de la máquina: sus canastas constan como sin comprobar, y esperan los mensajes sobre ella. Termina por sí solo.";
    until: "Somebody works on it, its racks are unproven. Messages are held", "Se trabaja en ella, sus canastas quedan sin comprobar. Mensajes retenidos";
    not_held: "Nobody works on it: its racks are judged, its messages are sent.", "Nadie trabaja en ella: sus canastas se evalúan y sus mensajes se envían.";
    work_for: "Work on it for", "Trabajar en ella";
    end: "Work is over", "El trabajo terminó";
    end_all: "Work is over, and end what is open there", "El trabajo terminó, y terminar lo que está abierto allí";
    site_ends: "The whole site is marked. That ends by the command", "Toda la cocina está marcada. Eso termina con la orden";
    who: "Who works there", "Quién trabaja allí";
    look: "Look at it", "Verlo";
    still_open: "the work did not end. Something is open there that was not shown to you, or that has found something which is not on record.", "el trabajo no terminó. Allí hay algo abierto que no se le había mostrado, o que ha hallado algo que no está registrado.";
    caution: "Caution", "Precaución";
    caution_text: "Switch off, lock out and let it cool before you open a machine: mains, hot water and steam. Electrical and pipe work belongs to licensed trades.", "Desconecte, bloquee y deje enfriar antes de abrir una máquina: corriente, agua caliente y vapor. Los trabajos eléctricos y de tubería son de oficios con licencia.";
}

/// From what a value follows that nobody set.
pub(super) const fn whence(whence: Whence, language: Language) -> &'static str {
    match whence {
        Whence::ThisComputer => said(language, "this computer", "este equipo"),
        Whence::BesideTheLedger => said(language, "beside the ledger", "junto al registro"),
        Whence::Iana => said(language, "registered with IANA", "registrado en la IANA"),
        Whence::Source => said(language, "name of the source", "nombre de la fuente"),
        Whence::Site => said(language, "name of the site", "nombre del sitio"),
        Whence::CommonPractice => said(language, "common practice", "práctica común"),
        Whence::FoodCode => said(language, "Food Code", "Código de Alimentos"),
        Whence::HalfTheRinse => said(language, "half the rinse", "la mitad del enjuague"),
        Whence::BaudRate => said(language, "the baud rate", "la velocidad de la línea"),
    }
}
