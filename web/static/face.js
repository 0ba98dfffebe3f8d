// The face page: tap or type, and see the answer with the place marked on the wall.

import { ask, rememberPlace } from "./answer.js";
import { Board, svgElement, wireButtons } from "./board.js";
import { HolePattern } from "./pattern.js";
import { WallPicture } from "./tiles.js";

const WORDS_PX_PER_MM = 0.18; // at this the words are as large as those of the page
const LEGIBLE_PX_PER_MM = 0.1; // below this the words on the wall cannot be read

const frame = document.getElementById("board");
const svg = document.getElementById("elevation");
const form = document.getElementById("ask");
const left = Number(svg.dataset.leftMm);
const top_ = Number(svg.dataset.topMm);

const toDrawing = (offsetM, heightM) => ({ x: offsetM * 1000 - left, y: top_ - heightM * 1000 });

const abouts = JSON.parse(frame.dataset.pictures);
const picture = abouts.length ? new WallPicture(svg, abouts, { left, top: top_ }) : null;
const board = new Board(frame, svg, { onTap: tapped, onView: () => viewChanged(), closest: 30 });
wireButtons(board);
showMark(frame.dataset.offsetM, frame.dataset.heightM);
if (board.scale < LEGIBLE_PX_PER_MM) {
  const x = frame.dataset.offsetM ? Number(frame.dataset.offsetM) * 1000 - left : 0;
  board.showHeight(x);
}

function viewChanged() {
  picture?.update(board);
  // Words stop growing once they can be read well, so that a close look shows the wall.
  const share = Math.min(1, WORDS_PX_PER_MM / board.scale);
  for (const words of svg.querySelectorAll("[data-at]")) {
    const [x, y] = words.dataset.at.split(" ").map(Number);
    if (share < 1) words.setAttribute("transform", `translate(${x} ${y}) scale(${share}) translate(${-x} ${-y})`);
    else words.removeAttribute("transform");
  }
}

// The place on the wall under a point of the drawing, kept on the wall.
function toWall(point) {
  const within = (value, most) => Math.min(Math.max(value, 0), most);
  return {
    offset: within((point.x + left) / 1000, Number(frame.dataset.lengthM)),
    height: within((top_ - point.y) / 1000, Number(frame.dataset.wallHeightM)),
  };
}

function tapped(point) {
  if (!patternForm.hidden) {
    pattern.moveTo(point);
    return;
  }
  const { offset, height } = toWall(point);
  send(`${offset.toFixed(4)} m`, `${height.toFixed(4)} m`);
}

async function send(at, height) {
  const found = await ask(frame.dataset.answer, { at, height, bit: form.bit.value, depth: form.depth.value });
  if (!found) return;
  form.at.value = found.dataset.atText;
  form.height.value = found.dataset.heightText;
  showMark(found.dataset.offsetM, found.dataset.heightM);
  rememberPlace(found.dataset.atText, found.dataset.heightText);
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  await send(form.at.value, form.height.value);
  document.getElementById("answer").scrollIntoView({ block: "nearest" });
});

function showMark(offsetM, heightM) {
  svg.querySelector("#question")?.remove();
  if (offsetM === undefined || offsetM === "") return;
  const group = svgElement("g", { id: "question" });
  const foot = toDrawing(Number(offsetM), 0);
  const head = toDrawing(Number(offsetM), Number(frame.dataset.wallHeightM));
  for (const name of ["mark-line-rim", "mark-line"]) {
    group.append(svgElement("path", { class: name, d: `M${foot.x} ${foot.y + 330}L${head.x} ${head.y - 60}` }));
  }
  let spot = { x: foot.x, y: (foot.y + head.y) / 2 };
  if (heightM !== undefined && heightM !== "") {
    spot = toDrawing(Number(offsetM), Number(heightM));
    for (const name of ["mark-spot-rim", "mark-spot"]) {
      group.append(svgElement("circle", { class: name, cx: spot.x, cy: spot.y, r: 45 }));
    }
  }
  svg.append(group);
  board.reveal(spot);
}

for (const box of document.querySelectorAll("[data-layer-of]")) {
  box.addEventListener("change", () => {
    for (const group of svg.querySelectorAll(`[data-layer="${box.dataset.layerOf}"]`)) {
      group.classList.toggle("off", !box.checked);
    }
  });
}

// Circuit by circuit; a thing stays hidden while its layer or its circuit is.
for (const box of document.querySelectorAll("[data-items]")) {
  const ids = new Set(box.dataset.items.split(" "));
  box.addEventListener("change", () => {
    for (const group of svg.querySelectorAll("[data-key]")) {
      if (ids.has(group.dataset.key)) group.classList.toggle("off", !box.checked);
    }
  });
}

