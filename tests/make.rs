//! The program as a whole, run in a temporary folder.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

fn spanwright() -> Command {
    Command::new(env!("CARGO_BIN_EXE_spanwright"))
}

fn demo() -> String {
    format!("{}/reference-images/signal-staff.toml", env!("CARGO_MANIFEST_DIR"))
}

fn make_into(folder: &Path) {
    spanwright().args(["make", &demo(), "--out"]).arg(folder).assert().code(0);
}

#[test]
fn the_demo_makes_the_same_bytes_twice_on_more_than_one_page() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (first, second) = (folder.path().join("1"), folder.path().join("2"));
    make_into(&first);
    make_into(&second);
    let manifest: serde_json::Value =
        serde_json::from_slice(&fs::read(first.join("made.json")).expect("written")).expect("JSON");
    let files = manifest["files"].as_array().expect("a list of files");
    assert!(files.len() >= 6, "{files:?}");
    for file in files.iter().filter_map(|name| name.as_str()) {
        assert!(
            fs::read(first.join(file)).expect("written") == fs::read(second.join(file)).expect("written"),
            "{file}"
        );
    }
    let pages = manifest["documents"][0]["pages"].as_array().expect("a list of pages").len();
    let pdf = lopdf::Document::load(first.join("pattern-a4.pdf")).expect("a PDF");
    assert!(pages > 1);
    assert_eq!(pdf.get_pages().len(), pages);
    // The scene's own truth is 1420 mm; the figure decides it, so the interval has to hold it.
    let finished = &manifest["finished"]["length_95"];
    let (low, high) = (finished[0].as_f64().expect("a number"), finished[1].as_f64().expect("a number"));
    assert!(low < 1420.0 && 1420.0 < high, "{low} to {high}");
}

#[test]
fn a_misspelt_key_ends_with_1_its_place_and_nothing_written() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("broken.toml");
    fs::write(&file, "[build]\nnaem = \"staff\"\n").expect("written");
    let out = folder.path().join("out");
    let run = spanwright().arg("make").arg(&file).arg("--out").arg(&out).assert().code(1);
    let said = String::from_utf8_lossy(&run.get_output().stderr).into_owned();
    assert!(said.contains("broken.toml:2:1") && said.contains("name"), "{said}");
    assert!(!out.exists());
}

#[test]
fn a_letter_that_the_font_lacks_is_told_before_anything_is_printed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("ring.toml");
    let text = "[build]\nname = \"ring\"\n\n[[piece]]\nname = \"ring \u{1F9AD}\"\nfixed = true\n\
                outline = \"M 0 0 L 100 0 L 100 60 L 0 60 Z\"\n";
    fs::write(&file, text).expect("written");
    let run = spanwright().arg("check").arg(&file).assert().code(0);
    let said = String::from_utf8_lossy(&run.get_output().stderr).into_owned();
    assert!(said.contains("ring.toml:5:8: warning") && said.contains("cannot be printed"), "{said}");
    let shown = String::from_utf8_lossy(&run.get_output().stdout).into_owned();
    assert!(shown.contains("length  117 mm\n") && shown.contains("100 mm wide, 60 mm high"), "{shown}");
}

#[test]
fn trace_writes_the_outline_into_the_file_and_an_overlay_beside_the_products() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let images = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images");
    for name in ["harbour-vane.toml", "harbour-vane.jpg"] {
        fs::copy(images.join(name), folder.path().join(name)).expect("copied");
    }
    let trace = || {
        let mut program = spanwright();
        program.current_dir(folder.path()).args(["trace", "harbour-vane.toml", "--overlay", "--json"]);
        program
    };
    let run = trace().assert().code(0);
    let told: serde_json::Value = serde_json::from_slice(&run.get_output().stdout).expect("JSON");
    assert!(told["pieces"][0]["rms_px"].as_f64().is_some_and(|rms| rms > 0.0 && rms < 0.2), "{told}");
    let build = fs::read_to_string(folder.path().join("harbour-vane.toml")).expect("still there");
    assert!(build.contains("outline = \"M "), "{build}");
    let overlay = folder.path().join("output/harbour-vane/traced-board.png");
    let drawn = image::open(&overlay).expect("a picture").to_luma8();
    assert_eq!(drawn.dimensions(), (1800, 1500));
    fs::remove_file(&overlay).expect("it was written");
    // What is traced already stays as the maker may have edited it.
    trace().assert().code(0);
    assert!(!overlay.exists());
    assert_eq!(fs::read_to_string(folder.path().join("harbour-vane.toml")).expect("still there"), build);
    // Asked for by its name, it is traced again, though nothing in the file says how it was.
    let plain: String =
        build.lines().filter(|line| !line.starts_with("trace")).map(|line| line.to_owned() + "\n").collect();
    fs::write(folder.path().join("harbour-vane.toml"), &plain).expect("written");
    trace().arg("--again").assert().code(0);
    assert!(!overlay.exists());
    trace().args(["--again", "--piece", "harbour vane"]).assert().code(0);
    assert!(overlay.exists());
}

