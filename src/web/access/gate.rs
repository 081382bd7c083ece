//! What stands before every route: who asks, from where, and whether the form is ours.

use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{Extensions, HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{FromFnLayer, Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;

use super::login::{From, NO_ACCOUNT, Shown};
use super::store::Account;
use super::tally::Whose;
use super::{Access, Options, host, origin, pages, routes};
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::AccessRefusal;
use crate::web::api;
use crate::web::explained::explained;
use crate::web::frame::{self, Site};
use crate::web::person::Person;
use crate::web::stranger::Stranger;

/// Name of the cookie without TLS, without its port.
const COOKIE: &str = "rinseward";
/// Name of the cookie under TLS: browsers then keep it from other hosts and from plain HTTP
/// (RFC 6265bis §4.1.3.2), without its port.
const COOKIE_SECURE: &str = "__Host-rinseward";
/// How long browsers ask by TLS only, s (RFC 6797; a year, as is common practice).
const HSTS: &str = "max-age=31536000";
/// Pages behind links, which have a secret of their own in their path.
const LINKS: &str = "/alert/";

/// The address at the other end of a connection.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::web) struct Far(pub(in crate::web) SocketAddr);

/// What is known of a request beside the person.
#[derive(Clone, Debug)]
pub(super) struct Visit {
    pub(super) from: From,
    /// Whether the browser speaks TLS, to us or to the proxy.
    pub(super) secure: bool,
    /// Name of the cookie that its secret is in.
    cookie: String,
    /// Secret and account of the browser's session.
    pub(super) session: Option<(String, Account)>,
}

impl Visit {
    /// The header that gives the browser its secret.
    pub(super) fn cookie(&self, secret: &str) -> Option<HeaderValue> {
        let (name, secure) = (&self.cookie, if self.secure { "; Secure" } else { "" });
        let text = format!("{name}={secret}; Path=/; HttpOnly; SameSite=Strict{secure}");
        HeaderValue::from_str(&text).ok()
    }

    /// The header that takes it away.
    pub(super) fn no_cookie(&self) -> Option<HeaderValue> {
        let mut text = self.cookie("")?.as_bytes().to_vec();
        text.extend(b"; Max-Age=0");
        HeaderValue::from_bytes(&text).ok()
    }
}

/// Puts access before a router: its own pages, and who asks for every other. Each request must bear a `Far`, as
/// `connections` gives it, and the site that all of it is about.
pub fn protect(router: Router, access: &Arc<Access>) -> Router {
    let layer = from_fn_with_state(Arc::clone(access), gate);
    router.merge(routes::routes(access)).layer(from_fn(explained)).layer(layer)
}

async fn gate(State(access): State<Arc<Access>>, mut request: Request, next: Next) -> Response {
    let tls = access.options.tls;
    let stranger = Stranger::of(request.headers(), request.extensions());
    if !is_for_us(&access, &request) {
        // Browsers keep a session by the name of the host: to that name none was given.
        let from = from(&access, &request).told;
        access.refused(NO_ACCOUNT, AccessRefusal::Misdirected, (&from, Whose::Stranger)).await;
        return dressed(Stopped::Misdirected.answer(request.uri().path(), stranger), tls);
    }
    let visit = match enter(&access, &mut request).await {
        Ok(visit) => visit,
        Err(stopped) => return dressed(stopped.answer(request.uri().path(), stranger), tls),
    };
    let is_link = request.uri().path().starts_with(LINKS);
    if let Some((_, account)) = visit.session.as_ref().filter(|(_, account)| account.must_change)
        && !is_link
        && !routes::before_password(request.uri().path())
    {
        let answer = if shows_page(&request) {
            frame::go(&format!("{}account", top(request.uri().path())))
        } else {
            Stopped::ChangeFirst.answer(request.uri().path(), stranger.reading(account.language))
        };
        return dressed(answer, tls);
    }
    request.extensions_mut().insert(visit);
    request.extensions_mut().insert(access);
    dressed(next.run(request).await, tls)
}

/// Why a request goes no further.
#[derive(Clone, Copy, Debug)]
enum Stopped {
    /// Who asks cannot be found out.
    NotNow,
    /// The form is of another site.
    Foreign,
    /// It is meant for another host.
    Misdirected,
    /// The password is to be changed first.
    ChangeFirst,
    /// The token is none.
    Token(AccessRefusal),
}

impl Stopped {
    /// What a person or a program at this path is told.
    fn answer(self, path: &str, stranger: Stranger) -> Response {
        let (status, said) = match self {
            Self::NotNow => (StatusCode::SERVICE_UNAVAILABLE, pages::Said::NotNow),
            Self::Foreign => (StatusCode::FORBIDDEN, pages::Said::Foreign),
            Self::Misdirected => (StatusCode::MISDIRECTED_REQUEST, pages::Said::Misdirected),
            Self::ChangeFirst => (StatusCode::FORBIDDEN, pages::Said::ChangeFirst),
            Self::Token(why) => return no_token(why),
        };
        if api::is_for_programs(path) {
            let (title, _, advice) = said.words(Language::English);
            api::refused(status, title, advice)
        } else {
            pages::refused(status, said, stranger)
        }
    }
}

/// Finds out who asks, and puts them into the request.
async fn enter(access: &Arc<Access>, request: &mut Request) -> Result<Visit, Stopped> {
    let headers = request.headers();
    let from = from(access, request);
    let secure = is_secure(access, headers);
    let named = cookie_name(secure, port(request.uri(), headers, &access.options));
    let failed = |error: super::AccessError| {
        tracing::error!(%error, "who asks cannot be found out");
        Stopped::NotNow
    };
    // Whether the gateway lives is nobody's secret, and must not hang on one that has expired.
    if let Some(secret) = bearer(headers).filter(|_| !api::is_for_probes(request.uri().path())) {
        let shown = access.program(secret, &from).await.map_err(failed)?;
        let token = match shown {
            Shown::Good(token) => token,
            Shown::Bad(why) => return Err(Stopped::Token(why)),
        };
        let (language, scale) = (Language::default(), Scale::default());
        let reader = Reader { language, scale, zone: access.options.zone.clone() };
        let name = token.told();
        let person = Person { account: name.clone(), name, role: token.role, reader };
        request.extensions_mut().insert(person);
        return Ok(Visit { from, secure, cookie: named, session: None });
    }
    let secret = cookie(headers, &named).map(str::to_owned);
    let account = match &secret {
        Some(secret) => access.visitor(secret).await.map_err(failed)?,
        None => None,
    };
    let acts = !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    let own = access.options.public_url.as_deref().and_then(origin::of);
    if acts
        && !request.uri().path().starts_with(LINKS)
        && !origin::is_own(headers, own, scheme(access, headers))
    {
        // Whose browser sent it tells who was lured.
        let (account, whose) = account
            .as_ref()
            .map_or((NO_ACCOUNT, Whose::Stranger), |account| (account.name.as_str(), Whose::Own));
        access.refused(account, AccessRefusal::Foreign, (&from.told, whose)).await;
        return Err(Stopped::Foreign);
    }
    let session = secret.zip(account);
    if let Some((_, account)) = session.as_ref().filter(|(_, account)| !account.must_change) {
        request.extensions_mut().insert(person(account, &access.options.zone));
    }
    Ok(Visit { from, secure, cookie: named, session })
}

/// Browsers ask by TLS only, once they have.
fn dressed(mut response: Response, tls: bool) -> Response {
    if tls {
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(HSTS));
    }
    response
}

/// Somebody who has an account.
pub(super) fn person(account: &Account, zone: &TimeZone) -> Person {
    let (language, scale, zone) = (account.language, account.scale, zone.clone());
    let reader = Reader { language, scale, zone };
    Person { account: account.name.to_string(), name: account.shown.clone(), role: account.role, reader }
}

/// Where a request came from. What a proxy says is believed only where one is configured, and of
/// it only the last hop, which the proxy itself saw.
fn from(access: &Access, request: &Request) -> From {
    let far = request.extensions().get::<Far>().map(|Far(far)| far.ip().to_canonical());
    // Without an address everybody shares one bucket.
    let far = far.unwrap_or(IpAddr::from([0, 0, 0, 0]));
    let hops = request.headers().get_all("x-forwarded-for").iter().next_back();
    let hop = hops.and_then(|hops| hops.to_str().ok()).and_then(|hops| hops.rsplit(',').next());
    let hop: Option<IpAddr> =
        hop.and_then(|hop| hop.trim().parse().ok()).filter(|_| access.options.behind_proxy);
    match hop.map(|hop| hop.to_canonical()) {
        Some(hop) => From { address: hop, told: format!("{hop} by {far}") },
        None => From { address: far, told: far.to_string() },
    }
}

/// The address that a request came from, as tries and places are counted. Where nobody noted one, everybody
/// shares the one that is none.
pub(in crate::web) fn whence(extensions: &Extensions) -> IpAddr {
    extensions.get::<Visit>().map_or(IpAddr::from([0, 0, 0, 0]), |visit| visit.from.address)
}

/// Whether a request is to be answered at all, by the host that it is meant for. No page of elsewhere can show
/// the secret of a program, so that programs may call the gateway as their network does. Nor is it asked of whoever
/// looks whether the gateway lives: a gateway that is restarted for its name records nothing, and that it lives
/// is no secret.
fn is_for_us(access: &Access, request: &Request) -> bool {
    bearer(request.headers()).is_some()
        || api::is_for_probes(request.uri().path())
        || host::is_own(request.uri(), request.headers(), access.options.public_url.as_deref())
}

fn is_secure(access: &Access, headers: &HeaderMap) -> bool {
    scheme(access, headers).is_some_and(|scheme| scheme.eq_ignore_ascii_case("https"))
}

/// The scheme by which browsers reach the pages; `None` where a proxy stands before them that says nothing of it.
fn scheme<'a>(access: &'a Access, headers: &'a HeaderMap) -> Option<&'a str> {
    let options = &access.options;
    if options.tls {
        return Some("https");
    }
    if !options.behind_proxy {
        return Some("http");
    }
    // As with addresses, of several hops the last is the one that the proxy itself saw.
    let said = headers.get_all("x-forwarded-proto").iter().next_back().and_then(|said| said.to_str().ok());
    let said = said.and_then(|said| said.rsplit(',').next()).map(str::trim);
    let public = || options.public_url.as_deref()?.split_once("://").map(|(scheme, _)| scheme);
    said.or_else(public)
}

/// The secret of a program (RFC 6750 §2.1).
fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, secret) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim())
}