// Where cable is to be expected: strips, fetched when first asked for, drawn under the things.
for (const box of document.querySelectorAll("[data-rule]")) {
  box.addEventListener("change", async () => {
    let group = svg.querySelector(`[data-layer="expected-${box.dataset.rule}"]`);
    if (!group) group = await drawRoutes(box);
    group?.classList.toggle("off", !box.checked);
    document.getElementById("routes-words").hidden = !document.querySelector("[data-rule]:checked");
  });
}

async function drawRoutes(box) {
  const group = svgElement("g", { "data-layer": `expected-${box.dataset.rule}` });
  try {
    const response = await fetch(box.dataset.routes, { headers: { Accept: "application/json" } });
    for (const strip of (await response.json()).routes) {
      const a = toDrawing(strip.left_m, strip.top_m);
      const b = toDrawing(strip.right_m, strip.bottom_m);
      const area = svgElement("rect", { class: "expected", x: a.x, y: a.y, width: b.x - a.x, height: b.y - a.y });
      area.append(Object.assign(svgElement("title", {}), { textContent: `${strip.text} (${strip.source})` }));
      group.append(area);
    }
  } catch {
    box.checked = false;
    return null;
  }
  const first = svg.querySelector("[data-layer=power], [data-layer=plumbing], [data-layer=outline]");
  svg.insertBefore(group, first);
  return group;
}

const layersButton = document.getElementById("layers-button");
layersButton.addEventListener("click", () => {
  const layers = document.getElementById("layers");
  layers.hidden = !layers.hidden;
  layersButton.setAttribute("aria-expanded", String(!layers.hidden));
});

const pictureButton = document.getElementById("picture-button");
pictureButton?.addEventListener("click", () => {
  const on = pictureButton.getAttribute("aria-pressed") !== "true";
  pictureButton.setAttribute("aria-pressed", String(on));
  document.getElementById("planes").hidden = !on || abouts.length < 2;
  picture.toggle(on, board);
});
document.getElementById("plane")?.addEventListener("input", (event) => picture.slide(Number(event.target.value), board));

// Tools that take the finger: one at a time.
const patternForm = document.getElementById("pattern-form");
const patternButton = document.getElementById("pattern-button");
const pattern = new HolePattern({ board, svg, form: patternForm, toDrawing, toWall });
patternButton.addEventListener("click", () => {
  if (!openingForm.hidden) openingButton.click();
  pattern.open(patternForm.hidden);
  patternButton.setAttribute("aria-expanded", String(!patternForm.hidden));
});

// An opening drawn by dragging over the wall.
const openingForm = document.getElementById("opening-form");
const openingButton = document.getElementById("opening-button");
openingButton.addEventListener("click", () => {
  if (!patternForm.hidden) patternButton.click();
  openingForm.hidden = !openingForm.hidden;
  openingButton.setAttribute("aria-expanded", String(!openingForm.hidden));
  board.onDrag = openingForm.hidden ? null : drawOpening;
  if (openingForm.hidden) svg.querySelector("#new-opening")?.remove();
});

function drawOpening(from, to) {
  const x = [from.x, to.x].sort((a, b) => a - b);
  const y = [from.y, to.y].sort((a, b) => a - b);
  let box = svg.querySelector("#new-opening");
  if (!box) {
    box = svgElement("rect", { id: "new-opening", class: "new-opening" });
    svg.append(box);
  }
  for (const [key, value] of Object.entries({ x: x[0], y: y[0], width: x[1] - x[0], height: y[1] - y[0] })) {
    box.setAttribute(key, String(value));
  }
  const low = toWall({ x: x[0], y: y[1] });
  const high = toWall({ x: x[1], y: y[0] });
  openingForm.elements.left.value = spoken(low.offset);
  openingForm.elements.right.value = spoken(high.offset);
  openingForm.elements.bottom.value = spoken(low.height);
  openingForm.elements.top.value = spoken(high.height);
}

// To the half inch or 10 mm: a finger is no finer.
function spoken(metres) {
  if (frame.dataset.unit === "mm" || frame.dataset.unit === "m") return `${Math.round(metres * 100) * 10} mm`;
  const halves = Math.round(metres / 0.0127);
  const feet = Math.floor(halves / 24);
  const inches = (halves - 24 * feet) / 2;
  return `${feet} ft ${inches} in`;
}
