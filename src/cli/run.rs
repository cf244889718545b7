//! The commands, each read as parse, check, work, write.

use std::fmt::Display;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::args::{Args, Command, PrinterCommand, Reading};
use super::say;
use crate::build_file::{Build, NewFile, PaperSize, Source, new_file, read, schema, set_outlines, set_rectangles};
use crate::contour::Tracer;
use crate::desk::{Start, serve};
use crate::make::{
    Files, FoundReport, Plan, ProblemReport, failed, find_sheets, one_page, plan, survey, test_cards, trace_pieces,
    write_out,
};
use crate::output::{path_data, replace, save};
use crate::paper::Layout;
use crate::pattern::changed;
use crate::picture::decode;
use crate::printer::Side;
use crate::problem::{Place, Problem, Problems};
use crate::tables;
use crate::taping::{Unusable, judge};
use crate::units::{Length, show};

/// How the program ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// 0.
    Done,
    /// 1: the maker's input needs mending; nothing was written.
    Input,
    /// 2: wrong usage.
    Usage,
    /// 3: the machine failed.
    Machine,
}

impl Exit {
    /// The number for the shell.
    pub const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Input => 1,
            Self::Usage => 2,
            Self::Machine => 3,
        }
    }
}

/// Why a command stops.
enum Stop {
    /// The maker's input, said already.
    Input,
    Usage(String),
    Machine(String),
}

type Outcome = Result<(), Stop>;

fn machine(what: impl Display) -> impl FnOnce(io::Error) -> Stop {
    move |error| Stop::Machine(format!("{what}: {error}"))
}

/// Runs one command.
pub fn run(args: Args) -> Exit {
    let quiet = args.quiet;
    let outcome = match args.command.unwrap_or(Command::Mark { build: None, no_open: false }) {
        Command::New { picture, finished } => new(&picture, finished, quiet),
        Command::Mark { build, no_open } => mark(build.as_deref(), no_open, quiet),
        Command::Check { build, json } => check(&build, json, quiet),
        Command::Make { build, out, page: Some(page), .. } => make_page(&build, out, &page, quiet),
        Command::Make { build, out, height, page: None, json } => make(&build, out, &height, json, quiet),
        Command::Find { build, again, json } => find(&build, again, json, quiet),
        Command::TestCard { build, out } => card(&build, out, quiet),
        Command::Readings { build, readings: all, sheet, paper, json } => {
            readings(&build, &all, sheet, paper.as_deref(), json, quiet)
        }
        Command::Trace { build, piece, again, overlay, json } => {
            trace(&build, piece.as_deref(), again, overlay, json, quiet)
        }
        Command::Printer { about: PrinterCommand::Explain { read, of, paper } } => {
            explain(&read, &of, paper.as_deref())
        }
        Command::Tables { name } => tables_listing(name.as_deref()),
        Command::Schema => print(&format!("{:#}\n", schema())),
        Command::Completions { shell } => completions(shell),
        Command::Man => man(),
    };
    match outcome {
        Ok(()) => Exit::Done,
        Err(Stop::Input) => Exit::Input,
        Err(Stop::Usage(text)) => {
            tell(&format!("error: {text}"));
            Exit::Usage
        }
        Err(Stop::Machine(text)) => {
            tell(&format!("error: {text}"));
            Exit::Machine
        }
    }
}

/// A build file that was read, and where it lies.
struct Opened {
    path: PathBuf,
    /// The name that problems are told under.
    name: String,
    text: String,
    json: bool,
    quiet: bool,
}

/// Files beside the build file.
struct Beside(PathBuf);

impl Files for Beside {
    fn read(&self, name: &str) -> io::Result<Vec<u8>> {
        std::fs::read(self.0.join(name))
    }
}

