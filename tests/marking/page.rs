//! The page in a real browser: from a picture to a pattern, by pointer and by keyboard, at every width.

use serde_json::{Value, json};

use crate::browser::{Browser, DELETE, DOWN, ENTER, ESCAPE, LEFT, RIGHT, SHIFT, UP, within};
use crate::served::{Served, demo};

/// Ends of the stick of 300 mm in the demo photo, and what the demo's own build file makes of it, mm.
const STICK: [[f64; 2]; 2] = [[390.0, 1307.6], [1410.0, 1307.6]];

/// Drops a picture, as a file manager does.
fn drop_picture(browser: &Browser, name: &str, bytes: &[u8]) {
    use std::fmt::Write as _;
    let hex = bytes.iter().fold(String::new(), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}");
        hex
    });
    let script = "const bytes = new Uint8Array(arguments[1].match(/../g).map((two) => parseInt(two, 16))); \
                  const brought = new DataTransfer(); brought.items.add(new File([bytes], arguments[0])); \
                  document.getElementById('drop').dispatchEvent(new DragEvent('drop', { dataTransfer: brought, bubbles: true, cancelable: true }))";
    browser.until("the place to drop", "return document.getElementById('drop') !== null");
    browser.run(script, &json!([name, hex]));
}

/// Waits until the file is another one, and as it should be.
fn saved(served: &Served, before: &str, what: &str, after: &dyn Fn(&str) -> bool) {
    within(20, || Some(served.text("harbour-vane.toml")).filter(|now| now != before && after(now)))
        .unwrap_or_else(|| panic!("{what}: {}", served.text("harbour-vane.toml")));
}

fn step_back(browser: &Browser) {
    let before = browser.run("return desk.version", &json!([]));
    browser.press("Back");
    browser.until("a step back", &format!("return desk.version !== {before}"));
}

fn length_of_demo() -> f64 {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images/harbour-vane.toml");
    let run =
        std::process::Command::new(env!("CARGO_BIN_EXE_spanwright")).arg("check").arg(folder).arg("--json").output();
    let made: Value = serde_json::from_slice(&run.expect("it runs").stdout).expect("JSON");
    made["finished"]["length_mm"].as_f64().expect("a number")
}

fn finished(browser: &Browser) -> f64 {
    browser
        .until("the finished length", "return !desk.state.working && desk.shown?.finished?.mm")
        .as_f64()
        .expect("a number")
}

/// The page may learn of what the file says a moment later.
fn is_as_long_as_the_demo(browser: &Browser) {
    let truth = length_of_demo();
    let near = format!("return Math.abs(desk.shown?.finished?.mm - {truth}) < {}", 0.01 * truth);
    browser.until(&format!("a finished length of {truth:.0} mm"), &near);
}

