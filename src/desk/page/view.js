// The picture: moved, brought closer, drawn in tiles at the size that is needed.

/** @typedef {{ width: number, height: number, levels: number, tile: number, stamp: string }} Picture */

const NEAREST = 48;
const KEPT_TILES = 400;
const RULE = 24;
/** A pointer that moves less than this is a click, in screen pixels. */
const STILL = 5;

export class View {
  /**
   * @param {HTMLElement} frame
   * @param {HTMLCanvasElement} canvas
   * @param {{ moved: () => void, placed: (at: number[]) => void, drawn: (stroke: number[][]) => void, hovered: (at: number[] | null) => void }} tell
   */
  constructor(frame, canvas, tell) {
    this.frame = frame;
    this.canvas = canvas;
    this.tell = tell;
    this.scale = 1;
    this.offset = [0, 0];
    /** @type {Picture | null} */
    this.picture = null;
    this.name = "";
    /** @type {Map<string, HTMLImageElement>} */
    this.tiles = new Map();
    /** @type {Map<number, number[]>} */
    this.pointers = new Map();
    /** "move": dragging moves the picture; "place": a click places; "draw": dragging draws, a click places. */
    this.mode = "move";
    /** @type {number[][] | null} */
    this.stroke = null;
    this.mmPerPx = 0;
    this.asked = false;
    /** The whole picture is shown, and is to be whatever becomes of the frame. */
    this.fits = true;
    new ResizeObserver(() => this.resized()).observe(frame);
    frame.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    frame.addEventListener("pointerdown", (event) => this.down(event));
    frame.addEventListener("pointermove", (event) => this.move(event));
    for (const end of ["pointerup", "pointercancel"]) frame.addEventListener(end, (event) => this.up(/** @type {PointerEvent} */ (event)));
    frame.addEventListener("pointerleave", () => this.tell.hovered(null));
  }

  /** @param {string} name @param {Picture} picture */
  show(name, picture) {
    if (name === this.name && picture.stamp === this.picture?.stamp) return;
    // Another one of the same size stays where it is looked at.
    const same = name === this.name && picture.width === this.picture?.width && picture.height === this.picture?.height;
    this.name = name;
    this.picture = picture;
    this.tiles.clear();
    if (same) this.draw(); else this.whole();
  }

  size() { return [this.frame.clientWidth, this.frame.clientHeight]; }

  /** @param {number[]} at in picture pixels */
  toScreen(at) { return [at[0] * this.scale + this.offset[0], at[1] * this.scale + this.offset[1]]; }

  /** @param {number[]} at in screen pixels of the frame */
  toPicture(at) { return [(at[0] - this.offset[0]) / this.scale, (at[1] - this.offset[1]) / this.scale]; }

  middle() { const [w, h] = this.size(); return this.toPicture([w / 2, h / 2]); }

  whole() {
    if (!this.picture) return;
    const [w, h] = this.size();
    if (!w || !h) return;
    this.fits = true;
    this.scale = Math.min((w - 2 * RULE) / this.picture.width, (h - 2 * RULE) / this.picture.height, 8);
    this.offset = [(w + RULE - this.picture.width * this.scale) / 2, (h + RULE - this.picture.height * this.scale) / 2];
    this.draw();
  }

  /** @param {number} times @param {number[]} [about] screen */
  closer(times, about) {
    this.fits = false;
    const [w, h] = this.size();
    const here = about ?? [w / 2, h / 2];
    const fixed = this.toPicture(here);
    const least = this.picture ? Math.min(w / this.picture.width, h / this.picture.height) / 4 : 0.01;
    this.scale = Math.min(NEAREST, Math.max(least, this.scale * times));
    this.offset = [here[0] - fixed[0] * this.scale, here[1] - fixed[1] * this.scale];
    this.draw();
  }

  /** @param {number} dx @param {number} dy screen */
  by(dx, dy) { this.fits = false; this.offset = [this.offset[0] + dx, this.offset[1] + dy]; this.draw(); }

  /** Brings a place into view. @param {number[][]} places */
  toPlaces(places) {
    if (places.length === 0) return;
    this.fits = false;
    const [w, h] = this.size();
    const xs = places.map((p) => p[0]), ys = places.map((p) => p[1]);
    const wide = Math.max(Math.max(...xs) - Math.min(...xs), 40), high = Math.max(Math.max(...ys) - Math.min(...ys), 40);
    this.scale = Math.min(8, Math.min(w / wide, h / high) * 0.6);
    const middle = [(Math.max(...xs) + Math.min(...xs)) / 2, (Math.max(...ys) + Math.min(...ys)) / 2];
    this.offset = [w / 2 - middle[0] * this.scale, h / 2 - middle[1] * this.scale];
    this.draw();
  }

