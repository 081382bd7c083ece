//! A real browser: headless Chromium (Debian), driven through ChromeDriver by the crate `fantoccini`.
//!
//! What is pressed or filled in is found by the words that a person reads, never by the names of the markup,
//! and what is waited for is what a person would see. The size of the screen, the colours and the media are set
//! by the DevTools protocol, which ChromeDriver passes on.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use axum::http::Method;
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use reqwest::Url;
use serde_json::{Value, json};

use super::browser::Browser;

/// Longest wait for the driver, for a page, and for what should appear on it.
const WAIT_MAX: Duration = Duration::from_secs(30);
/// Times that ChromeDriver is started before its port is given up.
const STARTS_MAX: usize = 5;
/// Between two looks.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How often somebody without scripts asks for a page again that they wait at.
const AGAIN_EVERY: Duration = Duration::from_secs(1);
/// A phone, px (360 × 740 is a common small one; no source).
pub(crate) const PHONE: (u32, u32) = (360, 740);

/// Without a screen; without a sandbox, since tests may run as root; and without a word to anybody but the site:
/// whatever the browser would ask of the net by itself is off, and no name is looked up at all.
const ARGUMENTS: [&str; 15] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-client-side-phishing-detection",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-sync",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
];

/// What people look at with whom; all phones unless told otherwise.
#[derive(Default)]
pub(crate) struct Wish<'a> {
    /// Whether scripts of pages are forbidden, as some people and companies have it.
    pub(crate) without_script: bool,
    /// Where downloads go.
    pub(crate) downloads: Option<&'a Path>,
}

/// One browser with one window.
pub(crate) struct Chromium {
    driver: Child,
    port: u16,
    session: String,
    client: Client,
    site: String,
    without_script: bool,
    /// What was pressed and typed since it was last asked for.
    pub(crate) effort: Effort,
}

/// The moves of a person's hands.
#[derive(Default)]
pub(crate) struct Effort {
    presses: AtomicU32,
    keys: AtomicU32,
}

impl Effort {
    /// How often something was pressed, and how many keys, since this was last asked.
    pub(crate) fn taken(&self) -> (u32, u32) {
        (self.presses.swap(0, Ordering::Relaxed), self.keys.swap(0, Ordering::Relaxed))
    }
}

impl Chromium {
    /// Opens a window of a phone's size for the site at a port of this computer.
    pub(crate) async fn open(site: u16, wish: Wish<'_>) -> Self {
        let (driver, port) = start();
        let mut options = json!({ "args": ARGUMENTS, "prefs": { "credentials_enable_service": false } });
        if wish.without_script {
            options["prefs"]["profile.managed_default_content_settings.javascript"] = json!(2);
        }
        if let Some(downloads) = wish.downloads {
            options["prefs"]["download.default_directory"] = json!(downloads);
        }
        let wanted = json!({ "browserName": "chrome", "goog:chromeOptions": options });
        let Value::Object(wanted) = wanted else { unreachable!("an object was written") };
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("Chromium starts; `tests/all` installs it");
        let session = client.session_id().await.expect("a session").expect("a session");
        let site = format!("http://127.0.0.1:{site}");
        let without_script = wish.without_script;
        let browser = Self { driver, port, session, client, site, without_script, effort: Effort::default() };
        browser.resize(PHONE).await;
        browser
    }

