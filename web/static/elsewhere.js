// The same spot in other pictures: a tap there is one more sighting.

import { svgElement } from "./board.js";

export class Elsewhere {
  /**
   * @param {{section: HTMLElement, page: object}} parts page gives aim, post, withPoints and undoable
   */
  constructor({ section, page }) {
    Object.assign(this, { section, page });
    section.addEventListener("click", (event) => {
      const button = event.target.closest(".spot-picture");
      if (button && !button.disabled) this.tapped(button, event);
    });
  }

  async show(url, goThere = false) {
    const response = await fetch(url, { headers: { "X-Part": "1" } });
    this.section.replaceChildren(document.createRange().createContextualFragment(await response.text()));
    this.section.hidden = false;
    if (goThere) document.getElementById("elsewhere-title")?.focus();
  }

  tapped(button, event) {
    const view = button.querySelector("svg");
    // A key press has no place: it takes the ring's middle.
    const spot = event.detail === 0
      ? { x: Number(view.dataset.xPx) + 0.5, y: Number(view.dataset.yPx) + 0.5 }
      : new DOMPoint(event.clientX, event.clientY).matrixTransform(view.getScreenCTM().inverse());
    this.point(button, view, { x: spot.x, y: spot.y, sigma: this.page.aim(view.getScreenCTM().a, event.pointerType) });
  }

  async point(button, view, spot) {
    const place = button.closest("[data-place]");
    const words = place.querySelector(".spot-words");
    button.disabled = true;
    const data = this.page.withPoints(new FormData(), [spot]);
    data.set("item_id", button.dataset.item);
    data.set("place", place.dataset.place);
    try {
      const saved = await this.page.post(button.dataset.post, data);
      words.textContent = saved.words[place.dataset.place] ?? words.textContent;
      const r = view.viewBox.baseVal.width / 45;
      const mark = svgElement("circle", { class: "thing-spot", cx: spot.x, cy: spot.y, r });
      view.append(mark);
      button.classList.add("done");
      button.querySelector("span").append(" - saved");
      this.page.undoable(saved.undo, "the sighting in the other picture", () => this.show(saved.elsewhere));
    } catch (problem) {
      button.disabled = false;
      words.textContent = problem.message;
    }
  }
}