#[test]
fn a_mark_beyond_its_picture_is_refused_though_the_file_does_not_say_how_large_that_is() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    image::RgbImage::new(60, 40).save(folder.path().join("post.png")).expect("written");
    let build = "[build]\nname = \"post\"\n[picture.front]\nfile = \"post.png\"\n[[picture.front.known_length]]\n\
                 name = \"rule\"\nfrom = [10, 10]\nto = [9000, 10]\nlength = \"300 mm\"\n\
                 [size]\nfrom = \"as pictured\"\n[[piece]]\nname = \"post\"\npicture = \"front\"\n\
                 outline = \"M 5 5 H 50 V 30 H 5 Z\"\n";
    fs::write(folder.path().join("post.toml"), build).expect("written");
    let run = spanwright().current_dir(folder.path()).args(["make", "post.toml"]).assert().code(1);
    let said = String::from_utf8_lossy(&run.get_output().stderr).into_owned();
    assert!(said.contains("post.toml:8:6") && said.contains("[9000, 10]") && said.contains("60 pixels wide"), "{said}");
    assert!(!folder.path().join("output").exists());
}

/// Whatever is placed on a picture: each at its own place in the file. A drawn point may reach beyond a cropped picture.
#[test]
fn all_that_lies_beyond_a_picture_is_told_at_its_own_place() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    image::RgbImage::new(60, 40).save(folder.path().join("post.png")).expect("written");
    let said = |measured: u32, piece: &str, code: i32| {
        let build = format!(
            "[build]\nname = \"post\"\n[picture.front]\nfile = \"post.png\"\n[[picture.front.known_length]]\nname = \
             \"rule\"\nfrom = [10, 10]\nto = [50, 10]\nlength = \"300 mm\"\n[size]\nfrom = \"known lengths\"\n\
             [[measure]]\nname = \"grip\"\npicture = \"front\"\nfrom = [5, 5]\nto = [{measured}, 30]\n[[piece]]\nname = \
             \"post\"\npicture = \"front\"\n{piece}\n"
        );
        fs::write(folder.path().join("post.toml"), build).expect("written");
        let run = spanwright().current_dir(folder.path()).args(["check", "post.toml"]).assert().code(code);
        String::from_utf8_lossy(&run.get_output().stderr).into_owned()
    };
    let refused = said(900, "trace = { around = [[2, 2], [61, 2], [30, 38]] }", 1);
    assert!(refused.contains("post.toml:16:6: error: post.png: the place [900, 30]"), "{refused}");
    assert!(refused.contains("post.toml:20:29: error: post.png: the place [61, 2]"), "{refused}");
    let warned = said(40, "through = [[5, 5], [50, 5], [70, 30], [5, 30]]", 0);
    assert!(warned.contains("post.toml:20:29: warning: post.png: this reaches beyond the picture"), "{warned}");
    assert!(!said(40, "through = [[5, 5], [50, 5], [40, 30], [5, 30]]", 0).contains("beyond"));
}

/// `check` of `post.toml`, which holds `build`, beside a white picture; what it says.
fn checked(build: &str) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    image::RgbImage::new(1200, 1400).save(folder.path().join("post.png")).expect("written");
    fs::write(folder.path().join("post.toml"), format!("[build]\nname = \"post\"\n{build}")).expect("written");
    let run = spanwright().current_dir(folder.path()).args(["check", "post.toml"]).assert().success();
    String::from_utf8_lossy(&run.get_output().stderr).into_owned()
}

