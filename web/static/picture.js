// The picture page: zoom, tap points, name them.

import { Board, svgElement, wireButtons } from "./board.js";

const frame = document.getElementById("board");
const svg = document.getElementById("photo");
const form = document.getElementById("tag");
const drawn = document.getElementById("drawn");
const points = [];
const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);

const board = new Board(frame, svg, { onTap: add, onView: sizeMarks, closest: 24 });
wireButtons(board);

// Marks and words keep their size on the screen however close one looks.
function sizeMarks() {
  svg.style.setProperty("--seen-size", `${15 / board.scale}px`);
  svg.style.setProperty("--spot-r", `${6 / board.scale}px`);
}

function add(point) {
  if (point.x < 0 || point.y < 0 || point.x > width || point.y > height) return;
  points.push(point);
  show();
}

function show() {
  drawn.replaceChildren();
  const holder = document.getElementById("points");
  holder.replaceChildren();
  if (points.length > 1) {
    drawn.append(svgElement("polyline", { class: "drawn-line", points: points.map((p) => `${p.x},${p.y}`).join(" ") }));
  }
  for (const p of points) {
    drawn.append(svgElement("circle", { class: "drawn-spot", cx: p.x, cy: p.y }));
    // The record counts from the centre of the first pixel, the drawing from its corner.
    for (const [name, value] of [["x_px", p.x - 0.5], ["y_px", p.y - 0.5]]) {
      const input = document.createElement("input");
      input.type = "hidden";
      input.name = name;
      input.value = value.toFixed(2);
      holder.append(input);
    }
  }
  document.getElementById("tag-status").textContent =
    points.length === 0 ? "" : points.length === 1 ? "1 point" : `${points.length} points`;
}

document.getElementById("undo-point").addEventListener("click", () => {
  points.pop();
  show();
});

form.addEventListener("submit", (event) => {
  if (points.length) return;
  event.preventDefault();
  document.getElementById("tag-status").textContent = "Tap the place in the picture first.";
  frame.focus();
});

const brighten = document.getElementById("brighten");
brighten.addEventListener("click", () => {
  const on = brighten.getAttribute("aria-pressed") !== "true";
  brighten.setAttribute("aria-pressed", String(on));
  svg.querySelector("image").setAttribute("href", on ? brighten.dataset.bright : brighten.dataset.dark);
});
