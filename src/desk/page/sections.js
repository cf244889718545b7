// The sections beside the picture: what is known of the size, the outlines, the pieces, the pages.

import { field, h, refill, s } from "./dom.js";
import { LANDMARKS, LIMBS, SOURCES } from "./words.js";

/** A field whose text goes into the build file when it is left or Enter is pressed. @param {any} desk @param {string} keep @param {any} value @param {string} done @param {(text: any) => import("./doc.js").Change[]} to @param {Record<string, any>} [more] */
function entry(desk, keep, value, done, to, { length = false, sheet = false, ...rest } = {}) {
  const before = value === undefined || value === null ? "" : String(value);
  const input = h("input", { value: before, "data-keep": keep, autocomplete: "off", ...rest });
  input.addEventListener("input", () => input.setAttribute("data-dirty", ""));
  input.addEventListener("change", async () => {
    const text = input.value.trim();
    // What cannot be is told, and stays to be mended; the file keeps what it says.
    if (!input.checkValidity()) return desk.tell(`${done}: ${input.validationMessage}`);
    if (length && text !== "" && !(await desk.isLength(text, done))) return;
    const size = sheet ? await desk.sheetSize(text, done) : text;
    if (size === null) return;
    input.removeAttribute("data-dirty");
    if (text !== before) desk.change(done, to(size));
  });
  input.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
    // What was typed before something else came in is meant, too.
    if (event.key === "Enter" && input.hasAttribute("data-dirty")) input.dispatchEvent(new Event("change"));
  });
  return input;
}

/** @param {string} text */
const orNone = (text) => (text === "" ? null : text);

/** @param {any} label @param {() => void} go @param {Record<string, any>} [more] */
const button = (label, go, more = {}) => h("button", { type: "button", onclick: go, "data-keep": `button:${label}`, ...more }, label);

