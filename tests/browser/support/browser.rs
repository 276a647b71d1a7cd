//! Headless Chromium: where it is, how large and light its screen is, what is to be seen on it.

use super::commands::Post;
use super::driver::Driver;
use super::patience::WAIT;
use super::said::Said;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;
use swingd::daemon::access::server::reached_at;
use tokio::sync::{Semaphore, SemaphorePermit};
use tokio::time::{Instant, sleep};

/// So many at a time: each is several processes.
static PLACES: Semaphore = Semaphore::const_new(2);

/// How often something that is waited for is looked at.
const LOOK_AGAIN: Duration = Duration::from_millis(40);

/// Told before any script of a page runs: what the policy stopped is an error of the console.
const WATCH_POLICY: &str = "addEventListener('securitypolicyviolation', (event) => \
    console.error(`securitypolicyviolation: ${event.violatedDirective} ${event.blockedURI}`))";

/// A screen.
#[derive(Clone, Copy, Debug)]
pub struct Screen {
    pub name: &'static str,
    pub width: u32,
    pub height: u32,
    is_phone: bool,
}

/// On the bench behind the net.
pub const LAPTOP: Screen = Screen { name: "laptop", width: 1366, height: 768, is_phone: false };
/// In a hand.
pub const PHONE: Screen = Screen { name: "phone", width: 390, height: 844, is_phone: true };

/// What the device prefers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    Light,
    Dark,
}

impl Light {
    pub fn word(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

/// A browser without a past; it ends when it is dropped.
pub struct Browser {
    pub client: Client,
    _driver: Driver,
    _place: SemaphorePermit<'static>,
}

impl Browser {
    /// None where there is no chromedriver, which is said, unless it is required.
    pub async fn open(name: &str) -> Option<Self> {
        let place = PLACES.acquire().await.expect("never closed");
        let driver = Driver::start(name)?;
        let mut builder = ClientBuilder::new(HttpConnector::new());
        let beyond = reached_at(SocketAddr::from((Ipv4Addr::UNSPECIFIED, 1))).await.map(|address| address.ip());
        let client = builder.capabilities(driver.capabilities(beyond)).connect(&driver.url()).await.expect("a session");
        let browser = Self { client, _driver: driver, _place: place };
        browser.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": WATCH_POLICY})).await;
        browser.on(LAPTOP).await;
        browser.prefers(Light::Light).await;
        // What it opens by itself is no page of ours.
        browser.client.goto("about:blank").await.expect("an empty page");
        browser.said().await;
        Some(browser)
    }

    pub async fn devtools(&self, command: &str, parameters: Value) -> Value {
        let done = self.client.issue_cmd(Post::devtools(command, parameters)).await;
        done.unwrap_or_else(|error| panic!("{command}: {error}"))
    }

    /// From here on it is this screen.
    pub async fn on(&self, screen: Screen) {
        let (width, height, is_phone) = (screen.width, screen.height, screen.is_phone);
        let of = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": is_phone});
        self.devtools("Emulation.setDeviceMetricsOverride", of).await;
        self.devtools("Emulation.setTouchEmulationEnabled", json!({ "enabled": is_phone })).await;
    }

    pub async fn prefers(&self, light: Light) {
        let features = json!([{"name": "prefers-color-scheme", "value": light.word()}]);
        self.devtools("Emulation.setEmulatedMedia", json!({ "features": features })).await;
    }

    /// A picture of the page down to its end, PNG, as if the screen were that high.
    pub async fn whole_page(&self, screen: Screen) -> Vec<u8> {
        let height = self.run("return document.documentElement.scrollHeight", &[]).await.as_u64().unwrap_or_default();
        self.on(Screen { height: screen.height.max(height as u32), ..screen }).await;
        let png = self.client.screenshot().await.expect("a picture");
        self.on(screen).await;
        png
    }

    /// Runs a script in the page, which its policy does not concern; what it returns.
    pub async fn run(&self, script: &str, arguments: &[Value]) -> Value {
        let ran = self.client.execute(script, arguments.to_vec()).await;
        ran.unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// What the script returns as soon as it is something.
    pub async fn until(&self, what: &str, script: &str, arguments: &[Value]) -> Value {
        self.within(WAIT, what, script, arguments).await
    }

    /// The same for what may take longer than most.
    pub async fn within(&self, limit: Duration, what: &str, script: &str, arguments: &[Value]) -> Value {
        let deadline = Instant::now() + limit;
        loop {
            // While one page goes and the next one comes, there is nothing to run it in.
            let found = self.client.execute(script, arguments.to_vec()).await.unwrap_or(Value::Null);
            if ![Value::Null, Value::Bool(false), json!(0), json!("")].contains(&found) {
                return found;
            }
            if Instant::now() > deadline {
                panic!("waited {limit:?} in vain for {what}; on the screen is:\n{}", self.text().await);
            }
            sleep(LOOK_AGAIN).await;
        }
    }

    /// Waits until these words are to be seen.
    pub async fn sees(&self, words: &str) {
        let script = "return document.body.innerText.replace(/\\s+/g, ' ').toLowerCase().includes(arguments[0])";
        self.until(&format!("the words {words:?}"), script, &[json!(words.to_lowercase())]).await;
    }

    /// Whether these words are to be seen now.
    pub async fn has(&self, words: &str) -> bool {
        self.text().await.to_lowercase().contains(&words.to_lowercase())
    }

    /// All that is to be read, with single spaces.
    pub async fn text(&self) -> String {
        let text = self.run("return document.body.innerText.replace(/\\s+/g, ' ')", &[]).await;
        text.as_str().unwrap_or_default().to_owned()
    }

    /// What was said since the last time.
    pub async fn said(&self) -> Said {
        let mut said = Said::default();
        self.hear(&mut said).await;
        said
    }

    /// Adds what was said since the last time.
    pub async fn hear(&self, said: &mut Said) {
        let logged = |entries: Result<Value, _>| entries.unwrap_or_else(|error| panic!("the log: {error}"));
        said.add_console(&logged(self.client.issue_cmd(Post::log("browser")).await));
        said.add_performance(&logged(self.client.issue_cmd(Post::log("performance")).await));
    }

    /// Waits until an event of this kind has come by a stream; adds all that was said.
    pub async fn hears(&self, kind: &str, said: &mut Said) {
        let deadline = Instant::now() + WAIT;
        while !said.events.iter().any(|event| event == kind) {
            assert!(Instant::now() < deadline, "waited {WAIT:?} in vain for {kind:?}; there came {:?}", said.events);
            sleep(LOOK_AGAIN).await;
            self.hear(said).await;
        }
    }
}
