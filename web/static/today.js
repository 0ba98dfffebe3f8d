// The record over a photo of the finished wall: zoom, and what to show.

import { Board, wireButtons } from "./board.js";

const svg = document.getElementById("photo");
const board = new Board(document.getElementById("board"), svg, {
  onView: () => svg.style.setProperty("--seen-size", `${15 / board.scale}px`),
  closest: 24,
});
wireButtons(board);

for (const button of document.querySelectorAll("[data-show]")) {
  button.addEventListener("click", () => {
    const on = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(on));
    const which = button.dataset.show === "band" ? "[data-band]" : `[data-shown="${button.dataset.show}"]`;
    for (const element of svg.querySelectorAll(which)) element.classList.toggle("off", !on);
  });
}
