//! A shop that is served, and a browser that looks at it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant};

use base64::prelude::{BASE64_STANDARD, Engine};
use fantoccini::elements::Element;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::json;

use crate::postgres::Server as Database;

/// The present of every test: a Wednesday morning.
pub(crate) const NOW: &str = "2026-11-25T08:00[Europe/Lisbon]";

/// A phone, CSS pixels.
pub(crate) const PHONE: (u32, u32) = (390, 844);
/// The narrowest phone that pages are made for, CSS pixels.
pub(crate) const SMALL_PHONE: (u32, u32) = (360, 740);
/// A desk, CSS pixels.
pub(crate) const DESK: (u32, u32) = (1440, 900);

/// How long something that the page does by itself may take.
const PATIENCE: Duration = Duration::from_secs(30);

/// Marks the page as the old one where pressing an element leads to another, and says whether it does.
const LEADS_ON: &str = "const pressed = arguments[0].closest('a[href], button');
    const to = pressed?.matches('a') && new URL(pressed.getAttribute('href'), document.baseURI).href;
    const isWithin = to && to.includes('#') && to.split('#')[0] === location.href.split('#')[0];
    const leadsOn = to ? !isWithin : Boolean(pressed?.form) && pressed.type === 'submit';
    if (leadsOn) window.isOld = true;
    return leadsOn;";

/// The command, about the shop in `place`.
pub(crate) fn tallow(place: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tallow"));
    command.env("TALLOW_SHOP", place).env("TALLOW_NOW", NOW).env("TZ", "Europe/Lisbon").env_remove("COLUMNS");
    command
}

/// The demo with a plan that people were told of, made once and copied for each test.
static DEMO: LazyLock<(tempfile::TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let place = folder.path().join("demo.tallow");
    for words in [&["demo", "--anew", "--no-serve"][..], &["plan", "--keep", "--seconds", "5"]] {
        let done = tallow(&place).args(words).output().expect("tallow starts");
        assert!(done.status.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
    }
    (folder, place)
});

/// A shop of a test's own.
pub(crate) struct Shop {
    folder: Arc<tempfile::TempDir>,
    /// The server that it is on and its address there, where it is no file.
    on: Option<(Arc<Database>, String)>,
}

impl Shop {
    /// A copy of the demo.
    pub(crate) fn demo() -> Shop {
        let shop = Shop::none();
        std::fs::copy(&DEMO.1, shop.place()).expect("the demo is copied");
        shop
    }

    /// A copy of the demo on a database server, which several may serve.
    pub(crate) async fn demo_on_a_server() -> Shop {
        let database = Database::shared();
        let address = database.new_database().await;
        let done = tallow(&DEMO.1).args(["shop", "copy", &address]).output().expect("tallow starts");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        Shop { on: Some((database, address)), ..Shop::none() }
    }

    /// A place at which there is no shop yet.
    pub(crate) fn none() -> Shop {
        Shop { folder: Arc::new(tempfile::tempdir().expect("a folder")), on: None }
    }

    /// A shop without machines.
    pub(crate) fn empty() -> Shop {
        let shop = Shop::none();
        shop.run(&["shop", "new", "Sail room", "--zone", "Europe/Lisbon"]);
        shop
    }

    /// Where it is.
    pub(crate) fn place(&self) -> PathBuf {
        self.on.as_ref().map_or_else(|| self.folder.path().join("shop.tallow"), |(_, address)| PathBuf::from(address))
    }

