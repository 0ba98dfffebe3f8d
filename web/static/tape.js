// A tape under the thumb: drag it, and the place asked about moves along the wall.

import { svgElement } from "./board.js";

const PX_PER_M = 640; // of screen: an inch is 16 px, wide enough for a thumb to stop at
const HEIGHT_PX = 56;
const ASK_MS = 250; // between questions while the tape runs

export class Tape {
  /**
   * @param {HTMLElement} element the slider
   * @param {{lengthM: number, metric: boolean, onMove: (offsetM: number, resting: boolean) => void}} options
   */
  constructor(element, { lengthM, metric, onMove }) {
    Object.assign(this, { element, lengthM, metric, onMove });
    this.svg = svgElement("svg", { height: HEIGHT_PX, width: "100%", "aria-hidden": "true" });
    this.marks = svgElement("g", {});
    this.svg.append(this.marks);
    element.append(this.svg, Object.assign(document.createElement("span"), { className: "tape-needle" }));
    this.offsetM = 0;
    this.drawMarks();
    element.addEventListener("pointerdown", (e) => this.down(e));
    element.addEventListener("pointermove", (e) => this.move(e));
    for (const end of ["pointerup", "pointercancel"]) element.addEventListener(end, () => this.up());
    element.addEventListener("keydown", (e) => this.key(e));
    new ResizeObserver(() => this.show(this.offsetM)).observe(element);
  }

  drawMarks() {
    const step = this.metric ? 0.01 : 0.0254;
    const paths = ["", "", ""];
    for (let n = 0; n * step <= this.lengthM + 1e-9; n++) {
      const level = this.metric ? (n % 10 === 0 ? 2 : n % 5 === 0 ? 1 : 0) : n % 12 === 0 ? 2 : n % 6 === 0 ? 1 : 0;
      const x = n * step * PX_PER_M;
      paths[level] += `M${x} 0V${[10, 16, 26][level]}`;
      const words = this.label(n, level);
      if (!words) continue;
      const text = svgElement("text", { x: x + 4, y: level === 2 ? 46 : 40, "font-size": level === 2 ? 19 : 13 });
      text.textContent = words;
      this.marks.append(text);
    }
    paths.forEach((d, level) => this.marks.append(svgElement("path", { d, class: `tape-mark-${level}` })));
    this.marks.prepend(svgElement("rect", { width: this.lengthM * PX_PER_M, height: HEIGHT_PX, class: "tape-band" }));
  }

  label(n, level) {
    if (this.metric) return level === 2 ? String(n * 10) : "";
    if (level === 2) return `${n / 12} ft`;
    return n % 3 === 0 ? String(n % 12) : "";
  }

  show(offsetM) {
    this.offsetM = Math.min(Math.max(offsetM, 0), this.lengthM);
    const left = this.element.clientWidth / 2 - this.offsetM * PX_PER_M;
    this.marks.setAttribute("transform", `translate(${left} 0)`);
    this.element.setAttribute("aria-valuenow", this.offsetM.toFixed(3));
  }

  say(words) {
    this.element.setAttribute("aria-valuetext", words);
  }

  down(e) {
    this.element.setPointerCapture(e.pointerId);
    this.from = { x: e.clientX, offsetM: this.offsetM };
  }

  move(e) {
    if (!this.from) return;
    this.show(this.from.offsetM - (e.clientX - this.from.x) / PX_PER_M);
    this.told(false);
  }

  up() {
    if (!this.from) return;
    this.from = null;
    this.told(true);
  }

  key(e) {
    const step = this.metric ? 0.01 : 0.0254;
    const moves = { ArrowLeft: -step, ArrowRight: step, PageDown: -0.3048, PageUp: 0.3048, Home: -Infinity, End: Infinity };
    if (!(e.key in moves)) return;
    e.preventDefault();
    this.show(this.offsetM + moves[e.key]);
    this.told(true);
  }

  // While the tape runs, ask now and then; when it rests, ask at once.
  told(resting) {
    clearTimeout(this.waiting);
    const since = performance.now() - (this.asked ?? -ASK_MS);
    const ask = () => {
      this.asked = performance.now();
      this.onMove(this.offsetM, resting);
    };
    if (resting || since >= ASK_MS) ask();
    else this.waiting = setTimeout(ask, ASK_MS - since);
  }
}
