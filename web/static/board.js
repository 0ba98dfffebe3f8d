// A window onto an SVG that can be moved and zoomed by touch, wheel, mouse and keys.
// All coordinates are user units of the SVG; the view is its viewBox.

const TAP_MOVE_PX = 8;
const TAP_TIME_MS = 600;
const REST_MS = 120;
const CLOSEST = 14; // how many times closer than the whole one may go

export class Board {
  /**
   * @param {HTMLElement} frame what clips the drawing and takes the input
   * @param {SVGSVGElement} svg the drawing
   * @param {{onTap?: (point: {x: number, y: number}, by: string) => void, onView?: () => void, closest?: number}} options
   */
  constructor(frame, svg, { onTap = () => {}, onView = () => {}, onDrag = null, closest = CLOSEST } = {}) {
    this.frame = frame;
    this.svg = svg;
    this.onTap = onTap;
    this.onView = onView;
    this.onDrag = onDrag; // while set, one pointer draws instead of moving the view
    this.closest = closest;
    const [x, y, w, h] = svg.getAttribute("viewBox").split(" ").map(Number);
    this.whole = { x, y, w, h };
    this.pointers = new Map();
    this.moved = false;
    this.listen();
    this.showAll();
    new ResizeObserver(() => this.resize()).observe(frame);
  }

  get size() {
    return { w: this.frame.clientWidth || 1, h: this.frame.clientHeight || 1 };
  }

  // Screen pixels per user unit at which the whole drawing just fits.
  get fit() {
    return Math.min(this.size.w / this.whole.w, this.size.h / this.whole.h);
  }

  showAll() {
    this.scale = this.fit;
    this.center = { x: this.whole.x + this.whole.w / 2, y: this.whole.y + this.whole.h / 2 };
    this.apply();
  }

  // The drawing as high as the frame, with x at its middle: how a long wall fits a phone.
  showHeight(x) {
    this.scale = this.size.h / this.whole.h;
    this.center = { x, y: this.whole.y + this.whole.h / 2 };
    this.apply();
  }

  // Bring a place into view without changing the zoom if it is already seen.
  reveal(point) {
    const a = this.toFrame(point);
    const margin = 24;
    if (a.x > margin && a.y > margin && a.x < this.size.w - margin && a.y < this.size.h - margin) return;
    this.center = { ...point };
    this.apply();
  }

  zoom(factor, at = { x: this.size.w / 2, y: this.size.h / 2 }) {
    const before = this.toDrawing(at);
    this.scale *= factor;
    this.clampScale();
    const after = this.toDrawing(at);
    this.center.x += before.x - after.x;
    this.center.y += before.y - after.y;
    this.apply();
  }

  pan(dx, dy) {
    this.center.x -= dx / this.scale;
    this.center.y -= dy / this.scale;
    this.apply();
  }

  toDrawing(framePoint) {
    return {
      x: this.center.x + (framePoint.x - this.size.w / 2) / this.scale,
      y: this.center.y + (framePoint.y - this.size.h / 2) / this.scale,
    };
  }

  toFrame(point) {
    return {
      x: (point.x - this.center.x) * this.scale + this.size.w / 2,
      y: (point.y - this.center.y) * this.scale + this.size.h / 2,
    };
  }

  clampScale() {
    this.scale = Math.min(Math.max(this.scale, this.fit), this.fit * this.closest);
  }

  // Keep the drawing in the frame: where it is smaller than the frame it is centred.
  clampCenter() {
    for (const [axis, span] of [["x", "w"], ["y", "h"]]) {
      const half = this.size[span] / this.scale / 2;
      const low = this.whole[axis] + half;
      const high = this.whole[axis] + this.whole[span] - half;
      this.center[axis] = low > high ? (low + high) / 2 : Math.min(Math.max(this.center[axis], low), high);
    }
  }

  resize() {
    this.drawn = null;
    this.apply();
  }

