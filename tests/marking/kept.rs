//! Nothing is lost: whatever is killed, whoever else writes.

use std::time::Duration;

use serde_json::json;
use spanwright::chance::Dice;

use crate::served::Served;

const BUILD: &str = "# of the coast\n[build]\nname = \"start\" # kept\n\n[[piece]]\nname = \"vane\"\nfixed = true\noutline = \"M 0 0 H 50 V 20 H 0 Z\"\n";

fn named(served: &Served, version: &str, name: &str) -> Option<String> {
    let said = json!({ "version": version, "done": "named", "changes": [{ "at": ["build", "name"], "to": name }] });
    let answer = served.post("/change", &said);
    serde_json::from_slice::<serde_json::Value>(&answer.body).ok()?["version"].as_str().map(str::to_owned)
}

fn version(served: &Served) -> String {
    served.state()["open"]["version"].as_str().expect("it is open").to_owned()
}

/// Killed at a hundred random moments while it saves, the file holds the last or the next step, whole.
#[test]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small draws")]
fn a_file_is_whole_whenever_the_program_is_killed() {
    let mut dice = Dice(21);
    let mut folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("vane.toml"), BUILD).expect("written");
    let mut between = 0;
    for trial in 0..100 {
        let mut served = Served::again(folder, Some("vane.toml")).enter();
        let mut version = version(&served);
        let mut confirmed = served.text("vane.toml");
        let steps = 1 + (dice.uniform() * 4.0) as usize;
        for step in 0..steps {
            version = named(&served, &version, &format!("trial {trial} step {step}")).expect("it is saved");
            confirmed = served.text("vane.toml");
        }
        let port = served.port;
        let next = confirmed.replace(&format!("trial {trial} step {}", steps - 1), &format!("trial {trial} last"));
        let question = json!({ "version": version, "done": "named", "changes": [{ "at": ["build", "name"], "to": format!("trial {trial} last") }] });
        let body = question.to_string();
        let head = format!(
            "POST /change HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nCookie: {}\r\nContent-Length: {}\r\n\r\n{body}",
            served.cookie(),
            body.len()
        );
        let mut stream = std::net::TcpStream::connect(("127.0.0.1", port)).expect("it listens");
        std::io::Write::write_all(&mut stream, head.as_bytes()).expect("asked");
        std::thread::sleep(Duration::from_micros((dice.uniform() * 6000.0) as u64));
        served.kill();
        let met = served.text("vane.toml");
        assert!(met == confirmed || met == next, "{met}");
        assert!(spanwright::build_file::read(&met).build.is_some());
        between += usize::from(met == confirmed);
        folder = served.ended_already();
    }
    assert!(
        (1..100).contains(&between),
        "{between} of 100 were killed before they had saved: the moments are not random"
    );
}

#[test]
fn what_others_write_is_seen_and_stays() {
    let served = Served::start(&[("vane.toml", BUILD.as_bytes())], Some("vane.toml")).enter();
    let seen = version(&served);
    let by_hand =
        BUILD.replace("[[piece]]", "# a remark\n[[piece]]").replace("fixed = true", "fixed = true\ncopies = 2");
    std::fs::write(served.path("vane.toml"), &by_hand).expect("written");
    named(&served, &seen, "Latch").expect("another place");
    assert_eq!(served.text("vane.toml"), by_hand.replace("\"start\"", "\"Latch\""));
    // Noticed without being asked.
    let now = version(&served);
    std::fs::write(served.path("vane.toml"), BUILD).expect("written");
    let noticed = (0..40).any(|_| {
        std::thread::sleep(Duration::from_millis(100));
        let state = served.state();
        state["open"]["version"] != now.as_str()
            && state["notice"].as_str().is_some_and(|text| text.contains("outside of this page"))
    });
    assert!(noticed);
    let lost = json!({ "version": now, "done": "named", "changes": [{ "at": ["build", "name"], "to": "Ring" }] });
    assert_eq!(served.post("/change", &lost).status, 409);
    assert_eq!(served.text("vane.toml"), BUILD);
    // Taken back only when that is meant.
    assert_eq!(served.post("/back", &json!({})).status, 409);
    assert_eq!(served.post("/back", &json!({ "by_hand_too": true })).status, 200);
    assert_eq!(served.text("vane.toml"), by_hand.replace("\"start\"", "\"Latch\""));
    assert_eq!(served.post("/forth", &json!({})).status, 200);
    assert_eq!(served.text("vane.toml"), BUILD);
}

/// What the page is told next, once the program has reckoned.
fn settled(served: &Served, after: u64) -> serde_json::Value {
    let mut seen = after;
    let end = std::time::Instant::now() + Duration::from_secs(30);
    loop {
        let state: serde_json::Value =
            serde_json::from_slice(&served.get(&format!("/news?after={seen}")).body).expect("JSON");
        seen = state["seq"].as_u64().expect("a count");
        if seen > after && state["working"] == false {
            return state;
        }
        assert!(std::time::Instant::now() < end, "it never settles: {state}");
    }
}

#[test]
fn one_hand_edit_after_the_other_is_told() {
    let served = Served::start(&[("vane.toml", BUILD.as_bytes())], Some("vane.toml")).enter();
    let mut state = settled(&served, 0);
    for wide in [60, 70, 80] {
        std::fs::write(served.path("vane.toml"), BUILD.replace("H 50", &format!("H {wide}"))).expect("written");
        state = settled(&served, state["seq"].as_u64().expect("a count"));
        assert_eq!(state["shown"]["pieces"][0]["size"], format!("{wide} mm wide, 20 mm high"), "{state}");
    }
}

#[test]
fn an_empty_file_is_told_of_as_any_other() {
    let served = Served::start(&[("vane.toml", b"")], Some("vane.toml")).enter();
    let state = settled(&served, 0);
    assert!(state["shown"]["problems"].as_array().is_some_and(|all| !all.is_empty()), "{state}");
}

#[test]
fn a_picture_that_goes_or_changes_is_told() {
    let files = ["harbour-vane.jpg", "harbour-vane.toml"].map(|name| (name, crate::served::demo(name)));
    let files: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect();
    let served = Served::start(&files, Some("harbour-vane.toml")).enter();
    let state = settled(&served, 0);
    assert!(state["shown"]["finished"].is_object(), "{state}");
    let (here, away) = (served.path("harbour-vane.jpg"), served.path("away.jpg"));
    std::fs::rename(&here, &away).expect("moved");
    let state = settled(&served, state["seq"].as_u64().expect("a count"));
    assert!(state["pictures"]["board"]["problem"].is_string() && state["shown"]["finished"].is_null(), "{state}");
    std::fs::rename(&away, &here).expect("moved back");
    let state = settled(&served, state["seq"].as_u64().expect("a count"));
    assert!(state["pictures"]["board"]["width"] == 1800 && state["shown"]["finished"].is_object(), "{state}");
}