impl Opened {
    fn open(path: &Path, json: bool, quiet: bool) -> Result<Self, Stop> {
        let bytes = std::fs::read(path).map_err(|error| match error.kind() {
            io::ErrorKind::IsADirectory => {
                Stop::Usage(format!("“{}” is a folder; give a build file, such as staff.toml", path.display()))
            }
            _ => Stop::Usage(format!(
                "“{}” cannot be read: {error}. `spanwright new PICTURE` starts a build file",
                path.display()
            )),
        })?;
        let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let opened = |text| Self { path: path.to_owned(), name, text, json, quiet };
        match String::from_utf8(bytes) {
            Ok(text) => Ok(opened(text)),
            Err(error) => {
                let problem = not_utf8(error.as_bytes(), error.utf8_error().valid_up_to());
                Err(opened(String::new()).refuse(&[problem]))
            }
        }
    }

    fn files(&self) -> Beside {
        Beside(self.path.parent().unwrap_or_else(|| Path::new("")).to_owned())
    }

    fn build(&self) -> Result<(Build, Problems), Stop> {
        let reading = read(&self.text);
        match reading.build {
            Some(build) => Ok((build, reading.problems)),
            None => Err(self.refuse(&reading.problems)),
        }
    }

    fn plan(&self) -> Result<Plan, Stop> {
        let (build, problems) = self.build()?;
        self.plan_of(build, problems)
    }

    fn plan_of(&self, build: Build, problems: Problems) -> Result<Plan, Stop> {
        let whom = for_whom(&build);
        let surveyed = survey(build, problems.clone(), &self.files()).map_err(|errors| {
            let errors = errors.into_iter().map(|error| said_for(error, whom.as_deref()));
            self.refuse(&problems.iter().cloned().chain(errors).collect::<Problems>())
        })?;
        plan(surveyed).map_err(|errors| self.refuse(&errors))
    }

    /// Tells every problem and stops.
    fn refuse(&self, problems: &[Problem]) -> Stop {
        self.say(problems);
        if self.json {
            let _ = print(&format!("{:#}\n", failed(problems, &self.name)));
        }
        Stop::Input
    }

    fn say(&self, problems: &[Problem]) {
        let errors_only = |problem: &&Problem| !self.quiet || problem.level == crate::problem::Level::Error;
        problems.iter().filter(errors_only).for_each(|p| tell(&say::problem(p, &self.name, &self.text)));
    }
}

/// The first byte that is no text, at its place.
fn not_utf8(bytes: &[u8], at: usize) -> Problem {
    let before = String::from_utf8_lossy(&bytes[..at]);
    let last = before.rsplit('\n').next().unwrap_or_default();
    let column = last.trim_start_matches('\u{feff}').chars().count() + 1;
    let place = Place { line: before.matches('\n').count() + 1, column };
    let text = format!(
        "the byte {:02x} here is no UTF-8 text; if this is the build file, save it as UTF-8, else give the build file, \
         such as staff.toml",
        bytes[at]
    );
    Problem::error("not_utf8", text).at(place)
}

fn check(path: &Path, json: bool, quiet: bool) -> Outcome {
    let opened = Opened::open(path, json, quiet)?;
    let plan = opened.plan()?;
    opened.say(&plan.survey.problems);
    if quiet && !json {
        return Ok(());
    }
    if json {
        let mut made = write_out(plan, &opened.name);
        made.manifest.files.clear();
        return print_json(&made.manifest);
    }
    print(&say::survey(&plan))
}

