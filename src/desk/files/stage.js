// The photo, large: moved, enlarged to the pixel, and touched.

import { draw, el } from "./make.js";

/** Screen pixels that a finger misses by. */
const FINGER = 16;
/** A pointer that moved less than this only touched. */
const STILL = 6;
/** Screen pixels a photo pixel is shown as at most. */
const MOST = 24;
/** From here on single pixels are shown as squares. */
const SQUARES = 3;

export const TOOLS = {
  touch: ["Touch", "Touch a piece of yarn or a ruler to measure with that one alone."],
  frame: ["Frame", "Draw a frame: yarn is looked for only inside it."],
  points: ["Two points", "Touch two points whose distance you know."],
};

export class Stage {
  /** `said` hears what was touched: onpiece(number), onruler(number), onframe([x, y, w, h]), onpoints([[x, y], [x, y]]). */
  constructor(said) {
    this.said = said;
    this.tool = "touch";
    this.points = [];
    this.pointers = new Map();
    this.size = [1, 1];
    this.view = { scale: 1, x: 0, y: 0 };
    this.fitted = true;
    this.sketch = null;
    this.picture = el("img", { alt: "", draggable: "false" });
    this.lines = draw("g", { "clip-path": "url(#photo-only)" });
    this.signs = draw("g");
    this.own = draw("g");
    this.cross = draw("path", { class: "cross", d: "M-14 0h10M4 0h10M0-14v10M0 4v10" });
    // The course of a yarn may lead on beyond the photo, where there is nothing to be seen.
    this.edge = draw("rect", { x: -0.5, y: -0.5 });
    this.over = draw("svg", { "aria-hidden": "true" }, draw("clipPath", { id: "photo-only" }, this.edge), this.lines, this.own, this.signs, this.cross);
    this.where = el("output", { class: "where" });
    this.node = el("div", {
      class: "stage", tabindex: 0, role: "application", "aria-label": "The photo",
      "aria-describedby": "stage-help",
    }, this.picture, this.over, this.where);
    this.help = el("p", { id: "stage-help", class: "soft small" },
      "Drag to move, turn the wheel or pinch to enlarge. By keyboard: arrows move, + and − enlarge and shrink, 0 shows all, Enter touches what is under the cross, Escape gives up.");
    this.listen();
    this.watch = new ResizeObserver(() => (this.fitted ? this.fit() : this.place()));
    this.watch.observe(this.node);
    this.picture.addEventListener("load", () => {
      this.sized(this.picture.naturalWidth, this.picture.naturalHeight);
      if (this.fitted) this.fit();
      else this.place();
    });
  }

  /** Shows a photo and what was measured on it. The view stays where the photo stays. */
  show(address, sketch, alt) {
    this.sketch = sketch;
    this.points = [];
    this.picture.alt = alt;
    if (sketch) this.sized(sketch.width_px, sketch.height_px);
    if (this.address !== address) {
      this.address = address;
      this.fitted = true;
      this.picture.src = address;
    }
    this.paint();
    if (this.fitted) this.fit();
    else this.place();
  }

  /** As wide and high as the photo, as far as there is room. */
  sized(width, height) {
    this.size = [width, height];
    this.edge.setAttribute("width", width);
    this.edge.setAttribute("height", height);
    this.node.style.aspectRatio = `${width} / ${height}`;
  }

  choose(tool) {
    this.tool = tool;
    this.points = [];
    this.node.dataset.tool = tool;
    this.paintOwn();
  }

  // --- where things are

  get box() {
    return this.node.getBoundingClientRect();
  }

  fit() {
    const { width, height } = this.box;
    const [w, h] = this.size;
    const scale = Math.min(width / w, height / h) || 1;
    this.view = { scale, x: (width - w * scale) / 2, y: (height - h * scale) / 2 };
    this.fitted = true;
    this.place();
  }

  /** Enlarges around a place of the stage. */
  enlarge(factor, at) {
    const { width, height } = this.box;
    const least = Math.min(width / this.size[0], height / this.size[1]) * 0.8;
    const scale = Math.max(least, Math.min(MOST, this.view.scale * factor));
    const by = scale / this.view.scale;
    const [x, y] = at ?? [width / 2, height / 2];
    this.view = { scale, x: x - (x - this.view.x) * by, y: y - (y - this.view.y) * by };
    this.fitted = false;
    this.place();
  }

  move(dx, dy) {
    this.view.x += dx;
    this.view.y += dy;
    this.fitted = false;
    this.place();
  }

