//! A cage: the service with its record, and a browser on its pages. What holds for every page is checked at the end of each visit.

use super::browser::{Browser, LAPTOP, Light, PHONE, Screen};
use super::scratch::Folder;
use super::serving::Serving;
use super::sse::request;
use serde_json::Value;
use std::cell::RefCell;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use swingd::daemon::access::server::reached_at;

/// What comes to the service.
#[derive(Clone, Debug)]
pub enum Plays {
    /// No recording.
    Nothing,
    /// The bundled lesson, so many times as fast as it was.
    Lesson(u32),
    /// Another recording, the same way.
    File(PathBuf, u32),
}

/// The service is killed and all folders are removed when it is dropped.
pub struct Cage {
    pub browser: Browser,
    pub address: SocketAddr,
    /// All addresses at which it is, or was.
    homes: Vec<SocketAddr>,
    serving: Option<Serving>,
    requests: RefCell<Vec<String>>,
    folder: Folder,
}

/// Visits the pages, if there is a browser; at the end nothing may have been complained of, and no other host asked.
pub async fn visit(name: &str, plays: Plays, test: impl AsyncFnOnce(&mut Cage)) {
    let Some(browser) = Browser::open(name).await else { return };
    let folder = Folder::new(name);
    let serving = serve(&folder, plays, "127.0.0.1:0");
    let address = serving.address();
    let (homes, serving) = (vec![address], Some(serving));
    let mut cage = Cage { browser, address, homes, serving, requests: RefCell::default(), folder };
    test(&mut cage).await;
    let complaints = cage.complaints().await;
    assert_eq!(complaints, Vec::<String>::new(), "the browser complained");
    cage.stayed_here();
}

fn serve(folder: &Folder, plays: Plays, listen: &str) -> Serving {
    let lesson = || Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let played = match plays {
        Plays::Nothing => None,
        Plays::Lesson(speed) => Some((lesson(), speed)),
        Plays::File(path, speed) => Some((path, speed)),
    };
    let mut words = vec!["--http-listen".to_owned(), listen.to_owned()];
    if let Some((path, speed)) = played {
        words.extend(["--play".into(), path.display().to_string(), "--speed".into(), speed.to_string()]);
    }
    Serving::start(folder, &words.iter().map(String::as_str).collect::<Vec<_>>())
}

impl Cage {
    /// Opens a page of the service.
    pub async fn open(&self, path: &str) {
        let url = format!("http://{}{path}", self.address);
        self.browser.client.goto(&url).await.unwrap_or_else(|error| panic!("{path}: {error}"));
    }

    /// Where the browser is: path and what follows it.
    pub async fn place(&self) -> String {
        let url = self.browser.client.current_url().await.expect("an address");
        url.as_str().strip_prefix(&format!("http://{}", self.address)).unwrap_or(url.as_str()).to_owned()
    }

    /// A file of the test's own.
    pub fn path(&self, file: &str) -> PathBuf {
        self.folder.path(file)
    }

    /// What the API says.
    pub async fn get(&self, path: &str) -> Value {
        let answer = request(self.address, &format!("GET {path}"), &[], "").await;
        assert_eq!(answer.status, 200, "{path}: {answer:?}");
        answer.json()
    }

    /// Makes something through the API, as another front-end would.
    pub async fn send(&self, what: &str, body: Value) -> Value {
        self.send_with(what, &["Content-Type: application/json"], body).await
    }

    /// Changes something that there is, as it is now.
    pub async fn change(&self, path: &str, body: Value) -> Value {
        let version = self.get(path).await["version"].to_string();
        let headers = [&format!("If-Match: \"{version}\""), "Content-Type: application/merge-patch+json"];
        self.send_with(&format!("PATCH {path}"), &headers, body).await
    }

    async fn send_with(&self, what: &str, headers: &[&str], body: Value) -> Value {
        let answer = request(self.address, what, headers, &body.to_string()).await;
        assert!((200..300).contains(&answer.status), "{what} {body}: {answer:?}");
        if answer.body.is_empty() { Value::Null } else { answer.json() }
    }

    /// SIGKILL for the service.
    pub fn kill(&mut self) {
        self.serving.take().expect("it serves").kill();
    }

    /// The service again, where it was and with what it had.
    pub fn serve_again(&mut self, plays: Plays) {
        let serving = serve(&self.folder, plays, &self.address.to_string());
        assert_eq!(serving.address(), self.address);
        self.serving = Some(serving);
    }

    /// The service for other machines too, elsewhere; the address at which this machine is another one to it. None where there is no such
    /// address.
    pub async fn serve_for_others(&mut self) -> Option<SocketAddr> {
        reached_at(SocketAddr::from((Ipv4Addr::UNSPECIFIED, 1))).await?;
        self.kill();
        let serving = serve(&self.folder, Plays::Nothing, "0.0.0.0:0");
        let listens = serving.address();
        self.address = SocketAddr::from((Ipv4Addr::LOCALHOST, listens.port()));
        self.serving = Some(serving);
        let there = reached_at(listens).await?;
        self.homes.extend([self.address, there]);
        Some(there)
    }

    /// What the browser complained of since the last time, for tests in which it has to.
    pub async fn complaints(&self) -> Vec<String> {
        let said = self.browser.said().await;
        self.requests.borrow_mut().extend(said.requests);
        said.complaints
    }

    /// Every request went to the service; `data:` is none.
    fn stayed_here(&self) {
        let requests = self.requests.borrow();
        let is_home = |url: &&String| self.homes.iter().any(|home| url.starts_with(&format!("http://{home}/")));
        assert!(requests.iter().any(|url| is_home(&url)), "requests are seen: {requests:?}");
        let away: Vec<_> = requests.iter().filter(|url| !is_home(url) && !url.starts_with("data:")).collect();
        assert_eq!(away, Vec::<&String>::new(), "requests that left");
    }

    /// The page at `path` on laptop and phone, light and dark: axe-core has no serious finding, nothing sticks out, and what is to
    /// be touched is large enough. `ready` are words that show that it is drawn. Pictures go to the folder `SWINGD_SCREENSHOTS`.
    pub async fn inspect(&self, name: &str, path: &str, ready: &str) {
        for screen in [LAPTOP, PHONE] {
            self.browser.on(screen).await;
            self.open(path).await;
            self.browser.sees(ready).await;
            self.browser.fits(screen, name).await;
            for light in [Light::Light, Light::Dark] {
                self.browser.prefers(light).await;
                self.browser.is_in(light).await;
                self.browser.is_accessible(&format!("{name}, {}, {}", screen.name, light.word())).await;
                self.picture(&format!("{name}-{}-{}", screen.name, light.word()), screen).await;
            }
            self.browser.prefers(Light::Light).await;
        }
        self.browser.on(LAPTOP).await;
    }

    /// A picture of the whole page for people to look at, where they asked for it.
    pub async fn picture(&self, name: &str, screen: Screen) {
        let Some(folder) = std::env::var_os("SWINGD_SCREENSHOTS").map(PathBuf::from) else { return };
        std::fs::create_dir_all(&folder).expect("a folder for pictures");
        let png = self.browser.whole_page(screen).await;
        std::fs::write(folder.join(format!("{name}.png")), png).expect("a picture");
    }
}