fn make(path: &Path, out: Option<PathBuf>, heights: &[Length], json: bool, quiet: bool) -> Outcome {
    let opened = Opened::open(path, json, quiet)?;
    let (build, problems) = opened.build()?;
    let folder = out.unwrap_or_else(|| output_folder(path));
    let others = for_others(&build, heights)?;
    // All is planned before any is written.
    let plan = opened.plan_of(build, problems)?;
    opened.say(&plan.survey.problems);
    let others: Vec<(PathBuf, Plan)> = others
        .into_iter()
        .map(|(name, build)| {
            let mut other = opened.plan_of(build, Problems::new())?;
            opened.say(&news(&other, &plan.survey.problems));
            other.survey.building.changed = changed(&plan.survey.building, &other.survey.building);
            Ok((folder.join(name), other))
        })
        .collect::<Result<_, Stop>>()?;
    let made = write_out(plan, &opened.name);
    write_all(&folder, &made.files)?;
    let mut lines = Vec::new();
    for (folder, plan) in others {
        let other = say::changed(&plan);
        let made = write_out(plan, &opened.name);
        write_all(&folder, &made.files)?;
        lines.push(format!(
            "{}: {:.0} mm long, in {}.",
            made.manifest.build,
            made.manifest.finished.length_mm,
            folder.display()
        ));
        lines.extend(other);
    }
    if json {
        return print_json(&made.manifest);
    }
    if let Some(document) = made.manifest.documents.first().filter(|_| !quiet) {
        let rest = document.pages.len() - 1;
        let cover = document.pages.iter().find(|page| page.role == "cover").map_or(1, |page| page.page);
        lines.iter().for_each(|line| tell(line));
        tell(&format!(
            "Written to {}. Open {}. Print page {cover} alone at 100 %, measure the frame, then print {}.",
            folder.display(),
            document.file,
            if rest == 1 { "the other page".to_owned() } else { format!("the other {rest} pages") }
        ));
    }
    Ok(())
}

/// One page of the pattern again.
fn make_page(path: &Path, out: Option<PathBuf>, page: &str, quiet: bool) -> Outcome {
    let opened = Opened::open(path, false, quiet)?;
    let plan = opened.plan()?;
    opened.say(&plan.survey.problems);
    let files = one_page(&plan, page).map_err(|names| {
        let names = match names.as_slice() {
            [first, .., last] if names.len() > 12 => format!("{first} to {last}, as the map on the cover shows them"),
            _ => names.join(", "),
        };
        Stop::Usage(format!("there is no page {page}; the pages of the pattern are {names}"))
    })?;
    let folder = out.unwrap_or_else(|| output_folder(path));
    write_beside(
        &folder,
        &files,
        quiet,
        "Print it at 100 %, and see that the set number on it is that of the other pages.",
    )
}

/// Writes files beside what stands in a folder already, and tells what to do with them.
fn write_beside(folder: &Path, files: &[crate::output::OutFile], quiet: bool, next: &str) -> Outcome {
    for file in files {
        let written = std::fs::create_dir_all(folder).and_then(|()| replace(&folder.join(&file.name), &file.bytes));
        written.map_err(machine(format!("“{}” cannot be written", folder.display())))?;
    }
    if !quiet {
        let names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
        tell(&format!("Written to {}: {}. {next}", folder.display(), names.join(", ")));
    }
    Ok(())
}

/// The foam test card, beside what `make` writes.
fn card(path: &Path, out: Option<PathBuf>, quiet: bool) -> Outcome {
    let opened = Opened::open(path, false, quiet)?;
    let (build, problems) = opened.build()?;
    let files = test_cards(&build).map_err(|errors| opened.refuse(&errors))?;
    opened.say(&problems);
    let folder = out.unwrap_or_else(|| output_folder(path));
    write_beside(
        &folder,
        &files,
        quiet,
        "Print it at 100 %, cut it from one batch of foam, and write what you read below its [[foam_at_hand]] as \
             [foam_at_hand.test_card].",
    )
}

/// "for 1500 mm", of a build for another wearer than the marks are for.
fn for_whom(build: &Build) -> Option<String> {
    let height = build.wearer?.height.value;
    (build.ratio != 1.0).then(|| format!("for {}", show(height, build.units)))
}

fn said_for(problem: Problem, whom: Option<&str>) -> Problem {
    match whom {
        Some(whom) => Problem { text: format!("{whom}: {}", problem.text), ..problem },
        None => problem,
    }
}

