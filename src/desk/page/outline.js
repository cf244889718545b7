// The outline of one piece: its nodes and handles, as SVG path data of lines and cubics.

import { s } from "./dom.js";
import { grabbed } from "./marks.js";

/** @typedef {{ at: number[], in: number[] | null, out: number[] | null }} Node */
/** @typedef {{ nodes: Node[] }} Ring */

/**
 * Rings of nodes; `in` and `out` are the handles of cubics before and behind a node.
 * @param {string} path
 * @returns {Ring[]}
 */
export function ringsOf(path) {
  /** @type {Ring[]} */
  const rings = [];
  /** @type {Node[]} */
  let nodes = [];
  for (const [, letter, rest] of path.matchAll(/([MLCZ])([^MLCZ]*)/g)) {
    const n = (rest.match(/-?\d*\.?\d+(?:e-?\d+)?/gi) ?? []).map(Number);
    const last = nodes[nodes.length - 1];
    if (letter === "M") { nodes = [{ at: [n[0], n[1]], in: null, out: null }]; rings.push({ nodes }); }
    if (letter === "L") for (let i = 0; i < n.length; i += 2) nodes.push({ at: [n[i], n[i + 1]], in: null, out: null });
    if (letter === "C") {
      for (let i = 0; i < n.length; i += 6) {
        nodes[nodes.length - 1].out = [n[i], n[i + 1]];
        nodes.push({ at: [n[i + 4], n[i + 5]], in: [n[i + 2], n[i + 3]], out: null });
      }
    }
    if (letter === "Z" && last && nodes.length > 1) {
      const first = nodes[0];
      if (Math.hypot(last.at[0] - first.at[0], last.at[1] - first.at[1]) < 1e-6) { first.in = last.in; nodes.pop(); }
    }
  }
  return rings.filter((ring) => ring.nodes.length > 1);
}

/** @param {Ring[]} rings */
export function pathOf(rings) {
  const two = (/** @type {number[]} */ p) => p.map((number) => Math.round(number * 1000) / 1000).join(" ");
  return rings.map(({ nodes }) => {
    const parts = [`M ${two(nodes[0].at)}`];
    for (let i = 1; i <= nodes.length; i++) {
      const a = nodes[i - 1], b = nodes[i % nodes.length];
      if (a.out || b.in) parts.push(`C ${two(a.out ?? a.at)} ${two(b.in ?? b.at)} ${two(b.at)}`);
      else if (i < nodes.length) parts.push(`L ${two(b.at)}`);
    }
    return `${parts.join(" ")} Z`;
  }).join(" ");
}

/** A path in screen pixels. @param {Ring[]} rings @param {import("./view.js").View} view */
export function onScreen(rings, view) {
  return pathOf(rings.map(({ nodes }) => ({ nodes: nodes.map((node) => ({
    at: view.toScreen(node.at), in: node.in && view.toScreen(node.in), out: node.out && view.toScreen(node.out) })) })));
}

/**
 * Draws the nodes of an outline, to be taken hold of; handles only beside the chosen ones.
 * @param {any} layer
 * @param {Ring[]} rings
 * @param {Set<string>} chosen
 * @param {import("./view.js").View} view
 * @param {{ moved: (rings: Ring[], done: boolean) => void, choose: (key: string, more: boolean) => void, chosenAlone: (key: string) => void, remove: () => void, name: string }} tell
 */
