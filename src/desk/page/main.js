// The page: the picture with all that is marked on it, and the sections beside it.

import { ask, field, h, refill, s } from "./dom.js";
import { at, tidy } from "./doc.js";
import { Refused, Server } from "./server.js";
import { View } from "./view.js";
import { ARROWS, drawMarks, marksOf, whole } from "./marks.js";
import { tasks } from "./placing.js";
import { drawNodes, onScreen, pathOf, ringsOf } from "./outline.js";
import * as sections from "./sections.js";
import { beginning } from "./beginning.js";
import { gone } from "./words.js";

const main = /** @type {HTMLElement} */ (document.getElementById("main"));
const notice = /** @type {HTMLElement} */ (document.getElementById("notice"));
const summary = /** @type {HTMLElement} */ (document.getElementById("summary"));

/** What the page shows and does. */
class Desk {
  constructor() {
    this.server = new Server((state) => this.told(state), () => this.say());
    this.picture = "";
    /** @type {number | null} */
    this.piece = null;
    /** Nodes that are chosen, as "ring.node". @type {Set<string>} */
    this.chosen = new Set();
    this.showNodes = true;
    /** @type {import("./placing.js").Task | null} */
    this.task = null;
    /** @type {number[][]} */
    this.places = [];
    /** Of a way along an edge: how many places each click added. @type {number[]} */
    this.clicks = [];
    /** Where the keyboard's cross stands. @type {number[] | null} */
    this.cross = null;
    /** What is dragged and not saved yet. @type {any} */
    this.held = null;
    /** The way along the edge from the last place to the pointer. @type {number[][]} */
    this.way = [];
    /** Where the pointer is. @type {number[] | null} */
    this.ahead = null;
    this.looking = false;
    /** All places that were pointed at are placed. @type {Promise<any>} */
    this.placed = Promise.resolve();
    this.message = "";
    this.busy = "";
    this.openFile = "";
    this.pressing = false;
    this.stale = false;
    this.shownBefore = "";
    /** Outlines that were seen last, by the name of their piece. @type {Map<string, string>} */
    this.seen = new Map();
    /** What the loupe shows. @type {number[] | null} */
    this.enlarged = null;
    /** @type {import("./marks.js").Mark[]} */
    this.marks = [];
    // The parts of the page that stay.
    this.canvas = h("canvas", { "aria-hidden": "true" });
    this.drawnLayer = s("g");
    this.markLayer = s("g");
    this.nodeLayer = s("g");
    this.placeLayer = s("g", { "aria-hidden": "true" });
    this.layer = s("svg", { class: "layer" }, this.drawnLayer, this.nodeLayer, this.markLayer, this.placeLayer);
    this.loupe = h("canvas", { class: "loupe", width: 144, height: 144, hidden: true, "aria-hidden": "true" });
    this.frame = h("div", { class: "view", tabindex: 0, role: "application", "aria-label": "The picture. Arrow keys move it, plus and minus bring it closer and farther, 0 shows the whole. While something is placed, arrow keys move a cross and Enter places.", "aria-describedby": "task" }, this.canvas, this.layer, this.loupe);
    this.view = new View(this.frame, this.canvas, {
      moved: () => this.drawOver(),
      placed: (place) => this.place(place),
      drawn: (stroke) => this.stroke(stroke),
      hovered: (place) => {
        if (!this.task) return;
        this.cross = null;
        this.enlarge(place);
        this.preview(place);
      },
    });
    this.frame.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => this.keys(event));
    this.taskLine = h("div", { class: "task", id: "task", role: "status", "aria-live": "polite" });
    this.pictureChoice = h("div", { class: "row" });
    this.problemList = h("div", { class: "problems" });
    const inner = (/** @type {string} */ id) => h("div", { id: `${id}-in` });
    this.inners = { size: inner("size"), outlines: inner("outlines"), pieces: inner("pieces"), pages: inner("pages") };
    const section = (/** @type {string} */ id, /** @type {string} */ title, /** @type {any[]} */ ...children) => h("section", { id, class: "sheet", "aria-labelledby": `${id}-title` }, h("h2", { id: `${id}-title` }, title), children);
    const tool = (/** @type {string} */ label, /** @type {() => void} */ go) => h("button", { type: "button", onclick: go }, label);
    this.parts = [
      h("section", { id: "picture", class: "board", "aria-labelledby": "picture-title" }, h("div", { class: "board-head" }, h("h2", { id: "picture-title" }, "Picture"), this.pictureChoice,
        h("div", { class: "row" }, tool("Whole", () => this.view.whole()), tool("Closer", () => this.view.closer(1.5)), tool("Farther", () => this.view.closer(1 / 1.5)), tool("Single pixels", () => this.view.closer(24 / this.view.scale)))),
        this.taskLine, this.frame),
      h("div", { class: "sheets" }, this.problemList, section("size", "True size", this.inners.size), section("outlines", "Outlines", this.inners.outlines), section("pieces", "Pieces", this.inners.pieces), section("pages", "Pages", this.inners.pages)),
    ];
    this.backButton = h("button", { type: "button", onclick: () => this.back() }, "Back");
    this.forthButton = h("button", { type: "button", onclick: () => this.forth() }, "Forth");
    const light = h("button", { type: "button", onclick: () => this.light() }, "Light or dark");
    document.getElementById("lintel-tools")?.append(this.backButton, this.forthButton, light);
    window.addEventListener("keydown", (event) => {
      if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" && event.key.toLowerCase() !== "y") return;
      if (/** @type {HTMLElement} */ (event.target).matches?.("input,textarea,select")) return;
      event.preventDefault();
      if (event.key.toLowerCase() === "y" || event.shiftKey) this.forth(); else this.back();
    });
    window.addEventListener("pointerdown", () => { this.pressing = true; }, { capture: true });
    for (const end of ["pointerup", "pointercancel"]) {
      window.addEventListener(end, () => setTimeout(() => {
        this.pressing = false;
        if (!this.stale || !this.state?.open) return;
        this.stale = false;
        this.refreshSections();
      }), { capture: true });
    }
    for (const event of ["dragover", "drop"]) window.addEventListener(event, (e) => e.preventDefault());
    const kept = recalled();
    if (kept) document.documentElement.dataset.light = kept;
  }

  get state() { return this.server.state; }
  get doc() { return this.state?.open?.doc ?? {}; }
  get version() { return this.state?.open?.version; }
  get shown() { return this.state?.shown; }
  get shownOf() { return this.state?.shown_of; }
  get making() { return this.state?.making; }
  get broken() { return this.state?.open?.broken; }

  /** Something has to be mended that is more than a size that nothing tells yet. */
  get isBroken() { return Boolean(this.broken) || (this.shown?.problems ?? []).some((/** @type {any} */ p) => p.level === "error" && p.code !== "no_size"); }

  /** The outline of each piece on its picture, as path data. */
  get drawn() {
    const of = new Map((this.shown?.pieces ?? []).map((/** @type {any} */ p) => [p.index, p.drawn]));
    return (this.doc.piece ?? []).map((/** @type {any} */ piece, /** @type {number} */ i) =>
      // While something has to be mended elsewhere, a traced outline stays as it was seen.
      piece.fixed || !piece.picture ? null : this.state.open.drawn[i] ?? (piece.outline ? null : of.get(i) ?? this.seen.get(piece.name)) ?? null);
  }

  /** What can be placed on the picture and for the piece that are chosen now. */
  get tasks() { return tasks(this); }

  at(/** @type {any} */ way) { return at(this.doc, way); }
  /** @param {string} way @param {any} [body] */
  ask(way, body) { return this.server.ask(way, body); }

  light() {
    const dark = document.documentElement.dataset.light ? document.documentElement.dataset.light === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    document.documentElement.dataset.light = dark ? "light" : "dark";
    try { localStorage.setItem("light", document.documentElement.dataset.light); } catch { /* a browser that keeps nothing */ }
  }

  /** What the program knows has changed. @param {any} state */
  told(state) {
    if (!state.open) {
      this.openFile = "";
      summary.textContent = "";
      refill(main, beginning(state.folder, { open: (name) => this.doing("opening", () => this.ask("/open", { name })), begin: (name, bytes) => this.doing("opening", () => this.ask(`/begin?name=${encodeURIComponent(name)}`, bytes)) }));
      main.className = "begin";
      this.say();
      this.headline();
      return;
    }
    if (this.openFile !== state.open.file) {
      this.openFile = state.open.file;
      main.className = "desk";
      this.shownBefore = "";
      main.replaceChildren(...this.parts);
      this.picture = "";
      this.piece = null;
      this.chosen.clear();
    }
    if (this.shown?.pieces) this.seen = new Map(this.shown.pieces.map((/** @type {any} */ p) => [p.name, p.drawn]));
    const names = Object.keys(state.pictures);
    if (!names.includes(this.picture)) this.picture = Object.keys(this.doc.picture ?? {})[0] ?? names[0] ?? "";
    const count = (this.doc.piece ?? []).length;
    if (this.piece === null || this.piece >= count) this.piece = count > 0 ? Math.min(this.piece ?? 0, count - 1) : null;
    const picture = state.pictures[this.picture];
    this.view.mmPerPx = (this.shown?.pictures ?? []).find((/** @type {any} */ p) => p.name === this.picture)?.mm_per_px ?? 0;
    if (picture?.width) this.view.show(this.picture, picture);
    this.marks = marksOf(this.doc, this.picture, this.piece);
    this.headline();
    this.refreshSections();
    this.say();
    this.view.draw();
  }

  refreshSections() {
    // What is pressed stays where it is until it is let go.
    if (this.pressing) { this.stale = true; return; }
    const { doc, shown, shownOf, making, piece, picture, showNodes, busy, broken } = this;
    const all = JSON.stringify([doc, shownOf, shown?.problems, making, piece, picture, showNodes, busy, broken, [...this.chosen], this.drawn.map((/** @type {any} */ path) => Boolean(path)), this.version]);
    if (all === this.shownBefore) return;
    this.shownBefore = all;
    const names = Object.keys(this.doc.picture ?? {});
    refill(this.pictureChoice, names.length > 1 && names.map((name) => h("button", { type: "button", "aria-pressed": name === this.picture, "data-keep": `picture:${name}`, onclick: () => { this.leave(); this.picture = name; this.told(this.state); } }, name)));
    const opened = new Map([...document.querySelectorAll("[data-details]")].map((d) => [d.getAttribute("data-details"), /** @type {HTMLDetailsElement} */ (d).open]));
    sections.problems(this, this.problemList);
    sections.trueSize(this, this.inners.size);
    sections.outlines(this, this.inners.outlines);
    sections.pieces(this, this.inners.pieces);
    sections.pages(this, this.inners.pages);
    for (const details of document.querySelectorAll("[data-details]")) {
      const was = opened.get(details.getAttribute("data-details"));
      if (was !== undefined) /** @type {HTMLDetailsElement} */ (details).open = was;
    }
  }

  headline() {
    const open = this.state?.open;
    document.title = open ? `${this.doc.build?.name ?? open.file} – Spanwright` : "Spanwright";
    /** @type {HTMLElement} */ (document.getElementById("title")).textContent = open ? this.doc.build?.name ?? open.file : "Spanwright";
    this.backButton.disabled = !open?.past;
    this.forthButton.disabled = !open?.future;
    this.backButton.setAttribute("aria-label", open?.past ? `Back, before: ${open.past}` : "Back");
    this.forthButton.setAttribute("aria-label", open?.future ? `Forth, to: ${open.future}` : "Forth");
    this.backButton.title = open?.past ? `Before: ${open.past}` : "";
    this.forthButton.title = open?.future ? `To: ${open.future}` : "";
    if (!open) return;
    const bad = (this.shown?.problems ?? []).filter((/** @type {any} */ p) => p.level !== "note").length;
    const pages = (this.shown?.layouts ?? [])[0]?.pages;
    const parts = [this.shown?.finished?.length ?? (this.isBroken ? "to be mended first" : "size not known yet"), `${(this.doc.piece ?? []).length} ${(this.doc.piece ?? []).length === 1 ? "piece" : "pieces"}`, pages !== undefined && `${pages} ${pages === 1 ? "page" : "pages"}`, bad > 0 && `${bad} ${bad === 1 ? "problem" : "problems"}`];
    const text = `${parts.filter(Boolean).join(" · ")}${this.state.working ? " · reckoning …" : ""}`;
    if (summary.textContent !== text) summary.textContent = text;
  }

  /** What went wrong, or is to be known. */
  say() {
    const picture = this.state?.pictures?.[this.picture];
    const texts = this.server.isGone ? [gone(this.server.unsaved)] : [this.message, this.state?.notice, this.state?.open && picture?.problem].filter(Boolean);
    const text = texts.join("\n");
    if (notice.dataset.text === text) return;
    notice.dataset.text = text;
    notice.hidden = text === "";
    refill(notice, texts.map((one) => h("p", {}, one)), text && !this.server.isGone && this.message && h("button", { type: "button", onclick: () => { this.message = ""; this.say(); } }, "Understood"));
  }

  /** @param {string} text */
  tell(text) { this.message = text; this.say(); }

  /** Whether a text is a length; says why if it is none. @param {string} text @param {string} of */
  async isLength(text, of) {
    this.message = "";
    try { await this.ask("/length", { text }); return true; } catch (error) { this.tell(`${of}: ${error instanceof Error ? error.message : error}`); return false; }
  }

  /** The size of a sheet as the file writes it; says why if it is none. @param {string} text @param {string} of */
  async sheetSize(text, of) {
    this.message = "";
    try { return (await this.ask("/sheet", { text })).size; } catch (error) { this.tell(`${of}: ${error instanceof Error ? error.message : error}`); return null; }
  }

  /** Does something, and says what came of it. @param {string} busy @param {() => Promise<any>} what */
  async doing(busy, what) {
    this.busy = busy;
    this.message = "";
    this.say();
    try {
      return await what();
    } catch (error) {
      this.message = error instanceof Refused ? this.refused(error) : `That did not work: ${error instanceof Error ? error.message : error}`;
      return null;
    } finally {
      this.busy = "";
      this.say();
      if (this.state) this.told(this.state);
    }
  }

  /** @param {Refused} refused */
  refused(refused) {
    if (refused.why === "meanwhile") return `${(refused.at ?? []).filter((/** @type {any} */ step) => typeof step === "string").join(", ") || "The build file"} was changed outside of this page meanwhile. What stands here now is what the file says; do it again if you still mean it.`;
    if (refused.why === "nothing") return "There is nothing to take back.";
    return refused.message;
  }

  /** @param {string} done @param {import("./doc.js").Change[]} changes */
  change(done, changes) { return this.doing("", () => this.server.change(done, changes)); }

  back() {
    return this.doing("", () => this.server.inLine(async () => {
      try { await this.ask("/back"); } catch (error) {
        if (!(error instanceof Refused) || error.why !== "by hand") throw error;
        const yes = await ask("The last change was made outside of this page", [h("p", {}, "Take that back, too? “Forth” brings it again.")], "Take it back");
        if (yes) await this.ask("/back", { by_hand_too: true });
      }
    }));
  }

  forth() { return this.doing("", () => this.server.inLine(() => this.ask("/forth"))); }

  find() {
    return this.doing("finding", async () => {
      const { found, names, notes } = await this.ask("/find", { name: this.picture });
      this.message = found > 0 ? `Found and marked: ${names.join(", ")}. Look whether the corners are right. ${notes.join(" ")}` : notes.join(" ");
    });
  }

  async trace() {
    // A stroke that waits for its end is part of what is meant.
    if (this.task && this.places.length >= this.task.least) await this.finish();
    this.leave();
    return this.doing("tracing", async () => {
      const { notes } = await this.server.inLine(() => this.ask("/trace", { index: this.piece }));
      if (notes.length > 0) this.message = notes.join(" ");
    });
  }

  make() { return this.doing("", () => this.server.inLine(() => this.ask("/make"))); }
  stopMaking() { return this.doing("", () => this.ask("/make/stop")); }

  /** @param {number} index @param {boolean} [go] */
  choosePiece(index, go = false) {
    if (index !== this.piece) this.leave();
    this.piece = index;
    this.chosen.clear();
    const of = this.doc.piece[index]?.picture;
    if (of) this.picture = of;
    this.told(this.state);
    if (go) document.getElementById("outlines")?.scrollIntoView({ block: "start" });
  }

  async newPiece() {
    const said = await ask("A new piece", [field("What is it called?", h("input", { name: "name", required: true, value: `piece ${(this.doc.piece ?? []).length + 1}` }))], "Begin it");
    if (!said) return;
    const index = (this.doc.piece ?? []).length;
    await this.change(`new piece ${said.name}`, [{ at: ["piece", index], to: { name: said.name, picture: this.picture, trace: "plain ground" } }]);
    this.choosePiece(index);
  }

  /** @param {number} index */
  removePiece(index) { this.leave(); this.chosen.clear(); return this.change("took a piece away", [{ at: ["piece", index], to: null }]); }

  /** @param {import("./marks.js").Mark} mark */
  remove(mark) {
    const way = whole(mark);
    return this.change(`took away ${mark.label}`, [{ at: way, to: null }]);
  }

  /** @param {import("./marks.js").Mark} mark */
  look(mark) {
    this.view.toPlaces(mark.places);
    this.frame.scrollIntoView({ block: "nearest" });
    requestAnimationFrame(() => requestAnimationFrame(() => this.markLayer.querySelector(`[data-handle="${CSS.escape(`${mark.way.join("/")}:0`)}"]`)?.focus()));
  }

  /** Jumps to what a problem is about. @param {(string | number)[]} way */
  goTo(way) {
    if (way[0] === "picture" && typeof way[1] === "string") this.picture = way[1];
    if (way[0] === "piece" && typeof way[1] === "number") this.choosePiece(way[1]);
    this.told(this.state);
    const mark = this.marks.find((mark) => mark.way.every((step, i) => i >= way.length || step === way[i]));
    if (mark && way[0] !== "piece") return this.look(mark);
    const id = way[0] === "piece" ? "pieces" : way[0] === "paper" ? "pages" : "size";
    const section = /** @type {HTMLElement} */ (document.getElementById(id));
    section.scrollIntoView({ block: "start" });
    /** @type {HTMLElement | null} */ (section.querySelector("input,select,button"))?.focus({ preventScroll: true });
  }

  // — placing —

  /** @param {import("./placing.js").Task} task */
  begin(task) {
    this.task = task;
    this.places = [];
    this.clicks = [];
    this.cross = null;
    this.view.mode = task.strokes ? "draw" : "place";
    this.frame.focus({ preventScroll: true });
    this.showTask();
    // What is to be done, and where, are both in sight.
    const [say, top] = [this.taskLine.getBoundingClientRect(), /** @type {HTMLElement} */ (document.querySelector(".top")).getBoundingClientRect()];
    if (say.top < top.bottom || this.frame.getBoundingClientRect().bottom > innerHeight) document.getElementById("picture")?.scrollIntoView({ block: "start" });
  }

  leave() {
    this.task = null;
    this.places = [];
    this.clicks = [];
    this.cross = null;
    this.view.mode = "move";
    this.loupe.hidden = true;
    this.enlarged = null;
    this.way = [];
    this.showTask();
  }

  showTask() {
    const task = this.task;
    this.frame.classList.toggle("placing", Boolean(task));
    const count = this.clicks.length;
    refill(this.taskLine, task && [h("strong", {}, task.title), h("span", {}, task.say[Math.min(count, task.say.length - 1)]),
      h("div", { class: "row" }, count > 0 && h("button", { type: "button", "data-keep": "task-back", onclick: () => this.unplace() }, "Last place back"),
        this.places.length >= task.least && task.most > task.least && h("button", { type: "button", class: "main", "data-keep": "task-done", onclick: () => this.finish() }, task.closed ? "Close it" : "That is all"),
        h("button", { type: "button", "data-keep": "task-leave", onclick: () => this.leave() }, "Leave it (Esc)"))]);
    this.view.draw();
  }

  unplace() {
    const added = this.clicks.pop() ?? 0;
    this.places.splice(this.places.length - added, added);
    this.showTask();
  }

  /** Places come one after the other, each going on from the one before, however fast they are pointed at. @param {number[]} place */
  place(place) {
    const { task } = this;
    const next = this.placed.then(() => (task && this.task === task ? this.put(task, place) : undefined));
    this.placed = next.catch(() => {});
    return next;
  }

  /** @param {import("./placing.js").Task} task @param {number[]} place */
  async put(task, place) {
    const picture = this.view.picture;
    if (picture && !task.strokes) place = [Math.min(picture.width, Math.max(0, place[0])), Math.min(picture.height, Math.max(0, place[1]))];
    const first = this.places[0];
    const near = first && task.closed && this.clicks.length >= 2 && Math.hypot(...this.view.toScreen(first).map((v, i) => v - this.view.toScreen(place)[i])) < 12;
    if (near && task.most > task.least) {
      if (task.follow) await this.along(first);
      if (this.task !== task) return;
      this.places = task.follow ? this.places.slice(0, -1) : this.places;
      // What is done with them may ask, and the next places do not wait for the answer.
      this.finish();
      return;
    }
    if (!task.strokes && !task.follow) place = this.marked(place);
    if (task.follow && first) await this.along(place);
    else { this.places.push(place); this.clicks.push(1); }
    if (this.task !== task) return;
    if (this.places.length >= task.most) this.finish(); else this.showTask();
  }

  /** A place that is marked already where one lies close. @param {number[]} place */
  marked(place) {
    const here = this.view.toScreen(place);
    const all = this.marks.flatMap((mark) => mark.places);
    return all.find((other) => Math.hypot(...this.view.toScreen(other).map((v, i) => v - here[i])) < 7) ?? place;
  }

  /** Shows where the line would go if the pointer were pressed. @param {number[] | null} place */
  async preview(place) {
    this.ahead = place;
    const { task } = this;
    if (!task?.follow || this.places.length === 0 || !place || this.looking) return;
    this.looking = true;
    try {
      const { places } = await this.ask("/along", { picture: this.picture, from: this.places[this.places.length - 1], to: place });
      this.way = this.task === task ? places : [];
    } catch { this.way = []; }
    this.looking = false;
    this.view.draw();
    // The pointer went on meanwhile.
    if (this.task === task && this.ahead && this.ahead !== place) this.preview(this.ahead);
  }

  /** Goes on along the edge. @param {number[]} place */
  async along(place) {
    const { task } = this;
    const from = this.places[this.places.length - 1];
    const answer = await this.doing("", () => this.ask("/along", { picture: this.picture, from, to: place }));
    // Left meanwhile.
    if (this.task !== task) return;
    const way = answer?.places?.slice(1) ?? [place];
    this.places.push(...way);
    this.clicks.push(way.length);
    this.way = [];
  }

  /** @param {number[][]} stroke */
  stroke(stroke) {
    if (!this.task?.strokes) return;
    this.places.push(...stroke);
    this.clicks.push(stroke.length);
    if (this.places.length >= this.task.least) this.finish(); else this.showTask();
  }

  async finish() {
    const { task, places } = this;
    if (!task || places.length < task.least) return;
    if (task.follow && this.clicks.length < 2) return;
    this.leave();
    await this.doing("", async () => task.done(places));
    this.frame.focus({ preventScroll: true });
  }

  /** @param {number[] | null} place */
  enlarge(place) {
    this.enlarged = place;
    if (!place) { this.loupe.hidden = true; return; }
    this.loupe.hidden = false;
    const [x, y] = this.view.toScreen(place);
    const [w] = this.view.size();
    this.loupe.classList.toggle("left", x > w / 2 && y < 200);
    this.view.enlarge(this.loupe, place);
  }

  /** @param {KeyboardEvent} event */
  keys(event) {
    if (event.target !== this.frame) return;
    const way = ARROWS[event.key];
    if (this.task && event.key === "Escape") { event.preventDefault(); return this.leave(); }
    if (this.task && event.key === "Backspace") { event.preventDefault(); return this.unplace(); }
    if (this.task && event.key === "Enter") {
      event.preventDefault();
      // Enter places where the cross stands; a second Enter at the same place ends what may end.
      const last = this.places[this.places.length - 1];
      if (this.cross && !(last && Math.hypot(last[0] - this.cross[0], last[1] - this.cross[1]) < 1e-6)) return this.place([...this.cross]);
      return this.finish();
    }
    if (way && this.task) {
      event.preventDefault();
      const step = (event.shiftKey ? 1 : 12) / this.view.scale;
      this.cross ??= this.view.middle();
      this.cross = [this.cross[0] + way[0] * step, this.cross[1] + way[1] * step];
      const [x, y] = this.view.toScreen(this.cross), [w, h_] = this.view.size();
      if (x < 30 || y < 30 || x > w - 10 || y > h_ - 10) this.view.by(-way[0] * w / 3, -way[1] * h_ / 3);
      this.enlarge(this.cross);
      return this.view.draw();
    }
    if (way) { event.preventDefault(); return this.view.by(-way[0] * 60, -way[1] * 60); }
    if (event.key === "+" || event.key === "=") { event.preventDefault(); this.view.closer(1.3); }
    if (event.key === "-") { event.preventDefault(); this.view.closer(1 / 1.3); }
    if (event.key === "0") { event.preventDefault(); this.view.whole(); }
  }

  // — outlines —

  /** The rings of the chosen piece. */
  rings() {
    if (this.held?.rings) return this.held.rings;
    const path = this.piece === null || this.doc.piece?.[this.piece]?.picture !== this.picture ? null : this.drawn[this.piece];
    return path ? ringsOf(path) : [];
  }

  /** @param {string} path @param {string} done */
  setOutline(path, done) { return this.change(done, [{ at: ["piece", this.piece ?? 0], to: { outline: path } }]); }

  /** @param {string} what */
  async nodes(what) {
    const index = this.piece ?? 0;
    const chosen = [...this.chosen].map((key) => key.split(".").map(Number));
    await this.doing("", async () => {
      const { paths } = await this.ask("/nodes", { path: pathOf(this.rings()), what, nodes: chosen });
      this.chosen.clear();
      /** @type {import("./doc.js").Change[]} */
      const changes = [{ at: ["piece", index], to: { outline: paths[0] } }];
      if (paths.length > 1) {
        // A part is cut like the whole; that its halves are alike holds no more.
        const { name, picture, foam = null, copies = null, face_down = null, above = null } = this.doc.piece[index];
        changes.push({ at: ["piece", index], to: { symmetric: null, axis: null, repeats: null } });
        changes.push({ at: ["piece", this.doc.piece.length], to: { name: `${name}, other part`, picture, outline: paths[1], foam, copies, face_down, above } });
      }
      await this.server.change(`outline: ${what}`, changes);
    });
  }

  async snap() {
    await this.doing("", async () => {
      const rings = this.rings();
      for (const key of this.chosen) {
        const [r, i] = key.split(".").map(Number);
        const node = rings[r]?.nodes[i];
        if (!node) continue;
        const { place } = await this.ask("/snap", { picture: this.picture, at: node.at });
        const by = [place[0] - node.at[0], place[1] - node.at[1]];
        const moved = (/** @type {number[] | null} */ p) => p && [p[0] + by[0], p[1] + by[1]];
        rings[r].nodes[i] = { at: place, in: moved(node.in), out: moved(node.out) };
      }
      await this.server.change("nodes onto the edge", [{ at: ["piece", this.piece ?? 0], to: { outline: pathOf(rings) } }]);
    });
  }

  async join() {
    const others = this.doc.piece.map((/** @type {any} */ piece, /** @type {number} */ i) => [i, piece.name]).filter((/** @type {any[]} */ [i]) => i !== this.piece && this.drawn[i]);
    const said = await ask("Join it with another piece", [field("Which one", h("select", { name: "other" }, others.map((/** @type {any[]} */ [i, name]) => h("option", { value: i }, name)))), h("p", {}, "Both become one piece where they meet or overlap; the other one's name goes.")], "Join them");
    if (!said) return;
    const other = Number(said.other), index = this.piece ?? 0;
    await this.doing("", async () => {
      const { paths } = await this.ask("/nodes", { path: this.drawn[index], other: this.drawn[other], what: "join", nodes: [] });
      this.chosen.clear();
      await this.server.change("joined two pieces", [{ at: ["piece", index], to: { outline: paths[0] } }, { at: ["piece", other], to: null }]);
    });
  }

  toggleNodes() { this.showNodes = !this.showNodes; this.chosen.clear(); this.refreshSections(); this.view.draw(); }

  /** Draws all that lies over the picture. */
  drawOver() {
    if (!this.state?.open) return;
    // What was still on its way to the loupe may have come.
    if (this.enlarged && !this.loupe.hidden) this.view.enlarge(this.loupe, this.enlarged);
    const [w, h_] = this.view.size();
    this.layer.setAttribute("viewBox", `0 0 ${w} ${h_}`);
    const held = this.held?.mark;
    const marks = this.marks.map((mark) => (held && held.way.join() === mark.way.join() && held.kind === mark.kind && held.first === mark.places[0] ? { ...mark, places: this.held.places } : mark));
    const drawn = this.drawn;
    this.drawnLayer.replaceChildren(...drawn.flatMap((/** @type {string | null} */ path, /** @type {number} */ i) => {
      if (!path || this.doc.piece[i].picture !== this.picture) return [];
      const d = onScreen(i === this.piece ? this.rings() : ringsOf(path), this.view);
      return [s("path", { d, class: "outline-back" }), s("path", { d, class: `outline${i === this.piece ? " chosen" : ""}` })];
    }));
    drawMarks(this.markLayer, marks, this.view, (mark, index, place, done) => this.moveMark(mark, index, place, done), (mark) => this.remove(mark));
    const rings = this.showNodes && !this.task ? this.rings() : [];
    drawNodes(this.nodeLayer, rings, this.chosen, this.view, {
      name: this.piece === null ? "" : this.doc.piece?.[this.piece]?.name ?? "piece",
      moved: (now, done) => this.moveNodes(now, done),
      choose: (key, more) => {
        if (more) { if (!this.chosen.delete(key)) this.chosen.add(key); } else if (!this.chosen.has(key)) this.chosen = new Set([key]);
        this.refreshSections();
        this.view.draw();
      },
      chosenAlone: (key) => { if (this.chosen.size > 1) { this.chosen = new Set([key]); this.refreshSections(); this.view.draw(); } },
      remove: () => this.nodes("remove"),
    });
    this.drawPlaces();
  }

  drawPlaces() {
    const all = [...this.places, ...(this.view.stroke ?? [])].map((place) => this.view.toScreen(place));
    const points = all.map((p) => p.join(",")).join(" ");
    const ahead = this.task?.follow ? this.way.map((place) => this.view.toScreen(place).join(",")).join(" ") : "";
    const marks = this.task?.strokes || this.task?.follow ? all.slice(0, 1) : all;
    const cross = this.task && this.cross ? this.view.toScreen(this.cross) : null;
    this.placeLayer.replaceChildren(s("polyline", { points, class: "outline-back" }), s("polyline", { points, class: "placing-line" }), s("polyline", { points: ahead, class: "placing-ahead" }),
      ...marks.map(([x, y]) => s("circle", { cx: x, cy: y, r: 6, class: "placing-dot" })),
      ...(cross ? [s("path", { d: `M${cross[0] - 18} ${cross[1]}H${cross[0] + 18}M${cross[0]} ${cross[1] - 18}V${cross[1] + 18}`, class: "cross-back" }), s("path", { d: `M${cross[0] - 18} ${cross[1]}H${cross[0] + 18}M${cross[0]} ${cross[1] - 18}V${cross[1] + 18}`, class: "cross" })] : []));
  }

  /** @param {import("./marks.js").Mark} mark @param {number} index @param {number[]} place @param {boolean} done */
  moveMark(mark, index, place, done) {
    const places = mark.places.map((old, i) => (i === index ? place : old));
    const original = this.marks.find((other) => other.way.join() === mark.way.join() && other.kind === mark.kind && (this.held ? other.places[0] === this.held.mark.first : other.places[0] === mark.places[0]));
    this.held = { mark: { ...mark, first: original?.places[0] ?? mark.places[0] }, places };
    this.enlarge(done ? null : place);
    this.view.draw();
    if (!done) return;
    const changes = (original ?? mark).moved(places.map((p, i) => (i === index ? tidy(p) : (original ?? mark).places[i])));
    const saved = this.change(`moved ${mark.label}`, changes);
    this.held = null;
    return saved;
  }

  /** @param {import("./outline.js").Ring[]} rings @param {boolean} done */
  moveNodes(rings, done) {
    this.held = { rings };
    this.view.draw();
    if (!done) return;
    const path = pathOf(rings);
    // Seen as drawn until the program says so, too.
    const open = this.server.state.open;
    open.drawn = open.drawn.map((/** @type {any} */ old, /** @type {number} */ i) => (i === this.piece ? path : old));
    const saved = this.setOutline(path, "moved a node");
    this.held = null;
    return saved;
  }
}

function recalled() {
  try { return localStorage.getItem("light"); } catch { return null; }
}

const desk = new Desk();
/** @type {any} */ (window).desk = desk;
desk.server.follow();