/// What is to be told of a pattern for another wearer that was not told of the first one.
fn news(plan: &Plan, first: &[Problem]) -> Problems {
    let whom = for_whom(&plan.survey.build);
    let told = |problem: &Problem| first.iter().any(|p| p.code == problem.code && p.place == problem.place);
    let new = plan.survey.problems.iter().filter(|problem| !told(problem));
    new.map(|problem| said_for(problem.clone(), whom.as_deref())).collect()
}

/// The build for every other height that the file or the command names, each with its folder.
fn for_others(build: &Build, heights: &[Length]) -> Result<Vec<(String, Build)>, Stop> {
    /// Of people, in mm.
    const HEIGHTS: std::ops::RangeInclusive<f64> = 500.0..=2500.0;
    let mut all = build.other_heights.clone();
    for height in heights {
        if !HEIGHTS.contains(&height.to_mm()) {
            return Err(Stop::Usage(format!(
                "--height {} mm is not from 500 mm to 2500 mm; write heights like 150cm,160cm",
                height.to_mm()
            )));
        }
        if !all.contains(height) {
            all.push(*height);
        }
    }
    let one = |height: Length| {
        let other = build.for_height(height).ok_or_else(|| {
            Stop::Usage(
                "other heights need to know for whom the marks are: add [wearer] with height = \"168 cm\" to the build file"
                    .to_owned(),
            )
        })?;
        // To a tenth: 5 ft 6 in are 1676.4 mm, and nobody is measured more finely.
        Ok((format!("for-{}-mm", (10.0 * height.to_mm()).round() / 10.0), other))
    };
    all.into_iter().map(one).collect()
}

fn write_all(folder: &Path, files: &[crate::output::OutFile]) -> Outcome {
    let unwritable = format!("the folder “{}” cannot be written", folder.display());
    save(folder, files).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists if folder.is_dir() => Stop::Usage(format!("{unwritable}: {error}")),
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotADirectory => {
            Stop::Usage(format!("{unwritable}: a file is in its place; name another with --out"))
        }
        _ => Stop::Machine(format!("{unwritable}: {error}")),
    })
}

/// Where the products of a build file go unless told otherwise.
fn output_folder(build: &Path) -> PathBuf {
    Path::new("output").join(build.file_stem().unwrap_or_else(|| "build".as_ref()))
}

fn find(path: &Path, again: bool, json: bool, quiet: bool) -> Outcome {
    let opened = Opened::open(path, json, quiet)?;
    let reading = read(&opened.text);
    // What lies in the pictures may be just what tells the size.
    let errors = reading.errors_of_pictures();
    let Some(pictures) = reading.pictures.filter(|_| errors.is_empty()) else { return Err(opened.refuse(&errors)) };
    let mut problems = Problems::new();
    let reports = find_sheets(&pictures, &opened.files(), &mut problems).map_err(|errors| opened.refuse(&errors))?;
    opened.say(&problems);
    let mut text = opened.text.clone();
    for report in reports.iter().filter(|report| !report.marked || again && !report.placed) {
        let found = report.found.iter().filter(|sheet| sheet.in_plane);
        let found: Vec<_> = found.map(FoundReport::rectangle).collect();
        text = set_rectangles(&text, &report.picture, &found).map_err(|problem| opened.refuse(&[problem]))?;
    }
    if text != opened.text {
        replace(path, text.as_bytes()).map_err(machine(format!("“{}” cannot be written", path.display())))?;
    }
    if json {
        let problems: Vec<ProblemReport> = problems.iter().map(|p| ProblemReport::new(p, &opened.name)).collect();
        return print_json(&serde_json::json!({ "version": 1, "pictures": reports, "problems": problems }));
    }
    if !quiet {
        reports.iter().flat_map(|report| say::found(report, again)).for_each(|line| tell(&line));
        if pictures.is_empty() {
            tell("The build file names no picture, so there is nothing to look at.");
        }
    }
    Ok(())
}

