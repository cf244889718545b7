// Before anything is open: a picture begins a build, or a build of the folder is opened.

import { h } from "./dom.js";
import { DROP } from "./words.js";

/**
 * @param {any} folder
 * @param {{ open: (name: string) => void, begin: (name: string, bytes: Blob) => void }} tell
 */
export function beginning(folder, tell) {
  const chosen = h("input", { type: "file", id: "choose", accept: "image/*", onchange: () => {
    const file = chosen.files?.[0];
    if (file) tell.begin(file.name, file);
  } });
  const drop = h("div", { class: "drop", id: "drop" }, h("h2", {}, "Begin with a picture"), h("p", {}, DROP), h("label", { for: "choose", class: "like-button" }, "Choose a picture"), chosen,
    h("p", { class: "hint" }, "It is copied into the folder this page was opened on, and a build file is written beside it. Nothing leaves this machine."));
  drop.addEventListener("dragover", (/** @type {DragEvent} */ event) => { event.preventDefault(); drop.classList.add("over"); });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (/** @type {DragEvent} */ event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const file = event.dataTransfer?.files[0];
    if (file) tell.begin(file.name, file);
  });
  const list = (/** @type {string[]} */ names, /** @type {(name: string) => void} */ go) =>
    h("ul", { class: "files" }, names.map((name) => h("li", {}, h("button", { type: "button", onclick: () => go(name) }, name))));
  return h("div", { class: "beginning" }, drop,
    h("section", { class: "sheet", "aria-labelledby": "here" }, h("h2", { id: "here" }, `In the folder “${folder.name}”`),
      folder.builds.length > 0 && [h("h3", {}, "Go on with a build"), list(folder.builds, tell.open)],
      folder.pictures.length > 0 && [h("h3", {}, "Begin with a picture that lies here"), list(folder.pictures, (name) => tell.begin(name, new Blob()))],
      folder.builds.length + folder.pictures.length === 0 && h("p", {}, "Neither build files nor pictures lie here yet.")),
    h("section", { class: "sheet", "aria-labelledby": "way" }, h("h2", { id: "way" }, "How it goes"),
      h("ol", {}, h("li", {}, "Say how large the prop is: mark a length you know, a sheet of paper that lies beside it, or the figure that carries it."),
        h("li", {}, "Outline its pieces: draw a loose loop around one and let it be traced, or follow its edge by hand."),
        h("li", {}, "Make the pattern: print the pages at 100 %, measure the test square, tape them together."))));
}
