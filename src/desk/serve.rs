//! Questions of the page → answers.

use std::collections::HashMap;
use std::io;
use std::net::Ipv4Addr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::time::{Duration, SystemTime};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Path as Way, Query, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use kurbo::BezPath;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value as Json, json};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};

use super::door::{Door, Shut};
use super::shown::{Shown, plain_path, shown};
use super::tiles::{Pyramid, TILE};
use super::work::{Refusal, Work, version};
use crate::build_file::{Change, NewFile, as_json, new_file, read, set_outlines, set_rectangles, two_lengths};
use crate::contour::loop_through;
use crate::make::{Files, find_sheets, plan, survey, trace_pieces, write_out};
use crate::output::{path_data, remove_half_written, save};
use crate::picture::decode;
use crate::problem::Problems;
use crate::shape::{NodeWork, work_nodes};
use crate::space::{Pixels, Point};
use crate::tables;
use crate::units::Length;

/// What the page is opened on.
#[derive(Clone, Debug)]
pub struct Start {
    /// The folder whose build files and pictures can be opened.
    pub folder: PathBuf,
    /// A build file in it, to begin with.
    pub file: Option<String>,
    /// Where `make` writes: a folder for each build file in this one.
    pub outputs: PathBuf,
}

/// Bytes that a question may bring: changes, and a picture that was dropped.
const MOST_SAID: usize = 2 << 20;
const MOST_PICTURE: usize = 256 << 20;
/// Whoever brings more slowly than this is not waited for.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long a question for news is kept before it is told that there are none.
const NEWS_WAIT: Duration = Duration::from_secs(20);
/// How often the disk is looked at for what others write.
const LOOK: Duration = Duration::from_millis(700);
/// Whoever takes longer than this to say what is asked is not waited for.
const HEAD_PATIENCE: Duration = Duration::from_secs(4);
/// Connections at once.
const MOST_CONNECTIONS: usize = 600;
/// Pictures kept in memory.
const MOST_PICTURES: usize = 6;
/// Width of a straightened view in pixels.
const STRAIGHT_WIDE: u32 = 480;
/// How far lines and cubics may keep from a way along edges, in pixels.
const WAY_WITHIN: f64 = 0.4;
/// A node moves onto an edge no farther away, in pixels.
const SNAP_WITHIN: f64 = 10.0;
const CHANGED_OUTSIDE: &str = "The build file was changed outside of this page; what stands here is what it says now.";
const PICTURES: [&str; 9] = ["png", "jpg", "jpeg", "webp", "gif", "bmp", "tif", "tiff", "jfif"];

/// Serves the page on a free port of this machine until Ctrl-C; `opened` is told its address once it can be asked.
///
/// # Errors
/// No port, a folder that cannot be listed, or a build file that cannot be read.
pub fn serve(start: &Start, opened: impl FnOnce(&str)) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
        let desk = Desk::new(start, listener.local_addr()?.port())?;
        let worker = Arc::clone(&desk);
        std::thread::spawn(move || worker.keep_shown());
        tokio::spawn(look_at_the_disk(Arc::clone(&desk)));
        opened(&desk.door.address());
        tokio::select! {
            () = accept(listener, router(Arc::clone(&desk))) => {}
            _ = tokio::signal::ctrl_c() => {}
        }
        Ok::<(), io::Error>(())
    })?;
    // What still runs ends with the program; no file is ever half written.
    runtime.shutdown_background();
    Ok(())
}

async fn accept(listener: TcpListener, router: Router) {
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let Ok(permit) = Arc::clone(&room).acquire_owned().await else { return };
        let Ok((stream, _)) = listener.accept().await else { continue };
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut http = hyper::server::conn::http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(HEAD_PATIENCE);
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(permit);
        });
    }
}

fn router(desk: Arc<Desk>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/page/{file}", get(asset))
        .route("/news", get(news))
        .route("/tile/{picture}/{level}/{column}/{row}", get(tile))
        .route("/straightened/{picture}", get(straightened))
        .route("/beside", get(beside))
        .route("/made/{file}", get(made))
        .route("/open", post(open))
        .route("/begin", post(begin))
        .route("/change", post(change))
        .route("/back", post(back))
        .route("/forth", post(forth))
        .route("/find", post(find))
        .route("/trace", post(trace))
        .route("/along", post(along))
        .route("/loop", post(close_loop))
        .route("/length", post(length))
        .route("/sheet", post(sheet))
        .route("/nodes", post(nodes))
        .route("/snap", post(snap))
        .route("/make", post(make))
        .route("/make/stop", post(stop_making))
        .fallback(async || told(StatusCode::NOT_FOUND, "there is nothing here"))
        .layer(from_fn_with_state(Arc::clone(&desk), guard))
        .with_state(desk)
}