/// The port by which the browser asks: browsers keep the cookies of all ports of a host together (RFC 6265 §8.5). Where
/// that is not said, as behind many proxies, it is the one of the public address, by its scheme where it names none, and
/// at last the one that is served at.
fn port(uri: &Uri, headers: &HeaderMap, options: &Options) -> u16 {
    let said = || headers.get(header::HOST)?.to_str().ok()?.parse::<Authority>().ok()?.port_u16();
    let public = || {
        let uri = options.public_url.as_deref()?.parse::<Uri>().ok()?;
        uri.port_u16().or_else(|| match uri.scheme_str()? {
            "https" => Some(443),
            "http" => Some(80),
            _ => None,
        })
    };
    uri.port_u16().or_else(said).or_else(public).unwrap_or(options.port)
}

/// Name of the cookie of the gateway at a port, so that two at one host leave each other's alone.
fn cookie_name(secure: bool, port: u16) -> String {
    format!("{}-{port}", if secure { COOKIE_SECURE } else { COOKIE })
}

/// What the browser keeps under a name, such as its secret (RFC 6265 §4.2.1).
pub(super) fn cookie<'h>(headers: &'h HeaderMap, wanted: &str) -> Option<&'h str> {
    let texts = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = texts.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(name, _)| *name == wanted).map(|(_, secret)| secret).filter(|secret| !secret.is_empty())
}