#[test]
fn from_a_dropped_picture_to_a_made_pattern_with_no_hand_on_the_file() {
    let Some(browser) = Browser::open() else { return };
    let served = Served::start(&[], None);
    browser.go(&served.address);
    drop_picture(&browser, "harbour-vane.jpg", &demo("harbour-vane.jpg"));
    browser.until("the picture", "return window.desk?.view?.picture?.width === 1800");
    let first = served.text("harbour-vane.toml");

    browser.press("A length that is known");
    browser.point(&STICK);
    browser.until("the question", "return document.querySelector('dialog[open]') !== null");
    browser.run("document.querySelector('dialog input[name=name]').value = 'stick'; document.querySelector('dialog input[name=length]').focus()", &json!([]));
    browser.typed("300 mm");
    browser.keys(&[ENTER]);
    finished(&browser);
    assert!(served.text("harbour-vane.toml").contains("length = \"300 mm\""));

    // The stick is no part of it.
    browser.press("Point at what belongs to it");
    browser.point(&[[900.0, 600.0]]);
    browser.press("That is all");
    browser.until("the place inside", "return desk.doc.piece[0].trace.inside !== undefined");
    browser.press("Trace it now");
    let traced = || Some(served.text("harbour-vane.toml")).filter(|text| text.contains("\noutline = \"M"));
    within(30, traced).expect("its outline is written");
    is_as_long_as_the_demo(&browser);
    browser.until("the outline", "return desk.drawn[0] && document.querySelectorAll('.node').length > 5");

    browser.press("Make the pattern");
    browser.until("the pattern", "return desk.making?.state === 'done'");
    assert!(served.path("output/harbour-vane/pattern-a4.pdf").exists());
    let pdf = served.path("output/harbour-vane/made.json");
    let made: Value = serde_json::from_slice(&std::fs::read(pdf).expect("made")).expect("JSON");
    assert!((made["finished"]["length_mm"].as_f64().expect("a number") - finished(&browser)).abs() < 0.01);

    // All the way back.
    for _ in 0..3 {
        browser.until("a way back", "return !desk.backButton.disabled");
        step_back(&browser);
    }
    assert_eq!(served.text("harbour-vane.toml"), first);
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn every_mark_and_node_is_moved_by_pointer_and_saved() {
    let Some(browser) = Browser::open() else { return };
    let served = Served::start(
        &[("harbour-vane.jpg", &demo("harbour-vane.jpg")), ("harbour-vane.toml", &demo("harbour-vane.toml"))],
        Some("harbour-vane.toml"),
    );
    let first = served.text("harbour-vane.toml");
    browser.go(&served.address);
    browser.until("the picture", "return window.desk?.view?.picture?.width === 1800 && desk.shown?.finished");
    // One end of the known length, moved by 40 pixels.
    let from = browser.run("return desk.marks.find((m) => m.kind === 'length').places[0]", &json!([]));
    let [x, y] = [0, 1].map(|i| from[i].as_f64().expect("a number"));
    let before = served.text("harbour-vane.toml");
    browser.drag(&[[x, y], [x + 20.0, y], [x + 40.0, y + 10.0]]);
    saved(&served, &before, "a moved mark", &|now| {
        let doc = spanwright::build_file::as_json(now).expect("TOML");
        let at = &doc["picture"]["board"]["known_length"][0]["from"];
        (at[0].as_f64().unwrap_or(0.0) - x - 40.0).abs() < 3.0 && (at[1].as_f64().unwrap_or(0.0) - y - 10.0).abs() < 3.0
    });

    // Along the edge: three clicks on the tail, closed by the first.
    let before = served.text("harbour-vane.toml");
    browser.press("Follow the edge");
    browser.point(&[[496.0, 744.0], [964.0, 486.0], [795.0, 856.0], [496.0, 744.0]]);
    saved(&served, &before, "an outline", &|now| now.contains("outline"));
    browser.until("its nodes", "return document.querySelectorAll('.node').length > 4");
    let area = "const r = desk.rings()[0].nodes; return Math.abs(r.reduce((sum, n, i) => { const m = r[(i + 1) % r.length].at; return sum + n.at[0] * m[1] - m[0] * n.at[1]; }, 0)) / 2";
    let followed = browser.run(area, &json!([])).as_f64().expect("a number");
    assert!((60_000.0..110_000.0).contains(&followed), "the opening of the vane: {followed}");

    // A node: chosen, moved, doubled, taken away.
    let node = browser.run("const n = desk.rings()[0].nodes[1].at; return n", &json!([]));
    let [x, y] = [0, 1].map(|i| node[i].as_f64().expect("a number"));
    let before = served.text("harbour-vane.toml");
    browser.drag(&[[x, y], [x + 10.0, y + 10.0], [x + 25.0, y + 15.0]]);
    saved(&served, &before, "an outline", &|now| now.contains("outline"));
    let count =
        || browser.run("return desk.rings().reduce((n, r) => n + r.nodes.length, 0)", &json!([])).as_u64().unwrap_or(0);
    let before = count();
    browser.press("Node in between");
    within(20, || (count() == before + 1).then_some(())).expect("one node more");
    browser.run("desk.chosen = new Set(['0.1', '0.2']); desk.told(desk.state)", &json!([]));
    browser.press("Take the nodes away");
    within(20, || (count() == before - 1).then_some(())).expect("two nodes less");
    // Several, moved as one.
    let places = browser.run("return [2, 3].map((i) => desk.rings()[0].nodes[i].at)", &json!([]));
    let [one, other] = [0, 1].map(|k| [0, 1].map(|i| places[k][i].as_f64().expect("a number")));
    browser.point(&[one]);
    browser.add(other);
    browser.until("two chosen nodes", "return desk.chosen.size === 2");
    browser.drag(&[one, [one[0] + 8.0, one[1]], [one[0] + 16.0, one[1]]]);
    let moved = "const now = desk.rings()[0].nodes[3].at; return Math.hypot(now[0] - arguments[0][0] - 16, now[1] - arguments[0][1])";
    within(20, || browser.run(moved, &json!([other])).as_f64().filter(|off| *off < 3.0)).expect("both are moved");
    browser.press("Mirror it");
    browser.until("the mirrored outline saved", "return desk.backButton.title.includes('mirror')");

    while browser.run("return !desk.backButton.disabled", &json!([])) == true {
        step_back(&browser);
    }
    assert_eq!(served.text("harbour-vane.toml"), first);
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of keys")]
fn all_is_done_by_keyboard_alone() {
    let Some(browser) = Browser::open() else { return };
    let served = Served::start(&[("harbour-vane.jpg", &demo("harbour-vane.jpg"))], None);
    browser.go(&served.address);
    browser.until("the folder", "return document.querySelector('.files button') !== null");
    browser.tab_to("harbour-vane.jpg");
    browser.keys(&[ENTER]);
    browser.until("the picture", "return window.desk?.view?.picture?.width === 1800");
    browser.tab_to("A length that is known");
    browser.keys(&[ENTER]);
    // The cross goes to one end and to the other.
    for to in STICK {
        for _ in 0..400 {
            let cross = browser.run("return desk.cross ?? desk.view.middle()", &json!([]));
            let step = browser.run("return 12 / desk.view.scale", &json!([])).as_f64().expect("a number");
            let [dx, dy] = [0, 1].map(|i| to[i] - cross[i].as_f64().expect("a number"));
            if dx.abs() < step / 12.0 && dy.abs() < step / 12.0 {
                break;
            }
            let strokes = |off: f64, less: &'static str, more: &'static str, step: f64| {
                vec![if off < 0.0 { less } else { more }; (off.abs() / step) as usize]
            };
            let coarse = [strokes(dx, LEFT, RIGHT, step), strokes(dy, UP, DOWN, step)].concat();
            if coarse.is_empty() {
                let fine = [strokes(dx, LEFT, RIGHT, step / 12.0), strokes(dy, UP, DOWN, step / 12.0)].concat();
                browser.held(SHIFT, &fine);
            } else {
                browser.keys(&coarse);
            }
        }
        browser.keys(&[ENTER]);
    }
    browser.until("the question", "return document.querySelector('dialog[open]') !== null");
    browser.tab_to("How long is it in truth?");
    browser.typed("300 mm");
    browser.keys(&[ENTER]);
    finished(&browser);
    browser.tab_to("Point at what belongs to it");
    browser.keys(&[ENTER, UP, DOWN, ENTER, ENTER]);
    browser.until("the place inside", "return desk.doc.piece[0].trace.inside !== undefined");
    browser.tab_to("Trace it now");
    browser.keys(&[ENTER]);
    within(30, || served.text("harbour-vane.toml").contains("\noutline = \"M").then_some(()))
        .expect("its outline is written");
    is_as_long_as_the_demo(&browser);
    browser.until("its nodes", "return document.querySelectorAll('.node').length > 5");
    browser.tab_to("Harbour vane, node 3");
    let before = served.text("harbour-vane.toml");
    browser.keys(&[RIGHT]);
    within(20, || (served.text("harbour-vane.toml") != before).then_some(())).expect("a node is moved by a key");
    browser.until(
        "the node has the focus still",
        "return document.activeElement?.getAttribute('aria-label')?.startsWith('Harbour vane, node 3')",
    );
    browser.tab_to("known length grip, one end");
    browser.keys(&[DELETE]);
    within(20, || (!served.text("harbour-vane.toml").contains("\n[[picture.front.known_length]]")).then_some(()))
        .expect("taken away by a key");
    browser.tab_to("Back, before: took away known length grip");
    browser.keys(&[ENTER]);
    within(20, || served.text("harbour-vane.toml").contains("\n[[picture.front.known_length]]").then_some(()))
        .expect("it is back");
    browser.tab_to("Make the pattern");
    finished(&browser);
    browser.tab_to("Make the pattern");
    browser.keys(&[ENTER]);
    browser.until("the pattern", "return desk.making?.state === 'done'");
    browser.tab_to("A distance to be told");
    browser.keys(&[ENTER]);
    browser.until("placing", "return desk.task !== null");
    browser.keys(&[ESCAPE]);
    browser.until("left", "return desk.task === null");
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn no_state_of_the_page_shuts_anybody_out() {
    let Some(browser) = Browser::open() else { return };
    let staff = [("signal-staff.png", demo("signal-staff.png")), ("signal-staff.toml", demo("signal-staff.toml"))];
    let files: Vec<(&str, &[u8])> = staff.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect();
    let served = Served::start(&files, None);
    browser.go(&served.address);
    let mut found = Vec::new();
    let mut states = 0;
    let mut look = |state: &str| {
        browser.run("scrollTo(0, 0)", &json!([]));
        for dark in [false, true] {
            browser.dark(dark);
            let Some(violations) = browser.axe() else { return };
            states += 1;
            found.extend(
                violations.into_iter().map(|one| format!("{state}, {}: {one}", if dark { "dark" } else { "light" })),
            );
        }
        browser.dark(false);
        // Nothing reaches out sideways, however narrow or wide.
        for width in [360, 390, 820, 1440, 2560, 3840] {
            browser.size(width, 900);
            let over = browser
                .run("return document.documentElement.scrollWidth - innerWidth", &json!([]))
                .as_i64()
                .unwrap_or(0);
            if over > 0 {
                found.push(format!("{state}: {over} px beyond {width}"));
            }
        }
        browser.size(1440, 900);
    };
    browser.until("the folder", "return document.querySelector('.files button') !== null");
    look("empty");
    browser.press("signal-staff.toml");
    browser.until("the result", "return window.desk?.shown?.finished");
    look("picture loaded, nodes shown");
    browser.press("A length that is known");
    look("marking");
    browser.point(&[[600.0, 600.0], [700.0, 700.0]]);
    browser.until("the question", "return document.querySelector('dialog[open]') !== null");
    look("asked");
    browser.press("Leave it");
    browser.press("Draw a loose loop around it");
    look("tracing");
    browser.press("Leave it (Esc)");
    browser.run("desk.change('x', [{ at: ['piece', 0, 'copies'], to: 0 }])", &json!([]));
    browser.until("a problem", "return desk.shown?.problems?.some((p) => p.level === 'error')");
    look("problems open");
    browser.press("Back");
    browser.until("the result", "return !desk.state.working && desk.shown?.finished");
    browser.press("Make the pattern");
    look("making");
    browser.until("the pattern", "return desk.making?.state === 'done'");
    look("made");
    std::fs::remove_file(served.path("signal-staff.png")).expect("removed");
    browser.run("desk.change('x', [{ at: ['build', 'name'], to: 'Staff' }])", &json!([]));
    browser.until("the error", "return document.getElementById('notice').textContent.includes('signal-staff.png')");
    look("error");
    assert_eq!(found, Vec::<String>::new());
    assert!(states == 0 || states == 18, "{states}");
}

#[test]
fn nothing_is_lost_while_the_program_is_away() {
    let Some(browser) = Browser::open() else { return };
    let build =
        "[build]\nname = \"Vane\"\n[[piece]]\nname = \"vane\"\nfixed = true\noutline = \"M 0 0 H 50 V 20 H 0 Z\"\n";
    let mut served = Served::start(&[("vane.toml", build.as_bytes())], Some("vane.toml"));
    browser.go(&served.address);
    browser.until("the result", "return window.desk?.shown?.finished");
    served.kill();
    browser.run("desk.change('named', [{ at: ['build', 'name'], to: 'Latch' }])", &json!([]));
    browser.until("it is told", "return document.getElementById('notice').textContent.includes('does not answer')");
    browser.until("what was done is still seen", "return document.getElementById('title').textContent === 'Latch'");
    assert_eq!(served.text("vane.toml"), build);
}
