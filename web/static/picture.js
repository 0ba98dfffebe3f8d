// The picture page: zoom, mark points, name them, and point at the same thing in other pictures.

import { Board, svgElement, wireButtons } from "./board.js";

const frame = document.getElementById("board");
const svg = document.getElementById("photo");
const image = svg.querySelector("image");
const form = document.getElementById("tag");
const drawn = document.getElementById("drawn");
const status = document.getElementById("tag-status");
const seen = document.getElementById("seen");
const elsewhere = document.getElementById("elsewhere");
const brighten = document.getElementById("brighten");
const brightened = () => brighten.getAttribute("aria-pressed") === "true";
const csrf = document.querySelector('meta[name="csrf"]').content;
const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
const BEST_AIM_PX = 1.5; // of the picture: edges are no sharper
const POINTER_PX = 1; // of the screen
const FINGER_PX = 2.5;
const SHOWN_PX = 1600; // longest side of the picture that is loaded first

let points = [];

const board = new Board(frame, svg, { onTap: add, onView: viewChanged, closest: 24 });
wireButtons(board);
adoptMarks();
recall();

function viewChanged() {
  // Marks and words keep their size on the screen however close one looks.
  svg.style.setProperty("--seen-size", `${15 / board.scale}px`);
  svg.style.setProperty("--spot-r", `${6 / board.scale}px`);
  const loadedPxPerUnit = SHOWN_PX / Math.max(width, height);
  if (board.scale * devicePixelRatio > loadedPxPerUnit * 1.2 && Math.max(width, height) > SHOWN_PX && !brightened()) {
    image.setAttribute("href", svg.dataset.sharp);
  }
}

function add(point, by) {
  if (point.x < 0 || point.y < 0 || point.x > width || point.y > height) return;
  points.push({ ...point, sigma: aim(board.scale, by) });
  show();
}

// How well one can aim, as one standard deviation in pixels of the picture: it depends on how
// close one looks and whether with a finger.
function aim(screenPxPerPixel, by) {
  return Math.max(BEST_AIM_PX, (by === "touch" ? FINGER_PX : POINTER_PX) / screenPxPerPixel);
}

function show() {
  drawn.replaceChildren();
  if (points.length > 1) {
    drawn.append(svgElement("polyline", { class: "drawn-line", points: points.map((p) => `${p.x},${p.y}`).join(" ") }));
  }
  for (const p of points) drawn.append(svgElement("circle", { class: "drawn-spot", cx: p.x, cy: p.y }));
  status.textContent = points.length === 0 ? "" : points.length === 1 ? "1 point" : `${points.length} points`;
}

function undoPoint() {
  points.pop();
  show();
}

document.getElementById("undo-point").addEventListener("click", undoPoint);

// The record counts from the centre of the first pixel, the drawing from its corner.
function withPoints(data, marked) {
  for (const p of marked) {
    data.append("x_px", (p.x - 0.5).toFixed(2));
    data.append("y_px", (p.y - 0.5).toFixed(2));
    data.append("sigma_px", p.sigma.toFixed(2));
  }
  return data;
}

async function post(url, data) {
  const response = await fetch(url, { method: "POST", body: data, headers: { "X-Csrf-Token": csrf, Accept: "application/json" } });
  const answer = await response.json();
  if (!response.ok) throw new Error(answer.error.message);
  return answer;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!points.length) {
    status.textContent = "Tap the place in the picture first.";
    frame.focus();
    return;
  }
  status.textContent = "saving";
  try {
    const data = withPoints(new FormData(form), points);
    data.delete("quick");
    const saved = await post(form.action, data);
    remember();
    points = [];
    show();
    form.label.value = "";
    await refresh();
    await showElsewhere(saved.elsewhere);
    status.replaceChildren("saved. ", Object.assign(document.createElement("a"), { href: "#elsewhere", className: "button", textContent: "Point at it in other pictures" }));
  } catch (problem) {
    status.textContent = problem.message || "not saved: the viewer cannot be reached";
  }
});

// Known places: the other thing one can mark, one point at a time.
const known = document.getElementById("known");
const modes = { thing: document.getElementById("mode-thing"), known: document.getElementById("mode-known") };
for (const [name, button] of Object.entries(modes)) button.addEventListener("click", () => setMode(name));

function setMode(name) {
  for (const [other, button] of Object.entries(modes)) button.setAttribute("aria-pressed", String(other === name));
  form.hidden = name !== "thing";
  known.hidden = name !== "known";
  if (name === "known") showKnown();
}

if (document.querySelector(".tabs").dataset.first === "known") setMode("known");

async function showKnown(faceId = "") {
  const query = faceId ? `?face_id=${encodeURIComponent(faceId)}` : "";
  const response = await fetch(known.dataset.part + query, { headers: { "X-Part": "1" } });
  document.getElementById("known-part").replaceChildren(
    document.createRange().createContextualFragment(await response.text()),
  );
  showTaped();
}

