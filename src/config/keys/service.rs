//! Keys of `[service]` and `[web]`.

use super::{Default, Form, Key, days, secs};

/// Keys of `[service]`.
pub static SERVICE: [Key; 1] = [Key {
    name: "socket",
    form: Form::Path,
    default: Default::Follows("the path of the ledger with .socket behind it"),
    example: "\"/run/rinseward/control.socket\"",
    meaning: "The Unix socket by which commands such as `rinseward alerts acknowledge` reach the running service. The service's user and group may use it (mode 0660).",
}];

/// Keys of `[web]`.
pub static WEB: [Key; 7] = [
    Key {
        name: "enabled",
        form: Form::Flag,
        default: Default::Value("false"),
        example: "true",
        meaning: "Whether the pages are served: for whoever has an account, and behind the links of messages, where who is told of an alert sees it, takes it on and writes the corrective action.",
    },
    Key {
        name: "listen",
        form: Form::Text,
        default: Default::Value("127.0.0.1:8480"),
        example: "\"127.0.0.1:8480\"",
        meaning: "Address and port of the pages. Any address but loopback is refused unless certificate and key are given or behind-proxy is true.",
    },
    Key {
        name: "behind-proxy",
        form: Form::Flag,
        default: Default::Value("false"),
        example: "true",
        meaning: "Whether a proxy that does TLS stands before the pages, or the network is trusted as it is. Permits an address other than loopback. The last hop of X-Forwarded-For is then taken for the address that tries to log in; let nobody but the proxy reach the port.",
    },
    Key {
        name: "certificate",
        form: Form::Path,
        default: Default::Absent("the pages are then served without TLS"),
        example: "\"/etc/rinseward/pages.pem\"",
        meaning: "The certificate that the pages show by TLS, and those between it and its authority, as PEM. It must be one for a server, not that of an authority. It is read anew within a minute after it was renewed.",
    },
    Key {
        name: "key",
        form: Form::Path,
        default: Default::Absent("the pages are then served without TLS"),
        example: "\"/etc/rinseward/pages.key\"",
        meaning: "The private key of the certificate, as PEM. Only the service may read it.",
    },
    Key {
        name: "public-url",
        form: Form::Text,
        default: Default::Absent(
            "messages then carry no link, and the pages are served by address in numbers or as localhost only",
        ),
        example: "\"https://kitchen.example.org/rinseward\"",
        meaning: "What the links of messages begin with: how a phone reaches the pages. Whoever has a link may act on that one alert, so that it should begin with https. Its host is the one name by which the pages are served, beside localhost and any address in numbers; a request for another name is answered by 421, since a stranger's name could be made to lead here. A proxy must pass on the host that it was asked for; where it serves the pages below a folder, such as /rinseward/, the name ends in that folder, which no file here can tell and nobody warns of. Without a proxy it has no folder.",
    },
    Key {
        name: "link-life",
        form: Form::Duration { min: secs(60), max: days(90) },
        default: Default::Value("7d"),
        example: "\"7d\"",
        meaning: "How long a link can be used. Own choice: long enough for a corrective action to be written after a weekend.",
    },
];
