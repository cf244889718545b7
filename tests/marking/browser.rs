//! A real browser, driven by W3C WebDriver.

use std::env;
use std::io::Write as _;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// Chromium without a window.
pub(crate) struct Browser {
    driver: Child,
    base: String,
    agent: ureq::Agent,
}

/// Keys as WebDriver names them.
pub(crate) const ENTER: &str = "\u{e007}";
pub(crate) const TAB: &str = "\u{e004}";
pub(crate) const ESCAPE: &str = "\u{e00c}";
pub(crate) const SHIFT: &str = "\u{e008}";
pub(crate) const LEFT: &str = "\u{e012}";
pub(crate) const UP: &str = "\u{e013}";
pub(crate) const RIGHT: &str = "\u{e014}";
pub(crate) const DOWN: &str = "\u{e015}";
pub(crate) const DELETE: &str = "\u{e017}";

impl Browser {
    /// `None` where there is no chromedriver: the caller passes, and one line says so. When `SPANWRIGHT_REQUIRE` lists `browser`,
    /// that is a failure.
    pub(crate) fn open() -> Option<Self> {
        let port = std::net::TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("its number").port();
        let started = Command::new(env::var("SPANWRIGHT_CHROMEDRIVER").unwrap_or_else(|_| "chromedriver".to_owned()))
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let Ok(driver) = started else {
            let required = env::var("SPANWRIGHT_REQUIRE").unwrap_or_default();
            let line = "skipped: the page in a browser; install chromium and chromedriver\n";
            assert!(!required.split(',').any(|word| word.trim() == "browser"), "{line}");
            std::io::stderr().write_all(line.as_bytes()).expect("standard error is open");
            return None;
        };
        let agent = ureq::Agent::new_with_config(ureq::Agent::config_builder().http_status_as_error(false).build());
        let mut browser = Self { driver, base: format!("http://127.0.0.1:{port}"), agent };
        let arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-quic",
            "--disable-dev-shm-usage",
        ];
        let wanted = json!({ "capabilities": { "alwaysMatch": { "goog:chromeOptions": { "args": arguments }, "goog:loggingPrefs": { "browser": "ALL" } } } });
        let session = within(30, || browser.ask("POST", "/session", Some(&wanted)).ok()).expect("a session");
        browser.base = format!("{}/session/{}", browser.base, session["sessionId"].as_str().expect("an id"));
        browser.size(1440, 900);
        Some(browser)
    }

    fn ask(&self, method: &str, way: &str, body: Option<&Value>) -> Result<Value, String> {
        let address = format!("{}{way}", self.base);
        let answer = match (method, body) {
            ("GET", _) => self.agent.get(&address).call(),
            ("DELETE", _) => self.agent.delete(&address).call(),
            (_, body) => self
                .agent
                .post(&address)
                .header("content-type", "application/json")
                .send(body.unwrap_or(&json!({})).to_string()),
        };
        let text = answer
            .map_err(|e| e.to_string())?
            .body_mut()
            .with_config()
            .limit(64 << 20)
            .read_to_string()
            .map_err(|e| e.to_string())?;
        let json: Value = serde_json::from_str(&text).map_err(|e| e.to_string())?;
        if json["value"]["error"].is_string() { Err(json["value"].to_string()) } else { Ok(json["value"].clone()) }
    }

    fn told(&self, way: &str, body: &Value) -> Value {
        self.ask("POST", way, Some(body)).expect("the browser does it")
    }

    pub(crate) fn go(&self, address: &str) {
        self.told("/url", &json!({ "url": address }));
    }

    pub(crate) fn size(&self, width: u32, height: u32) {
        self.developer(
            "Emulation.setDeviceMetricsOverride",
            &json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false }),
        );
        // Whoever watches sizes is told in the frame that follows, and it is drawn in the next.
        let drawn = "const done = arguments[arguments.length - 1], wide = arguments[0]; \
                     const next = (left) => requestAnimationFrame(() => left > 0 || innerWidth !== wide ? next(left - 1) : done(true)); next(2)";
        self.run_and_wait(drawn, &json!([width]));
    }

    pub(crate) fn dark(&self, dark: bool) {
        let value = if dark { "dark" } else { "light" };
        self.developer(
            "Emulation.setEmulatedMedia",
            &json!({ "features": [{ "name": "prefers-color-scheme", "value": value }] }),
        );
    }

    fn developer(&self, command: &str, parameters: &Value) {
        self.told("/goog/cdp/execute", &json!({ "cmd": command, "params": parameters }));
    }

    pub(crate) fn run(&self, script: &str, arguments: &Value) -> Value {
        self.told("/execute/sync", &json!({ "script": script, "args": arguments }))
    }

    pub(crate) fn run_and_wait(&self, script: &str, arguments: &Value) -> Value {
        self.told("/execute/async", &json!({ "script": script, "args": arguments }))
    }

    /// Waits until a script gives something true.
    pub(crate) fn until(&self, what: &str, script: &str) -> Value {
        let true_one =
            || Some(self.run(script, &json!([]))).filter(|value| !value.is_null() && *value != false && *value != "");
        within(30, true_one).unwrap_or_else(|| {
            panic!(
                "{what} never came; the page says: {}",
                self.run("return document.body.innerText.slice(0, 1500)", &json!([]))
            )
        })
    }

    /// Clicks the button of this text.
    pub(crate) fn press(&self, label: &str) {
        let way = format!("//button[normalize-space()=\"{label}\"]");
        let clicked = || {
            let found = self.ask("POST", "/element", Some(&json!({ "using": "xpath", "value": way }))).ok()?;
            let id = found.as_object()?.values().next()?.as_str()?.to_owned();
            self.ask("POST", &format!("/element/{id}/click"), Some(&json!({}))).ok()
        };
        within(10, clicked).unwrap_or_else(|| panic!("there is no button “{label}” to be clicked"));
    }

    pub(crate) fn keys(&self, keys: &[&str]) {
        let strokes =
            keys.iter().flat_map(|key| ["keyDown", "keyUp"].map(|what| json!({ "type": what, "value": key })));
        self.told(
            "/actions",
            &json!({ "actions": [{ "type": "key", "id": "keys", "actions": strokes.collect::<Vec<_>>() }] }),
        );
    }

    /// Keys while another is held.
    pub(crate) fn held(&self, hold: &str, keys: &[&str]) {
        let strokes =
            keys.iter().flat_map(|key| ["keyDown", "keyUp"].map(|what| json!({ "type": what, "value": key })));
        let mut all = vec![json!({ "type": "keyDown", "value": hold })];
        all.extend(strokes);
        all.push(json!({ "type": "keyUp", "value": hold }));
        self.told("/actions", &json!({ "actions": [{ "type": "key", "id": "keys", "actions": all }] }));
    }

    pub(crate) fn typed(&self, text: &str) {
        let letters: Vec<String> = text.chars().map(String::from).collect();
        self.keys(&letters.iter().map(String::as_str).collect::<Vec<_>>());
    }

    /// Presses the pointer down at the first place, moves it over the others and lets it go; places of the picture.
    pub(crate) fn drag(&self, places: &[[f64; 2]]) {
        let script = "const f = document.querySelector('.view').getBoundingClientRect(); \
                      return arguments[0].map((p) => { const q = desk.view.toScreen(p); return [Math.round(f.left + q[0]), Math.round(f.top + q[1])]; })";
        let places = self.run(script, &json!([places]));
        let to = |at: &Value, ms: u32| json!({ "type": "pointerMove", "duration": ms, "x": at[0], "y": at[1] });
        let places = places.as_array().expect("places");
        let mut all = vec![to(&places[0], 0), json!({ "type": "pointerDown", "button": 0 })];
        all.extend(places[1..].iter().map(|at| to(at, 30)));
        all.push(json!({ "type": "pointerUp", "button": 0 }));
        self.told("/actions", &json!({ "actions": [{ "type": "pointer", "id": "hand", "parameters": { "pointerType": "mouse" }, "actions": all }] }));
    }

    /// Clicks a place of the picture while Shift is held.
    pub(crate) fn add(&self, place: [f64; 2]) {
        let script = "const f = document.querySelector('.view').getBoundingClientRect(); const q = desk.view.toScreen(arguments[0]); \
                      return [Math.round(f.left + q[0]), Math.round(f.top + q[1])]";
        let at = self.run(script, &json!([place]));
        let pause = json!({ "type": "pause" });
        let shift = |what: &str| json!({ "type": what, "value": SHIFT });
        let keys = json!([shift("keyDown"), pause, pause, pause, shift("keyUp")]);
        let hand = json!([
            { "type": "pause" },
            { "type": "pointerMove", "duration": 0, "x": at[0], "y": at[1] },
            { "type": "pointerDown", "button": 0 },
            { "type": "pointerUp", "button": 0 },
        ]);
        self.told(
            "/actions",
            &json!({ "actions": [
            { "type": "key", "id": "keys", "actions": keys },
            { "type": "pointer", "id": "hand", "parameters": { "pointerType": "mouse" }, "actions": hand },
        ] }),
        );
    }

    /// Clicks places of the picture, one after the other.
    pub(crate) fn point(&self, places: &[[f64; 2]]) {
        places.iter().for_each(|place| self.drag(&[*place]));
    }

    /// Tabs on until what has the focus is named so.
    pub(crate) fn tab_to(&self, name: &str) {
        let script = "const e = document.activeElement; return (e.getAttribute('aria-label') || e.labels?.[0]?.textContent || e.textContent || '').trim()";
        for _ in 0..250 {
            if self.run(script, &json!([])).as_str().is_some_and(|named| named.starts_with(name)) {
                return;
            }
            self.keys(&[TAB]);
        }
        panic!("“{name}” is not reached by the keyboard");
    }

    /// What axe-core finds against WCAG 2.2 AA; `None` where its script is not there.
    pub(crate) fn axe(&self) -> Option<Vec<String>> {
        let path = env::var("SPANWRIGHT_AXE").ok();
        let Some(script) = path.and_then(|path| std::fs::read_to_string(path).ok()) else {
            let required = env::var("SPANWRIGHT_REQUIRE").unwrap_or_default();
            let line = "skipped: axe-core; npm install axe-core and name its axe.min.js in SPANWRIGHT_AXE\n";
            assert!(!required.split(',').any(|word| word.trim() == "browser"), "{line}");
            std::io::stderr().write_all(line.as_bytes()).expect("standard error is open");
            return None;
        };
        self.run(&format!("{script}; window.axe = axe;"), &json!([]));
        let run = "const done = arguments[arguments.length - 1]; \
                   axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }) \
                   .then((found) => done(found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(' ')).join(', ')}`)), (e) => done([String(e)]))";
        let found = self.run_and_wait(run, &json!([]));
        Some(found.as_array().expect("a list").iter().map(|one| one.as_str().unwrap_or_default().to_owned()).collect())
    }

    /// Errors that the page left in the browser's log.
    pub(crate) fn errors(&self) -> Vec<String> {
        let log = self.told("/se/log", &json!({ "type": "browser" }));
        let all = log.as_array().expect("a list").iter();
        all.filter(|entry| entry["level"] == "SEVERE").map(|entry| entry["message"].to_string()).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.ask("DELETE", "", None);
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// What comes within so many seconds.
pub(crate) fn within<T>(seconds: u64, mut what: impl FnMut() -> Option<T>) -> Option<T> {
    let end = Instant::now() + Duration::from_secs(seconds);
    loop {
        match what() {
            Some(found) => return Some(found),
            None if Instant::now() > end => return None,
            None => std::thread::sleep(Duration::from_millis(60)),
        }
    }
}
