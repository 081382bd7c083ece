//! Each fact that is told of handing a message over, with its words.
//!
//! `{name}` stands for a value; both languages of a fact use the same names. A value called
//! `stage` is the word of a step.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Pair, step};
use crate::core::reader::{Language, filled, said};

/// Makes the list of facts and what each says; what is wrong with the settings also says what to do.
macro_rules! facts {
    (
        told { $($(#[$doc:meta])+ $name:ident { $($value:ident),* }: $english:literal, $spanish:literal;)* }
        settings { $(
            $(#[$wrong_doc:meta])+
            $wrong:ident { $($wrong_value:ident),* }:
                $wrong_english:literal, $wrong_spanish:literal,
                do: $advice:literal, $advice_spanish:literal;
        )* }
    ) => {
        /// What we say ourselves.
        #[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
        #[serde(tag = "fact", rename_all = "kebab-case")]
        pub enum Fact {
            $($(#[$doc])+ $name { $(#[doc = "A value of the sentence."] $value: String),* },)*
            $($(#[$wrong_doc])+ $wrong { $(#[doc = "A value of the sentence."] $wrong_value: String),* },)*
        }

        impl Fact {
            /// What is said, what to do, and the values.
            fn parts(&self) -> (Pair, Option<Pair>, Vec<(&'static str, &str)>) {
                match self {
                    $(Self::$name { $($value),* } => {
                        (($english, $spanish), None, vec![$((stringify!($value), $value.as_str())),*])
                    })*
                    $(Self::$wrong { $($wrong_value),* } => (
                        ($wrong_english, $wrong_spanish),
                        Some(($advice, $advice_spanish)),
                        vec![$((stringify!($wrong_value), $wrong_value.as_str())),*],
                    ),)*
                }
            }

            /// One of each, with the name of each value as that value.
            #[cfg(test)]
            pub(super) fn each() -> Vec<Self> {
                vec![
                    $(Self::$name { $($value: stringify!($value).to_owned()),* },)*
                    $(Self::$wrong { $($wrong_value: stringify!($wrong_value).to_owned()),* },)*
                ]
            }
        }
    };
}

facts! {
    told {
        /// Nothing: the words of the other side, or those of a record of before facts were kept, stand alone.
        Words {}: "no reason was given", "no se dio ningún motivo";

        // What went well.
        /// A message was signed.
        Signed {}: "signed by Standard Webhooks", "firmado según Standard Webhooks";
        /// A message was not signed.
        NotSigned {}: "not signed: no secret-files are configured", "sin firmar: no hay ningún secret-files configurado";
        /// A broker lets the gateway in.
        Accepted {}: "accepted by the broker", "aceptada por el servidor MQTT";
        /// A broker has the message.
        Acknowledged {}: "acknowledged by the broker (PUBACK)", "confirmado por el servidor MQTT (PUBACK)";
        /// A sign of life was taken.
        Taken {}: "taken", "aceptada";
        /// The addresses of a name.
        Found { name, addresses }: "{name} is {addresses}", "{name} es {addresses}";
        /// Another side answers.
        Answers { who }: "{who} answers", "{who} responde";
        /// A mail server answers over TLS.
        AnswersByTls { who }: "{who} answers over TLS, certificate checked", "{who} responde por TLS, certificado comprobado";
        /// The same, where the connection was not encrypted from its first byte.
        AnswersByStartTls { who }: "{who} answers over TLS by STARTTLS, certificate checked", "{who} responde por TLS con STARTTLS, certificado comprobado";
        /// The same, of a server on this computer.
        AnswersHere { who }: "{who} answers on this computer, not encrypted", "{who} responde en este equipo, sin cifrar";

        // No way to the other side.
        /// No address of a name is known.
        NameUnknown { name }: "no address is known for {name}", "no se conoce ninguna dirección de {name}";
        /// Nothing answers at an address.
        NotConnected { address }: "cannot connect to {address}", "no se puede conectar con {address}";
        /// The connection broke.
        Broken {}: "the connection broke", "se cortó la conexión";
        /// There is no connection, or none any more.
        NoConnection {}: "there is no connection", "no hay conexión";
        /// No answer in time.
        NoAnswer { within }: "no answer within {within}", "sin respuesta en {within}";
        /// No answer in time, in a known step.
        NoAnswerAt { within, stage }: "no answer within {within}, at the {stage}", "sin respuesta en {within}, en el paso «{stage}»";

        // TLS.
        /// The certificate is signed by somebody else.
        AuthorityUnknown {}: "the server's certificate is not signed by an authority trusted here", "el certificado del servidor no está firmado por una autoridad de confianza";
        /// The certificate is for other names.
        NameOther {}: "the server's certificate is for another host name", "el certificado del servidor es de otro nombre";
        /// The certificate is out of date, or the clock is.
        NotValidNow {}: "the server's certificate is not valid at this time; check the clock too", "el certificado del servidor no es válido en este momento; revise también el reloj";
        /// The certificate is that of an authority.
        AuthorityAsServer {}: "the server shows the certificate of an authority; it needs one of its own, with CA:FALSE", "el servidor muestra el certificado de una autoridad; necesita uno propio, con CA:FALSE";
        /// A client certificate is wanted.
        ClientCertificateMissing {}: "the server demands a client certificate", "el servidor exige un certificado de cliente";
        /// The client certificate is not accepted.
        ClientCertificateRefused {}: "the server does not accept the client certificate", "el servidor no acepta el certificado de cliente";
        /// What answers does not speak TLS.
        NoTls {}: "what answers at this port does not speak TLS", "lo que responde en este puerto no habla TLS";

        // Mail.
        /// A message that cannot be a mail.
        NotAMail {}: "the message cannot be written as a mail", "el mensaje no se puede escribir como correo";
        /// What answers does not speak SMTP.
        NoSmtp {}: "what answers does not speak SMTP", "lo que responde no habla SMTP";
        /// No STARTTLS is offered.
        NoStartTls {}: "it offers no STARTTLS, and nothing was sent", "no ofrece STARTTLS, y no se envió nada";
        /// Something stood between STARTTLS and encryption.
        Injected {}: "somebody on the way put words between STARTTLS and encryption, and nothing was sent", "alguien en el camino puso palabras entre STARTTLS y el cifrado, y no se envió nada";
        /// No login that is known is offered.
        NoLogin {}: "it offers neither AUTH PLAIN nor LOGIN, and nothing was sent", "no ofrece AUTH PLAIN ni LOGIN, y no se envió nada";
        /// The server refused in a step, or the connection broke there.
        EndedAt { stage }: "it went no further, at the {stage}", "no siguió adelante, en el paso «{stage}»";

        // HTTP.
        /// An answer that is no success.
        Status { status }: "it answers {status}", "responde {status}";
        /// What was to be sent is no request.
        NotARequest {}: "the request cannot be built", "no se puede formar la petición";
        /// An answer that leads elsewhere.
        Redirected { status }: "it answers {status}; redirections are not followed, configure the new url", "responde {status}; las redirecciones no se siguen, configure la nueva url";

        // A broker.
        /// No answer.
        BrokerSilent {}: "the broker does not answer", "el servidor MQTT no responde";
        /// It closed the connection.
        BrokerClosed {}: "the broker closed the connection and did not say why; does another client use the same identifier?", "el servidor MQTT cerró la conexión y no dijo por qué; ¿usa otro cliente el mismo identificador?";
        /// It speaks another version.
        RefusedVersion {}: "the broker refuses the connection: it does not speak this version of MQTT", "el servidor MQTT rechaza la conexión: no habla esta versión de MQTT";
        /// It does not accept the client identifier.
        RefusedClient {}: "the broker refuses the connection: it does not accept the client identifier", "el servidor MQTT rechaza la conexión: no acepta el identificador de cliente";
        /// User name or password are wrong.
        RefusedLogin {}: "the broker refuses the connection: user name or password are wrong", "el servidor MQTT rechaza la conexión: el usuario o la contraseña no son correctos";
        /// The client may not connect.
        RefusedRight {}: "the broker refuses the connection: not authorized: user name, password or access list", "el servidor MQTT rechaza la conexión: sin autorización: usuario, contraseña o lista de acceso";
        /// It is not ready, or too busy.
        RefusedNow {}: "the broker refuses the connection: it is not available at present", "el servidor MQTT rechaza la conexión: ahora no está disponible";
        /// It has shut this client out.
        RefusedBanned {}: "the broker refuses the connection: it has banned this client", "el servidor MQTT rechaza la conexión: ha excluido a este cliente";
        /// Something else.
        RefusedOther {}: "the broker refuses the connection: it gave another reason", "el servidor MQTT rechaza la conexión: dio otro motivo";
        /// Another client connected under the same identifier.
        EndedTakenOver {}: "the broker ended the connection: another client uses the same client identifier", "el servidor MQTT terminó la conexión: otro cliente usa el mismo identificador";
        /// It shuts down.
        EndedShuttingDown {}: "the broker ended the connection: the broker is shutting down", "el servidor MQTT terminó la conexión: se está apagando";
        /// The client may no longer be connected.
        EndedRight {}: "the broker ended the connection: not authorized", "el servidor MQTT terminó la conexión: sin autorización";
        /// Something else.
        EndedOther {}: "the broker ended the connection: for another reason", "el servidor MQTT terminó la conexión: por otro motivo";
        /// It sent what is no packet.
        NotUnderstood {}: "the broker sent something that is not understood", "el servidor MQTT envió algo que no se entiende";
        /// It does not keep to the order of the protocol.
        NoMqtt {}: "what answers at this port does not speak MQTT as it should", "lo que responde en este puerto no habla MQTT como debe";
        /// The access list forbids the topic.
        TopicForbidden {}: "the broker forbids this topic: check its access list", "el servidor MQTT prohíbe este tema: revise su lista de acceso";
        /// The topic is not accepted.
        TopicRefused {}: "the broker does not accept this topic", "el servidor MQTT no acepta este tema";
        /// A limit is reached.
        Quota {}: "a limit of the broker is reached", "se alcanzó un límite del servidor MQTT";
        /// Another reason.
        NotTaken {}: "the broker did not take it and gave another reason", "el servidor MQTT no lo aceptó y dio otro motivo";
        /// Not connected so far.
        NotYet {}: "not connected so far", "todavía sin conexión";
        /// The connection broke before the message was acknowledged.
        Unacknowledged {}: "the connection broke before the broker had acknowledged", "se cortó la conexión antes de que el servidor MQTT confirmara";

        // This gateway.
        /// The receiver wants no more.
        Unwanted {}: "the receiver wants no more messages; it is off until the next start", "el destinatario no quiere más mensajes; queda apagado hasta el próximo arranque";
        /// A mistake of this program.
        Mistake {}: "a mistake in rinseward; the log has it", "un error de rinseward; está en el diario";
        /// A letter of a later version.
        LaterVersion {}: "a later version of rinseward wrote this letter", "una versión posterior de rinseward escribió este mensaje";
        /// A letter for another channel.
        OtherChannel {}: "the letter is none for this channel", "el mensaje no es para este canal";
        /// Nothing is configured.
        NotConfigured {}: "this channel is not configured", "este canal no está configurado";
    }
    settings {
        /// A text that is no address.
        NoAddress { to }: "«{to}» is no address", "«{to}» no es una dirección",
            do: "write an address such as kitchen@example.org", "escriba una dirección como kitchen@example.org";
        /// A contact without a route.
        NoRoute { contact }: "«{contact}» has no route", "«{contact}» no tiene ninguna vía",
            do: "give it routes in its [[contact]]", "dele vías (routes) en su [[contact]]";
        /// A file cannot be read.
        Unreadable { path }: "cannot read «{path}»", "no se puede leer «{path}»",
            do: "check the path and let the service user read {path}", "revise la ruta y deje que el usuario del servicio lea {path}";
        /// A secret that everybody can read.
        Exposed { path }: "«{path}» holds a secret, and every user of this computer can read it", "«{path}» guarda un secreto, y cualquier usuario de este equipo puede leerlo",
            do: "chmod o= {path}", "chmod o= {path}";
        /// A file without a secret.
        Empty { path }: "«{path}» holds no secret in its first line", "«{path}» no tiene ningún secreto en su primera línea",
            do: "write the secret into the first line of {path}", "escriba el secreto en la primera línea de {path}";
        /// A file without certificates.
        NoCertificate { path }: "«{path}» holds no certificate in PEM form", "«{path}» no tiene ningún certificado en formato PEM",
            do: "put the certificates into {path} in PEM form", "ponga los certificados en {path} en formato PEM";
        /// A file without a key.
        NoPrivateKey { path }: "«{path}» holds no private key in PEM form", "«{path}» no tiene ninguna clave privada en formato PEM",
            do: "put the private key into {path} in PEM form", "ponga la clave privada en {path} en formato PEM";
        /// No list of authorities.
        NoAuthorities {}: "this computer has no certificates of public authorities", "este equipo no tiene certificados de autoridades públicas",
            do: "install the package ca-certificates, or name a ca-file", "instale el paquete ca-certificates, o indique un ca-file";
        /// A certificate or key that TLS does not take.
        NotForTls {}: "TLS does not accept the configured certificates", "TLS no acepta los certificados configurados",
            do: "check that the key belongs to the certificate", "compruebe que la clave corresponde al certificado";
        /// A signing secret in another form.
        NoSigningSecret { path }: "«{path}» holds no signing secret: whsec_ and 24 to 64 bytes in base64", "«{path}» no tiene ningún secreto de firma: whsec_ y de 24 a 64 bytes en base64",
            do: "printf 'whsec_%s\\n' \"$(openssl rand -base64 32)\" > {path}, and give the receiver the same line", "printf 'whsec_%s\\n' \"$(openssl rand -base64 32)\" > {path}, y dé la misma línea al destinatario";
        /// The client for HTTP cannot be made.
        NoHttpClient {}: "the HTTP client cannot be made", "no se puede crear el cliente HTTP",
            do: "check the certificates in ca-file", "revise los certificados de ca-file";
        /// A host that can stand in no certificate.
        NoHostName { name }: "«{name}» is no name or address that a certificate can hold", "«{name}» no es un nombre ni una dirección que pueda estar en un certificado",
            do: "correct the host", "corrija el host";
    }
}

impl Fact {
    /// It in the words of the reader.
    #[must_use]
    pub fn tell(&self, language: Language) -> String {
        let (pair, _, values) = self.parts();
        sentence(pair, &values, language)
    }

    /// What to do about settings that cannot work; of the other facts nothing is ours to advise.
    #[must_use]
    pub fn advice(&self, language: Language) -> Option<String> {
        let (_, advice, values) = self.parts();
        advice.map(|pair| sentence(pair, &values, language))
    }
}

/// In English, for the log, the terminal and programs.
impl fmt::Display for Fact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.tell(Language::English))
    }
}

fn sentence((english, spanish): Pair, values: &[(&'static str, &str)], language: Language) -> String {
    let shown = |(name, value): &(&'static str, &str)| {
        (*name, if *name == "stage" { step(value, language).to_owned() } else { (*value).to_owned() })
    };
    let values: Vec<(&str, String)> = values.iter().map(shown).collect();
    let values: Vec<(&str, &str)> = values.iter().map(|(name, value)| (*name, value.as_str())).collect();
    filled(said(language, english, spanish), &values)
}
