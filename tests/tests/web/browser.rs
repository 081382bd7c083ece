//! A browser, as far as the pages know it: it keeps its cookie, says where a form comes from, and
//! follows nothing by itself.

use reqwest::header::{COOKIE, HeaderMap, LOCATION, SET_COOKIE};
use reqwest::redirect::Policy;
use reqwest::{Client, ClientBuilder};

/// An answer.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: HeaderMap,
    pub(crate) body: String,
}

impl Answer {
    /// Where it leads.
    pub(crate) fn location(&self) -> &str {
        self.header(LOCATION.as_str())
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().expect("ASCII"))
    }
}

/// A browser.
pub(crate) struct Browser {
    client: Client,
    base: String,
    /// What it sends back.
    pub(crate) cookie: Option<String>,
    /// Further headers of each request.
    pub(crate) also: Vec<(&'static str, String)>,
}

/// What every client of the tests is: no proxy, no following.
pub(crate) fn builder() -> ClientBuilder {
    // An error says that a provider is installed already.
    drop(rustls::crypto::ring::default_provider().install_default());
    Client::builder().no_proxy().redirect(Policy::none())
}

impl Browser {
    pub(crate) fn new(base: &str) -> Self {
        Self::with(builder(), base)
    }

    pub(crate) fn with(builder: ClientBuilder, base: &str) -> Self {
        let client = builder.build().expect("a client");
        Self { client, base: base.to_owned(), cookie: None, also: Vec::new() }
    }

    async fn ask(&mut self, request: reqwest::RequestBuilder) -> Answer {
        let (answer, bytes) = self.ask_bytes(request).await;
        Answer { body: String::from_utf8(bytes).expect("text"), ..answer }
    }

    async fn ask_bytes(&mut self, request: reqwest::RequestBuilder) -> (Answer, Vec<u8>) {
        let mut request = request.header("accept", "text/html");
        if let Some(cookie) = &self.cookie {
            request = request.header(COOKIE, cookie);
        }
        for (name, value) in &self.also {
            request = request.header(*name, value);
        }
        let response = request.send().await.expect("an answer");
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        if let Some(set) = headers.get(SET_COOKIE) {
            let set = set.to_str().expect("ASCII");
            let pair = set.split(';').next().expect("a pair").to_owned();
            self.cookie = (!set.contains("Max-Age=0")).then_some(pair);
        }
        let bytes = response.bytes().await.expect("all of it").to_vec();
        (Answer { status, headers, body: String::new() }, bytes)
    }

    /// A file.
    pub(crate) async fn bytes(&mut self, path: &str) -> (Answer, Vec<u8>) {
        self.ask_bytes(self.client.get(format!("{}{path}", self.base))).await
    }

    pub(crate) async fn get(&mut self, path: &str) -> Answer {
        self.ask(self.client.get(format!("{}{path}", self.base))).await
    }

    /// The status of an answer that may go on for long.
    pub(crate) async fn status(&mut self, path: &str) -> u16 {
        let mut request = self.client.get(format!("{}{path}", self.base)).header("accept", "text/html");
        if let Some(cookie) = &self.cookie {
            request = request.header(COOKIE, cookie);
        }
        request.send().await.expect("an answer").status().as_u16()
    }

    /// Sends a form of the site's own.
    pub(crate) async fn post(&mut self, path: &str, form: &[(&str, &str)]) -> Answer {
        self.post_with(path, form, &[("sec-fetch-site", "same-origin")]).await
    }

    /// Sends a form with these headers.
    pub(crate) async fn post_with(
        &mut self,
        path: &str,
        form: &[(&str, &str)],
        headers: &[(&str, &str)],
    ) -> Answer {
        let mut request = self
            .client
            .post(format!("{}{path}", self.base))
            .header("content-type", "application/x-www-form-urlencoded")
            .body(encoded(form));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        self.ask(request).await
    }

    pub(crate) async fn login(&mut self, account: &str, password: &str) -> Answer {
        self.post("/login", &[("account", account), ("password", password)]).await
    }
}

/// A form by the URL standard, application/x-www-form-urlencoded.
pub(crate) fn encoded(form: &[(&str, &str)]) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric();
    let one = |text: &str| -> String {
        text.bytes()
            .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
            .collect()
    };
    form.iter().map(|(name, value)| format!("{}={}", one(name), one(value))).collect::<Vec<_>>().join("&")
}