  /** Puts picture and lines where the view says; the middle of the stage never leaves the photo. */
  place() {
    const { width, height } = this.box;
    const { scale } = this.view;
    const held = (at, middle, length) => Math.min(middle, Math.max(middle - length * scale, at));
    this.view.x = held(this.view.x, width / 2, this.size[0]);
    this.view.y = held(this.view.y, height / 2, this.size[1]);
    const { x, y } = this.view;
    this.picture.style.width = `${this.size[0]}px`;
    this.picture.style.transform = `translate(${x}px,${y}px) scale(${scale})`;
    this.picture.classList.toggle("squares", scale * devicePixelRatio >= SQUARES);
    this.over.setAttribute("viewBox", `0 0 ${width} ${height}`);
    // A photo's whole numbers are the middles of its pixels.
    const on = `translate(${x} ${y}) scale(${scale}) translate(.5 .5)`;
    this.lines.setAttribute("transform", on);
    this.own.setAttribute("transform", on);
    this.cross.setAttribute("transform", `translate(${width / 2} ${height / 2})`);
    this.placeSigns();
    this.node.classList.toggle("fitted", this.fitted);
    const [cx, cy] = this.onPhoto([width / 2, height / 2]);
    this.where.textContent = `${Math.round(cx)}, ${Math.round(cy)} · ${scale >= 1 ? `${scale.toFixed(1)} ×` : `1 : ${(1 / scale).toFixed(1)}`}`;
  }

  /** Puts numbers and words where they belong, and leaves out those off the photo and those that would cover others: numbers
   * go before words. */
  placeSigns() {
    const taken = [];
    const signs = [...this.signs.children].sort((a, b) => Number(b.dataset.badge) - Number(a.dataset.badge));
    for (const sign of signs) {
      const [x, y] = this.onStage([Number(sign.dataset.x), Number(sign.dataset.y)]);
      const half = Number(sign.dataset.wide) / 2;
      const there = [sign.dataset.x, sign.dataset.y].every((at, i) => at >= -0.5 && at <= this.size[i] - 0.5);
      const free = there && taken.every(([ox, oy, other]) => Math.abs(x - ox) > half + other || Math.abs(y - oy) > 20);
      sign.setAttribute("visibility", free ? "visible" : "hidden");
      sign.setAttribute("transform", `translate(${x} ${y})`);
      if (free) taken.push([x, y, half]);
    }
  }

  onStage([x, y]) {
    return [this.view.x + (x + 0.5) * this.view.scale, this.view.y + (y + 0.5) * this.view.scale];
  }

  onPhoto([x, y]) {
    return [(x - this.view.x) / this.view.scale - 0.5, (y - this.view.y) / this.view.scale - 0.5];
  }

  // --- what is drawn

  paint() {
    this.lines.replaceChildren();
    this.signs.replaceChildren();
    const cased = [];
    for (const mark of this.sketch?.marks ?? []) {
      const name = `m-${mark.meaning}`;
      const d = path(mark);
      if (d) {
        // Fine dots would drown in their own casing.
        if (mark.meaning !== "refused") cased.push(draw("path", { class: "casing", d }));
        this.lines.append(draw("path", { class: `mark ${name}`, d }));
      }
      const [at] = mark.points;
      if (!at) continue;
      if (mark.shape === "badge") this.sign(at, mark.text, 1, `badge ${name}`);
      else if (mark.shape === "word" && mark.meaning !== "refused") this.sign(at, mark.text.replaceAll("-", " "), 0, `word ${name}`);
      else if (mark.shape === "ring" || mark.shape === "dot") {
        this.lines.append(draw("circle", { class: `${mark.shape} ${name}`, cx: at[0], cy: at[1], r: mark.radius_px ?? 3 }));
      }
    }
    this.lines.prepend(...cased);
    this.paintOwn();
  }

  sign(at, text, badge, name) {
    const wide = 10 + 7 * text.length;
    this.signs.append(draw("g", { class: name, "data-x": at[0], "data-y": at[1], "data-wide": wide, "data-badge": badge },
      draw("rect", { x: -wide / 2, y: -10, width: wide, height: 20, rx: 5 }), draw("text", { y: 4.5, "text-anchor": "middle" }, text)));
  }

  paintOwn(rect) {
    const parts = this.points.map(([x, y]) => draw("circle", { class: "own", cx: x, cy: y, r: 4 / this.view.scale }));
    if (this.points.length === 2) {
      const [[a, b], [c, d]] = this.points;
      parts.push(draw("path", { class: "own", d: `M${a} ${b}L${c} ${d}` }));
    }
    if (rect) parts.push(draw("rect", { class: "own", x: rect[0], y: rect[1], width: rect[2], height: rect[3] }));
    this.own.replaceChildren(...parts);
  }

  // --- hands

