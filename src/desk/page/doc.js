// The build file as JSON, and ways into it.

/** @typedef {(string | number)[]} Way */
/** @typedef {{ at: Way, to: any }} Change */

/**
 * What stands at the end of a way.
 * @param {any} doc
 * @param {Way} way
 */
export const at = (doc, way) => way.reduce((json, step) => json?.[step], doc);

/**
 * `doc` with a change made, so that it is seen before the file says it: JSON Merge Patch (RFC 7396).
 * @param {any} doc
 * @param {Change} change
 */
export function changed(doc, { at: way, to }) {
  if (way.length === 0) return merged(doc, to);
  const [step, ...rest] = way;
  if (typeof step === "number") {
    const all = Array.isArray(doc) ? [...doc] : [];
    if (rest.length === 0 && to === null) all.splice(step, 1);
    else all[step] = changed(all[step], { at: rest, to });
    return all;
  }
  const copy = { ...doc };
  if (rest.length === 0 && to === null) delete copy[step];
  else copy[step] = changed(copy[step], { at: rest, to });
  return copy;
}

/**
 * @param {any} doc
 * @param {any} to
 */
function merged(doc, to) {
  if (to === null || typeof to !== "object" || Array.isArray(to)) return to;
  const copy = doc && typeof doc === "object" && !Array.isArray(doc) ? { ...doc } : {};
  for (const [key, value] of Object.entries(to)) {
    if (value === null) delete copy[key];
    else copy[key] = merged(copy[key], value);
  }
  return copy;
}

/** A place as the file writes it. @param {number[]} place */
export const tidy = (place) => place.map((number) => Math.round(number * 100) / 100);

/** Strokes, however the file writes them. @param {any} value @returns {number[][][]} */
export function strokes(value) {
  if (!Array.isArray(value) || value.length === 0) return [];
  if (typeof value[0] === "number") return [[value]];
  return value.map((one) => (typeof one[0] === "number" ? [one] : one));
}

/** The same back. @param {number[][][]} all */
export const asStrokes = (all) => all.map((stroke) => (stroke.length === 1 ? stroke[0] : stroke));