export function drawNodes(layer, rings, chosen, view, tell) {
  const focused = document.activeElement?.getAttribute?.("data-handle");
  const [w, h] = view.size();
  const seen = (/** @type {number[]} */ p) => p[0] > -20 && p[1] > -20 && p[0] < w + 20 && p[1] < h + 20;
  const all = [];
  for (const [r, { nodes }] of rings.entries()) {
    for (const [i, node] of nodes.entries()) {
      const key = `${r}.${i}`;
      const p = view.toScreen(node.at);
      if (!seen(p)) continue;
      const isChosen = chosen.has(key);
      if (isChosen) {
        for (const side of /** @type {("in" | "out")[]} */ (["in", "out"])) {
          const handle = node[side];
          if (!handle) continue;
          const q = view.toScreen(handle);
          const line = s("line", { x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: "bend-line" });
          const dot = s("g", { class: "bend", tabindex: 0, role: "button", "data-handle": `bend:${key}:${side}`, "aria-label": `${tell.name}, node ${i + 1}, handle ${side === "in" ? "before" : "behind"} it`, transform: `translate(${q[0]} ${q[1]})` },
            s("circle", { r: 13, class: "handle-room" }), s("circle", { r: 4.5, class: "bend-dot" }));
          grabbed(dot, view, () => handle, (place, done) => tell.moved(bent(rings, r, i, side, place), done));
          all.push(line, dot);
        }
      }
      const dot = s("g", { class: `node${isChosen ? " chosen" : ""}`, tabindex: 0, role: "button", "aria-pressed": isChosen, "data-handle": `node:${key}`,
        "aria-label": `${tell.name}, node ${i + 1} of ${nodes.length}`, transform: `translate(${p[0]} ${p[1]})` },
        s("circle", { r: 12, class: "handle-room" }), isCorner(node) ? s("rect", { x: -4.5, y: -4.5, width: 9, height: 9, class: "node-dot" }) : s("circle", { r: 5, class: "node-dot" }));
      dot.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => tell.choose(key, event.shiftKey), { capture: true });
      dot.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
        if (event.key === "Enter" || event.key === " ") { event.preventDefault(); event.stopPropagation(); tell.choose(key, true); }
      });
      grabbed(dot, view, () => node.at, (place, done) => tell.moved(shifted(rings, chosen.has(key) ? chosen : new Set([key]), [place[0] - node.at[0], place[1] - node.at[1]]), done), () => tell.remove(), (event) => { if (!event.shiftKey) tell.chosenAlone(key); });
      all.push(dot);
    }
  }
  layer.replaceChildren(...all);
  if (focused) layer.querySelector(`[data-handle="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}

/** Its two handles do not lie in one line. @param {Node} node */
export function isCorner(node) {
  if (!node.in || !node.out) return true;
  const [ax, ay] = [node.at[0] - node.in[0], node.at[1] - node.in[1]];
  const [bx, by] = [node.out[0] - node.at[0], node.out[1] - node.at[1]];
  return Math.abs(Math.atan2(ax * by - ay * bx, ax * bx + ay * by)) > 0.09;
}

/** @param {Ring[]} rings @param {number} r @param {number} i @param {Node} node @returns {Ring[]} */
const withNode = (rings, r, i, node) => rings.map((ring, k) => (k !== r ? ring : { nodes: ring.nodes.map((old, j) => (j === i ? node : old)) }));

/** All chosen nodes, moved alike with their handles. @param {Ring[]} rings @param {Set<string>} chosen @param {number[]} by @returns {Ring[]} */
function shifted(rings, chosen, by) {
  const moved = (/** @type {number[] | null} */ p) => p && [p[0] + by[0], p[1] + by[1]];
  return rings.map((ring, r) => ({ nodes: ring.nodes.map((node, i) => (chosen.has(`${r}.${i}`)
    ? { at: [node.at[0] + by[0], node.at[1] + by[1]], in: moved(node.in), out: moved(node.out) } : node)) }));
}

/** A handle drags its mate along where the outline is smooth. @param {Ring[]} rings @param {number} r @param {number} i @param {"in" | "out"} side @param {number[]} place */
function bent(rings, r, i, side, place) {
  const node = rings[r].nodes[i];
  const other = side === "in" ? "out" : "in";
  const changed = { ...node, [side]: place };
  const mate = node[other];
  if (mate && !isCorner(node)) {
    const long = Math.hypot(mate[0] - node.at[0], mate[1] - node.at[1]);
    const away = [node.at[0] - place[0], node.at[1] - place[1]];
    const far = Math.hypot(away[0], away[1]) || 1;
    changed[other] = [node.at[0] + away[0] / far * long, node.at[1] + away[1] / far * long];
  }
  return withNode(rings, r, i, changed);
}