/** @param {any} desk @param {HTMLElement} into */
export function trueSize(desk, into) {
  const { doc, shown, picture, tasks } = desk;
  const spec = doc.picture?.[picture] ?? {};
  const finished = shown?.finished;
  const wearer = doc.wearer ?? {};
  const estimates = (shown?.pictures ?? []).flatMap((/** @type {any} */ p) => p.estimates);
  const known = desk.marks.filter((/** @type {any} */ mark) => !["loop", "inside", "outside"].includes(mark.kind));
  refill(into,
    h("p", { class: "big", id: "finished" }, finished ? finished.length : desk.isBroken ? "To be mended first" : "Not known yet"),
    h("p", {}, finished ? `long, and ${finished.width.replace(/( give or take .*)/, "$1,")} wide. ${/give or take/.test(finished.length) ? "Right 19 times in 20." : ""}${finished.by === "outlines" ? " No ends are marked: over the places farthest apart, and the narrowest way." : ""}`
      : desk.isBroken ? "Something in the build file does not fit; what it is stands above."
      : "Mark what you know of the prop's size: a length, a sheet of paper beside it, the figure that carries it, or say how long it is to be."),
    estimates.length > 0 && h("ul", { class: "verdicts" }, estimates.map((/** @type {any} */ e) => h("li", {}, h("span", {}, e.name), " ", h("strong", {}, e.verdict)))),
    (shown?.measures ?? []).length > 0 && h("dl", {}, shown.measures.map((/** @type {any} */ m) => [h("dt", {}, m.name), h("dd", {}, m.length)])),
    field("What gives the size", source(desk)),
    doc.size?.from === "finished" && field("Finished length", entry(desk, "finished-length", doc.size.finished, "finished length", (text) => [{ at: ["size"], to: { finished: orNone(text) } }], { length: true }), "Such as 1.42 m; between the prop's two ends, or its farthest points."),
    h("h3", {}, "Point at it in the picture"),
    h("div", { class: "row" },
      button("A length that is known", () => desk.begin(tasks.length())),
      button("Find sheets and cards", () => desk.find()),
      button("A sheet, by its corners", () => desk.begin(tasks.sheet())),
      button("The prop's two ends", () => desk.begin(tasks.finished())),
      button("A distance to be told", () => desk.begin(tasks.measure())),
      button("An edge that is straight", () => desk.begin(tasks.edge())),
      button("A round ring seen as an oval", () => desk.begin(tasks.ring()))),
    h("details", { open: Boolean(spec.figure || spec.hand), "data-details": "figure" }, h("summary", {}, "The figure that carries it, or its hand"),
      h("div", { class: "row" }, Object.entries(LANDMARKS).map(([name, label]) => button(label, () => desk.begin(tasks.landmark(name)))),
        button("Closed hand", () => desk.begin(tasks.hand("fist"))), button("Open hand", () => desk.begin(tasks.hand("length")))),
      h("p", { class: "hint" }, "The soles, and at least one place above them; of a figure that sits or bends, limbs from joint to joint."),
      h("div", { class: "row" }, Object.entries(LIMBS).map(([name, [label]]) => button(label, () => desk.begin(tasks.limb(name)), { "data-keep": `limb:${name}` }))),
      spec.figure && field("How many heads tall it is drawn", entry(desk, "heads", spec.figure.heads, "heads of the figure", (text) => [{ at: ["picture", picture, "figure"], to: { heads: text === "" ? null : Number(text) } }], { type: "number", min: 3, max: 12, step: 0.1, placeholder: "7.5" }))),
    h("details", { open: Boolean(doc.wearer), "data-details": "wearer" }, h("summary", {}, "The wearer"),
      field("Height, barefoot", entry(desk, "height", wearer.height, "wearer's height", (text) => [{ at: ["wearer"], to: text === "" ? null : { height: text } }], { length: true }), "As measured: people say some 25 mm more than they are, on average."),
      doc.wearer && field("What the costume's shoes add", entry(desk, "shoes", wearer.shoes, "wearer's shoes", (text) => [{ at: ["wearer"], to: { shoes: orNone(text) } }], { length: true })),
      doc.wearer && field("Breadth of the closed hand", entry(desk, "fist", wearer.fist, "wearer's hand", (text) => [{ at: ["wearer"], to: { fist: orNone(text) } }], { length: true }), "Left empty: as the height tells.")),
    known.length > 0 && [h("h3", {}, "What is marked"), h("ul", { class: "marked" }, known.map((/** @type {any} */ mark) => h("li", {},
      button(mark.label, () => desk.look(mark), { "data-keep": `look:${mark.way.join("/")}`, class: "plain" }),
      mark.kind === "length" && entry(desk, `length:${mark.way.join("/")}`, desk.at(mark.way)?.length, `known length ${mark.label}`, (text) => [{ at: [...mark.way, "length"], to: text }], { "aria-label": `Length of ${mark.label}`, size: 9, length: true, required: true }),
      mark.kind === "sheet" && !Array.isArray(desk.at(mark.way.slice(0, -1))?.size) && entry(desk, `size:${mark.way.join("/")}`, desk.at(mark.way.slice(0, -1))?.size, `size of a sheet`, (text) => [{ at: [...mark.way.slice(0, -1), "size"], to: text }], { "aria-label": `Size of ${mark.label}`, size: 9, sheet: true, required: true }),
      button("Take away", () => desk.remove(mark), { "data-keep": `remove:${mark.way.join("/")}`, "aria-label": `Take away: ${mark.label}` }))))],
    spec.known_rectangle && shown?.finished && desk.shownOf === desk.version && h("figure", {}, h("img", { src: `/straightened/${encodeURIComponent(picture)}?of=${desk.shownOf}`, alt: "The marked sheet as it looks once the picture is straightened: its sides should run straight and square", width: 240 }), h("figcaption", {}, "Straightened")));
}

/** @param {any} desk */
function source(desk) {
  const select = h("select", { "data-keep": "source" }, h("option", { value: "" }, "as the marks tell"), Object.entries(SOURCES).map(([value, label]) => h("option", { value }, label)));
  select.value = desk.doc.size?.from ?? "";
  select.addEventListener("change", () => {
    const from = select.value;
    const length = from === "finished" && !desk.doc.size?.finished ? { finished: "1 m" } : from === "finished" ? {} : { finished: null };
    desk.change("what gives the size", [{ at: ["size"], to: from === "" ? null : { from, ...length } }]);
  });
  return select;
}