#[test]
fn what_else_is_marked_is_told_with_the_size_it_would_give() {
    let said = checked(
        "[wearer]\nheight = \"1680 mm\"\n[picture.front]\nfile = \"post.png\"\n[[picture.front.known_length]]\n\
         name = \"rule\"\nfrom = [100, 100]\nto = [100, 1100]\nlength = \"1000 mm\"\n\
         [picture.front.figure]\nlandmarks = { sole = [600, 1300], eye = [600, 364] }\n[size]\nfrom = \"known lengths\"\n\
         [[piece]]\nname = \"post\"\npicture = \"front\"\noutline = \"M 100 100 H 200 V 1100 H 100 Z\"\n",
    );
    // The eye stands 936 px above the sole and is 0.936 of 1680 mm: 1.68 mm a pixel, and the diagonal is 1005 px.
    assert!(
        said.contains("the figure would make the finished length 1688 mm") && said.contains("instead of 1005 mm"),
        "{said}"
    );
}

#[test]
fn holes_that_meet_parts_that_do_not_and_slivers_are_told() {
    let piece = |name: &str, rest: &str| format!("[[piece]]\nname = \"{name}\"\nfixed = true\n{rest}\n");
    let hole = |x: f64| format!("[[piece.hole]]\nat = [{x}, 50]\ndiameter = 20\n");
    let plate = format!("outline = \"M 0 0 H 200 V 100 H 0 Z\"\n{}{}{}", hole(50.0), hole(65.0), hole(150.0));
    let said = checked(&format!(
        "{}{}{}",
        piece("plate", &plate),
        piece("pair", "outline = \"M 0 0 H 40 V 40 H 0 Z M 60 0 H 100 V 40 H 60 Z M 70 10 H 90 V 30 H 70 Z\""),
        piece("sliver", "outline = \"M 0 0 H 4 V 3 H 0 Z\"")
    ));
    let told = |words: &str| said.matches(words).count();
    assert_eq!((told("runs into another, 15.0 mm away"), told("runs into another")), (1, 1), "{said}");
    assert_eq!((told("“pair” is in 2 parts"), told(" parts that")), (1, 1), "{said}");
    assert_eq!(told("“sliver” is narrow: 3.0 mm"), 1, "{said}");
}

/// Outlines grow with the wearer in shoes; holes for hardware do not.
#[test]
fn another_wearer_gets_a_pattern_of_another_size() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("out");
    let mut program = Command::new(env!("CARGO_BIN_EXE_spanwright"));
    let run = program.arg("make").arg(demo()).arg("--out").arg(&out).args(["--height", "150cm,1.9 m"]).output();
    assert!(run.expect("it runs").status.success());
    let made = |name: &str| -> serde_json::Value {
        serde_json::from_slice(&fs::read(out.join(name).join("made.json")).expect("written")).expect("JSON")
    };
    let own = made("");
    let files = own["files"].as_array().expect("a list");
    assert!(files.iter().any(|file| file == "sizes.png") && out.join("sizes.png").exists());
    let pages = own["documents"][0]["pages"].as_array().expect("a list");
    assert_eq!(pages.iter().filter(|page| page["role"] == "sizes").count(), 1);
    for (name, height) in [("for-1500-mm", 1500.0), ("for-1900-mm", 1900.0)] {
        let other = made(name);
        let times = (height + 35.0) / (1680.0 + 35.0);
        let length = |made: &serde_json::Value| made["finished"]["length_mm"].as_f64().expect("a number");
        assert!((length(&other) / length(&own) / times - 1.0).abs() < 1e-9);
        for (own, other) in
            own["pieces"].as_array().into_iter().flatten().zip(other["pieces"].as_array().expect("some"))
        {
            let area = |piece: &serde_json::Value| piece["area_mm2"].as_f64().expect("a number");
            let expected = if own["fixed"] == true { 1.0 } else { times * times };
            assert!((area(other) / area(own) / expected - 1.0).abs() < 5e-3, "{}", own["name"]);
            for (own, other) in
                own["holes"].as_array().expect("a list").iter().zip(other["holes"].as_array().expect("a list"))
            {
                assert_eq!(own["diameter_mm"], other["diameter_mm"]);
            }
        }
    }
    let mut program = Command::new(env!("CARGO_BIN_EXE_spanwright"));
    let run =
        program.arg("make").arg(demo()).arg("--out").arg(&out).args(["--height", "15cm"]).output().expect("it runs");
    assert_eq!(run.status.code(), Some(2), "{}", String::from_utf8_lossy(&run.stderr));
}

