//! Nobody is answered but the page that was opened by the address.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::Duration;

use crate::served::{Served, demo};

const BUILD: &str =
    "[build]\nname = \"Vane\"\n[picture.front]\nfile = \"vane.jpg\"\n[picture.far]\nfile = \"../far.jpg\"\n";

fn served() -> Served {
    Served::start(&[("vane.jpg", &demo("harbour-vane.jpg")), ("vane.toml", BUILD.as_bytes())], Some("vane.toml"))
}

#[test]
fn the_bare_address_gives_nothing_and_the_key_opens_once() {
    let served = served();
    let host = format!("Host: 127.0.0.1:{}", served.port);
    let bare = served.raw(&format!("GET / HTTP/1.1\r\n{host}\r\n\r\n"));
    assert_eq!(bare.status, 403);
    assert!(!String::from_utf8_lossy(&bare.body).contains("script"));
    let way = served.address.split_once("/?").expect("a key").1.to_owned();
    let guessed = served.raw(&format!("GET /?key={} HTTP/1.1\r\n{host}\r\n\r\n", "0".repeat(32)));
    assert!(!guessed.head.contains("set-cookie"), "{}", guessed.head);
    let served = served.enter();
    let page = served.get("/");
    assert!(page.status == 200 && page.head.contains("default-src 'none'") && page.head.contains("no-referrer"));
    let again = served.raw(&format!("GET /?{way} HTTP/1.1\r\n{host}\r\n\r\n"));
    assert!(!again.head.contains("set-cookie"), "once");
}

#[test]
fn nothing_of_the_page_leads_out_of_this_machine() {
    let served = served().enter();
    let mut seen = 0;
    for file in [
        "index.html",
        "style.css",
        "main.js",
        "server.js",
        "view.js",
        "marks.js",
        "placing.js",
        "outline.js",
        "sections.js",
    ] {
        let answer = served.get(&format!("/page/{file}"));
        assert_eq!(answer.status, 200, "{file}");
        let text = String::from_utf8(answer.body).expect("text");
        let foreign = text.split("://").count() - 1 - text.matches("http://www.w3.org/2000/svg").count();
        assert_eq!(foreign, 0, "{file}");
        seen += text.len();
    }
    assert!(seen > 10_000);
    assert_eq!(served.get("/page/regular.ttf").status, 200);
}

#[test]
fn another_host_or_origin_or_no_cookie_is_refused() {
    let served = served().enter();
    let port = served.port;
    let own = format!("127.0.0.1:{port}");
    let said = "{\"name\":\"vane.toml\"}";
    for (method, host, origin, cookie) in [
        ("GET", "coast.example", "", true),
        ("GET", "127.0.0.1", "", true),
        ("GET", own.as_str(), "http://coast.example", true),
        ("GET", own.as_str(), "", false),
        ("POST", own.as_str(), "", true),
        ("POST", own.as_str(), "null", true),
        ("POST", own.as_str(), "http://coast.example", true),
        ("POST", own.as_str(), "http://127.0.0.1:1", true),
    ] {
        let origin = if origin.is_empty() { String::new() } else { format!("Origin: {origin}\r\n") };
        let cookie = if cookie { format!("Cookie: {}\r\n", served.cookie()) } else { String::new() };
        let way = if method == "GET" { "/news" } else { "/open" };
        let question = format!(
            "{method} {way} HTTP/1.1\r\nHost: {host}\r\n{origin}{cookie}Content-Length: {}\r\n\r\n{said}",
            said.len()
        );
        let answer = served.raw(&question);
        assert_eq!(answer.status, 403, "{question}");
    }
}

#[test]
fn no_way_leads_out_of_the_folder() {
    let served = served().enter();
    std::fs::write(served.folder.path().parent().expect("a folder above").join("far.jpg"), demo("harbour-vane.jpg"))
        .expect("written");
    for way in [
        "/page/../Cargo.toml",
        "/page/..%2f..%2fCargo.toml",
        "/page/%2e%2e%2fvane.toml",
        "/page/%252e%252e%252fvane.toml",
        "/page/..%5cvane.toml",
        "/page/vane.toml",
        "/made/..%2fvane.toml",
        "/made/%2e%2e/vane.toml",
        "/made/vane.toml",
        "/made/%00",
        "/../../etc/hostname",
        "/tile/..%2fvane/0/0/0",
        "/tile/far/0/0/0",
        "/tile/front/9/0/0",
        "/tile/front/0/4294967295/0",
        "/tile/front/-1/0/0",
    ] {
        let answer = served.get(way);
        assert!([400, 403, 404].contains(&answer.status), "{way}: {}", answer.status);
        let body = String::from_utf8_lossy(&answer.body);
        assert!(!body.contains("[build]") && !answer.body.starts_with(b"\x89PNG"), "{way}: {body}");
    }
    let state = served.state();
    assert!(state["pictures"]["far"]["problem"].as_str().is_some_and(|text| text.contains("outside")), "{state}");
    assert_eq!(served.get("/tile/front/0/0/0").status, 200);
    for name in ["../far.toml", "far/../vane.toml", ".vane.toml", "/etc/hostname", "vane.jpg"] {
        assert_eq!(served.post("/open", &serde_json::json!({ "name": name })).status, 422, "{name}");
    }
}

#[test]
fn huge_and_slow_questions_are_refused_and_nobody_else_waits_for_them() {
    let served = served().enter();
    let port = served.port;
    // What is said to be a gigabyte is not waited for.
    let head = served.head_of_post("/change", 1 << 30);
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("it listens");
    stream.set_read_timeout(Some(Duration::from_secs(40))).expect("set");
    stream.write_all(head.as_bytes()).expect("written");
    let piece = vec![b' '; 1 << 20];
    for _ in 0..8 {
        if stream.write_all(&piece).is_err() {
            break;
        }
    }
    let mut answer = [0; 12];
    let met = stream.read(&mut answer).unwrap_or(0);
    assert!(met == 0 || answer.starts_with(b"HTTP/1.1 413"), "{:?}", String::from_utf8_lossy(&answer));

    // One that says a body and never brings it, and one that never ends its head.
    let mut slow = TcpStream::connect(("127.0.0.1", port)).expect("it listens");
    slow.set_read_timeout(Some(Duration::from_secs(40))).expect("set");
    slow.write_all(served.head_of_post("/change", 100).as_bytes()).expect("written");
    let mut endless = TcpStream::connect(("127.0.0.1", port)).expect("it listens");
    endless.set_read_timeout(Some(Duration::from_secs(40))).expect("set");
    endless.write_all(b"GET / HTTP/1.1\r\nHost: x").expect("written");
    assert_eq!(served.get("/page/main.js").status, 200, "others are answered meanwhile");
    let mut answer = [0; 12];
    let met = slow.read(&mut answer).unwrap_or(0);
    assert!(met == 0 || answer.starts_with(b"HTTP/1.1 408"), "{:?}", String::from_utf8_lossy(&answer));
    let mut rest = Vec::new();
    assert!(endless.read_to_end(&mut rest).is_ok() && !rest.starts_with(b"HTTP/1.1 200"));
}

impl Served {
    fn head_of_post(&self, way: &str, length: usize) -> String {
        let port = self.port;
        let cookie = self.cookie();
        format!(
            "POST {way} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nCookie: {cookie}\r\n\
             Content-Length: {length}\r\n\r\n"
        )
    }
}