  listen() {
    const { node } = this;
    const at = (event) => [event.clientX - this.box.left, event.clientY - this.box.top];
    node.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.enlarge(Math.exp(-event.deltaY * (event.deltaMode === 1 ? 0.05 : 0.0016)), at(event));
    }, { passive: false });
    node.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      node.setPointerCapture(event.pointerId);
      this.pointers.set(event.pointerId, { from: at(event), now: at(event) });
      this.moved = this.pointers.size > 1;
    });
    node.addEventListener("pointermove", (event) => {
      const pointer = this.pointers.get(event.pointerId);
      if (!pointer) return;
      const before = pointer.now;
      pointer.now = at(event);
      if (distance(pointer.from, pointer.now) > STILL) this.moved = true;
      if (this.pointers.size === 2) this.pinch(event.pointerId, before);
      else if (this.tool === "frame") this.paintOwn(box(this.onPhoto(pointer.from), this.onPhoto(pointer.now)));
      else if (this.moved) this.move(pointer.now[0] - before[0], pointer.now[1] - before[1]);
    });
    const up = (event) => {
      const pointer = this.pointers.get(event.pointerId);
      this.pointers.delete(event.pointerId);
      if (!pointer || event.type === "pointercancel" || this.pointers.size > 0) return;
      if (this.tool === "frame" && this.moved) this.framed(this.onPhoto(pointer.from), this.onPhoto(pointer.now));
      else if (!this.moved) this.touched(this.onPhoto(pointer.now));
    };
    node.addEventListener("pointerup", up);
    node.addEventListener("pointercancel", up);
    node.addEventListener("dblclick", (event) => this.tool === "touch" && this.enlarge(2, at(event)));
    node.addEventListener("keydown", (event) => this.key(event));
  }

  pinch(id, before) {
    const [other] = [...this.pointers].filter(([key]) => key !== id).map(([, pointer]) => pointer.now);
    const now = this.pointers.get(id).now;
    const middle = [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2];
    this.move((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    this.enlarge(distance(now, other) / (distance(before, other) || 1), middle);
  }

  key(event) {
    const step = event.shiftKey ? 4 : 40;
    const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    const { width, height } = this.box;
    if (moves[event.key]) this.move(...moves[event.key]);
    else if (event.key === "+" || event.key === "=") this.enlarge(1.5);
    else if (event.key === "-") this.enlarge(1 / 1.5);
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter") this.touched(this.onPhoto([width / 2, height / 2]));
    else if (event.key === "Escape" && this.points.length) {
      this.points = [];
      this.paintOwn();
    } else return;
    event.preventDefault();
  }

  touched(p) {
    const inside = p.map((v, i) => Math.min(Math.max(v, 0), this.size[i] - 1));
    if (this.tool === "touch") this.take(p);
    else {
      if (this.points.length === 2) this.points = [];
      this.points.push(inside);
      if (this.points.length === 2 && this.tool === "frame") this.framed(...this.points);
      else if (this.points.length === 2) this.said.onpoints(this.points);
      else this.said.onwait(this.tool === "frame" ? "Now the opposite corner." : "Now the other point.");
      this.paintOwn();
    }
  }

  framed(a, b) {
    const clip = ([x, y]) => [Math.min(Math.max(x, 0), this.size[0]), Math.min(Math.max(y, 0), this.size[1])];
    const frame = box(clip(a), clip(b)).map(Math.round);
    this.points = [];
    this.paintOwn();
    this.said.onframe(frame);
  }

  /** The nearest piece within reach, else the ruler touched. */
  take(p) {
    const reach = FINGER / this.view.scale;
    const near = (this.sketch?.pieces ?? [])
      .map((piece) => [toLine(p, piece.line) - piece.width_px / 2, piece])
      .filter(([far]) => far <= reach)
      .sort(([a], [b]) => a - b);
    if (near.length) {
      this.said.onpiece(near[0][1].number);
      return;
    }
    const ruler = (this.sketch?.rulers ?? []).find((r) => inside(p, r.area));
    if (ruler) this.said.onruler(ruler.number);
    else this.said.onnothing();
  }
}

function path(mark) {
  const points = mark.points;
  if (mark.shape === "line") return `M${points.map(([x, y]) => `${x} ${y}`).join("L")}`;
  if (mark.shape === "outline") return `M${points.map(([x, y]) => `${x} ${y}`).join("L")}Z`;
  if (mark.shape === "strokes") {
    return points.map(([x, y], i) => `${i % 2 ? "L" : "M"}${x} ${y}`).join("");
  }
  return null;
}

const distance = ([a, b], [c, d]) => Math.hypot(a - c, b - d);

const box = ([a, b], [c, d]) => [Math.min(a, c), Math.min(b, d), Math.abs(a - c), Math.abs(b - d)];

function toLine(p, line) {
  let least = Infinity;
  for (let i = 1; i < line.length; i += 1) {
    const [a, b] = [line[i - 1], line[i]];
    const along = [b[0] - a[0], b[1] - a[1]];
    const t = ((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / (along[0] ** 2 + along[1] ** 2 || 1);
    const c = Math.min(Math.max(t, 0), 1);
    least = Math.min(least, distance(p, [a[0] + along[0] * c, a[1] + along[1] * c]));
  }
  return least;
}

function inside(p, area) {
  let odd = false;
  for (let i = 0, j = area.length - 1; i < area.length; j = i, i += 1) {
    const [a, b] = [area[i], area[j]];
    if (a[1] > p[1] !== b[1] > p[1] && p[0] < ((b[0] - a[0]) * (p[1] - a[1])) / (b[1] - a[1]) + a[0]) odd = !odd;
  }
  return odd;
}