    /// What a command answers, which must succeed.
    #[track_caller]
    pub(crate) fn run(&self, words: &[&str]) -> String {
        let done = tallow(&self.place()).args(words).output().expect("tallow starts");
        assert!(done.status.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("UTF-8")
    }

    /// Serves it until the server is dropped.
    pub(crate) fn serve(&self) -> Server {
        self.serve_with(&[])
    }

    /// As [`Shop::serve`], with more options.
    pub(crate) fn serve_with(&self, options: &[&str]) -> Server {
        let mut child = tallow(&self.place())
            .args(["serve", "--listen", "127.0.0.1:0"])
            .args(options)
            .stdout(Stdio::piped())
            .spawn()
            .expect("tallow starts");
        let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        let line = lines.next().expect("a line").expect("UTF-8");
        // Behind another server it names that one first, and last where it listens itself.
        let address = match line.split_once(", passed on to ") {
            Some((_, own)) => format!("http://{own}"),
            None => line.split_whitespace().find(|word| word.starts_with("http")).expect("an address").to_owned(),
        };
        Server {
            address: address.trim_end_matches('/').to_owned(),
            child,
            _rest: Box::new(lines),
            _folder: self.folder.clone(),
            _database: self.on.as_ref().map(|(database, _)| database.clone()),
        }
    }
}

/// A shop that is served.
pub(crate) struct Server {
    /// Its address, without a slash at the end.
    pub(crate) address: String,
    child: Child,
    /// Held, so that the server's pipe stays open.
    _rest: Box<dyn Send + Sync>,
    /// Held, so that the records stay where they are.
    _folder: Arc<tempfile::TempDir>,
    _database: Option<Arc<Database>>,
}

impl Server {
    /// The whole address of a page.
    pub(crate) fn page(&self, path: &str) -> String {
        format!("{}{path}", self.address)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // OK to ignore: it may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A browser's driver, one for each browser so that tests don't share one.
struct Driver {
    child: Child,
    address: String,
    _rest: Box<dyn Send>,
}

impl Driver {
    fn start() -> Driver {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts (./test installs it)");
        let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, port) = line.split_once("successfully on port ")?;
            port.trim_end_matches('.').parse::<u16>().ok()
        });
        let address = format!("http://127.0.0.1:{}", port.expect("chromedriver says its port"));
        Driver { child, address, _rest: Box::new(lines) }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // OK to ignore, as above.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A browser window.
pub(crate) struct Browser {
    /// What drives it.
    pub(crate) client: Client,
    _driver: Driver,
    _profile: tempfile::TempDir,
}

impl Browser {
    /// Opens a window of that size.
    pub(crate) async fn open((width, height): (u32, u32)) -> Browser {
        let driver = Driver::start();
        let profile = tempfile::tempdir().expect("a folder");
        let args = [
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--hide-scrollbars".to_owned(),
            // A microphone that beeps, and nobody to ask whether it may be heard.
            "--use-fake-device-for-media-stream".to_owned(),
            "--use-fake-ui-for-media-stream".to_owned(),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        // A window can't be made as narrow as a phone, but its view can be told to be.
        let wanted = json!({
            "goog:chromeOptions": {
                "args": args,
                "mobileEmulation": { "deviceMetrics": { "width": width, "height": height, "pixelRatio": 1.0, "touch": false } },
            },
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let serde_json::Value::Object(wanted) = wanted else { unreachable!("an object was written") };
        let client = ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new())
            .capabilities(wanted)
            .connect(&driver.address)
            .await
            .expect("a browser starts");
        Browser { client, _driver: driver, _profile: profile }
    }

    /// Goes to a page.
    pub(crate) async fn go(&self, address: &str) {
        self.client.goto(address).await.expect("the page is loaded");
    }

    /// Goes to a page, and waits until nothing on it is being reckoned any more.
    pub(crate) async fn go_settled(&self, address: &str) {
        self.go(address).await;
        for _ in 0..150 {
            if !self.text().await.contains("being reckoned") {
                return;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
            self.go(address).await;
        }
        panic!("{address} is still being reckoned");
    }

    /// The text that the page shows.
    pub(crate) async fn text(&self) -> String {
        let body = self.client.find(Locator::Css("body")).await.expect("a body");
        body.text().await.expect("text")
    }

    /// Fails unless the page shows these words, soon.
    #[track_caller]
    pub(crate) fn shows(&self, words: &'static str) -> impl Future<Output = ()> + '_ {
        let caller = std::panic::Location::caller();
        async move {
            let text = self.said_soon(&[words]).await;
            assert!(text.contains(words), "{caller}: \"{words}\" is not on the page:\n{text}");
        }
    }

    /// What the page says, once it says one of these words; fails after half a minute. Words that stood there before are no
    /// sign that anything happened.
    pub(crate) async fn shows_soon(&self, words: &[&str]) -> String {
        let text = self.said_soon(words).await;
        assert!(words.iter().any(|word| text.contains(word)), "none of {words:?} came up:\n{text}");
        text
    }

    /// What the page says once it is there whole and says one of these words, or after half a minute.
    async fn said_soon(&self, words: &[&str]) -> String {
        for _ in 0..150 {
            // OK to ignore: between two pages there is none to ask.
            let script = "return document.readyState === 'complete' ? document.body.innerText : ''";
            let text = self.client.execute(script, Vec::new()).await.unwrap_or_default();
            let text = text.as_str().unwrap_or_default();
            if words.iter().any(|word| text.contains(word)) {
                return text.to_owned();
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        self.text().await
    }

    /// Fails if the page shows these words.
    pub(crate) async fn hides(&self, words: &str) {
        let text = self.text().await;
        assert!(!text.contains(words), "\"{words}\" is on the page:\n{text}");
    }

    /// Presses the link or button of that name: the first whose text begins with it. As [`Browser::press_on`].
    pub(crate) async fn press(&self, name: &str) {
        let path = format!(
            "//*[self::a or self::button or self::summary or (self::label and .//input)][starts-with(normalize-space(.), \"{name}\")]"
        );
        let found = self.client.find(Locator::XPath(&path)).await;
        let element = found.unwrap_or_else(|error| panic!("there is no \"{name}\" to press: {error}"));
        self.press_on(&element).await;
    }

    /// Presses a link or a button. Where that leads to another page, waits until that page is there whole: whatever is asked
    /// next is asked of it.
    pub(crate) async fn press_on(&self, element: &Element) {
        let of = vec![serde_json::to_value(element).expect("an element")];
        let leads_on = self.client.execute(LEADS_ON, of).await.expect("the script runs");
        element.click().await.unwrap_or_else(|error| panic!("it can't be pressed: {error}"));
        if leads_on == true {
            self.until("return !window.isOld && document.readyState === 'complete'").await;
        }
    }

    /// Presses the button of that name in the form that is sent to an address.
    pub(crate) async fn press_in(&self, action: &str, name: &str) {
        let path = format!("//form[@action=\"{action}\"]//button[starts-with(normalize-space(.), \"{name}\")]");
        let element = self.client.find(Locator::XPath(&path)).await;
        let element = element.unwrap_or_else(|error| panic!("there is no \"{name}\" for {action}: {error}"));
        element.click().await.unwrap_or_else(|error| panic!("\"{name}\" can't be pressed: {error}"));
    }

    /// Types into the field with that label, in place of what stood there.
    pub(crate) async fn fill(&self, label: &str, text: &str) {
        let path = format!("//label[starts-with(normalize-space(.), \"{label}\")]");
        let label_element = self
            .client
            .find(Locator::XPath(&path))
            .await
            .unwrap_or_else(|error| panic!("no label \"{label}\": {error}"));
        let id = label_element
            .attr("for")
            .await
            .expect("an answer")
            .unwrap_or_else(|| panic!("\"{label}\" is for no field"));
        let field = self.client.find(Locator::Css(&format!("[id=\"{id}\"]"))).await.expect("the label's field");
        if field.tag_name().await.expect("an answer") == "select" {
            // A list that pops up would lie over what is pressed next.
            let script = "const [list, text] = arguments;
                const option = [...list.options].find(option => option.label === text);
                if (option) { list.value = option.value; list.dispatchEvent(new Event('change', { bubbles: true })); }
                return Boolean(option);";
            let of = vec![serde_json::to_value(&field).expect("a field"), text.into()];
            let chosen = self.client.execute(script, of).await.expect("the script runs");
            assert_eq!(chosen, true, "\"{label}\" has no \"{text}\"");
        } else {
            field.clear().await.expect("the field is emptied");
            field.send_keys(text).await.expect("the field is filled");
        }
    }

    /// What a script says of the page.
    pub(crate) async fn ask(&self, script: &str) -> serde_json::Value {
        self.client.execute(script, Vec::new()).await.expect("the script runs")
    }

    /// Waits until a script says yes.
    #[track_caller]
    pub(crate) fn until<'a>(&'a self, script: &'a str) -> impl Future<Output = ()> + 'a {
        let caller = std::panic::Location::caller();
        async move {
            let start = Instant::now();
            // OK to ask again: between two pages there is none to ask.
            while self.client.execute(script, Vec::new()).await.ok() != Some(json!(true)) {
                assert!(start.elapsed() < PATIENCE, "{caller}: never: {script}\n{}", self.text().await);
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        }
    }

    /// By how many CSS pixels the page is wider than the window.
    pub(crate) async fn overhang(&self) -> u64 {
        let script = "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
        self.ask(script).await.as_u64().expect("a width")
    }

    /// Photographs the whole page.
    pub(crate) async fn photograph(&self, name: &str) {
        let size =
            self.ask("const page = document.documentElement; return [page.clientWidth, page.scrollHeight]").await;
        let (width, height) = (size[0].as_u64().expect("a width"), size[1].as_u64().expect("a height").min(8000));
        let clip = json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": 1 });
        let wanted = json!({ "format": "png", "captureBeyondViewport": true, "clip": clip });
        let taken = self.tell_browser("Page.captureScreenshot", wanted).await;
        let image = BASE64_STANDARD.decode(taken["data"].as_str().expect("a picture")).expect("base 64");
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../target/screens");
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::write(folder.join(format!("{name}-{width}.png")), image).expect("the picture is written");
    }

    /// Tells the browser something that WebDriver has no word for.
    pub(crate) async fn tell_browser(&self, command: &str, with: serde_json::Value) -> serde_json::Value {
        self.client.issue_cmd(Told { command: command.to_owned(), with }).await.expect("the browser obeys")
    }

    /// Closes the window.
    pub(crate) async fn close(self) {
        self.client.close().await.expect("the browser ends");
    }
}

/// A command of Chromium's own.
#[derive(Debug)]
struct Told {
    command: String,
    with: serde_json::Value,
}

impl fantoccini::wd::WebDriverCompatibleCommand for Told {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(json!({ "cmd": self.command, "params": self.with }).to_string()))
    }
}
