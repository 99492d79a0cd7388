//! A client of HTTP/1.1 that sends what it is told to, right or wrong. Source: RFC 9112.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// An answer: status and body.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&self.body)))
    }

    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
}

/// Sends a request and reads the whole answer; `None` where the other side hung up without one.
pub(super) fn request(port: u16, method: &str, path: &str, headers: &[(&str, String)], body: &[u8]) -> Option<Answer> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(150))).ok()?;
    let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
    if !headers.iter().any(|(name, _)| name.eq_ignore_ascii_case("host")) {
        head.push_str(&format!("Host: 127.0.0.1:{port}\r\n"));
    }
    if !headers.iter().any(|(name, _)| name.eq_ignore_ascii_case("content-length")) {
        head.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    head.push_str("\r\n");
    stream.write_all(head.as_bytes()).ok()?;
    // The other side may refuse before all of it is sent.
    let _ = stream.write_all(body);
    read(stream)
}

/// Reads an answer to its end.
pub(super) fn read(stream: TcpStream) -> Option<Answer> {
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).ok().filter(|n| *n > 0)?;
    let status = line.split(' ').nth(1)?.parse().ok()?;
    let (mut length, mut chunked) = (None, false);
    loop {
        line.clear();
        reader.read_line(&mut line).ok().filter(|n| *n > 0)?;
        let lower = line.trim().to_ascii_lowercase();
        if lower.is_empty() {
            break;
        }
        if let Some(n) = lower.strip_prefix("content-length:") {
            length = n.trim().parse::<usize>().ok();
        }
        chunked |= lower == "transfer-encoding: chunked";
    }
    let mut body = Vec::new();
    match (length, chunked) {
        (Some(n), _) => {
            body.resize(n, 0);
            reader.read_exact(&mut body).ok()?;
        }
        (None, true) => loop {
            line.clear();
            reader.read_line(&mut line).ok()?;
            let n = usize::from_str_radix(line.trim(), 16).ok()?;
            let from = body.len();
            body.resize(from + n, 0);
            reader.read_exact(body.get_mut(from..)?).ok()?;
            line.clear();
            reader.read_line(&mut line).ok()?;
            if n == 0 {
                break;
            }
        },
        (None, false) => {
            reader.read_to_end(&mut body).ok()?;
        }
    }
    Some(Answer { status, body })
}

/// The program with its desk open on a folder; killed when dropped.
pub(super) struct Running {
    child: Child,
    pub(super) port: u16,
    pub(super) token: String,
}

impl Running {
    pub(super) fn start(folder: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
        // The door for the phone is opened on loopback: a test asks no network.
        command.args(["--quiet", "desk", "--no-open", "--phone-at", "127.0.0.1"]).arg(folder);
        Self::of(&mut command)
    }

    /// The program as it is called.
    pub(super) fn of(command: &mut Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut url = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut url).unwrap();
        let port = url.trim().trim_end_matches('/').rsplit(':').next().unwrap().parse().unwrap();
        let mut running = Self { child, port, token: String::new() };
        let page = running.get("/").text();
        running.token =
            page.split("name=\"strandrule-token\" content=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        running
    }

    pub(super) fn get(&self, path: &str) -> Answer {
        request(self.port, "GET", path, &[], b"").unwrap()
    }

    /// What the page's own script would send.
    pub(super) fn own(&self) -> Vec<(&'static str, String)> {
        vec![
            ("Origin", format!("http://127.0.0.1:{}", self.port)),
            (strandrule::desk::TOKEN, self.token.clone()),
            ("Content-Type", "application/json".to_owned()),
        ]
    }

    pub(super) fn change(&self, method: &str, path: &str, body: &[u8]) -> Answer {
        request(self.port, method, path, &self.own(), body).unwrap()
    }

    pub(super) fn send(&self, name: &str, photo: &[u8]) -> Answer {
        self.change("POST", &format!("/api/photos?name={}", encoded(name)), photo)
    }

    /// The photos once none is waiting any more.
    pub(super) fn settled(&self) -> Vec<serde_json::Value> {
        for _ in 0..1200 {
            let now = self.get("/api/desk").json();
            let photos = now["photos"].as_array().unwrap().clone();
            if photos.iter().all(|p| p["stage"] != "waiting" && p["stage"] != "measuring") {
                return photos;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("photos are still waiting after two minutes");
    }

    /// SIGKILL, as when the power goes.
    pub(super) fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Whether the program has ended by itself within five seconds.
    pub(super) fn ended(&mut self) -> bool {
        (0..100).any(|_| {
            std::thread::sleep(Duration::from_millis(50));
            self.child.try_wait().unwrap().is_some()
        })
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.kill();
    }
}

/// As a part of an address. Source: RFC 3986, 2.1.
pub(super) fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}