fn explain(read: &[Length], of: &[Length], paper: Option<&str>) -> Outcome {
    if of.len() < read.len() || of.iter().chain(read).any(|length| length.to_mm() < 10.0) {
        return Err(Stop::Usage(
            "give each side as it was read and as it should be, both from 10 mm on: spanwright printer explain 173.9 231.9 \
             --of 180,240"
                .to_owned(),
        ));
    }
    let paper = paper.map(PaperSize::named).transpose().map_err(Stop::Usage)?;
    let sides: Vec<Side> =
        read.iter().zip(of).map(|(read, of)| Side { should_be: of.to_mm(), read: read.to_mm() }).collect();
    print(&say::causes(&sides, &crate::printer::explain(&sides, paper.as_ref())))
}

fn readings(path: &Path, all: &[Reading], sheet: usize, paper: Option<&str>, json: bool, quiet: bool) -> Outcome {
    let opened = Opened::open(path, json, quiet)?;
    let plan = opened.plan()?;
    let papers = || plan.layouts.iter().flat_map(|layout| &layout.core.papers).map(|paper| paper.name.as_str());
    let asked = paper.map(|name| PaperSize::named(name).map_or_else(|_| name.to_owned(), |paper| paper.name));
    let on = |layout: &Layout| layout.core.papers.iter().any(|p| asked.as_ref().is_none_or(|name| p.name == *name));
    let Some(index) = plan.layouts.iter().position(on) else {
        let names: Vec<&str> = papers().collect();
        let asked = paper.unwrap_or_default();
        return Err(Stop::Usage(format!("the build is not made for {asked}; it is for {}", names.join(", "))));
    };
    // Sheets are counted on from paper to paper in made.json, and from 1 on the cover of each.
    let (layout, tapings) = (&plan.layouts[index], &plan.tapings[index]);
    let Some(taping) = sheet.checked_sub(1).and_then(|sheet| tapings.get(sheet)?.as_ref()) else {
        let joined = (1..=tapings.len()).filter(|sheet| tapings[sheet - 1].is_some());
        let joined: Vec<String> = joined.map(|sheet| sheet.to_string()).collect();
        return Err(Stop::Usage(match joined.as_slice() {
            [] => format!("sheet {sheet} is one page, as all are here: nothing is taped, so there is nothing to judge"),
            _ => format!("sheet {sheet} is not taped of several pages; those that are: {}", joined.join(", ")),
        }));
    };
    let first = layout.tiles.iter().filter(|tile| tile.sheet + 1 == sheet).map(|tile| tile.strip).min().unwrap_or(1);
    let read: Vec<_> = all.iter().map(|typed| typed.reading).collect();
    let verdict = judge(&taping.joining, first, &read).map_err(|why| {
        Stop::Usage(match why {
            Unusable::NoMark(number) => {
                let marks = layout.sheets[sheet - 1].marks.len();
                format!("there is no mark {number} on sheet {sheet}; its marks are 1 to {marks}")
            }
            Unusable::Impossible(index, should_be) => format!(
                "“{}” cannot be: it should be {should_be:.1} mm, and no bad join is off by so much; read it again and give it in mm \
                 or with its unit, and see that no page is missing or lies in another's place",
                all[index].text
            ),
            Unusable::Differ(former, index) => format!(
                "“{}” and “{}” are readings of one thing that differ by more than a reading may be off; measure it once more and \
                 give it once",
                all[former].text, all[index].text
            ),
        })
    })?;
    if json {
        return print_json(&serde_json::json!({ "version": 1, "sheet": sheet, "verdict": verdict }));
    }
    print(&say::verdict(&verdict))
}