fn no_token(why: AccessRefusal) -> Response {
    let status =
        if why == AccessRefusal::TooMany { StatusCode::TOO_MANY_REQUESTS } else { StatusCode::UNAUTHORIZED };
    // RFC 6750 §3.1.
    let challenge = HeaderValue::from_static("Bearer error=\"invalid_token\"");
    let advice = match why {
        AccessRefusal::TooMany => "wait some minutes; mend the token that is sent before it is tried again",
        AccessRefusal::Wrong
        | AccessRefusal::Locked
        | AccessRefusal::Disabled
        | AccessRefusal::Expired
        | AccessRefusal::NotAllowed
        | AccessRefusal::Foreign
        | AccessRefusal::Misdirected
        | AccessRefusal::UnknownToken => {
            "ask the administrator for another token: rinseward accounts tokens add …, or the page of accounts"
        }
    };
    ([(header::WWW_AUTHENTICATE, challenge)], api::refused(status, why.words(), advice)).into_response()
}

/// The way from the page at a path to the top of the site.
pub(super) fn top(path: &str) -> &'static str {
    frame::up(frame::depth(path))
}

fn shows_page(request: &Request) -> bool {
    is_page(request.method(), request.headers())
}

/// Whether a browser asks for a page.
fn is_page(method: &Method, headers: &HeaderMap) -> bool {
    let accepts = |accept: &HeaderValue| accept.to_str().is_ok_and(|accept| accept.contains("text/html"));
    method == Method::GET && headers.get(header::ACCEPT).is_some_and(accepts)
}

/// The answer to somebody who is not known: a browser is led to the login and back, a program is
/// told to show a token (RFC 9110 §11.6.1).
#[must_use]
pub(in crate::web) fn to_login(method: &Method, headers: &HeaderMap, uri: &Uri) -> Response {
    if !is_page(method, headers) {
        let challenge = HeaderValue::from_static("Bearer");
        return (StatusCode::UNAUTHORIZED, [(header::WWW_AUTHENTICATE, challenge)]).into_response();
    }
    let path = uri.path();
    frame::go(&login_from(path, uri.path_and_query().map_or(path, |whole| whole.as_str())))
}

