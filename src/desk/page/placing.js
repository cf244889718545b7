// What is being placed on the picture: which places, how many, and what becomes of them.

import { ask, field, h } from "./dom.js";
import { asStrokes, strokes, tidy } from "./doc.js";
import { LANDMARKS, LIMBS } from "./words.js";

/**
 * @typedef {{ title: string, say: string[], least: number, most: number, closed?: boolean, strokes?: boolean, follow?: boolean,
 *   done: (places: number[][]) => Promise<void> | void }} Task
 */

/** @param {any} desk the page: change(done, changes), doc, picture, piece */
export function tasks(desk) {
  // What is placed belongs to the picture and the piece it was begun for.
  const { picture, piece } = desk;
  const root = () => ["picture", picture];
  const blank = "[^]*\\S[^]*";
  const count = (/** @type {any} */ list) => (Array.isArray(list) ? list.length : 0);
  const length = (/** @type {string} */ name) => h("input", { name, required: true, placeholder: "140 mm, 5 1/2 in, 1.42 m", autocomplete: "off" });
  const isLength = (/** @type {string} */ name) => async (/** @type {Record<string, string>} */ said) => {
    if (!said[name]) return null;
    try { await desk.ask("/length", { text: said[name] }); return null; } catch (error) { return { name, text: error instanceof Error ? error.message : String(error) }; }
  };
  return {
    /** @returns {Task} */
    length: () => ({
      title: "A length that is known", say: ["Point at one end of what you know the length of.", "Now at its other end."], least: 2, most: 2,
      done: async (places) => {
        const said = await ask("A length that is known", [
          field("What is it?", h("input", { name: "name", value: "grip", required: true, pattern: blank })), field("How long is it in truth?", length("length"), "In any unit; a plain number is millimetres."),
          field("How far may that be off?", h("input", { name: "give", placeholder: "2 mm" }), "Left empty: as lengths are usually measured."),
        ], "Put it down", "Leave it", [isLength("length"), isLength("give")]);
        if (!said) return;
        const known = desk.doc.picture[picture].known_length;
        await desk.change(`known length ${said.name}`, [{ at: [...root(), "known_length", count(known)], to: {
          name: said.name, from: tidy(places[0]), to: tidy(places[1]), length: said.length, ...(said.give ? { give_or_take: said.give } : {}) } }]);
      },
    }),
    /** @returns {Task} */
    sheet: () => ({
      title: "A sheet or card lying beside the prop", closed: true,
      say: ["Point at its top left corner, where the straight sides would meet.", "Now at its top right corner.", "At its bottom right corner.", "And at its bottom left corner."], least: 4, most: 4,
      done: async (places) => {
        /** @type {any} */
        let size;
        const said = await ask("How large is it?", [field("Its name, or two lengths", h("input", { name: "size", value: "A4", required: true, list: "sheets" }), "A4, Letter, ID-1 for a bank card, or 297 mm x 210 mm: its upper side first."),
          h("datalist", { id: "sheets" }, ["A4", "A3", "A5", "Letter", "ID-1", "unknown"].map((value) => h("option", { value })))], "Put it down", "Leave it", [async (said) => {
          try { size = (await desk.ask("/sheet", { text: said.size })).size; return null; } catch (error) { return { name: "size", text: error instanceof Error ? error.message : String(error) }; }
        }]);
        if (!said) return;
        const sheet = { corners: places.map(tidy), size };
        const spec = desk.doc.picture[picture];
        await desk.change("marked a sheet", [spec.known_rectangle
          ? { at: [...root(), "further_rectangle", count(spec.further_rectangle)], to: sheet }
          : { at: [...root(), "known_rectangle"], to: sheet }]);
      },
    }),
    /** @returns {Task} */
    edge: () => ({
      title: "An edge that is straight in truth", say: ["Point at one end of it.", "Go on along it; three places at least. Enter ends it."], least: 3, most: 100,
      done: (places) => desk.change("straight edge", [{ at: [...root(), "lens", "straight_edges", count(desk.doc.picture[picture].lens?.straight_edges)], to: places.map(tidy) }]),
    }),
    /** @param {string} name @returns {Task} */
    landmark: (name) => ({
      title: `The figure: ${LANDMARKS[name].toLowerCase()}`, say: [`Point at the figure: ${LANDMARKS[name].toLowerCase()}.`], least: 1, most: 1,
      done: ([place]) => desk.change(`figure, ${name}`, [{ at: [...root(), "figure", "landmarks", name], to: tidy(place) }]),
    }),
    /** @param {string} name @returns {Task} */
    limb: (name) => ({
      title: `The figure: ${LIMBS[name][0].toLowerCase()}`, say: [`Point at ${LIMBS[name][1]}, however the limb is bent.`, `Now at ${LIMBS[name][2]}.`], least: 2, most: 2,
      done: (places) => desk.change(`figure, ${LIMBS[name][0].toLowerCase()}`, [{ at: [...root(), "figure", "limbs", name], to: places.map(tidy) }]),
    }),
    /** @returns {Task} */
    ring: () => ({
      title: "A round ring about the prop's axis, seen as an oval", say: ["Point at one end of its longest diameter.", "At the other end of its longest diameter.", "Now at one end of its shortest diameter.", "And at the other end of its shortest diameter."], least: 4, most: 4,
      done: (places) => desk.change("ring", [{ at: [...root(), "ring"], to: { longest: places.slice(0, 2).map(tidy), shortest: places.slice(2).map(tidy) } }]),
    }),
    /** @param {string} key @returns {Task} */
    hand: (key) => ({
      title: key === "fist" ? "The closed hand at the prop" : "The open hand at the prop",
      say: key === "fist" ? ["Point at one side of the closed hand, over the knuckles.", "Now at its other side."] : ["Point at the crease of the wrist.", "Now at the tip of the middle finger."], least: 2, most: 2,
      done: (places) => desk.change("hand", [{ at: [...root(), "hand", key], to: places.map(tidy) }]),
    }),
    /** @returns {Task} */
    finished: () => ({
      title: "The two ends of the finished prop", say: ["Point at one end of the prop.", "Now at its other end."], least: 2, most: 2,
      done: (places) => desk.change("the prop's ends", [{ at: ["finished"], to: { picture, from: tidy(places[0]), to: tidy(places[1]) } }]),
    }),
    /** @returns {Task} */
    measure: () => ({
      title: "A distance to be told", say: ["Point at one end of it.", "Now at its other end."], least: 2, most: 2,
      done: async (places) => {
        const said = await ask("What is this distance?", [field("Its name", h("input", { name: "name", value: "measure", required: true, pattern: blank }))], "Put it down");
        if (said) await desk.change(`measure ${said.name}`, [{ at: ["measure", count(desk.doc.measure)], to: { name: said.name, picture, from: tidy(places[0]), to: tidy(places[1]) } }]);
      },
    }),
    /** @returns {Task} */
    loop: () => ({
      title: "A loose loop around the piece", say: ["Draw a loose loop around the piece, or point at places around it.", "Go on around it. Enter, or the first place again, closes it."], least: 3, most: 400, closed: true, strokes: true,
      done: (places) => desk.change("loop", [{ at: ["piece", piece, "trace"], to: { around: thinned(places, 60).map(tidy) } }]),
    }),
    /** @param {"inside" | "outside"} side @returns {Task} */
    stroke: (side) => ({
      title: side === "inside" ? "What belongs to the piece" : "What does not belong to the piece",
      say: [side === "inside" ? "Point at something that belongs to the piece, or draw a line through it." : "Point at something that does not belong to it, or draw a line through it.", "Enter ends it."], least: 1, most: 400, strokes: true,
      done: (places) => {
        const trace = desk.doc.piece[piece].trace;
        const before = trace && typeof trace === "object" ? strokes(trace[side]) : [];
        return desk.change(`stroke ${side}`, [{ at: ["piece", piece, "trace"], to: { [side]: asStrokes([...before, thinned(places, 40).map(tidy)]) } }]);
      },
    }),
    /** @returns {Task} */
    follow: () => ({
      title: "Along the edge", say: ["Point at a place on the edge of the piece.", "Point farther along it: the line follows the edge. Enter, or the first place again, closes it."], least: 3, most: 4000, closed: true, follow: true,
      done: async (places) => {
        const { path } = await desk.ask("/loop", { places });
        await desk.change("drew along the edge", [{ at: ["piece", piece], to: { outline: path } }]);
      },
    }),
    /** @returns {Task} */
    through: () => ({
      title: "A smooth line through points", say: ["Point at a place on the outline.", "Go on around it; where it turns sharply, put points close together. Enter, or the first place again, closes it."], least: 3, most: 400, closed: true,
      done: async (places) => {
        const { path } = await desk.ask("/loop", { places });
        await desk.change("drew an outline", [{ at: ["piece", piece], to: { outline: path } }]);
      },
    }),
  };
}

/** No more than so many of the places, evenly. @param {number[][]} places @param {number} most */
function thinned(places, most) {
  if (places.length <= most) return places;
  const step = (places.length - 1) / (most - 1);
  return Array.from({ length: most }, (_, i) => places[Math.round(i * step)]);
}
