// Everything in the build file that is a place on a picture: drawn over it, and taken hold of.

import { s } from "./dom.js";
import { asStrokes, strokes, tidy } from "./doc.js";

/**
 * @typedef {{ label: string, kind: string, places: number[][], closed?: boolean, way: (string | number)[], handles: { label: string, index: number }[],
 *   moved: (places: number[][]) => import("./doc.js").Change[] }} Mark
 */

/**
 * All marks of one picture.
 * @param {any} doc
 * @param {string} picture
 * @param {number | null} piece the one whose loop and strokes are shown
 * @returns {Mark[]}
 */
export function marksOf(doc, picture, piece) {
  const spec = doc?.picture?.[picture] ?? {};
  /** @type {Mark[]} */
  const all = [];
  /** @param {string} label @param {string} kind @param {(string | number)[]} way @param {any} value @param {string[]} keys */
  const pair = (label, kind, way, value, keys = ["from", "to"]) => {
    const places = keys.map((key) => value?.[key]);
    if (!places.every(isPlace)) return;
    all.push({
      label, kind, way, places, handles: [{ label: "one end", index: 0 }, { label: "other end", index: 1 }],
      moved: (now) => keys.map((key, i) => ({ at: [...way, key], to: tidy(now[i]) })).filter((_, i) => now[i] !== places[i]),
    });
  };
  /** @param {string} label @param {string} kind @param {(string | number)[]} way @param {any} places @param {boolean} [closed] @param {string[]} [names] */
  const list = (label, kind, way, places, closed = false, names = []) => {
    if (!Array.isArray(places) || places.length === 0 || !places.every(isPlace)) return;
    all.push({
      label, kind, way, places, closed, handles: places.map((_, index) => ({ label: names[index] ?? `point ${index + 1}`, index })),
      moved: (now) => now.map((place, index) => ({ at: [...way, index], to: tidy(place) })).filter((_, index) => now[index] !== places[index]),
    });
  };
  const root = ["picture", picture];
  for (const [i, known] of (spec.known_length ?? []).entries()) {
    pair(`known length ${known.name ?? ""}`, "length", [...root, "known_length", i], known);
  }
  const corners = ["top left corner", "top right corner", "bottom right corner", "bottom left corner"];
  const size = (/** @type {any} */ value) => (Array.isArray(value) ? value.join(" × ") : value ?? "");
  if (spec.known_rectangle) list(`sheet ${size(spec.known_rectangle.size)}`, "sheet", [...root, "known_rectangle", "corners"], spec.known_rectangle.corners, true, corners);
  for (const [i, one] of (spec.further_rectangle ?? []).entries()) {
    list(`sheet ${size(one.size)}`, "sheet", [...root, "further_rectangle", i, "corners"], one.corners, true, corners);
  }
  for (const [i, edge] of (spec.lens?.straight_edges ?? []).entries()) list(`straight edge ${i + 1}`, "edge", [...root, "lens", "straight_edges", i], edge);
  for (const [name, place] of Object.entries(spec.figure?.landmarks ?? {})) {
    if (!isPlace(place)) continue;
    all.push({
      label: name, kind: "landmark", way: [...root, "figure", "landmarks", name], places: [place], handles: [{ label: "", index: 0 }],
      moved: ([now]) => [{ at: [...root, "figure", "landmarks", name], to: tidy(now) }],
    });
  }
  for (const [name, ends] of Object.entries(spec.figure?.limbs ?? {})) list(name.replaceAll("_", " "), "limb", [...root, "figure", "limbs", name], ends);
  for (const key of ["fist", "length"]) list(`hand, ${key}`, "hand", [...root, "hand", key], spec.hand?.[key]);
  for (const key of ["longest", "shortest"]) list(`ring, ${key}`, "ring", [...root, "ring", key], spec.ring?.[key]);
  if (doc?.finished?.picture === picture) pair("the prop's ends", "finished", ["finished"], doc.finished);
  for (const [i, measure] of (doc?.measure ?? []).entries()) {
    if (measure.picture === picture) pair(`measure ${measure.name ?? ""}`, "measure", ["measure", i], measure);
  }
  const trace = piece === null ? null : doc?.piece?.[piece]?.picture === picture ? doc.piece[piece].trace : null;
  if (trace && typeof trace === "object") {
    list("loop around the piece", "loop", ["piece", /** @type {number} */ (piece), "trace", "around"], trace.around, true);
    for (const side of ["inside", "outside"]) {
      const every = strokes(trace[side]);
      for (const [i, stroke] of every.entries()) {
        all.push({
          label: `stroke ${side} the piece`, kind: side, way: ["piece", /** @type {number} */ (piece), "trace", side], places: stroke,
          // A stroke is drawn as a whole; one place can be moved.
          handles: stroke.length === 1 ? [{ label: "", index: 0 }] : [],
          moved: (now) => [{ at: ["piece", /** @type {number} */ (piece), "trace", side], to: asStrokes(every.map((other, j) => (j === i ? now.map(tidy) : other))) }],
        });
      }
    }
  }
  return all;
}

/** @param {any} value */
const isPlace = (value) => Array.isArray(value) && value.length === 2 && value.every((number) => typeof number === "number");

/**
 * Draws marks into an SVG layer.
 * @param {any} layer
 * @param {Mark[]} marks
 * @param {import("./view.js").View} view
 * @param {(mark: Mark, index: number, place: number[], done: boolean) => void} move
 * @param {(mark: Mark) => void} remove
 */
