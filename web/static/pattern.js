// A row of holes laid on the wall and moved by dragging; every hole shows its own outcome.

import { svgElement } from "./board.js";

const WAIT_MS = 150; // between questions while a row is dragged

export class HolePattern {
  /**
   * @param {{board: object, svg: SVGSVGElement, form: HTMLFormElement, toDrawing: Function, toWall: Function}} parts
   */
  constructor({ board, svg, form, toDrawing, toWall }) {
    Object.assign(this, { board, svg, form, toDrawing, toWall });
    this.group = svgElement("g", { id: "holes" });
    svg.append(this.group);
    form.addEventListener("input", () => this.askSoon());
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.ask();
    });
  }

  open(on) {
    this.form.hidden = !on;
    this.board.onDrag = on ? (_from, to) => this.moveTo(to) : null;
    if (!on) this.group.replaceChildren();
    if (on && this.form.at.value) this.ask();
  }

  // The first hole goes where the finger is.
  moveTo(point) {
    const wall = this.toWall(point);
    this.form.at.value = `${wall.offset.toFixed(4)} m`;
    this.form.height.value = `${wall.height.toFixed(4)} m`;
    this.askSoon();
  }

  askSoon() {
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.ask(), WAIT_MS);
  }

  async ask() {
    const place = document.getElementById("pattern-answer");
    const number = (this.asked = (this.asked ?? 0) + 1);
    try {
      const query = new URLSearchParams(new FormData(this.form));
      const response = await fetch(`${this.form.action}?${query}`, { headers: { "X-Part": "1" } });
      const text = await response.text();
      if (number !== this.asked) return; // a newer question is on its way
      place.replaceChildren(document.createRange().createContextualFragment(text));
      this.draw(place);
    } catch {
      place.textContent = "No answer: the viewer cannot be reached. Nothing is known about these holes until it is.";
      this.group.replaceChildren();
    }
  }

  draw(place) {
    this.group.replaceChildren();
    const answer = place.querySelector(".pattern-answer");
    if (!answer) return;
    if (document.activeElement?.form !== this.form) {
      this.form.at.value = answer.dataset.atText;
      this.form.height.value = answer.dataset.heightText;
    }
    for (const hole of answer.querySelectorAll("[data-hole]")) {
      const at = this.toDrawing(Number(hole.dataset.offsetM), Number(hole.dataset.heightM));
      this.group.append(...holeMark(hole.dataset.hole, at));
    }
  }
}

// Shape and words tell the outcomes apart, not colour alone.
function holeMark(outcome, { x, y }) {
  const r = 32;
  const ring = svgElement("circle", { class: `hole-ring hole-${outcome}`, cx: x, cy: y, r });
  const cross = (d) => svgElement("path", { class: "hole-cross", d });
  if (outcome === "hit") return [ring, cross(`M${x - r} ${y - r}L${x + r} ${y + r}M${x - r} ${y + r}L${x + r} ${y - r}`)];
  if (outcome === "close") return [ring, cross(`M${x - r} ${y}H${x + r}`)];
  if (outcome === "missing") {
    const words = svgElement("text", { class: "hole-words", x, y: y + 22, "text-anchor": "middle", "font-size": 62 });
    words.textContent = "?";
    return [ring, words];
  }
  return [ring, svgElement("circle", { class: "hole-dot", cx: x, cy: y, r: 6 })];
}
