// The picture page: zoom, mark points, name them, and point at the same thing in other pictures.

import { Board, svgElement, wireButtons } from "./board.js";
import { Elsewhere } from "./elsewhere.js";
import { KnownPlaces } from "./known.js";

const frame = document.getElementById("board");
const svg = document.getElementById("photo");
const image = svg.querySelector("image");
const form = document.getElementById("tag");
const drawn = document.getElementById("drawn");
const status = document.getElementById("tag-status");
const seen = document.getElementById("seen");
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
  if (points.length === 1 && !form.hidden) lookAt(point);
}

// Kind, sheath and circuit filled in from what the first point looks like; the hand has the last word.
async function lookAt(point) {
  try {
    const query = new URLSearchParams({ x_px: (point.x - 0.5).toFixed(1), y_px: (point.y - 0.5).toFixed(1) });
    const response = await fetch(`${form.dataset.look}?${query}`, { headers: { Accept: "application/json" } });
    const found = await response.json();
    if (!response.ok || points.length === 0) return;
    fill("kind", found.kind);
    fill("cable", found.cable);
    fill("circuit_id", found.circuit_id);
    document.getElementById("look-words").textContent = found.words;
    matchChip();
  } catch {
    // nothing is filled in; the form works all the same
  }
}

function fill(name, value) {
  const field = form.elements[name];
  if (!value || field.dataset.byHand) return;
  field.value = value;
}

const GUESSED = ["kind", "cable", "circuit_id"];
for (const name of GUESSED) form.elements[name].addEventListener("input", (event) => { event.target.dataset.byHand = "1"; });

function forgetGuesses() {
  for (const name of GUESSED) delete form.elements[name].dataset.byHand;
  form.cable.value = "";
  document.getElementById("look-words").textContent = "";
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

// What was saved from this page and can be taken back, the newest last.
const saves = [];
const undoButton = document.getElementById("undo");
undoButton.addEventListener("click", undo);

function undoable(url, words, after = () => {}) {
  saves.push({ url, words, after });
}

async function undo() {
  if (points.length) {
    undoPoint();
    return;
  }
  const last = saves.pop();
  if (!last) {
    say("Nothing to undo.");
    return;
  }
  try {
    await post(last.url, new FormData());
    say(`taken back: ${last.words}`);
    last.after();
    await refresh();
    if (!known.form.hidden) await known.show(known.form.elements.face_id?.value);
  } catch (problem) {
    saves.push(last);
    say(problem.message || "not undone: the viewer cannot be reached");
  }
}

function say(words) {
  (form.hidden ? known.told : status).textContent = words;
}

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
    forgetGuesses();
    await refresh();
    undoable(saved.undo, form.label.value || form.kind.value, () => { document.getElementById("elsewhere").hidden = true; });
    form.label.value = "";
    await elsewhere.show(saved.elsewhere);
    status.replaceChildren("saved. ", Object.assign(document.createElement("a"), { href: "#elsewhere", className: "button", textContent: "Point at it in other pictures" }));
  } catch (problem) {
    status.textContent = problem.message || "not saved: the viewer cannot be reached";
  }
});

// Known places: the other thing one can mark, one point at a time.
const page = {
  aim, post, withPoints, refresh, undoable,
  lastPoint: () => points.at(-1),
  clearPoints: () => { points = []; show(); },
};
const known = new KnownPlaces({ form: document.getElementById("known"), svg, page });
const elsewhere = new Elsewhere({ section: document.getElementById("elsewhere"), page });
const modes = { thing: document.getElementById("mode-thing"), known: document.getElementById("mode-known") };
for (const [name, button] of Object.entries(modes)) button.addEventListener("click", () => setMode(name));

function setMode(name) {
  for (const [other, button] of Object.entries(modes)) button.setAttribute("aria-pressed", String(other === name));
  form.hidden = name !== "thing";
  known.form.hidden = name !== "known";
  if (name === "known") known.show();
}

if (document.querySelector(".tabs").dataset.first === "known") setMode("known");

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
  if (button) elsewhere.show(button.dataset.elsewhere, true);
});

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
  document.getElementById("cable-field").hidden = form.kind.selectedOptions[0]?.dataset.run !== "1";
  for (const chip of form.querySelectorAll('[name="quick"]')) chip.checked = chip.value === form.kind.value;
}

function chooseKind(name) {
  form.kind.value = name;
  form.kind.dataset.byHand = "1";
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
    z: undo,
    k: () => setMode("known"),
    t: () => setMode("thing"),
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
