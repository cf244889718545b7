// Elements in one call each.

/**
 * An element with attributes and children. A function as attribute `onX` listens to event `x`; `null`, `false` and `undefined` are
 * left out.
 * @param {string} name
 * @param {Record<string, any>} [attributes]
 * @param {...any} children
 * @returns {any}
 */
export function h(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/**
 * The same for drawings.
 * @param {string} name
 * @param {Record<string, any>} [attributes]
 * @param {...any} children
 * @returns {any}
 */
export function s(name, attributes = {}, ...children) {
  return filled(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);
}

/**
 * @param {any} element
 * @param {Record<string, any>} attributes
 * @param {any[]} children
 */
function filled(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on") && typeof value === "function") element.addEventListener(key.slice(2), value);
    else if (key === "value" && "value" in element && element.tagName !== "LI") element.value = value;
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    element.append(child);
  }
  return element;
}

/**
 * Puts new children into `parent`, and leaves the focus on the child that has the same `data-keep` as the one that had it.
 * @param {any} parent
 * @param {...any} children
 */
export function refill(parent, ...children) {
  const focused = parent.contains(document.activeElement) ? document.activeElement : null;
  const keep = focused?.getAttribute("data-keep");
  const typed = focused && "value" in focused ? /** @type {any} */ (focused).value : null;
  const dirty = focused?.hasAttribute("data-dirty");
  parent.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  if (!keep) return;
  const again = parent.querySelector(`[data-keep="${CSS.escape(keep)}"]`);
  if (!again) return;
  // What is being typed is not swept away by what arrives meanwhile.
  if (dirty && typed !== null) {
    again.value = typed;
    again.setAttribute("data-dirty", "");
  }
  again.focus({ preventScroll: true });
}

/**
 * Asks something in a dialog; gives what was filled in, or null when it was left.
 * @param {string} title
 * @param {any[]} fields
 * @param {string} yes
 * @param {string} [no]
 * @param {((said: Record<string, string>) => Promise<{ name: string, text: string } | null>)[]} [checks]
 * @returns {Promise<Record<string, string> | null>}
 */
export function ask(title, fields, yes, no = "Leave it", checks = []) {
  return new Promise((resolve) => {
    const wrong = h("p", { class: "bad", role: "alert", id: "ask-wrong" });
    const form = h("form", { method: "dialog" }, h("h2", { id: "ask-title" }, title), fields, wrong,
      h("div", { class: "row" }, h("button", { value: "yes", class: "main" }, yes), h("button", { type: "button", onclick: () => dialog.close("no") }, no)));
    const dialog = h("dialog", { "aria-labelledby": "ask-title" }, form);
    const said = () => Object.fromEntries([...new FormData(form)].map(([key, value]) => [key, String(value).trim()]));
    form.addEventListener("submit", async (/** @type {Event} */ event) => {
      event.preventDefault();
      for (const check of checks) {
        const found = await check(said());
        if (!found) continue;
        wrong.textContent = found.text;
        form.elements.namedItem(found.name)?.focus();
        return;
      }
      dialog.close("yes");
    });
    dialog.addEventListener("close", () => {
      const filled = said();
      dialog.remove();
      resolve(dialog.returnValue === "yes" ? filled : null);
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}

let fields = 0;

/**
 * A labelled field.
 * @param {string} label
 * @param {any} control an input or select
 * @param {string} [hint]
 */
export function field(label, control, hint) {
  const id = control.id || `field-${++fields}`;
  control.id = id;
  if (hint) control.setAttribute("aria-describedby", `${id}-hint`);
  return h("div", { class: "field" }, h("label", { for: id }, label), control, hint && h("p", { class: "hint", id: `${id}-hint` }, hint));
}
