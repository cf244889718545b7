//! The program as it serves the marking page, and questions to it without a browser.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::Value;

/// A server of its own on a folder of its own.
pub(crate) struct Served {
    child: Child,
    pub(crate) folder: tempfile::TempDir,
    /// With the key.
    pub(crate) address: String,
    pub(crate) port: u16,
    cookie: String,
}

/// An answer: its status, its head and its body.
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: Vec<u8>,
}

impl Served {
    /// Serves `file` of a new folder that holds these files, or the folder itself.
    pub(crate) fn start(files: &[(&str, &[u8])], file: Option<&str>) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for (name, bytes) in files {
            fs::write(folder.path().join(name), bytes).expect("written");
        }
        Self::again(folder, file)
    }

    /// Serves a folder that is there.
    pub(crate) fn again(folder: tempfile::TempDir, file: Option<&str>) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_spanwright"))
            .arg("mark")
            .args(file)
            .arg("--no-open")
            .current_dir(folder.path())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let mut line = String::new();
        let mut said = BufReader::new(child.stderr.take().expect("it is piped"));
        said.read_line(&mut line).expect("it says its address");
        let address = line.split_whitespace().last().expect("an address").to_owned();
        let port = address.split([':', '/']).filter_map(|part| part.parse().ok()).next().expect("a port");
        // What it says later goes nowhere, and must not stop it.
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        Self { child, folder, address, port, cookie: String::new() }
    }

    /// Goes through the door, as a browser does.
    pub(crate) fn enter(mut self) -> Self {
        let way = self.address.split_once(&format!(":{}", self.port)).expect("its port").1.to_owned();
        let answer = self.raw(&format!("GET {way} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port));
        assert_eq!(answer.status, 303, "{}", answer.head);
        let cookie = answer.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).expect("a cookie");
        self.cookie = cookie.split(';').next().expect("a pair").to_owned();
        self
    }

    pub(crate) fn cookie(&self) -> &str {
        &self.cookie
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).expect("a text")
    }

    /// A question as it is written here, to its end.
    pub(crate) fn raw(&self, question: &str) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(Duration::from_secs(40))).expect("set");
        let closing = question.replacen("\r\nHost", "\r\nConnection: close\r\nHost", 1);
        // A question that is refused may be cut off while it is still asked.
        let _ = stream.write_all(closing.as_bytes());
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let end = all.windows(4).position(|four| four == b"\r\n\r\n").unwrap_or(all.len());
        let head = String::from_utf8_lossy(&all[..end]).to_lowercase();
        let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
        Answer { status, head, body: all.get(end + 4..).unwrap_or_default().to_vec() }
    }

    /// A question by somebody who has entered.
    pub(crate) fn get(&self, way: &str) -> Answer {
        let (port, cookie) = (self.port, &self.cookie);
        self.raw(&format!("GET {way} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n\r\n"))
    }

    pub(crate) fn post(&self, way: &str, said: &Value) -> Answer {
        let (port, cookie, said) = (self.port, &self.cookie, said.to_string());
        let length = said.len();
        self.raw(&format!(
            "POST {way} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nCookie: {cookie}\r\n\
             Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n{said}"
        ))
    }

    /// What the page is told when it asks for the first time.
    pub(crate) fn state(&self) -> Value {
        serde_json::from_slice(&self.get("/news").body).expect("JSON")
    }

    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("it runs");
        self.child.wait().expect("it has ended");
    }

    /// The folder of one that was killed.
    pub(crate) fn ended_already(mut self) -> tempfile::TempDir {
        std::mem::replace(&mut self.folder, tempfile::tempdir().expect("a temporary folder"))
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A file of the demo.
pub(crate) fn demo(name: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images").join(name)).expect("a file of the demo")
}