/** @param {any} desk @param {HTMLElement} into */
export function outlines(desk, into) {
  const { doc, tasks } = desk;
  const pieces = doc.piece ?? [];
  const chosen = desk.piece !== null && pieces[desk.piece];
  const drawn = chosen && desk.drawn[desk.piece];
  const nodes = desk.chosen.size;
  refill(into,
    h("fieldset", {}, h("legend", {}, "Which piece"), pieces.length === 0 && h("p", {}, "There is no piece yet."), pieces.map((/** @type {any} */ piece, /** @type {number} */ i) => {
      const id = `piece-${i}`;
      return h("div", { class: "choice" }, h("input", { type: "radio", name: "piece", id, value: i, checked: i === desk.piece, "data-keep": id, onchange: () => desk.choosePiece(i) }), h("label", { for: id }, piece.name || `piece ${i + 1}`, desk.drawn[i] ? " — has an outline" : ""));
    }), button("A new piece", () => desk.newPiece())),
    chosen && [
      h("h3", {}, "Let it be traced"),
      h("div", { class: "row" }, button("Draw a loose loop around it", () => desk.begin(tasks.loop())), button("Point at what belongs to it", () => desk.begin(tasks.stroke("inside"))),
        button("Point at what does not", () => desk.begin(tasks.stroke("outside"))), button("It stands alone on a plain ground", () => desk.change("plain ground", [{ at: ["piece", desk.piece, "trace"], to: "plain ground" }])),
        button(chosen.outline ? "Trace it anew" : "Trace it now", () => desk.trace(), { class: "main", disabled: desk.busy === "tracing" })),
      h("h3", {}, "Or draw it yourself"),
      h("div", { class: "row" }, button("Follow the edge", () => desk.begin(tasks.follow())), button("Smooth line through points", () => desk.begin(tasks.through()))),
      drawn && [h("h3", {}, "Bend its outline"),
        h("p", { class: "hint" }, "Drag nodes and handles, or choose a node and use the arrow keys. Squares are corners. Shift chooses several."),
        h("div", { class: "row" },
          button("Node in between", () => desk.nodes("insert"), { disabled: nodes === 0 }), button("Take the nodes away", () => desk.nodes("remove"), { disabled: nodes === 0 }),
          button("Make them corners", () => desk.nodes("corner"), { disabled: nodes === 0 }), button("Make them smooth", () => desk.nodes("smooth"), { disabled: nodes === 0 }),
          button("Onto the edge", () => desk.snap(), { disabled: nodes === 0 }), button("Mirror it", () => desk.nodes("mirror")),
          button("Split it between two nodes", () => desk.nodes("split"), { disabled: nodes !== 2 }), button("Join it with another piece", () => desk.join(), { disabled: pieces.length < 2 }),
          button(desk.showNodes ? "Hide the nodes" : "Show the nodes", () => desk.toggleNodes(), { "data-keep": "toggle-nodes" }))],
    ]);
}

/** @param {any} desk @param {HTMLElement} into */
export function pieces(desk, into) {
  const all = desk.doc.piece ?? [];
  const found = new Map((desk.shown?.pieces ?? []).map((/** @type {any} */ piece) => [piece.index, piece]));
  refill(into, all.length === 0 && h("p", {}, "Pieces come with their outlines."), all.map((/** @type {any} */ piece, /** @type {number} */ i) => {
    const told = found.get(i);
    const set = (/** @type {string} */ key, /** @type {(text: string) => any} */ to) => (/** @type {string} */ text) => [{ at: ["piece", i], to: { [key]: to(text) } }];
    const whole = (/** @type {string} */ text) => (text === "" ? null : Number(text));
    return h("fieldset", { class: "piece" }, h("legend", {}, told ? `${told.letter} · ${piece.name ?? ""}` : piece.name ?? `piece ${i + 1}`),
      told ? h("p", {}, `${told.size}; longest ${told.longest}.`) : h("p", {}, desk.drawn[i] ? "It has an outline, but no size yet." : "It has no outline yet."),
      h("div", { class: "fields" },
        field("Name", entry(desk, `name:${i}`, piece.name, "name of a piece", set("name", (text) => text || "piece"))),
        field("Letter", entry(desk, `letter:${i}`, piece.letter, "letter of a piece", set("letter", orNone), { size: 3, placeholder: told?.letter ?? "" })),
        field("Foam", entry(desk, `foam:${i}`, piece.foam, "foam of a piece", set("foam", orNone), { size: 7, placeholder: "10 mm", length: true })),
        field("How many", entry(desk, `copies:${i}`, piece.copies, "number of pieces", set("copies", whole), { type: "number", min: 1, max: 99, placeholder: "1" })),
        field("Of them face down", entry(desk, `down:${i}`, piece.face_down, "pieces face down", set("face_down", whole), { type: "number", min: 0, max: 99, placeholder: "0" }))),
      h("div", { class: "row" }, button("Outline it", () => desk.choosePiece(i, true), { "data-keep": `outline:${i}`, "aria-label": `Outline it: ${piece.name ?? `piece ${i + 1}`}` }),
        button("Take away", () => desk.removePiece(i), { "data-keep": `away:${i}`, "aria-label": `Take away: ${piece.name ?? `piece ${i + 1}`}` })));
  }), button("A new piece", () => desk.newPiece(), { "data-keep": "new-piece-2" }));
}

