//! A browser of one's own: chromedriver and a headless Chromium with a fresh profile, ended when dropped.

use std::{
    io::{BufRead, BufReader},
    path::PathBuf,
    process::{Child, Command, Stdio},
};

use serde_json::{Value, json};
use thirtyfour::{By, ChromiumLikeCapabilities, DesiredCapabilities, Key, WebDriver, WebElement};

/// On what a page is looked at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View {
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// Pixels of a picture for one of the page.
    pub(crate) ratio: f64,
    pub(crate) touch: bool,
    pub(crate) dark: bool,
}

/// A phone held in one hand.
pub(crate) const PHONE: View = View { width: 360, height: 740, ratio: 1.0, touch: true, dark: false };
/// A screen on the wall.
pub(crate) const WALL: View = View { width: 1920, height: 1080, ratio: 1.0, touch: false, dark: false };

pub(crate) struct Browser {
    pub(crate) driver: WebDriver,
    chromedriver: Child,
    _profile: tempfile::TempDir,
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Its browser ends with it, for the session is its own.
        drop(self.chromedriver.kill());
        drop(self.chromedriver.wait());
    }
}

/// Whether the page a browser was asked about was being left for another.
fn left(error: &str) -> bool {
    let error = error.to_lowercase();
    ["aborted by navigation", "execution context", "no such frame", "target frame detached", "document unloaded"]
        .iter()
        .any(|said| error.contains(said))
}

/// Starts chromedriver on a port it chooses and says which.
fn start() -> (Child, u16) {
    let mut child = Command::new("chromedriver")
        .arg("--port=0")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|e| panic!("chromedriver cannot be run ({e}); tests/run installs it"));
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let port =
        lines.find_map(|line| line.split_once("started successfully on port ")?.1.trim_end_matches('.').parse().ok());
    (child, port.expect("chromedriver says its port"))
}

impl Browser {
    pub(crate) async fn open(view: View) -> Self {
        let mut wishes = DesiredCapabilities::chrome();
        let flags = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-sync",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-dev-shm-usage",
            "--hide-scrollbars",
        ];
        for flag in flags {
            wishes.add_arg(flag).unwrap();
        }
        if view.dark {
            wishes.add_arg("--force-dark-mode").unwrap();
            wishes.add_arg("--blink-settings=preferredColorScheme=0").unwrap();
        }
        let metrics = json!({"width": view.width, "height": view.height, "pixelRatio": view.ratio,
                             "touch": view.touch, "mobile": view.touch});
        wishes.add_experimental_option("mobileEmulation", json!({ "deviceMetrics": metrics })).unwrap();
        // Nobody is there to be asked whether notifications may be shown.
        let prefs = json!({"profile.default_content_setting_values.notifications": 1});
        wishes.add_experimental_option("prefs", prefs).unwrap();
        // A browser that does not come up at once on a busy machine says nothing of the pages: it gets another try, with a
        // profile that no half-started one holds.
        for _ in 0..3 {
            let profile = tempfile::tempdir().unwrap();
            let mut wishes = wishes.clone();
            wishes.add_arg(&format!("--user-data-dir={}", profile.path().display())).unwrap();
            let (mut chromedriver, port) = start();
            match WebDriver::new(format!("http://127.0.0.1:{port}"), wishes).await {
                Ok(driver) => return Self { driver, chromedriver, _profile: profile },
                Err(e) => eprintln!("no browser: {e}"),
            }
            drop(chromedriver.kill());
            drop(chromedriver.wait());
        }
        panic!("no browser starts");
    }

    pub(crate) async fn close(self) {
        // One that does not go by itself is ended with its driver and says nothing of the pages either.
        if let Err(e) = self.driver.clone().quit().await {
            eprintln!("the browser did not go: {e}");
        }
    }

    pub(crate) async fn goto(&self, url: String) {
        if let Err(e) = self.driver.goto(&url).await {
            eprintln!("{url} did not load, trying once more: {e}");
            self.driver.goto(&url).await.unwrap();
        }
    }

    pub(crate) async fn path(&self) -> String {
        self.driver.current_url().await.unwrap().path().to_string()
    }

    /// What a script gives back; asked again, if the page was fetched anew under it.
    pub(crate) async fn run(&self, script: &str) -> Value {
        for _ in 0..4 {
            match self.driver.execute(script, vec![]).await {
                Err(e) if left(&e.to_string()) => eprintln!("asked again: {e}"),
                given => return given.unwrap_or_else(|e| panic!("{script}: {e}")).json().clone(),
            }
        }
        panic!("the page is fetched anew each time it is asked: {script}");
    }

    pub(crate) async fn find(&self, css: &str) -> WebElement {
        let found = self.driver.find(By::Css(css)).await;
        found.unwrap_or_else(|e| panic!("there is no {css}: {e}"))
    }

    /// Presses something; again, if the page was fetched anew under the finger.
    pub(crate) async fn click(&self, css: &str) {
        for _ in 0..4 {
            match self.find(css).await.click().await {
                Err(e) if e.to_string().to_lowercase().contains("stale element") => {}
                pressed => return pressed.unwrap_or_else(|e| panic!("{css} cannot be pressed: {e}")),
            }
        }
        panic!("{css} is fetched anew each time it is pressed");
    }

    /// What the page says, as a person reads it.
    pub(crate) async fn text(&self) -> String {
        self.run("return document.body.innerText").await.as_str().unwrap_or_default().to_string()
    }

    /// Waits until a script gives true.
    pub(crate) async fn until(&self, script: &str) {
        bench::until(script, async || self.run(script).await.as_bool().filter(|so| *so)).await;
    }

    /// Waits until the page says something.
    pub(crate) async fn until_said(&self, words: &str) {
        let words = json!(words.to_lowercase());
        self.until(&format!("return document.body?.innerText.toLowerCase().includes({words})")).await;
    }

    /// Presses a key wherever the keyboard is.
    pub(crate) async fn key(&self, key: Key) {
        self.driver.action_chain().send_keys(key + "").perform().await.unwrap();
    }

    /// Types wherever the keyboard is.
    pub(crate) async fn typed(&self, text: &str) {
        self.driver.action_chain().send_keys(text).perform().await.unwrap();
    }

    /// Keeps a picture of what is seen under `screens` of the build folder.
    pub(crate) async fn picture(&self, name: &str) {
        let folder = target().join("screens");
        std::fs::create_dir_all(&folder).unwrap();
        let png = self.driver.screenshot_as_png().await.unwrap();
        std::fs::write(folder.join(format!("{name}.png")), png).unwrap();
    }
}

/// The build folder.
pub(crate) fn target() -> PathBuf {
    // target/debug/deps/all-0123
    std::env::current_exe().unwrap().ancestors().nth(3).unwrap().to_path_buf()
}
