// Known places in a picture: mark them one by one, or take those that were found in it.

import { svgElement } from "./board.js";

export class KnownPlaces {
  /**
   * @param {{form: HTMLFormElement, svg: SVGSVGElement, page: object}} parts page gives points, post, marked and undoable
   */
  constructor({ form, svg, page }) {
    Object.assign(this, { form, svg, page });
    this.told = document.getElementById("known-status");
    this.rings = svgElement("g", { id: "proposed" });
    svg.append(this.rings);
    form.addEventListener("change", (event) => {
      if (event.target.name === "face_id") this.show(event.target.value);
      if (event.target.name === "reference_id") this.showTaped();
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.markPoint();
    });
    this.proposeButton = document.getElementById("propose");
    this.proposeButton?.addEventListener("click", () => this.propose());
    this.list = document.getElementById("proposals");
    this.list?.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      const chosen = button.dataset.place ? this.found.filter((p) => p.id === button.dataset.place) : this.found;
      this.take(chosen);
    });
  }

  async show(faceId = "") {
    const query = faceId ? `?face_id=${encodeURIComponent(faceId)}` : "";
    const response = await fetch(this.form.dataset.part + query, { headers: { "X-Part": "1" } });
    document.getElementById("known-part").replaceChildren(
      document.createRange().createContextualFragment(await response.text()),
    );
    this.showTaped();
  }

  showTaped() {
    const choice = this.form.elements.reference_id;
    if (choice) this.form.querySelector(".taped").hidden = choice.value !== "";
  }

  async markPoint() {
    const point = this.page.lastPoint();
    if (!point) {
      this.told.textContent = "Tap the known place in the picture first.";
      return;
    }
    const data = this.page.withPoints(new FormData(this.form), [point]);
    if (await this.save([data])) {
      this.page.clearPoints();
      this.told.textContent = "marked";
    }
  }

  // Send marks; each can be undone.
  async save(forms) {
    try {
      for (const data of forms) {
        const answer = await this.page.post(this.form.action, data);
        this.page.undoable(`${this.form.action}/${encodeURIComponent(answer.reference_id)}/remove`, "the mark");
      }
      await this.page.refresh();
      await this.show(forms[0].get("face_id"));
      return true;
    } catch (problem) {
      this.told.textContent = problem.message || "not saved: the viewer cannot be reached";
      return false;
    }
  }

  async propose() {
    this.told.textContent = "looking for cover plates";
    this.proposeButton.disabled = true;
    try {
      const response = await fetch(this.proposeButton.dataset.url, { headers: { Accept: "application/json" } });
      const answer = await response.json();
      this.found = answer.places ?? [];
      this.told.textContent = answer.reason || answer.error?.message || `${this.found.length} places found; look at each ring before you take it`;
      this.draw();
    } catch {
      this.told.textContent = "The viewer cannot be reached.";
    } finally {
      this.proposeButton.disabled = false;
    }
  }

  draw() {
    this.rings.replaceChildren();
    this.list.replaceChildren();
    const r = this.svg.viewBox.baseVal.width / 60;
    this.found.forEach((place, n) => {
      const at = { cx: place.x_px + 0.5, cy: place.y_px + 0.5, r: Math.max(r, 20) };
      this.rings.append(svgElement("circle", { class: "predicted-rim", ...at }), svgElement("circle", { class: "predicted", ...at }));
      const words = svgElement("text", { class: "seen-text", x: at.cx + at.r, y: at.cy - at.r });
      words.textContent = String(n + 1);
      this.rings.append(words);
      this.list.append(row(`${n + 1}: ${place.words}`, "Take", place.id));
    });
    if (this.found.length > 1) this.list.append(row("", `Take all ${this.found.length}`, ""));
  }

  async take(chosen) {
    const forms = chosen.map((place) => {
      const data = new FormData();
      for (const key of ["face_id", "x_px", "y_px", "sigma_px"]) data.set(key, String(place[key]));
      data.set("reference_id", place.id);
      return data;
    });
    if (!(await this.save(forms))) return;
    this.found = this.found.filter((place) => !chosen.includes(place));
    this.told.textContent = chosen.length === 1 ? "marked" : `${chosen.length} marked`;
    this.draw();
  }
}

function row(words, action, place) {
  const item = document.createElement("li");
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: action });
  if (place) button.dataset.place = place;
  if (words) button.setAttribute("aria-label", `${action} ${words}`);
  item.append(Object.assign(document.createElement("span"), { textContent: words }), button);
  return item;
}