/** @param {any} desk @param {HTMLElement} into */
export function pages(desk, into) {
  const { doc, shown, making } = desk;
  const layouts = shown?.layouts ?? [];
  const running = making?.state === "running";
  const use = doc.paper?.use;
  refill(into,
    field("Paper", entry(desk, "paper", Array.isArray(use) ? use.join(", ") : use, "paper", (text) => [{ at: ["paper"], to: { use: text.split(",").map((/** @type {string} */ name) => name.trim()).filter(Boolean) } }]), "A4, Letter, A3, a size such as 300 x 400 mm, or a roll such as 914 mm roll; several with commas."),
    layouts.map((/** @type {any} */ layout) => [h("p", {}, h("strong", {}, `${layout.pages} ${layout.pages === 1 ? "page" : "pages"} of pattern`), ` on ${layout.papers.join(" or ")}, behind the cover.`), h("div", { class: "maps" }, layout.sheets.map(map))]),
    shown?.finished && h("figure", {}, h("img", { src: `/beside?of=${desk.shownOf}`, alt: "The pieces at one scale beside the wearer", class: "beside" }), h("figcaption", {}, doc.wearer ? "Beside the wearer, at one scale" : "The pieces at one scale")),
    h("div", { class: "row" }, button("Make the pattern", () => desk.make(), { class: "main", disabled: running || !shown?.finished }), running && button("Stop", () => desk.stopMaking())),
    h("div", { role: "status", "aria-live": "polite", id: "making" }, running && h("p", { class: "working" }, `Being made: ${making.step} …`),
      making?.state === "stopped" && h("p", {}, "Stopped; nothing was written."), making?.state === "failed" && h("p", { class: "bad" }, `Not made: ${making.text}`),
      making?.state === "done" && [h("p", {}, "Made, and written into the folder ", h("code", {}, making.folder), making.of !== desk.version ? " — the build file has changed since." : "."),
        h("ul", { class: "files" }, making.documents.map((/** @type {any} */ d) => h("li", {}, h("a", { href: `/made/${encodeURIComponent(d.file)}`, target: "_blank", rel: "noopener" }, `${d.file}: ${d.pages} pages on ${d.paper}`))),
          making.others.map((/** @type {string} */ file) => h("li", {}, h("a", { href: `/made/${encodeURIComponent(file)}`, target: "_blank", rel: "noopener" }, file)))),
        h("p", {}, "Print page 1 alone at 100 %, measure the frame, then print the others.")]));
}

/** Which page falls where on one joined sheet. @param {any} sheet */
function map(sheet) {
  const [wide, high] = sheet.size;
  const names = sheet.tiles.map((/** @type {any} */ tile) => tile.name).join(", ");
  const em = Math.max(wide, high) / 26;
  return s("svg", { viewBox: `${-em / 2} ${-em / 2} ${wide + em} ${high + em}`, role: "img", "aria-label": `Pages ${names} with ${sheet.outlines.map((/** @type {any} */ o) => o.letter).join(" and ")}`, class: "map" },
    sheet.tiles.map((/** @type {any} */ { name, field: [x, y, w, h] }) => [s("rect", { x, y, width: w, height: h, class: "tile" }), s("text", { x: x + w / 2, y: y + h / 2 + em / 3, "text-anchor": "middle", "font-size": Math.min(em, w / 2.5), class: "tile-name" }, name)]),
    sheet.outlines.map((/** @type {any} */ { path }) => s("path", { d: path, class: "tile-outline" })));
}

/** @param {any} desk @param {HTMLElement} into */
export function problems(desk, into) {
  const all = [...(desk.shown?.problems ?? [])].sort((a, b) => ORDER.indexOf(a.level) - ORDER.indexOf(b.level));
  if (desk.broken) all.unshift({ level: "error", text: desk.broken });
  into.hidden = all.length === 0;
  /** @type {Record<string, string>} */
  const names = { error: "To be mended", warning: "Look at this", note: "Good to know" };
  refill(into, all.length > 0 && h("details", { open: all.some((p) => p.level === "error"), "data-details": all.some((p) => p.level === "error") ? "errors" : "problems" }, h("summary", {}, counted(all)),
    h("ul", {}, all.map((p, i) => h("li", { class: p.level }, h("strong", {}, `${names[p.level] ?? p.level}: `), p.text, p.at?.length > 0 && [" ", button("Show it", () => desk.goTo(p.at), { "data-keep": `problem:${i}`, "aria-label": `Show it: ${p.text.slice(0, 60)}` })])))));
}

const ORDER = ["error", "warning", "note"];

/** @param {any[]} all */
function counted(all) {
  const of = (/** @type {string} */ level) => all.filter((p) => p.level === level).length;
  const [errors, warnings, notes] = ORDER.map(of);
  return [errors && `${errors} to be mended`, warnings && `${warnings} to look at`, notes && `${notes} good to know`].filter(Boolean).join(", ");
}
