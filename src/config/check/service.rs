//! `[service]` and `[web]`: how people and commands reach the running gateway.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use reqwest::Url;

use super::series::is_this_computer;
use crate::config::note::Whence;
use crate::config::problem::{Fault, Findings};
use crate::config::reader::Reader;
use crate::config::resolve::{TlsFiles, WebOptions, socket_beside};

/// Longest path of a socket, in bytes (`sun_path` of Linux, unix(7), with the zero at its end).
const SOCKET_BYTES_MAX: usize = 107;

/// Reads `[service]`; the socket lies beside the ledger unless it is named.
pub(super) fn read_service(
    reader: &mut Reader<'_>,
    ledger: Option<&Path>,
    findings: &mut Findings,
) -> Option<PathBuf> {
    let given = reader.path("socket", findings);
    let socket = match given {
        Some(socket) => socket,
        None => {
            let socket = socket_beside(ledger?);
            reader.note_derived("socket", &socket.to_string_lossy(), Whence::BesideTheLedger);
            socket
        }
    };
    let bytes = socket.as_os_str().len();
    if bytes > SOCKET_BYTES_MAX {
        let why = format!("a socket's path has at most {SOCKET_BYTES_MAX} bytes, and this one has {bytes}");
        let advice =
            "name a shorter one: [service] socket; without it commands wait until the service is stopped";
        let fault = Fault::Doubtful { why, advice: advice.to_owned() };
        findings.warnings.push(reader.problem("socket", fault));
    }
    Some(socket)
}

/// Reads `[web]`; `None` where the pages are not enabled, or something is wrong.
pub(super) fn read_web(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<WebOptions> {
    let enabled = reader.flag("enabled", findings)?;
    let listen = reader.text("listen", findings);
    let behind_proxy = reader.flag("behind-proxy", findings);
    let tls = read_tls(reader, findings);
    let public_url = reader.text("public-url", findings);
    let link_life: Option<Duration> = reader.duration("link-life", findings);
    let listen = listen.and_then(|text| match text.parse::<SocketAddr>() {
        Ok(address) => Some(address),
        Err(_) => {
            reader.refuse(
                "listen",
                "an address with a port, such as \"127.0.0.1:8480\" or \"[::1]:8480\"",
                findings,
            );
            None
        }
    });
    if let (Some(address), Some(false), false) = (listen, behind_proxy, reader.has("certificate"))
        && !address.ip().is_loopback()
    {
        let wanted = "an address of loopback, such as \"127.0.0.1:8480\", since the pages are served without \
                      TLS; certificate and key, or behind-proxy = true, permit another one";
        reader.refuse("listen", wanted, findings);
    }
    if let Some(url) = &public_url
        && !is_url(url)
    {
        let wanted = "what links begin with, such as \"https://kitchen.example.org\", without ? or #";
        reader.refuse("public-url", wanted, findings);
    }
    if !enabled {
        return None;
    }
    if let (Some(url), Some(address), Some(false)) = (&public_url, listen, behind_proxy)
        && address.ip().is_loopback()
        && Url::parse(url).is_ok_and(|url| !is_this_computer(&url))
    {
        let why =
            "others reach the pages by this name, and only a proxy can bring them to an address of loopback";
        let advice = "write behind-proxy = true, and let the proxy pass on the host it was asked for";
        let fault = Fault::Doubtful { why: why.to_owned(), advice: advice.to_owned() };
        findings.warnings.push(reader.problem("public-url", fault));
    }
    let named = public_url.as_deref().and_then(|url| Url::parse(url).ok());
    if let Some((why, advice)) =
        named.zip(behind_proxy).and_then(|(url, behind)| doubtful_folder(&url, behind))
    {
        findings.warnings.push(reader.problem("public-url", Fault::Doubtful { why, advice }));
    }
    let public_url = public_url.map(|url| url.trim_end_matches('/').to_owned());
    Some(WebOptions { listen: listen?, behind_proxy: behind_proxy?, tls, public_url, link_life: link_life? })
}

/// Paths below which the service itself has pages: a `public-url` was then copied from the line of the browser.
pub(crate) const OWN_PATHS: [&str; 18] = [
    "account",
    "accounts",
    "alert",
    "alerts",
    "api",
    "calibrate",
    "cycles",
    "history",
    "login",
    "logbook",
    "machines",
    "maintenance",
    "more",
    "probes",
    "prove",
    "respond",
    "settings",
    "sign-off",
];

/// What is doubtful about the folder that the name ends in: the service serves at `/`, and only a proxy can take a folder
/// away. Which folder that is, no file here says.
fn doubtful_folder(url: &Url, behind_proxy: bool) -> Option<(String, String)> {
    let folder = url.path().trim_matches('/');
    if folder.is_empty() {
        return None;
    }
    let last = folder.rsplit('/').next().unwrap_or(folder);
    let rest = folder.strip_suffix(last).unwrap_or_default().trim_end_matches('/');
    if OWN_PATHS.contains(&last) {
        let begin = if rest.is_empty() { String::new() } else { format!("/{rest}") };
        return Some((
            format!(
                "«/{last}» is a page of the service: links of messages would lead below it, where nothing is"
            ),
            format!("end it before that page, in «{begin}/»"),
        ));
    }
    (!behind_proxy).then(|| {
        (
            format!(
                "the service serves its pages at «/», so that nothing is below «/{folder}» without a proxy"
            ),
            "leave the folder out, or write behind-proxy = true where a proxy serves below it".to_owned(),
        )
    })
}

/// Certificate and key: both or none.
fn read_tls(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<TlsFiles> {
    for (one, other) in [("certificate", "key"), ("key", "certificate")] {
        if reader.has(one) && !reader.has(other) {
            reader.require(other, findings);
        }
    }
    let certificate = reader.path("certificate", findings);
    let key = reader.path("key", findings);
    certificate.zip(key).map(|(certificate, key)| TlsFiles { certificate, key })
}

/// Whether links can begin with it: http or https, a host, perhaps a port and a path (RFC 3986 §3).
fn is_url(text: &str) -> bool {
    let rest = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"));
    rest.is_some_and(|rest| {
        !rest.is_empty()
            && !rest.starts_with('/')
            && rest.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-._~:/[]%".contains(&byte))
    })
}