    /// As large as this, px; below 600 it is a phone.
    pub(crate) async fn resize(&self, (width, height): (u32, u32)) {
        let phone = width < 600;
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone });
        self.chrome("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    /// In light or dark colours.
    pub(crate) async fn colours(&self, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.chrome("Emulation.setEmulatedMedia", json!({ "features": features })).await;
    }

    /// Over a connection on which each answer takes this much longer, ms.
    pub(crate) async fn delay(&self, latency: u32) {
        self.chrome("Network.enable", json!({})).await;
        let line =
            json!({ "offline": false, "latency": latency, "downloadThroughput": -1, "uploadThroughput": -1 });
        self.chrome("Network.emulateNetworkConditions", line).await;
    }

    /// A command of the DevTools protocol.
    pub(crate) async fn chrome(&self, command: &'static str, parameters: Value) -> Value {
        let told = self.client.issue_cmd(DevTools { command, parameters }).await;
        told.unwrap_or_else(|error| panic!("{command}: {error}"))
    }

    /// Goes to a page of the site.
    pub(crate) async fn go(&self, path: &str) {
        let gone = self.client.goto(&format!("{}{path}", self.site)).await;
        gone.unwrap_or_else(|error| panic!("{path}: {error}"));
    }

    /// What a script of the driver's comes to, and not one of the page's.
    pub(crate) async fn ask(&self, script: &str) -> Value {
        self.client.execute(script, vec![]).await.unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// The same for one that answers later, by its last argument.
    pub(crate) async fn ask_later(&self, script: &str) -> Value {
        self.client.execute_async(script, vec![]).await.unwrap_or_else(|error| panic!("{error}"))
    }

    /// The text that somebody sees on the page.
    pub(crate) async fn text(&self) -> String {
        let body = self.client.find(Locator::Css("body")).await;
        match body {
            // A page may be on its way out while it is read.
            Ok(body) => body.text().await.unwrap_or_default(),
            Err(_) => String::new(),
        }
    }

    /// Path and question of the page below the site.
    pub(crate) async fn place(&self) -> String {
        let url = self.client.current_url().await.expect("an address");
        url.as_str().strip_prefix(&self.site).unwrap_or(url.as_str()).to_owned()
    }

    /// Asks for the page again where nothing on it changes by itself.
    async fn again(&self, last: &mut Instant) {
        if self.without_script && last.elapsed() > AGAIN_EVERY {
            *last = Instant::now();
            if let Ok(Some(link)) = self.target("Show it again").await {
                // It may have gone meanwhile: then there is something else to be seen.
                drop(self.reach(link).await);
            }
        }
    }

    /// Waits until the page shows a text, asking for it again where there are no scripts; gives all that it shows.
    pub(crate) async fn until_shown(&self, words: &str) -> String {
        let began = Instant::now();
        let mut asked = began;
        loop {
            let shown = self.text().await;
            if shown.contains(words) {
                return shown;
            }
            self.again(&mut asked).await;
            assert!(began.elapsed() < WAIT_MAX, "«{words}» is not at {}:\n{shown}", self.place().await);
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    /// Waits until it holds.
    pub(crate) async fn until<F: Future<Output = bool>>(&self, holds: impl Fn() -> F) {
        let began = Instant::now();
        while !holds().await {
            assert!(began.elapsed() < WAIT_MAX, "at {}:\n{}", self.place().await, self.text().await);
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    /// What can be pressed and bears these words: the first that is seen and says nothing else, or says them too.
    async fn target(&self, words: &str) -> Result<Option<Element>, CmdError> {
        let any = "//*[self::a or self::button or self::summary or (self::label and .//input)]";
        for says in ["normalize-space(.) =", "contains(normalize-space(.),"] {
            let end = if says.ends_with(',') { ")" } else { "" };
            let path = format!("{any}[{says} \"{words}\"{end}]");
            for element in self.client.find_all(Locator::XPath(&path)).await? {
                if element.is_displayed().await? {
                    return Ok(Some(element));
                }
            }
        }
        Ok(None)
    }

    /// Presses it where it can be reached: a person would have scrolled it out from under the tabs.
    async fn reach(&self, element: Element) -> Result<(), CmdError> {
        let scroll = "arguments[0].scrollIntoView({ block: 'center', behavior: 'instant' })";
        let target = serde_json::to_value(&element).expect("an element is JSON");
        self.client.execute(scroll, vec![target]).await?;
        element.click().await
    }

    /// Presses a link, button or choice by its words. A part of a live page may be replaced between finding and
    /// pressing, so that it is tried again, as a person would.
    pub(crate) async fn press(&self, words: &str) {
        self.effort.presses.fetch_add(1, Ordering::Relaxed);
        let began = Instant::now();
        let mut asked = began;
        loop {
            let pressed = match self.target(words).await {
                Ok(Some(element)) => self.reach(element).await,
                Ok(None) => Err(CmdError::NotW3C(json!("it is not seen"))),
                Err(error) => Err(error),
            };
            let Err(error) = pressed else { return };
            self.again(&mut asked).await;
            let late = began.elapsed() > WAIT_MAX;
            assert!(!late, "«{words}» at {}: {error}\n{}", self.place().await, self.text().await);
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    /// Types into the field with this label, in place of what stands there.
    pub(crate) async fn fill(&self, label: &str, text: &str) {
        let field = self.field(label).await;
        field.clear().await.expect("a field");
        field.send_keys(text).await.expect("a field");
        self.effort.presses.fetch_add(1, Ordering::Relaxed);
        self.effort.keys.fetch_add(u32::try_from(text.chars().count()).expect("short"), Ordering::Relaxed);
    }

    /// Types where the cursor is.
    pub(crate) async fn keys(&self, text: &str) {
        let here = self.client.active_element().await.expect("the cursor is somewhere");
        here.send_keys(text).await.expect("a field");
        self.effort.keys.fetch_add(u32::try_from(text.chars().count()).expect("short"), Ordering::Relaxed);
    }

    /// Chooses what bears these words in the list with this label.
    pub(crate) async fn choose(&self, label: &str, words: &str) {
        self.field(label).await.select_by_label(words).await.expect("it can be chosen");
        self.effort.presses.fetch_add(2, Ordering::Relaxed);
    }

    async fn field(&self, label: &str) -> Element {
        let labels = format!("//label[contains(normalize-space(.), \"{label}\")]/@for");
        let path = format!("//*[@id = {labels}]");
        let found = self.client.find(Locator::XPath(&path)).await;
        match found {
            Ok(field) => field,
            Err(error) => {
                panic!("«{label}» at {}: {error}\n{}", self.place().await, self.text().await)
            }
        }
    }

    /// Comes in at the login page.
    pub(crate) async fn log_in(&self, account: &str, password: &str) {
        self.go("/login").await;
        self.fill("Account", account).await;
        self.fill("Password", password).await;
        self.press("Log in").await;
        self.until_shown("Log out").await;
        self.effort.taken();
    }

    /// Comes in as somebody who has logged in elsewhere.
    pub(crate) async fn enter_as(&self, other: &Browser) {
        let (name, value) = other.cookie.as_deref().and_then(|pair| pair.split_once('=')).expect("logged in");
        let cookie = json!({ "name": name, "value": value, "url": self.site });
        let set = self.chrome("Network.setCookie", cookie).await;
        assert_eq!(set["success"], true, "{set}");
    }

    /// The page as it stands, whole, as a PNG.
    pub(crate) async fn picture(&self, width: u32) -> Vec<u8> {
        let size = self.chrome("Page.getLayoutMetrics", json!({})).await;
        let height = size["cssContentSize"]["height"].as_f64().expect("a height").min(6_000.0);
        let clip = json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": 1 });
        let taken = self
            .chrome("Page.captureScreenshot", json!({ "captureBeyondViewport": true, "clip": clip }))
            .await;
        use base64::Engine as _;
        let text = taken["data"].as_str().expect("base64");
        base64::engine::general_purpose::STANDARD.decode(text).expect("base64")
    }
}

/// ChromeDriver on a port that it chose. The port may be taken by another between its choice and its use: then it ends,
/// and is started again.
fn start() -> (Child, u16) {
    for _ in 0..STARTS_MAX {
        if let Some(started) = start_once() {
            return started;
        }
    }
    panic!("chromedriver ended {STARTS_MAX} times")
}

/// ChromeDriver and its port; none where it ended instead.
fn start_once() -> Option<(Child, u16)> {
    let mut driver = Command::new("chromedriver")
        .arg("--port=0")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("chromedriver is there; `tests/all` installs it");
    let mut said = BufReader::new(driver.stdout.take().expect("it is piped"));
    let mut line = String::new();
    let port = loop {
        line.clear();
        if said.read_line(&mut line).expect("chromedriver speaks") == 0 {
            driver.wait().expect("it is a child");
            return None;
        }
        let told = line.split("successfully on port ").nth(1);
        if let Some(port) = told.and_then(|rest| rest.trim_end().trim_end_matches('.').parse().ok()) {
            break port;
        }
    };
    // Its pipe must not fill up.
    std::thread::spawn(move || drop(std::io::copy(&mut said, &mut std::io::sink())));
    Some((driver, port))
}

impl Drop for Chromium {
    fn drop(&mut self) {
        // Asked first, so that it ends its browser too.
        let ended = TcpStream::connect(("127.0.0.1", self.port)).and_then(|mut driver| {
            driver.set_read_timeout(Some(WAIT_MAX))?;
            let path = format!("/session/{}", self.session);
            write!(driver, "DELETE {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")?;
            driver.read_to_end(&mut Vec::new())
        });
        drop(ended);
        drop(self.driver.kill());
        drop(self.driver.wait());
    }
}

/// A command of the DevTools protocol, as ChromeDriver takes it.
#[derive(Debug)]
struct DevTools {
    command: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for DevTools {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, <Url as std::str::FromStr>::Err> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        let body = json!({ "cmd": self.command, "params": self.parameters });
        (Method::POST, Some(body.to_string()))
    }
}

/// The checker of accessibility, from the package that `tests/all` unpacks.
pub(crate) fn axe() -> PathBuf {
    let peers = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/peers/lib");
    let versions = std::fs::read_dir(&peers).expect("the peers are installed; `tests/all` does it");
    let inside = "site-packages/axe_playwright_python/axe.min.js";
    let mut found = versions.flatten().map(|version| version.path().join(inside));
    found.find(|path| path.exists()).expect("axe-core is installed; `tests/all` does it")
}