  // Moving and zooming only shift what is drawn already, which is cheap; the drawing itself,
  // twice as wide and high as the frame, is set anew when the hand rests or its edge comes near.
  apply() {
    this.clampScale();
    this.clampCenter();
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      const shift = this.shift();
      const near = Math.abs(shift.x) > 0.4 * this.size.w || Math.abs(shift.y) > 0.4 * this.size.h;
      if (!this.drawn || near || shift.k < 0.6 || shift.k > 1.7) {
        this.draw();
        return;
      }
      this.svg.style.transform = `translate(${shift.x}px, ${shift.y}px) scale(${shift.k})`;
      clearTimeout(this.resting);
      this.resting = setTimeout(() => this.draw(), REST_MS);
    });
  }

  // How far the view has gone from what was drawn, in screen pixels.
  shift() {
    if (!this.drawn) return { x: 0, y: 0, k: 1 };
    return {
      x: (this.drawn.x - this.center.x) * this.scale,
      y: (this.drawn.y - this.center.y) * this.scale,
      k: this.scale / this.drawn.scale,
    };
  }

  draw() {
    clearTimeout(this.resting);
    const w = (2 * this.size.w) / this.scale;
    const h = (2 * this.size.h) / this.scale;
    this.svg.setAttribute("viewBox", `${this.center.x - w / 2} ${this.center.y - h / 2} ${w} ${h}`);
    this.svg.style.transform = "";
    this.drawn = { ...this.center, scale: this.scale };
    this.onView();
  }

  // The part of the drawing that is drawn, the margin round the frame included.
  get extent() {
    const w = (2 * this.size.w) / this.scale;
    const h = (2 * this.size.h) / this.scale;
    return { x: this.center.x - w / 2, y: this.center.y - h / 2, w, h };
  }

  at(event) {
    const box = this.frame.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  }

  listen() {
    const frame = this.frame;
    frame.addEventListener("pointerdown", (e) => this.down(e));
    frame.addEventListener("pointermove", (e) => this.move(e));
    frame.addEventListener("pointerup", (e) => this.up(e));
    frame.addEventListener("pointercancel", (e) => this.pointers.delete(e.pointerId));
    frame.addEventListener("wheel", (e) => {
      e.preventDefault();
      this.zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0015)), this.at(e));
    }, { passive: false });
    frame.addEventListener("keydown", (e) => this.key(e));
  }

  down(e) {
    if (e.button > 0) return;
    this.frame.classList.remove("by-keys");
    this.frame.setPointerCapture(e.pointerId);
    this.pointers.set(e.pointerId, this.at(e));
    if (this.pointers.size === 1) {
      this.start = { ...this.at(e), time: performance.now() };
      this.moved = false;
    } else {
      this.moved = true;
    }
  }

  move(e) {
    const before = this.pointers.get(e.pointerId);
    if (!before) return;
    const now = this.at(e);
    if (!this.moved && Math.hypot(now.x - this.start.x, now.y - this.start.y) > TAP_MOVE_PX) this.moved = true;
    if (this.pointers.size === 1 && this.moved) {
      if (this.onDrag) this.onDrag(this.toDrawing(this.start), this.toDrawing(now));
      else this.pan(now.x - before.x, now.y - before.y);
    }
    if (this.pointers.size === 2) this.pinch(e.pointerId, before, now);
    this.pointers.set(e.pointerId, now);
  }

  pinch(id, before, now) {
    const [, other] = [...this.pointers].find(([key]) => key !== id);
    const was = Math.hypot(before.x - other.x, before.y - other.y);
    const is = Math.hypot(now.x - other.x, now.y - other.y);
    const middle = { x: (now.x + other.x) / 2, y: (now.y + other.y) / 2 };
    if (was > 10) this.zoom(is / was, middle);
    this.pan((now.x - before.x) / 2, (now.y - before.y) / 2);
  }

  up(e) {
    if (!this.pointers.delete(e.pointerId)) return;
    const quick = performance.now() - this.start.time < TAP_TIME_MS;
    if (!this.moved && quick && this.pointers.size === 0) this.onTap(this.toDrawing(this.at(e)), e.pointerType);
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey || e.target !== this.frame) return;
    const step = 60;
    const acts = {
      ArrowLeft: () => this.pan(step, 0),
      ArrowRight: () => this.pan(-step, 0),
      ArrowUp: () => this.pan(0, step),
      ArrowDown: () => this.pan(0, -step),
      "+": () => this.zoom(1.3),
      "=": () => this.zoom(1.3),
      "-": () => this.zoom(1 / 1.3),
      0: () => this.showAll(),
      Enter: () => this.onTap({ ...this.center }, "keys"),
    };
    if (!acts[e.key]) return;
    e.preventDefault();
    this.frame.classList.add("by-keys"); // shows the middle, which Enter marks
    acts[e.key]();
  }
}

/** Wire the buttons that carry data-board to a board. */
export function wireButtons(board, within = document) {
  const acts = {
    in: () => board.zoom(1.5),
    out: () => board.zoom(1 / 1.5),
    all: () => board.showAll(),
    left: () => board.pan(0.4 * board.size.w, 0),
    right: () => board.pan(-0.4 * board.size.w, 0),
  };
  for (const button of within.querySelectorAll("[data-board]")) {
    button.addEventListener("click", acts[button.dataset.board]);
  }
}

/** An SVG element with attributes. */
export function svgElement(name, attributes) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}