export function drawMarks(layer, marks, view, move, remove) {
  const focused = document.activeElement?.getAttribute?.("data-handle");
  /** @type {number[][]} boxes of names that stand already: left, top, right, bottom */
  const taken = [];
  layer.replaceChildren(...marks.map((mark) => {
    const places = mark.places.map((place) => view.toScreen(place));
    const shape = s(mark.closed ? "polygon" : "polyline", { points: places.map((p) => p.join(",")).join(" "), class: "mark-line" });
    const back = s(mark.closed ? "polygon" : "polyline", { points: places.map((p) => p.join(",")).join(" "), class: "mark-back" });
    const group = s("g", { class: `mark mark-${mark.kind}` }, back, shape);
    const [x, y] = places[0];
    for (const handle of mark.handles) group.append(handleOf(mark, handle, places[handle.index], view, move, remove));
    if (["loop", "inside", "outside"].includes(mark.kind)) return group;
    const wide = mark.label.length * 8.2;
    const [left, base] = free(taken, Math.max(28, Math.min(x + 10, view.size()[0] - wide)), y - 9, wide);
    group.append(...["mark-name-back", "mark-name"].map((name) => s("text", { x: left, y: base, class: name, "aria-hidden": "true" }, mark.label)));
    return group;
  }));
  if (focused) layer.querySelector(`[data-handle="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}

/** Room for a name where no other one stands. @param {number[][]} taken @param {number} x @param {number} y @param {number} wide */
function free(taken, x, y, wide) {
  for (let down = 0; down < 12; down++) {
    const box = [x, y + 17 * down - 13, x + wide, y + 17 * down + 4];
    if (taken.some((t) => t[0] < box[2] && box[0] < t[2] && t[1] < box[3] && box[1] < t[3])) continue;
    taken.push(box);
    return [x, y + 17 * down];
  }
  return [x, y];
}

/**
 * @param {Mark} mark
 * @param {{ label: string, index: number }} handle
 * @param {number[]} screen
 * @param {import("./view.js").View} view
 * @param {(mark: Mark, index: number, place: number[], done: boolean) => void} move
 * @param {(mark: Mark) => void} remove
 */
function handleOf(mark, handle, screen, view, move, remove) {
  const [x, y] = screen;
  const name = [mark.label, handle.label].filter(Boolean).join(", ");
  const dot = s("g", { class: "handle", tabindex: 0, role: "button", "aria-label": `${name}; arrow keys move it, Delete takes it away`, "data-handle": `${mark.way.join("/")}:${handle.index}`, transform: `translate(${x} ${y})` },
    s("circle", { r: 14, class: "handle-room" }), s("circle", { r: 6, class: "handle-dot" }), s("path", { d: "M-10 0H-2M2 0H10M0-10V-2M0 2V10", class: "handle-cross" }));
  grabbed(dot, view, () => mark.places[handle.index], (place, done) => move(mark, handle.index, place, done), () => remove(mark));
  return dot;
}

/**
 * Makes an element be moved by pointer and by arrow keys.
 * @param {any} element
 * @param {import("./view.js").View} view
 * @param {() => number[]} where
 * @param {(place: number[], done: boolean) => void} to
 * @param {() => void} [remove]
 * @param {(event: PointerEvent) => void} [clicked] it was let go where it was
 */
export function grabbed(element, view, where, to, remove, clicked) {
  element.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    event.stopPropagation();
    element.focus({ preventScroll: true });
    const from = view.spot(event);
    const begun = where();
    // The window sees it all: what is drawn anew while it moves would lose the pointer.
    const place = (/** @type {PointerEvent} */ e) => {
      const here = view.spot(e);
      return [begun[0] + (here[0] - from[0]) / view.scale, begun[1] + (here[1] - from[1]) / view.scale];
    };
    let moved = false;
    const onMove = (/** @type {PointerEvent} */ e) => { moved = true; to(place(e), false); };
    const onUp = (/** @type {any} */ e) => {
      if (e.type === "keydown" && e.key !== "Escape") return;
      window.removeEventListener("pointermove", onMove);
      for (const end of ["pointerup", "pointercancel", "keydown"]) window.removeEventListener(end, onUp, true);
      if (moved) to(e.type === "pointerup" ? place(e) : begun, true);
      else if (e.type === "pointerup") clicked?.(e);
    };
    window.addEventListener("pointermove", onMove);
    // Escape puts it back.
    for (const end of ["pointerup", "pointercancel", "keydown"]) window.addEventListener(end, onUp, true);
  });
  element.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
    const way = ARROWS[event.key];
    if (way) {
      event.preventDefault();
      event.stopPropagation();
      const step = (event.shiftKey ? 10 : event.altKey ? 0.1 : 1) / Math.min(1, Math.max(0.1, view.scale));
      const [x, y] = where();
      to([x + way[0] * step, y + way[1] * step], true);
    } else if ((event.key === "Delete" || event.key === "Backspace") && remove) {
      event.preventDefault();
      event.stopPropagation();
      remove();
    }
  });
}

/** @type {Record<string, number[]>} */
export const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** The way to the whole of what a mark belongs to. @param {Mark} mark */
export function whole(mark) {
  const way = mark.way;
  if (mark.kind === "sheet") return way.slice(0, -1);
  return way;
}
