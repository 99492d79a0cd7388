//! A browser driven over the WebDriver protocol. Source: W3C, "WebDriver" (2018); the commands of the browser's own protocol
//! below `goog/cdp` are those of Chromium's driver.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::wire::request;

/// The key under which an element is named. Source: WebDriver, 11.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Keys of the keyboard. Source: WebDriver, 15.4.2.
pub(super) const ENTER: &str = "\u{e007}";
pub(super) const TAB: &str = "\u{e004}";

pub(super) struct Browser {
    driver: Child,
    port: u16,
    session: String,
}

impl Browser {
    /// `None`, said aloud, where there is no driver or no browser.
    pub(super) fn start() -> Option<Self> {
        let driver = Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let Ok(mut driver) = driver else {
            eprintln!("skipped: chromedriver is not installed (Debian: chromium-driver)");
            return None;
        };
        let lines = BufReader::new(driver.stdout.take().unwrap()).lines().map_while(Result::ok);
        let port = lines.take(20).find_map(|line| {
            line.split("successfully on port ").nth(1).and_then(|p| p.trim_end_matches('.').trim().parse::<u16>().ok())
        });
        let mut browser = Self { driver, port: port?, session: String::new() };
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": {"args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                "--no-first-run", "--disable-background-networking", "--disable-component-update", "--window-size=1280,900"]},
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        }}});
        let answer = browser.call("POST", "/session", &wanted);
        let Some(session) = answer["sessionId"].as_str() else {
            eprintln!("skipped: no browser could be started: {answer}");
            return None;
        };
        browser.session = session.to_owned();
        Some(browser)
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let headers = [("Content-Type", "application/json".to_owned()), ("Host", format!("localhost:{}", self.port))];
        request(self.port, method, path, &headers, body.as_bytes()).map_or(Value::Null, |a| a.json()["value"].clone())
    }

    #[track_caller]
    fn post(&self, path: &str, body: &Value) -> Value {
        let answer = self.call("POST", &format!("/session/{}{path}", self.session), body);
        assert!(answer["error"].is_null(), "{path}: {} {}", answer["error"], answer["message"]);
        answer
    }

    pub(super) fn go(&self, url: &str) {
        self.post("/url", &json!({"url": url}));
    }

    /// Runs a script; `return` gives its answer, a promise's too.
    #[track_caller]
    pub(super) fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({"script": script, "args": []}))
    }

    /// Waits until a script answers something true.
    #[track_caller]
    pub(super) fn until(&self, script: &str) -> Value {
        let began = Instant::now();
        loop {
            let answer = self.run(&format!("return ({script})"));
            if answer != Value::Null && answer != json!(false) && answer != json!("") && answer != json!(0) {
                return answer;
            }
            assert!(
                began.elapsed() < Duration::from_secs(120),
                "never: {script}\n{}",
                self.run("return document.body.innerText")
            );
            std::thread::sleep(Duration::from_millis(25));
        }
    }

    #[track_caller]
    fn element(&self, css: &str) -> String {
        let found = self.post("/element", &json!({"using": "css selector", "value": css}));
        found[ELEMENT].as_str().unwrap().to_owned()
    }

    #[track_caller]
    pub(super) fn click(&self, css: &str) {
        let id = self.element(css);
        self.post(&format!("/element/{id}/click"), &json!({}));
    }

    /// Writes into a field; into a field for files, their paths.
    #[track_caller]
    pub(super) fn write(&self, css: &str, text: &str) {
        let id = self.element(css);
        self.post(&format!("/element/{id}/value"), &json!({"text": text}));
    }

    /// Keys pressed one after another, wherever the focus is.
    #[track_caller]
    pub(super) fn keys(&self, keys: &[&str]) {
        let actions: Vec<Value> = keys
            .iter()
            .flat_map(|key| [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})])
            .collect();
        self.post("/actions", &json!({"actions": [{"type": "key", "id": "keys", "actions": actions}]}));
    }

    /// A press of the pointer at a place of the window, moved to another before it is let go.
    #[track_caller]
    pub(super) fn drag(&self, from: (f64, f64), to: (f64, f64)) {
        let at = |(x, y): (f64, f64)| json!({"type": "pointerMove", "duration": 30, "x": x.round(), "y": y.round()});
        let middle = ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0);
        let actions = json!([at(from), {"type": "pointerDown", "button": 0}, at(middle), at(to), {"type": "pointerUp", "button": 0}]);
        self.post("/actions", &json!({"actions": [{"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": actions}]}));
    }

    /// A command of the browser's own.
    #[track_caller]
    pub(super) fn own(&self, command: &str, params: Value) -> Value {
        self.post("/goog/cdp/execute", &json!({"cmd": command, "params": params}))
    }

    /// The size of the window's inside, px, as on a phone where it is narrow.
    pub(super) fn size(&self, width: u32, height: u32) {
        let params = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        self.own("Emulation.setDeviceMetricsOverride", params);
    }

    /// Light or dark.
    pub(super) fn scheme(&self, scheme: &str) {
        let params = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.own("Emulation.setEmulatedMedia", params);
    }

    /// What is seen, whole page, as PNG.
    pub(super) fn picture(&self, path: &Path) {
        use base64::Engine;
        let shot = self.own("Page.captureScreenshot", json!({"captureBeyondViewport": true}));
        let png = base64::engine::general_purpose::STANDARD.decode(shot["data"].as_str().unwrap()).unwrap();
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, png).unwrap();
    }

    /// Entries of a log since it was last read.
    pub(super) fn log(&self, kind: &str) -> Vec<Value> {
        self.post("/se/log", &json!({"type": kind})).as_array().cloned().unwrap_or_default()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            self.call("DELETE", &format!("/session/{}", self.session), &Value::Null);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