/// The way from the page at a path to the login, which leads back to what is `wanted` where that is of this site.
pub(in crate::web) fn login_from(path: &str, wanted: &str) -> String {
    let wanted = wanted.strip_prefix('/').and_then(origin::own_path);
    let back = wanted.map_or_else(String::new, |back| format!("?to={}", escaped(back)));
    format!("{}login{back}", top(path))
}

/// The page from which a form is sent to a path: that path, but for deeds that are no page; the first page for
/// a logout.
pub(in crate::web) fn page_of(path: &str) -> &str {
    let parts: Vec<&str> = path.split('/').skip(1).collect();
    match parts.as_slice() {
        ["tokens"] | ["tokens", _] => "/accounts",
        ["logout"] => "",
        // A machine may be called «act» or «end» too: where it stands, no deed does.
        ["alerts", _, "acknowledge" | "act"]
        | ["settings", "test"]
        | ["history", "exports", _, "end"]
        | ["logbook", "entries", _, "comment" | "own"] => {
            path.rsplit_once('/').map_or(path, |(page, _)| page)
        }
        _ => path,
    }
}

type Checked = Pin<Box<dyn Future<Output = Response> + Send>>;

/// The layer that [`require`] gives.
pub type Requirement =
    FromFnLayer<fn(State<Right>, Request, Next) -> Checked, Right, (State<Right>, Request)>;

/// Lets through to a route whoever has this right, below [`protect`]. Others are led to the login
/// or refused, which goes on record.
pub fn require(right: Right) -> Requirement {
    from_fn_with_state(right, check)
}

fn check(State(right): State<Right>, request: Request, next: Next) -> Checked {
    Box::pin(async move {
        let Some(person) = request.extensions().get::<Person>() else {
            return to_login(request.method(), request.headers(), request.uri());
        };
        if person.may(right) {
            return next.run(request).await;
        }
        let answer = match request.extensions().get::<Arc<Site>>() {
            Some(site) => frame::not_yours(right, person, site, frame::depth(request.uri().path())),
            None => StatusCode::FORBIDDEN.into_response(),
        };
        not_allowed(request.extensions(), right).await;
        answer
    })
}

/// Puts on record that somebody asked for what their role does not reach.
pub(in crate::web) async fn not_allowed(extensions: &Extensions, right: Right) {
    let known = (extensions.get::<Arc<Access>>(), extensions.get::<Visit>(), extensions.get::<Person>());
    if let (Some(access), Some(visit), Some(person)) = known {
        access.not_allowed(&person.account, right, &visit.from.told).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 6265 §4.2.1; names are compared exactly.
    #[test]
    fn the_cookie_is_found_among_others() {
        for (text, secure, found) in [
            ("a=b; rinseward-8480=s; c=d", false, Some("s")),
            ("rinseward-8480=s", true, None),
            ("__Host-rinseward-8480=t; rinseward-8480=s", true, Some("t")),
            ("xrinseward-8480=s; Rinseward-8480=s; rinseward-8480", false, None),
            ("rinseward-8481=s; rinseward=s", false, None),
            ("rinseward-8480=", false, None),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(header::COOKIE, HeaderValue::from_static(text));
            assert_eq!(cookie(&headers, &cookie_name(secure, 8480)), found, "{text}");
        }
    }

    // RFC 6265 §8.5: cookies are not kept apart by port; so their names are.
    #[test]
    fn gateways_at_two_ports_of_a_host_have_two_cookies() {
        for (host, public, expected) in [
            (Some("kitchen.example:8481"), Some("https://kitchen.example:8482"), 8481),
            (Some("[::1]:8481"), None, 8481),
            (Some("kitchen.example"), Some("https://kitchen.example:8482/dish"), 8482),
            (Some("kitchen.example"), Some("https://kitchen.example"), 443),
            (Some("kitchen.example"), Some("http://kitchen.example/dish"), 80),
            (Some("kitchen.example"), None, 8480),
            (None, None, 8480),
        ] {
            let options = Options {
                site: "kitchen".to_owned(),
                zone: TimeZone::UTC,
                tls: false,
                behind_proxy: false,
                public_url: public.map(str::to_owned),
                port: 8480,
            };
            let mut headers = HeaderMap::new();
            if let Some(host) = host {
                headers.insert(header::HOST, HeaderValue::from_static(host));
            }
            assert_eq!(port(&Uri::from_static("/"), &headers, &options), expected, "{host:?} {public:?}");
        }
    }

    // RFC 3986 §5.2: what the browser resolves the result against is the page's own path.
    #[test]
    fn the_way_to_the_top_is_relative() {
        for (path, expected) in [
            ("/", "./"),
            ("/login", "./"),
            ("/accounts/ana", "../"),
            ("/a/b/c", "../../"),
            ("/a/b/c/d/e/f", "../../../../../"),
        ] {
            assert_eq!(top(path), expected, "{path}");
        }
    }
}
