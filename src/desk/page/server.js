// The program that serves this page: what it knows, and what it is asked to do.

import { changed } from "./doc.js";

/** What it refuses, and why. */
export class Refused extends Error {
  /** @param {number} status @param {any} json */
  constructor(status, json) {
    super(json.text ?? json.why ?? "it was refused");
    this.status = status;
    this.why = json.why;
    this.at = json.at;
  }
}

export class Server {
  /**
   * @param {(state: any) => void} told
   * @param {(gone: boolean) => void} gone
   */
  constructor(told, gone) {
    /** @type {any} */
    this.state = null;
    this.told = told;
    this.gone = gone;
    this.version = "";
    this.isGone = false;
    /** @type {Promise<any>} one change after the other */
    this.line = Promise.resolve();
    this.pending = 0;
    /** What was done and is not saved yet. @type {string[]} */
    this.unsaved = [];
  }

  /** Keeps the page up to what the program knows. */
  async follow() {
    for (;;) {
      try {
        const reply = await fetch(`/news?after=${this.state?.seq ?? 0}`);
        if (!reply.ok) throw new Error(await reply.text());
        const state = await reply.json();
        this.setGone(false);
        this.state = state;
        if (this.pending === 0) {
          this.version = state.open?.version ?? "";
          this.told(state);
        }
      } catch {
        this.setGone(true);
        await wait(1000);
      }
    }
  }

  /** @param {boolean} gone */
  setGone(gone) {
    if (gone === this.isGone) return;
    this.isGone = gone;
    this.gone(gone);
  }

  /**
   * Asks, and asks again while the program does not answer, so that nothing is lost.
   * @param {string} way
   * @param {any} [body]
   */
  async ask(way, body = {}) {
    for (;;) {
      let reply;
      try {
        reply = await fetch(way, body instanceof Blob ? { method: "POST", body } : { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } });
      } catch {
        this.setGone(true);
        await wait(1000);
        continue;
      }
      this.setGone(false);
      const text = await reply.text();
      let json;
      try { json = JSON.parse(text); } catch { json = { text }; }
      if (!reply.ok) throw new Refused(reply.status, json);
      return json;
    }
  }

  /**
   * Changes the build file, after all changes before; seen at once, saved as soon as it can be.
   * @param {string} done what was done, as the way back names it
   * @param {import("./doc.js").Change[]} changes
   */
  change(done, changes) {
    this.pending += 1;
    this.unsaved.push(done);
    if (this.state?.open) {
      const doc = changes.reduce(changed, this.state.open.doc);
      this.state = { ...this.state, open: { ...this.state.open, doc } };
      this.told(this.state);
    }
    return this.inLine(async () => {
      try {
        const { version } = await this.ask("/change", { version: this.version, done, changes });
        this.version = version;
      } finally {
        this.pending -= 1;
        this.unsaved.shift();
      }
    });
  }

  /** @param {() => Promise<any>} what */
  inLine(what) {
    const next = this.line.then(what);
    this.line = next.catch(() => undefined);
    return next;
  }
}

/** @param {number} ms */
const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