fn trace(path: &Path, only: Option<&str>, again: bool, overlay: bool, json: bool, quiet: bool) -> Outcome {
    let opened = Opened::open(path, json, quiet)?;
    let (build, mut problems) = opened.build()?;
    if let Some(name) = only
        && !build.pieces.iter().any(|piece| piece.name.value == name)
    {
        let names: Vec<&str> = build.pieces.iter().map(|piece| piece.name.value.as_str()).collect();
        return Err(Stop::Usage(format!("there is no piece “{name}”; the pieces are {}", names.join(", "))));
    }
    let wanted = |piece: &crate::build_file::PieceSpec| {
        only.is_none_or(|name| piece.name.value == name)
            && match piece.source.value {
                Source::Trace(_) => true,
                // One that tells nothing of tracing may have been drawn; asked for by its name, it is meant.
                Source::Outline(_) => again && (piece.trace.is_some() || only.is_some() && piece.picture.is_some()),
                _ => false,
            }
    };
    let mut notes = Problems::new();
    let (reports, overlays) =
        trace_pieces(&build, &opened.files(), &wanted, overlay, &mut notes).map_err(|errors| opened.refuse(&errors))?;
    problems.extend(notes);
    opened.say(&problems);
    let outlines: Vec<(usize, String)> =
        reports.iter().map(|report| (report.index, path_data(report.outline.raw()))).collect();
    let folder = output_folder(path);
    for file in &overlays {
        let written = std::fs::create_dir_all(&folder).and_then(|()| replace(&folder.join(&file.name), &file.bytes));
        written.map_err(machine(format!("“{}” cannot be written", folder.display())))?;
    }
    if !outlines.is_empty() {
        let text = set_outlines(&opened.text, &outlines).map_err(|problem| opened.refuse(&[problem]))?;
        replace(path, text.as_bytes()).map_err(machine(format!("“{}” cannot be written", path.display())))?;
    }
    if json {
        let problems: Vec<ProblemReport> = problems.iter().map(|p| ProblemReport::new(p, &opened.name)).collect();
        return print_json(&serde_json::json!({ "version": 1, "pieces": reports, "problems": problems }));
    }
    if quiet {
        return Ok(());
    }
    for report in &reports {
        let strays = if report.rms_px.is_nan() {
            "nothing known of how far its edge strays".to_owned()
        } else {
            format!("{:.2} px rms, {:.2} px at worst", report.rms_px, report.worst_px)
        };
        tell(&format!(
            "{}: {}{} nodes, {} corners, {strays}, {} light",
            report.name,
            match report.openings {
                0 => String::new(),
                1 => "1 opening, ".to_owned(),
                n => format!("{n} openings, "),
            },
            report.nodes,
            report.corners,
            report.light
        ));
    }
    for file in &overlays {
        tell(&format!("Outlines on their picture: {}", folder.join(&file.name).display()));
    }
    if reports.is_empty() {
        tell(
            "Nothing to trace: every piece has its outline. `--again` traces anew what has a trace key, and with \
             `--piece` the one that is named.",
        );
    }
    Ok(())
}

fn new(picture: &Path, finished: Option<Length>, quiet: bool) -> Outcome {
    let bytes = std::fs::read(picture)
        .map_err(|error| Stop::Usage(format!("“{}” cannot be read: {error}", picture.display())))?;
    let input = |text: String| {
        tell(&format!("error: {text}"));
        Stop::Input
    };
    let (decoded, notes) = decode(&bytes).map_err(|error| input(format!("{}: {error}", picture.display())))?;
    notes.iter().filter(|_| !quiet).for_each(|note| tell(&note.text));
    let mut options = NewFile { finished, pieces: Vec::new() };
    if finished.is_some() {
        let found = Tracer::new(&decoded, None)
            .islands()
            .map_err(|problem| input(format!("{}: {}", picture.display(), problem.text)))?;
        options.pieces =
            found.into_iter().enumerate().map(|(i, traced)| (format!("piece {}", i + 1), traced.inside)).collect();
    }
    let file = picture.with_extension("toml");
    let name = picture.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let text = new_file(&name, decoded.size(), &options);
    let mut created =
        std::fs::OpenOptions::new().write(true).create_new(true).open(&file).map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => {
                input(format!("“{}” is there already and stays as it is; move it away first", file.display()))
            }
            _ => Stop::Machine(format!("“{}” cannot be written: {error}", file.display())),
        })?;
    created.write_all(text.as_bytes()).map_err(machine(format!("“{}” cannot be written", file.display())))?;
    if !quiet {
        if options.pieces.len() > 1 {
            tell(&format!(
                "{} shapes stand on the ground; take out the pieces that do not belong to the prop, because the \
                 finished length goes across all of them",
                options.pieces.len()
            ));
        }
        let next = if finished.is_some() { "make" } else { "check" };
        let typed = typed(&file);
        tell(&format!("Written: {}. Look through it, then: spanwright {next} {typed}", file.display()));
    }
    Ok(())
}