/// Nothing is answered but to whom the door is open; whatever is answered stays within this page.
async fn guard(State(desk): State<Arc<Desk>>, request: Request, next: Next) -> Response {
    const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; \
                          connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
    let entering = request.uri().path() == "/" && request.uri().query().is_some_and(|query| query.starts_with("key="));
    let open = match desk.door.open(request.method(), request.headers()) {
        Err(Shut::NoKey) if entering => Ok(()),
        other => other,
    };
    let mut response = match open {
        Ok(()) => next.run(request).await,
        Err(Shut::Foreign) => told(StatusCode::FORBIDDEN, "this address is served to its own page alone"),
        Err(Shut::NoKey) => told(
            StatusCode::FORBIDDEN,
            "Open the whole address that spanwright printed; it opens once. If it was opened already, start spanwright mark again.",
        ),
    };
    let headers = response.headers_mut();
    let fixed = |value: &'static str| HeaderValue::from_static(value);
    // A reader of PDF inside the browser is no page of ours.
    if headers.get(header::CONTENT_TYPE).is_none_or(|kind| kind != "application/pdf") {
        headers.insert(header::CONTENT_SECURITY_POLICY, fixed(POLICY));
    }
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, fixed("nosniff"));
    headers.insert(header::REFERRER_POLICY, fixed("no-referrer"));
    headers.entry(header::CACHE_CONTROL).or_insert(fixed("no-store"));
    headers.insert("cross-origin-resource-policy", fixed("same-origin"));
    headers.insert("cross-origin-opener-policy", fixed("same-origin"));
    response
}

fn told(status: StatusCode, text: impl Into<String>) -> Response {
    (status, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")], text.into()).into_response()
}

fn as_answer(json: &Json) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], json.to_string()).into_response()
}