/// The check distances of made.json, typed in as they are and with one join slid by 3 mm.
#[test]
fn readings_of_a_taped_sheet_are_judged() {
    let output = spanwright().args(["check", &demo(), "--json"]).output().expect("it runs");
    let made: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let sheet = &made["joined_sheets"][2];
    let [half, most] = [0, 1].map(|i| sheet["expected_worst_corner_mm"][i].as_f64().expect("a number"));
    assert!(0.1 < half && half < most && most < 1.5, "{half} {most}");
    let checks = sheet["check_distances"].as_array().expect("a list");
    assert_eq!(checks.len(), 3);
    let at = |id: &str| -> [f64; 2] {
        let mark = sheet["marks"].as_array().expect("a list").iter().find(|mark| mark["id"] == id).expect("a mark");
        [0, 1].map(|i| mark["at_mm"][i].as_f64().expect("a number"))
    };
    let readings = |longer: f64| -> Vec<String> {
        let one = |check: &serde_json::Value| {
            let (from, to) = (check["from"].as_str().expect("an id"), check["to"].as_str().expect("an id"));
            let (a, b) = (at(from), at(to));
            let mm = (a[0] - b[0]).hypot(a[1] - b[1]);
            assert!((mm - check["distance_mm"].as_f64().expect("a number")).abs() < 0.01);
            format!("{from}-{to}={:.1}", mm + longer)
        };
        checks.iter().map(one).collect()
    };
    let judged = |readings: &[String], more: &[&str]| {
        let run = spanwright()
            .args(["readings", &demo(), "--sheet", "3"])
            .args(more)
            .args(readings)
            .output()
            .expect("it runs");
        (
            run.status.code(),
            String::from_utf8_lossy(&run.stdout).into_owned(),
            String::from_utf8_lossy(&run.stderr).into_owned(),
        )
    };
    let (code, said, _) = judged(&readings(0.2), &[]);
    assert!(code == Some(0) && said.contains("nothing has to be taped again"), "{said}");
    let (code, said, _) = judged(&readings(3.0), &[]);
    assert!(code == Some(0) && said.contains("are too far apart, by"), "{said}");
    let (_, said, _) = judged(&readings(3.0), &["--json"]);
    let verdict: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!(verdict["verdict"]["wrong"][0]["kind"], "gap", "{verdict}");
    for (wrong, words) in [("1-99=300", "there is no mark 99"), ("1-2", "write 1-9=1243.2")] {
        let (code, _, told) = judged(&[wrong.to_owned()], &[]);
        assert!(code == Some(2) && told.contains(words), "{told}");
    }
    let run = spanwright().args(["readings", &demo(), "--sheet", "5", "1-2=3"]).output().expect("it runs");
    assert!(String::from_utf8_lossy(&run.stderr).contains("those that are: 1, 2, 3\n"));
}

#[test]
fn one_page_is_made_again_with_the_set_number_of_the_others() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("out");
    make_into(&out);
    let before: Vec<_> = fs::read_dir(&out).expect("made").map(|entry| entry.expect("an entry").file_name()).collect();
    let manifest = fs::read(out.join("made.json")).expect("made");
    spanwright().args(["make", &demo(), "--page", "2.1", "--out"]).arg(&out).assert().code(0);
    let pdf = lopdf::Document::load(out.join("page-2.1-a4.pdf")).expect("a PDF");
    assert_eq!(pdf.get_pages().len(), 1);
    assert_eq!(fs::read(out.join("made.json")).expect("kept"), manifest);
    let after = fs::read_dir(&out).expect("made").count();
    assert_eq!(after, before.len() + 2, "one file for each paper");
    let run = spanwright().args(["make", &demo(), "--page", "77.1", "--out"]).arg(&out).assert().code(2);
    let said = String::from_utf8_lossy(&run.get_output().stderr).into_owned();
    assert!(said.contains("there is no page 77.1; the pages of the pattern are 1.1, 1.2"), "{said}");
}