/// A path as it is typed in a shell.
fn typed(path: &Path) -> String {
    let name = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/\\._-".contains(c);
    if name.chars().all(plain) && !name.starts_with('-') { name } else { format!("'{}'", name.replace('\'', "'\\''")) }
}

fn mark(build: Option<&Path>, no_open: bool, quiet: bool) -> Outcome {
    let here = build.unwrap_or_else(|| Path::new("."));
    if here.is_file() && here.extension().is_none_or(|ending| ending != "toml") {
        return Err(Stop::Usage(format!(
            "“{}” is no build file, whose name ends with .toml; to begin with a picture: spanwright mark, and choose it there",
            here.display()
        )));
    }
    let (folder, file) = if here.is_dir() {
        (here.to_owned(), None)
    } else {
        // Read here first, so that what is wrong with it is told as by every command.
        Opened::open(here, false, quiet)?;
        let folder = here.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
        (folder.to_owned(), here.file_name().map(|name| name.to_string_lossy().into_owned()))
    };
    let start = Start { folder, file, outputs: PathBuf::from("output") };
    let opened = |address: &str| {
        tell(&format!("The marking page: {address}"));
        tell("It opens once, in one browser, on this machine. Ctrl-C ends it; every step is saved as it is made.");
        if !no_open && !open_browser(address) {
            tell("No browser could be opened: open the address by hand.");
        }
    };
    serve(&start, opened).map_err(machine("the marking page cannot be served"))
}

/// Hands an address to whatever opens addresses here. Whether there is such a thing.
fn open_browser(address: &str) -> bool {
    use std::process::{Command, Stdio};
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    let mut command = Command::new(program);
    command.args(before).arg(address).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().is_ok()
}

fn tables_listing(name: Option<&str>) -> Outcome {
    match name {
        None => print(&format!("{}\n", tables::names().collect::<Vec<_>>().join("\n"))),
        Some(name) => match tables::listing(name) {
            Some(listing) => print(&listing),
            None => Err(Stop::Usage(format!(
                "there is no table “{name}”; the tables are {}",
                tables::names().collect::<Vec<_>>().join(", ")
            ))),
        },
    }
}

fn completions(shell: clap_complete::Shell) -> Outcome {
    let mut out = Vec::new();
    clap_complete::generate(shell, &mut <Args as clap::CommandFactory>::command(), "spanwright", &mut out);
    print(&String::from_utf8_lossy(&out))
}

fn man() -> Outcome {
    let mut out = Vec::new();
    clap_mangen::Man::new(<Args as clap::CommandFactory>::command())
        .render(&mut out)
        .map_err(machine("the manual cannot be written"))?;
    print(&String::from_utf8_lossy(&out))
}

fn print_json(value: &impl serde::Serialize) -> Outcome {
    print(&(serde_json::to_string_pretty(value).expect("plain values") + "\n"))
}

/// To standard output. A reader that went away is no failure of ours.
fn print(text: &str) -> Outcome {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Stop::Machine(format!("standard output cannot be written: {error}")))
        }
        _ => Ok(()),
    }
}

/// To standard error.
fn tell(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}