function showTaped() {
  const choice = known.elements.reference_id;
  if (choice) known.querySelector(".taped").hidden = choice.value !== "";
}

known.addEventListener("change", (event) => {
  if (event.target.name === "face_id") showKnown(event.target.value);
  if (event.target.name === "reference_id") showTaped();
});

known.addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = document.getElementById("known-status");
  if (!points.length) {
    told.textContent = "Tap the known place in the picture first.";
    return;
  }
  try {
    const faceId = known.elements.face_id.value;
    await post(known.action, withPoints(new FormData(known), points.slice(-1)));
    points = [];
    show();
    told.textContent = "marked";
    await refresh();
    await showKnown(faceId);
  } catch (problem) {
    told.textContent = problem.message;
  }
});

async function refresh() {
  const response = await fetch(seen.dataset.part, { headers: { "X-Part": "1" } });
  if (!response.ok) return;
  seen.replaceChildren(document.createRange().createContextualFragment(await response.text()));
  adoptMarks();
}

// The marks come with the list and are moved into the picture.
function adoptMarks() {
  const fresh = seen.querySelector("#sightings");
  if (fresh) svg.querySelector("#sightings").replaceWith(fresh);
  seen.querySelector("svg")?.remove();
}

seen.addEventListener("click", (event) => {
  const button = event.target.closest("[data-elsewhere]");
  if (button) showElsewhere(button.dataset.elsewhere, true);
});

async function showElsewhere(url, goThere = false) {
  const response = await fetch(url, { headers: { "X-Part": "1" } });
  elsewhere.replaceChildren(document.createRange().createContextualFragment(await response.text()));
  elsewhere.hidden = false;
  if (goThere) document.getElementById("elsewhere-title")?.focus();
}

elsewhere.addEventListener("click", (event) => {
  const button = event.target.closest(".spot-picture");
  if (!button || button.disabled) return;
  const view = button.querySelector("svg");
  // A key press has no place: it takes the ring's middle.
  const spot = event.detail === 0
    ? { x: Number(view.dataset.xPx) + 0.5, y: Number(view.dataset.yPx) + 0.5 }
    : new DOMPoint(event.clientX, event.clientY).matrixTransform(view.getScreenCTM().inverse());
  point(button, view, { x: spot.x, y: spot.y, sigma: aim(view.getScreenCTM().a, event.pointerType) });
});

async function point(button, view, spot) {
  const place = button.closest("[data-place]");
  const words = place.querySelector(".spot-words");
  button.disabled = true;
  const data = withPoints(new FormData(), [spot]);
  data.set("item_id", button.dataset.item);
  data.set("place", place.dataset.place);
  try {
    const saved = await post(button.dataset.post, data);
    words.textContent = saved.words[place.dataset.place] ?? words.textContent;
    const r = view.viewBox.baseVal.width / 45;
    view.append(svgElement("circle", { class: "thing-spot", cx: spot.x, cy: spot.y, r }));
    button.classList.add("done");
    button.querySelector("span").append(" - saved");
  } catch (problem) {
    button.disabled = false;
    words.textContent = problem.message;
  }
}

// What was chosen last is likely to be chosen next.
function remember() {
  sessionStorage.setItem("tag", JSON.stringify({ kind: form.kind.value, circuit: form.circuit_id.value }));
}

function recall() {
  const last = JSON.parse(sessionStorage.getItem("tag") ?? "{}");
  if (last.kind) form.kind.value = last.kind;
  if (last.circuit !== undefined) form.circuit_id.value = last.circuit;
  matchChip();
}

function matchChip() {
  for (const chip of form.querySelectorAll('[name="quick"]')) chip.checked = chip.value === form.kind.value;
}

function chooseKind(name) {
  form.kind.value = name;
  matchChip();
}

form.kind.addEventListener("change", matchChip);
for (const chip of form.querySelectorAll('[name="quick"]')) {
  chip.addEventListener("change", () => chooseKind(chip.value));
}

frame.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target !== frame) return;
  const chips = [...form.querySelectorAll('[name="quick"]')];
  const acts = {
    Backspace: undoPoint,
    c: () => form.circuit_id.focus(),
    l: () => form.label.focus(),
    s: () => form.requestSubmit(),
    n: () => document.querySelector('a[rel="next"]')?.click(),
    b: () => document.querySelector('a[rel="prev"]')?.click(),
  };
  chips.forEach((chip, n) => { acts[String(n + 1)] = () => chooseKind(chip.value); });
  if (!acts[event.key]) return;
  event.preventDefault();
  acts[event.key]();
});

brighten.addEventListener("click", () => {
  brighten.setAttribute("aria-pressed", String(!brightened()));
  image.setAttribute("href", brightened() ? brighten.dataset.bright : brighten.dataset.dark);
});