fn as_png(bytes: Vec<u8>) -> Response {
    // The address names the version, so that a picture never changes under it.
    let headers =
        [(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=31536000, immutable")];
    (headers, bytes).into_response()
}

/// Why a question gets no answer.
enum No {
    Refused(Refusal),
    Told(StatusCode, String),
}

impl IntoResponse for No {
    fn into_response(self) -> Response {
        match self {
            Self::Refused(refusal) => refusal.into_response(),
            Self::Told(status, text) => told(status, text),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let (status, json) = match self {
            Self::Meanwhile(at) => (StatusCode::CONFLICT, json!({ "why": "meanwhile", "at": at })),
            Self::ByHand => (StatusCode::CONFLICT, json!({ "why": "by hand" })),
            Self::Nothing => (StatusCode::CONFLICT, json!({ "why": "nothing" })),
            Self::Unfit(text) => (StatusCode::UNPROCESSABLE_ENTITY, json!({ "why": "unfit", "text": text })),
            Self::Machine(text) => (StatusCode::INSUFFICIENT_STORAGE, json!({ "why": "machine", "text": text })),
        };
        (status, as_answer(&json)).into_response()
    }
}

type Answer = Result<Response, No>;

fn unfit(text: impl Into<String>) -> No {
    No::Refused(Refusal::Unfit(text.into()))
}

fn no(status: StatusCode, text: impl Into<String>) -> No {
    No::Told(status, text.into())
}

fn of_problems(problems: &Problems) -> No {
    let errors = problems.iter().filter(|problem| problem.is_error());
    unfit(errors.map(|problem| problem.text.clone()).collect::<Vec<String>>().join("; "))
}

/// What the page says, read whole or not at all.
async fn said<T: DeserializeOwned>(body: Body) -> Result<T, No> {
    let bytes = bytes(body, MOST_SAID).await?;
    serde_json::from_slice(&bytes).map_err(|error| no(StatusCode::BAD_REQUEST, format!("not understood: {error}")))
}

async fn bytes(body: Body, most: usize) -> Result<axum::body::Bytes, No> {
    match tokio::time::timeout(PATIENCE, to_bytes(body, most)).await {
        Ok(Ok(bytes)) => Ok(bytes),
        Ok(Err(_)) => Err(no(StatusCode::PAYLOAD_TOO_LARGE, format!("more than {} MB are not taken", most >> 20))),
        Err(_) => Err(no(StatusCode::REQUEST_TIMEOUT, "it took too long")),
    }
}

/// Runs what takes its time away from the threads that answer.
async fn aside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, No> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| no(StatusCode::INTERNAL_SERVER_ERROR, "this went wrong inside the program; the file is as it was"))
}

/// All that the server knows.
struct Desk {
    door: Door,
    folder: PathBuf,
    outputs: PathBuf,
    inner: Mutex<Inner>,
    /// Woken when the text has changed.
    changed: Condvar,
    /// Counts what is new.
    news: watch::Sender<u64>,
    stop: AtomicBool,
}

#[derive(Default)]
struct Inner {
    work: Option<Work>,
    shown: Arc<Shown>,
    /// The text that is shown, and what its pictures were then; `None`: nothing is.
    shown_of: Option<(String, Vec<Option<Stamp>>)>,
    /// What the pictures are now.
    stamps: Vec<Option<Stamp>>,
    pictures: HashMap<PathBuf, Kept>,
    making: Json,
    made: Option<PathBuf>,
    notice: Option<String>,
}

/// How long a file is, and when it was written.
type Stamp = (u64, Option<SystemTime>);

/// `None`: there is no such file.
fn stamp(path: &Path) -> Option<Stamp> {
    let data = std::fs::metadata(path).ok()?;
    Some((data.len(), data.modified().ok()))
}

impl Inner {
    /// The open text and its pictures, where they are not what is shown.
    fn to_be_shown(&self) -> Option<(String, Vec<Option<Stamp>>)> {
        let text = &self.work.as_ref()?.text;
        let is_shown = self.shown_of.as_ref().is_some_and(|(shown, stamps)| shown == text && *stamps == self.stamps);
        (!is_shown).then(|| (text.clone(), self.stamps.clone()))
    }
}

/// A picture, and what its file was when it was read.
#[derive(Clone)]
struct Kept {
    stamp: Stamp,
    read: Result<Arc<Pyramid>, String>,
}

/// Files beside a build file, and none outside of its folder.
struct Inside(PathBuf);

impl Inside {
    fn path(&self, name: &str) -> io::Result<PathBuf> {
        let folder = self.0.canonicalize()?;
        let path = folder.join(name).canonicalize()?;
        if path.starts_with(&folder) {
            return Ok(path);
        }
        let text = "it lies outside of the build file's folder, and this page shows nothing from there; move it in";
        Err(io::Error::new(io::ErrorKind::PermissionDenied, text))
    }
}

impl Files for Inside {
    fn read(&self, name: &str) -> io::Result<Vec<u8>> {
        std::fs::read(self.path(name)?)
    }
}

impl Desk {
    fn new(start: &Start, port: u16) -> io::Result<Arc<Self>> {
        let desk = Self {
            door: Door::new(port)?,
            folder: start.folder.clone(),
            outputs: start.outputs.clone(),
            inner: Mutex::new(Inner::default()),
            changed: Condvar::new(),
            news: watch::channel(1).0,
            stop: AtomicBool::new(false),
        };
        if let Some(file) = &start.file {
            desk.open(file).map_err(io::Error::other)?;
        }
        Ok(Arc::new(desk))
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        // What panicked while it held this had changed nothing yet: steps are written in one move.
        self.inner.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn tell(&self) {
        self.news.send_modify(|count| *count += 1);
        self.changed.notify_all();
    }

    fn files(&self) -> Inside {
        Inside(self.folder.clone())
    }

    /// Opens a build file that lies in the folder.
    fn open(&self, name: &str) -> Result<(), String> {
        if !is_plain(name) || !name.ends_with(".toml") {
            return Err(format!("“{name}” is no build file of this folder"));
        }
        let work = Work::open(&self.folder.join(name))?;
        let _ = remove_half_written(&self.folder);
        let mut inner = self.inner();
        *inner = Inner { work: Some(work), pictures: std::mem::take(&mut inner.pictures), ..Inner::default() };
        drop(inner);
        let stamps = self.stamps();
        self.inner().stamps = stamps;
        self.tell();
        Ok(())
    }

    /// Does something with the open build file, and tells everybody.
    fn with_work<T>(&self, what: impl FnOnce(&mut Work) -> Result<T, Refusal>) -> Result<T, No> {
        let mut inner = self.inner();
        inner.notice = None;
        let work = inner.work.as_mut().ok_or_else(|| unfit("no build file is open"))?;
        let done = what(work);
        drop(inner);
        self.tell();
        done.map_err(No::Refused)
    }

    /// The text that is open.
    fn text(&self) -> Result<String, No> {
        self.inner().work.as_ref().map(|work| work.text.clone()).ok_or_else(|| unfit("no build file is open"))
    }

    /// The picture file of this key in the build file.
    fn file_of(&self, picture: &str) -> Option<String> {
        let text = self.inner().work.as_ref()?.text.clone();
        as_json(&text).ok()?["picture"][picture]["file"].as_str().map(str::to_owned)
    }

    /// The picture of this key, read again where its file has changed, and what its file was.
    fn picture(&self, picture: &str) -> Result<Arc<Pyramid>, String> {
        self.stamped_picture(picture).map(|(pyramid, _)| pyramid)
    }

    fn stamped_picture(&self, picture: &str) -> Result<(Arc<Pyramid>, Stamp), String> {
        let file = self.file_of(picture).ok_or_else(|| format!("there is no picture “{picture}”"))?;
        let told = |error: io::Error| format!("{file} cannot be read: {error}");
        let path = self.files().path(&file).map_err(told)?;
        let stamp = stamp(&path).ok_or_else(|| told(io::ErrorKind::NotFound.into()))?;
        if let Some(kept) = self.inner().pictures.get(&path).filter(|kept| kept.stamp == stamp) {
            return kept.read.clone().map(|pyramid| (pyramid, stamp));
        }
        let bytes = std::fs::read(&path).map_err(told)?;
        let read = decode(&bytes).map_err(|error| format!("{file}: {error}"));
        let read = read.map(|(picture, _)| Arc::new(Pyramid::new(picture)));
        let mut inner = self.inner();
        if inner.pictures.len() >= MOST_PICTURES {
            inner.pictures.clear();
        }
        inner.pictures.insert(path, Kept { stamp, read: read.clone() });
        read.map(|pyramid| (pyramid, stamp))
    }

    /// What the files of all pictures are now.
    fn stamps(&self) -> Vec<Option<Stamp>> {
        let doc = self.inner().work.as_ref().and_then(|work| as_json(&work.text).ok()).unwrap_or_default();
        let files = doc["picture"].as_object().into_iter().flatten().filter_map(|(_, spec)| spec["file"].as_str());
        files.map(|file| stamp(&self.files().path(file).ok()?)).collect()
    }

    /// Keeps what is shown up to the text, in a thread of its own.
    fn keep_shown(&self) {
        loop {
            let mut inner = self.inner();
            let (text, stamps) = loop {
                match inner.to_be_shown() {
                    Some(wanted) => break wanted,
                    None => inner = self.changed.wait(inner).unwrap_or_else(std::sync::PoisonError::into_inner),
                }
            };
            drop(inner);
            let files = self.files();
            let found = std::panic::catch_unwind(|| shown(&text, &files)).unwrap_or_else(|_| Shown {
                json: json!({ "problems": [{ "level": "error", "text": "this build makes the program fail; the file is as it was" }] }),
                ..Shown::default()
            });
            let mut inner = self.inner();
            inner.shown = Arc::new(found);
            inner.shown_of = Some((text, stamps));
            drop(inner);
            self.news.send_modify(|count| *count += 1);
        }
    }

    /// All that the page has to know.
    fn state(&self) -> Json {
        let inner = self.inner();
        let seq = *self.news.borrow();
        let open = inner.work.as_ref().map(|work| {
            let (doc, broken) = match as_json(&work.text) {
                Ok(doc) => (doc, None),
                Err(problem) => (Json::Null, Some(problem.text)),
            };
            let outline = |piece: &Json| piece["outline"].as_str().and_then(plain_path);
            let drawn: Vec<Option<String>> = doc["piece"].as_array().into_iter().flatten().map(outline).collect();
            let [past, future] = work.around();
            json!({
                "file": work.name(), "version": version(&work.text), "doc": doc, "broken": broken, "drawn": drawn,
                "past": past, "future": future,
            })
        });
        let working = inner.to_be_shown().is_some();
        let shown_of = inner.shown_of.as_ref().map(|(text, _)| version(text));
        let shown = inner.shown.json.clone();
        let (making, notice) = (inner.making.clone(), inner.notice.clone());
        drop(inner);
        let names: Vec<String> = open
            .iter()
            .filter_map(|open| open["doc"]["picture"].as_object())
            .flat_map(|pictures| pictures.keys().cloned())
            .collect();
        let pictures: serde_json::Map<String, Json> = names.into_iter().map(|name| {
            let told = match self.stamped_picture(&name) {
                Ok((pyramid, stamp)) => json!({
                        "stamp": version(&format!("{stamp:?}")),
                    "width": pyramid.picture.width(), "height": pyramid.picture.height(), "levels": pyramid.levels(), "tile": TILE,
                }),
                Err(why) => json!({ "problem": why }),
            };
            (name, told)
        }).collect();
        json!({
            "seq": seq, "folder": self.listing(), "open": open, "pictures": pictures, "working": working,
            "shown": shown, "shown_of": shown_of, "making": making, "notice": notice,
        })
    }

    fn listing(&self) -> Json {
        let entries = std::fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let mut names: Vec<String> = entries.filter_map(|entry| entry.file_name().into_string().ok()).collect();
        names.sort();
        let ending = |name: &str| name.rsplit_once('.').map(|(_, ending)| ending.to_lowercase()).unwrap_or_default();
        let of = |wanted: &[&str]| -> Vec<String> {
            names
                .iter()
                .filter(|name| wanted.contains(&ending(name).as_str()) && !name.starts_with('.'))
                .cloned()
                .collect()
        };
        let folder = self.folder.canonicalize().unwrap_or_else(|_| self.folder.clone());
        let name =
            folder.file_name().map_or_else(|| folder.display().to_string(), |name| name.to_string_lossy().into_owned());
        json!({ "name": name, "builds": of(&["toml"]), "pictures": of(&PICTURES) })
    }
}

/// The name of a file, and no way to another folder.
fn is_plain(name: &str) -> bool {
    Path::new(name).file_name() == Some(name.as_ref()) && !name.starts_with('.') && !name.contains(['/', '\\', '\0'])
}

/// Notices what others write into the build file.
async fn look_at_the_disk(desk: Arc<Desk>) {
    let mut ticks = tokio::time::interval(LOOK);
    loop {
        ticks.tick().await;
        let stamps = desk.stamps();
        let mut inner = desk.inner();
        if inner.stamps != stamps {
            // Pictures have come, gone or changed: what is shown rests on them.
            inner.stamps = stamps;
            desk.tell();
        }
        let Some(work) = inner.work.as_mut() else { continue };
        let (notice, changed) = match work.take_in() {
            Ok(false) if inner.notice.as_ref().is_some_and(|notice| notice.starts_with('“')) => (None, true),
            Ok(false) => continue,
            Ok(true) => (Some(CHANGED_OUTSIDE.to_owned()), true),
            Err(Refusal::Machine(text)) => (Some(text), false),
            Err(_) => continue,
        };
        if changed || inner.notice != notice {
            inner.notice = notice;
            drop(inner);
            desk.tell();
        }
    }
}

#[derive(Deserialize)]
struct Entering {
    key: Option<String>,
}

async fn page(State(desk): State<Arc<Desk>>, Query(entering): Query<Entering>) -> Response {
    match entering.key {
        Some(key) => match desk.door.enter(&key) {
            Some(cookie) => ([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response(),
            // Whoever has the cookie already needs no key.
            None => Redirect::to("/").into_response(),
        },
        None => asset(Way("index.html".to_owned())).await,
    }
}

async fn asset(Way(file): Way<String>) -> Response {
    const ASSETS: [(&str, &str, &str); 14] = [
        ("index.html", "text/html; charset=utf-8", include_str!("page/index.html")),
        ("style.css", "text/css; charset=utf-8", include_str!("page/style.css")),
        ("main.js", "text/javascript", include_str!("page/main.js")),
        ("server.js", "text/javascript", include_str!("page/server.js")),
        ("view.js", "text/javascript", include_str!("page/view.js")),
        ("marks.js", "text/javascript", include_str!("page/marks.js")),
        ("placing.js", "text/javascript", include_str!("page/placing.js")),
        ("outline.js", "text/javascript", include_str!("page/outline.js")),
        ("sections.js", "text/javascript", include_str!("page/sections.js")),
        ("beginning.js", "text/javascript", include_str!("page/beginning.js")),
        ("dom.js", "text/javascript", include_str!("page/dom.js")),
        ("words.js", "text/javascript", include_str!("page/words.js")),
        ("icon.svg", "image/svg+xml", include_str!("page/icon.svg")),
        ("doc.js", "text/javascript", include_str!("page/doc.js")),
    ];
    let fonts = [("regular.ttf", dejavu::sans::regular()), ("bold.ttf", dejavu::sans::bold())];
    if let Some((_, font)) = fonts.into_iter().find(|(name, _)| *name == file) {
        return ([(header::CONTENT_TYPE, "font/ttf")], font).into_response();
    }
    match ASSETS.into_iter().find(|(name, ..)| *name == file) {
        Some((_, kind, text)) => ([(header::CONTENT_TYPE, kind)], text).into_response(),
        None => told(StatusCode::NOT_FOUND, "there is nothing here"),
    }
}

#[derive(Deserialize)]
struct After {
    #[serde(default)]
    after: u64,
}

async fn news(State(desk): State<Arc<Desk>>, Query(After { after }): Query<After>) -> Answer {
    let mut waiting = desk.news.subscribe();
    let _ = tokio::time::timeout(NEWS_WAIT, waiting.wait_for(|count| *count > after)).await;
    let state = aside(move || desk.state()).await?;
    Ok(as_answer(&state))
}

async fn tile(
    State(desk): State<Arc<Desk>>,
    Way((picture, level, column, row)): Way<(String, usize, u32, u32)>,
) -> Answer {
    let tile = aside(move || desk.picture(&picture).map(|pyramid| pyramid.tile(level, column, row))).await?;
    match tile {
        Ok(Some(png)) => Ok(as_png(png)),
        Ok(None) => Err(no(StatusCode::NOT_FOUND, "the picture does not reach there")),
        Err(why) => Err(no(StatusCode::NOT_FOUND, why)),
    }
}

async fn straightened(State(desk): State<Arc<Desk>>, Way(name): Way<String>) -> Answer {
    let png = aside(move || {
        let shown = Arc::clone(&desk.inner().shown);
        let straight = shown.straight.iter().find(|straight| straight.picture == name)?;
        desk.picture(&name).ok()?.straightened(&straight.map, straight.reach, STRAIGHT_WIDE)
    })
    .await?;
    png.map(as_png).ok_or_else(|| no(StatusCode::NOT_FOUND, "nothing is straightened yet"))
}

async fn beside(State(desk): State<Arc<Desk>>) -> Answer {
    let shown = Arc::clone(&desk.inner().shown);
    shown.beside.clone().map(as_png).ok_or_else(|| no(StatusCode::NOT_FOUND, "nothing has a size yet"))
}

async fn made(State(desk): State<Arc<Desk>>, Way(file): Way<String>) -> Answer {
    let none = || no(StatusCode::NOT_FOUND, "there is no such file");
    let folder = desk.inner().made.clone().filter(|_| is_plain(&file)).ok_or_else(none)?;
    let kind = match file.rsplit('.').next() {
        Some("pdf") => "application/pdf",
        Some("png") => "image/png",
        Some("json") => "application/json",
        _ => "text/plain; charset=utf-8",
    };
    let bytes = aside(move || std::fs::read(folder.join(file))).await?.map_err(|_| none())?;
    Ok(([(header::CONTENT_TYPE, kind)], bytes).into_response())
}

#[derive(Deserialize)]
struct Named {
    name: String,
}

async fn open(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Named { name } = said(body).await?;
    aside(move || desk.open(&name)).await?.map_err(unfit)?;
    Ok(as_answer(&json!({})))
}

/// A picture that was dropped, or one of the folder where nothing is brought, begins a build file.
async fn begin(State(desk): State<Arc<Desk>>, Query(Named { name }): Query<Named>, body: Body) -> Answer {
    let bytes = bytes(body, MOST_PICTURE).await?;
    aside(move || desk.begin(&name, &bytes)).await?.map_err(unfit)?;
    Ok(as_answer(&json!({})))
}

impl Desk {
    fn begin(&self, name: &str, bytes: &[u8]) -> Result<(), String> {
        let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
        if !is_plain(name) || stem.is_empty() || !PICTURES.contains(&ending.to_lowercase().as_str()) {
            return Err(format!(
                "“{name}” is no picture that can be read; use a PNG, JPEG, WebP, TIFF, BMP or GIF file"
            ));
        }
        let here = std::fs::read(self.folder.join(name)).ok();
        let brought = if bytes.is_empty() { here.clone().unwrap_or_default() } else { bytes.to_vec() };
        let (picture, _) = decode(&brought).map_err(|error| format!("{name}: {error}"))?;
        // Neither a picture nor a build file of that name is ever written over.
        let free = |number: usize| {
            let name = if number == 1 { stem.to_owned() } else { format!("{stem}-{number}") };
            let file = format!("{name}.{ending}");
            let taken = self.folder.join(format!("{name}.toml")).exists()
                || self.folder.join(&file).exists() && !(number == 1 && here.as_deref() == Some(&brought));
            (!taken).then_some((name, file))
        };
        let (stem, file) = (1..1000).find_map(free).ok_or("this folder has too many files of that name")?;
        let put = |name: &str, bytes: &[u8]| {
            crate::output::replace(&self.folder.join(name), bytes)
                .map_err(|error| format!("{name} cannot be written: {error}"))
        };
        if !self.folder.join(&file).exists() {
            put(&file, &brought)?;
        }
        let text = new_file(&file, picture.size(), &NewFile::default());
        put(&format!("{stem}.toml"), text.as_bytes())?;
        self.open(&format!("{stem}.toml"))
    }
}

#[derive(Deserialize)]
struct Changes {
    version: String,
    done: String,
    changes: Vec<Change>,
}

async fn change(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Changes { version: of, done, changes } = said(body).await?;
    let now = aside(move || desk.with_work(|work| work.change(&of, &done, &changes).map(|()| version(&work.text))));
    Ok(as_answer(&json!({ "version": now.await?? })))
}

#[derive(Deserialize)]
struct Back {
    #[serde(default)]
    by_hand_too: bool,
}

async fn back(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Back { by_hand_too } = said(body).await?;
    aside(move || desk.with_work(|work| work.back(by_hand_too))).await??;
    Ok(as_answer(&json!({})))
}

async fn forth(State(desk): State<Arc<Desk>>) -> Answer {
    aside(move || desk.with_work(Work::forth)).await??;
    Ok(as_answer(&json!({})))
}

/// Sheets and cards of one picture, written into the build file.
async fn find(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Named { name } = said(body).await?;
    let answer = aside(move || {
        let text = desk.text()?;
        let reading = read(&text);
        let Some(pictures) = &reading.pictures else { return Err(of_problems(&reading.problems)) };
        let wanted: Vec<_> = pictures.iter().filter(|spec| spec.name.value == name).cloned().collect();
        let mut notes = Problems::new();
        let reports = find_sheets(&wanted, &desk.files(), &mut notes).map_err(|errors| of_problems(&errors))?;
        let notes: Vec<String> = notes.into_iter().map(|note| note.text).collect();
        let Some(report) = reports.first().filter(|report| !report.found.is_empty()) else {
            return Ok(json!({ "found": 0, "notes": notes }));
        };
        if report.placed {
            return Err(unfit("the rectangle that is marked has places of its own, so it is kept as it is"));
        }
        let found: Vec<_> = report.found.iter().filter(|found| found.in_plane).map(|found| found.rectangle()).collect();
        let names: Vec<&str> = report.found.iter().map(|found| found.size).collect();
        let written = set_rectangles(&text, &name, &found).map_err(|problem| unfit(problem.text))?;
        desk.with_work(|work| {
            work.take_in()?;
            if work.text != text {
                return Err(Refusal::Meanwhile(Vec::new()));
            }
            work.put(&format!("found {}", names.join(", ")), written)
        })?;
        Ok(json!({ "found": names.len(), "names": names, "notes": notes }))
    });
    Ok(as_answer(&answer.await??))
}

#[derive(Deserialize)]
struct Piece {
    index: usize,
}

/// Traces one piece and writes its outline.
async fn trace(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Piece { index } = said(body).await?;
    let answer = aside(move || {
        let text = desk.text()?;
        let reading = read(&text);
        let Some(build) = reading.build else { return Err(of_problems(&reading.problems)) };
        let mut notes = Problems::new();
        let (reports, _) = trace_pieces(&build, &desk.files(), &|piece| piece.index == index, false, &mut notes)
            .map_err(|errors| of_problems(&errors))?;
        let notes: Vec<String> = notes.into_iter().map(|note| note.text).collect();
        let Some(report) = reports.first() else { return Err(unfit("there is no such piece")) };
        let written =
            set_outlines(&text, &[(index, path_data(report.outline.raw()))]).map_err(|problem| unfit(problem.text))?;
        let done = format!("traced {}", report.name);
        desk.with_work(|work| {
            work.take_in()?;
            if work.text != text {
                return Err(Refusal::Meanwhile(Vec::new()));
            }
            work.put(&done, written)
        })?;
        Ok(json!({ "notes": notes, "nodes": report.nodes, "corners": report.corners }))
    });
    Ok(as_answer(&answer.await??))
}

#[derive(Deserialize)]
struct Along {
    picture: String,
    from: [f64; 2],
    to: [f64; 2],
}

/// The way along an edge between two places.
async fn along(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Along { picture, from, to } = said(body).await?;
    let way = aside(move || {
        let pyramid = desk.picture(&picture)?;
        let places = pyramid.follower.along(from.into(), to.into());
        Ok::<_, String>(places.iter().map(|p| [tidy(p.x), tidy(p.y)]).collect::<Vec<_>>())
    });
    Ok(as_answer(&json!({ "places": way.await?.map_err(unfit)? })))
}

fn tidy(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

#[derive(Deserialize)]
struct Typed {
    text: String,
}

/// Whether a text is a length.
async fn length(body: Body) -> Answer {
    let Typed { text } = said(body).await?;
    let length = Length::parse(&text).map_err(|error| unfit(error.to_string()))?;
    if length.to_mm() <= 0.0 {
        return Err(unfit(format!("“{text}” is no length; write more than nothing, such as 140 mm")));
    }
    Ok(as_answer(&json!({ "mm": length.to_mm() })))
}

/// The size of a sheet or card as the build file writes it, from its name or from its two sides in words.
async fn sheet(body: Body) -> Answer {
    let Typed { text } = said(body).await?;
    let text = text.trim();
    if text == "unknown" || tables::rectangle(text).is_some() {
        return Ok(as_answer(&json!({ "size": text })));
    }
    let none = || {
        unfit(format!(
            "there is no sheet or card “{text}”; write A4, Letter, ID-1, or its two sides such as 297 mm x 210 mm"
        ))
    };
    let sides = two_lengths(text).ok_or_else(none)?.map_err(unfit)?;
    if let Some(side) = sides.iter().find(|side| !(5.0..=10_000.0).contains(&side.to_mm())) {
        return Err(unfit(format!("a side of {} mm is none of a sheet; it is 5 mm to 10 m long", side.to_mm())));
    }
    let sides = sides.map(|side| format!("{} mm", side.to_mm()));
    Ok(as_answer(&json!({ "size": sides })))
}

#[derive(Deserialize)]
struct Place {
    picture: String,
    at: [f64; 2],
}

/// The place on the edge nearby.
async fn snap(State(desk): State<Arc<Desk>>, body: Body) -> Answer {
    let Place { picture, at } = said(body).await?;
    let place = aside(move || {
        let place = desk.picture(&picture)?.follower.onto_edge(at.into(), SNAP_WITHIN);
        Ok::<_, String>([tidy(place.x), tidy(place.y)])
    });
    Ok(as_answer(&json!({ "place": place.await?.map_err(unfit)? })))
}

#[derive(Deserialize)]
struct OnNodes {
    path: String,
    other: Option<String>,
    what: NodeWork,
    nodes: Vec<[usize; 2]>,
}

async fn nodes(body: Body) -> Answer {
    let OnNodes { path, other, what, nodes } = said(body).await?;
    let read =
        |text: &str| BezPath::from_svg(text).map_err(|error| unfit(format!("the outline cannot be read: {error}")));
    let other = other.as_deref().map(read).transpose()?;
    let paths = work_nodes(&read(&path)?, what, &nodes, other.as_ref()).map_err(unfit)?;
    Ok(as_answer(&json!({ "paths": paths.iter().map(path_data).collect::<Vec<String>>() })))
}

#[derive(Deserialize)]
struct Places {
    places: Vec<[f64; 2]>,
}

/// A smooth closed outline through places of a way.
async fn close_loop(body: Body) -> Answer {
    let Places { places } = said(body).await?;
    if places.len() < 3 || places.iter().flatten().any(|number| !number.is_finite()) {
        return Err(unfit("an outline takes at least three places"));
    }
    let path = aside(move || {
        let places: Vec<Point<Pixels>> = places.into_iter().map(Into::into).collect();
        path_data(loop_through(&places, WAY_WITHIN).raw())
    });
    let path = path.await?;
    if path.is_empty() {
        return Err(unfit("an outline takes at least three places that lie apart"));
    }
    Ok(as_answer(&json!({ "path": path })))
}

async fn make(State(desk): State<Arc<Desk>>) -> Answer {
    let text = desk.text()?;
    {
        let mut inner = desk.inner();
        if inner.making["state"] == "running" {
            return Err(unfit("it is being made already"));
        }
        inner.making = json!({ "state": "running", "step": "measuring and tracing" });
    }
    desk.stop.store(false, Ordering::Relaxed);
    desk.tell();
    tokio::task::spawn_blocking(move || desk.make(&text));
    Ok(as_answer(&json!({})))
}

async fn stop_making(State(desk): State<Arc<Desk>>) -> Answer {
    desk.stop.store(true, Ordering::Relaxed);
    Ok(as_answer(&json!({})))
}

impl Desk {
    /// Makes the pattern of `text`; between its steps it can be stopped, and then nothing is written.
    fn make(&self, text: &str) {
        let run = || -> Result<Json, Json> {
            let failed = |text: String| json!({ "state": "failed", "text": text });
            let of_errors =
                |errors: Problems| failed(errors.iter().map(|e| e.text.clone()).collect::<Vec<_>>().join("; "));
            let step = |step: &str| {
                if self.stop.load(Ordering::Relaxed) {
                    return Err(json!({ "state": "stopped" }));
                }
                self.inner().making = json!({ "state": "running", "step": step });
                self.tell();
                Ok(())
            };
            let name = self.inner().work.as_ref().map(Work::name).unwrap_or_default();
            let reading = read(text);
            let Some(build) = reading.build else {
                let errors = reading.problems.into_iter().filter(|problem| problem.is_error());
                return Err(of_errors(errors.collect()));
            };
            let surveyed = survey(build, reading.problems, &self.files()).map_err(of_errors)?;
            step("laying out the pages")?;
            let planned = plan(surveyed).map_err(of_errors)?;
            step("drawing the pages")?;
            let made = write_out(planned, &name);
            step("writing the files")?;
            let stem = Path::new(&name).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
            let folder = self.outputs.join(stem);
            save(&folder, &made.files).map_err(|error| {
                failed(format!(
                    "the folder “{}” cannot be written: {error}; what was there before is as it was",
                    folder.display()
                ))
            })?;
            let documents: Vec<Json> = made
                .manifest
                .documents
                .iter()
                .map(
                    |document| json!({ "file": document.file, "paper": document.paper, "pages": document.pages.len() }),
                )
                .collect();
            let others = made.manifest.files.iter().filter(|file| !file.ends_with(".pdf"));
            let others: Vec<&String> = others.collect();
            let shown_folder = folder.display().to_string();
            self.inner().made = Some(folder);
            Ok(
                json!({ "state": "done", "of": version(text), "folder": shown_folder, "documents": documents, "others": others }),
            )
        };
        let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(run)).unwrap_or_else(|_| {
            Err(json!({ "state": "failed", "text": "this went wrong inside the program; what was there before is as it was" }))
        });
        self.inner().making = outcome.unwrap_or_else(|failed| failed);
        self.tell();
    }
}