  /** @param {{ clientX: number, clientY: number }} event */
  spot(event) {
    const box = this.frame.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : 1;
    if (event.shiftKey) this.by(-(event.deltaX + event.deltaY) * lines, 0);
    else this.closer(Math.exp(-event.deltaY * lines * (event.ctrlKey ? 0.01 : 0.0016)), this.spot(event));
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button > 1 || /** @type {Element} */ (event.target).closest("[data-handle],button,.loupe")) return;
    this.frame.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, this.spot(event));
    this.start = this.spot(event);
    this.dragged = false;
    this.stroke = this.mode === "draw" && event.button === 0 && this.pointers.size === 1 ? [this.toPicture(this.start)] : null;
  }

  /** @param {PointerEvent} event */
  move(event) {
    const here = this.spot(event);
    const before = this.pointers.get(event.pointerId);
    this.tell.hovered(this.toPicture(here));
    if (!before || !this.start) return;
    if (Math.hypot(here[0] - this.start[0], here[1] - this.start[1]) > STILL) this.dragged = true;
    if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)?.[1] ?? here;
      const far = (/** @type {number[]} */ a, /** @type {number[]} */ b) => Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1]));
      this.closer(far(here, other) / far(before, other), other);
      this.by((here[0] - before[0]) / 2, (here[1] - before[1]) / 2);
      this.stroke = null;
    } else if (this.stroke) {
      if (this.dragged) this.stroke.push(this.toPicture(here));
      this.draw();
    } else if (this.dragged) this.by(here[0] - before[0], here[1] - before[1]);
    this.pointers.set(event.pointerId, here);
  }

  /** @param {PointerEvent} event */
  up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    const stroke = this.stroke;
    this.stroke = null;
    if (event.type === "pointercancel") return;
    if (!this.dragged && this.mode !== "move" && event.button === 0) this.tell.placed(this.toPicture(this.spot(event)));
    else if (this.dragged && stroke) this.tell.drawn(stroke);
    this.draw();
  }

  resized() {
    if (this.fits) this.whole();
    else this.draw();
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => { this.asked = false; this.paint(); this.tell.moved(); });
  }

  /** @param {number} level @param {number} column @param {number} row */
  tile(level, column, row) {
    const key = `${level}/${column}/${row}`;
    let image = this.tiles.get(key);
    if (image) { this.tiles.delete(key); this.tiles.set(key, image); return image; }
    image = new Image();
    image.onload = () => this.draw();
    const picture = /** @type {Picture} */ (this.picture);
    image.src = `/tile/${encodeURIComponent(this.name)}/${key}?of=${picture.stamp}`;
    this.tiles.set(key, image);
    if (this.tiles.size > KEPT_TILES) this.tiles.delete(/** @type {string} */ (this.tiles.keys().next().value));
    return image;
  }

  paint() {
    const [w, h] = this.size();
    const dense = window.devicePixelRatio || 1;
    if (this.canvas.width !== Math.round(w * dense) || this.canvas.height !== Math.round(h * dense)) {
      this.canvas.width = Math.round(w * dense);
      this.canvas.height = Math.round(h * dense);
    }
    const pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    pen.setTransform(dense, 0, 0, dense, 0, 0);
    pen.clearRect(0, 0, w, h);
    if (!this.picture) return;
    const wanted = Math.max(0, Math.min(this.picture.levels - 1, Math.floor(-Math.log2(this.scale * dense) + 0.3)));
    const coarse = this.picture.levels - 1;
    for (const level of wanted === coarse ? [wanted] : [coarse, wanted]) this.paintLevel(pen, level, w, h, this.scale * dense);
    this.paintRule(pen, w, h);
  }

  /** @param {CanvasRenderingContext2D} pen @param {number} level @param {number} w @param {number} h @param {number} scale */
  paintLevel(pen, level, w, h, scale) {
    const { width, height, tile } = /** @type {Picture} */ (this.picture);
    let [wide, high] = [width, height];
    for (let i = 0; i < level; i++) [wide, high] = [Math.ceil(wide / 2), Math.ceil(high / 2)];
    const [sx, sy] = [width / wide, height / high];
    const [x0, y0] = this.toPicture([0, 0]), [x1, y1] = this.toPicture([w, h]);
    pen.imageSmoothingEnabled = scale < 3;
    const range = (/** @type {number} */ from, /** @type {number} */ to, /** @type {number} */ per, /** @type {number} */ most) =>
      [Math.max(0, Math.floor(from / per / tile)), Math.min(Math.ceil(most / tile) - 1, Math.floor(to / per / tile))];
    const [c0, c1] = range(x0, x1, sx, wide), [r0, r1] = range(y0, y1, sy, high);
    for (let row = r0; row <= r1; row++) {
      for (let column = c0; column <= c1; column++) {
        const image = this.tile(level, column, row);
        if (!image.complete || image.naturalWidth === 0) continue;
        const [x, y] = this.toScreen([column * tile * sx, row * tile * sy]);
        pen.drawImage(image, x, y, image.naturalWidth * sx * this.scale, image.naturalHeight * sy * this.scale);
      }
    }
  }

  /** A steel rule along two sides: in mm where the size is known, else in pixels. @param {CanvasRenderingContext2D} pen @param {number} w @param {number} h */
  paintRule(pen, w, h) {
    const per = this.mmPerPx || 1;
    const unit = this.mmPerPx ? "mm" : "px";
    const raw = 70 / this.scale * per;
    const ten = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 5, 10].map((times) => times * ten).find((step) => step >= raw) ?? raw;
    pen.fillStyle = "#c9ccce";
    pen.fillRect(0, 0, w, RULE);
    pen.fillRect(0, 0, RULE, h);
    pen.strokeStyle = "#3a3f42";
    pen.fillStyle = "#24282a";
    pen.lineWidth = 1;
    pen.font = "11px Page, sans-serif";
    pen.beginPath();
    const ticks = (/** @type {number} */ origin, /** @type {number} */ length, /** @type {(at: number, long: number, text: string) => void} */ put) => {
      const gap = step / per * this.scale / 10;
      const first = Math.ceil((RULE - origin) / gap), last = Math.floor((length - origin) / gap);
      for (let i = first; i <= last; i++) {
        const long = i % 10 === 0 ? 14 : i % 5 === 0 ? 9 : 5;
        put(origin + i * gap, long, i % 10 === 0 ? `${Number((i * step / 10).toPrecision(6))}` : "");
      }
    };
    ticks(this.offset[0], w, (x, long, text) => { pen.moveTo(x, RULE); pen.lineTo(x, RULE - long); if (text) pen.fillText(text, x + 3, 10); });
    ticks(this.offset[1], h, (y, long, text) => {
      pen.moveTo(RULE, y); pen.lineTo(RULE - long, y);
      if (!text) return;
      pen.save(); pen.translate(10, y - 3); pen.rotate(-Math.PI / 2); pen.fillText(text, 0, 0); pen.restore();
    });
    pen.stroke();
    pen.fillStyle = "#c9ccce";
    pen.fillRect(0, 0, RULE, RULE);
    pen.fillStyle = "#24282a";
    pen.fillText(unit, 3, 15);
  }

  /** The surroundings of a place, eight times as large. @param {HTMLCanvasElement} loupe @param {number[]} at */
  enlarge(loupe, at) {
    if (!this.picture) return;
    const times = Math.max(8, this.scale * 2);
    const pen = /** @type {CanvasRenderingContext2D} */ (loupe.getContext("2d"));
    const side = loupe.width;
    pen.fillStyle = "#26302e";
    pen.fillRect(0, 0, side, side);
    pen.imageSmoothingEnabled = false;
    const tile = this.picture.tile;
    const half = side / 2 / times;
    for (let row = Math.max(0, Math.floor((at[1] - half) / tile)); row <= Math.floor((at[1] + half) / tile); row++) {
      for (let column = Math.max(0, Math.floor((at[0] - half) / tile)); column <= Math.floor((at[0] + half) / tile); column++) {
        if (column * tile >= this.picture.width || row * tile >= this.picture.height) continue;
        const image = this.tile(0, column, row);
        if (!image.complete || image.naturalWidth === 0) continue;
        pen.drawImage(image, side / 2 + (column * tile - at[0]) * times, side / 2 + (row * tile - at[1]) * times, image.naturalWidth * times, image.naturalHeight * times);
      }
    }
    for (const [colour, wide] of /** @type {[string, number][]} */ ([["#ffffff", 3], ["#101414", 1]])) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide;
      pen.beginPath();
      pen.moveTo(side / 2, 0); pen.lineTo(side / 2, side / 2 - 6); pen.moveTo(side / 2, side / 2 + 6); pen.lineTo(side / 2, side);
      pen.moveTo(0, side / 2); pen.lineTo(side / 2 - 6, side / 2); pen.moveTo(side / 2 + 6, side / 2); pen.lineTo(side, side / 2);
      pen.stroke();
    }
  }
}
