// The review page: one proposal after another, one key or one tap for each decision.

import { Board, svgElement, wireButtons } from "./board.js";

const root = document.getElementById("review");
if (root) start();

function start() {
  const csrf = document.querySelector('meta[name="csrf"]').content;
  const waiting = JSON.parse(root.dataset.all);
  const done = []; // decisions that can be taken back: {proposal, index, changes}
  const byId = (id) => document.getElementById(id);
  const svg = byId("photo");
  let at = Number(root.dataset.at);
  let views = [];
  let shown = 0;
  let board = null;
  let moving = false;
  let drag = null;
  let busy = false;

  const current = () => waiting[at];
  const address = (template, action = "", id = current().id) => template.replace("PROPOSAL", encodeURIComponent(id)).replace("ACTION", action);

  // Where the pictures show a proposal; asked for once, and for the next one while this one is looked at.
  const asked = new Map();
  function viewsOf(one) {
    if (!asked.has(one.id)) {
      const answer = fetch(address(root.dataset.views, "", one.id), { headers: { Accept: "application/json" } })
        .then(async (response) => (response.ok ? (await response.json()).views : []))
        .catch(() => []);
      asked.set(one.id, answer);
    }
    return asked.get(one.id);
  }

  async function lookAhead() {
    const next = waiting[(at + 1) % waiting.length];
    const [first] = await viewsOf(next);
    if (first) new Image().src = first.image;
  }

  function say(text) {
    byId("problem").textContent = text;
    byId("problem").hidden = !text;
  }

  async function show() {
    say("");
    byId("joins").hidden = true;
    setMoving(false);
    root.querySelector('[data-do="undo"]').disabled = done.length === 0;
    if (!waiting.length) {
      byId("count").textContent = "All decided.";
      byId("what").textContent = "Nothing left to review";
      for (const id of ["where", "ends", "hint"]) byId(id).textContent = "";
      svg.replaceChildren();
      svg.dataset.shows = "none";
      return;
    }
    at = Math.max(0, Math.min(at, waiting.length - 1));
    const one = current();
    byId("count").textContent = `${one.face}: ${at + 1} of ${waiting.length} left`;
    byId("what").textContent = one.what;
    byId("where").textContent = `${one.where} (${one.error})`;
    byId("ends").textContent = one.ends;
    byId("hint").textContent = one.hint;
    byId("hint").hidden = !one.hint;
    root.querySelector('[data-do="join"]').hidden = !one.run;
    if (byId("circuit")) byId("circuit").value = "";
    checkCircuit();
    svg.dataset.shows = "";
    const found = await viewsOf(one);
    if (current() !== one) return;
    views = found;
    shown = 0;
    draw();
    lookAhead();
  }

  function draw() {
    const view = views[shown];
    svg.replaceChildren();
    byId("other").disabled = views.length < 2;
    if (!view) return say("No placed picture shows this well. Reject it, or leave it for later.");
    svg.setAttribute("viewBox", `0 0 ${view.width_px} ${view.height_px}`);
    const image = svgElement("image", { href: view.image, width: view.width_px, height: view.height_px });
    const points = view.line_px.map((p) => `${p[0] + 0.5},${p[1] + 0.5}`).join(" ");
    const tag = view.closed ? "polygon" : "polyline";
    const lines = svgElement("g", { id: "proposal" });
    lines.append(svgElement(tag, { class: "review-rim", points }), svgElement(tag, { class: "review-line", points }));
    svg.append(image, lines);
    svg.dataset.shows = current().id;
    if (!board) {
      board = new Board(byId("board"), svg, { closest: 30 });
      wireButtons(board);
    }
    board.whole = { x: 0, y: 0, w: view.width_px, h: view.height_px };
    const [x, y, w, h] = view.look_px;
    board.scale = Math.min(board.size.w / w, board.size.h / h);
    board.center = { x: x + w / 2, y: y + h / 2 };
    board.apply();
  }

  async function post(url, fields) {
    const data = new FormData();
    for (const [name, value] of fields) data.append(name, value);
    const response = await fetch(url, { method: "POST", body: data, headers: { "X-Csrf-Token": csrf, Accept: "application/json" } });
    const found = await response.json().catch(() => ({}));
    if (!response.ok) throw new Error(found.error?.message ?? found.error ?? found.message ?? "That did not work; load the page again.");
    return found;
  }

  async function decide(action, fields = [], leaves = true) {
    if (busy || !waiting.length) return;
    busy = true;
    try {
      const found = await post(address(root.dataset.decide, action), fields);
      done.push({ changes: found.changes, proposals: leaves ? [[at, current()]] : [] });
      if (leaves) waiting.splice(at, 1);
      else renew(found.proposals);
    } catch (error) {
      busy = false;
      return say(error.message);
    }
    busy = false; // the next key counts while the next picture is still on its way
    await show();
  }

  // What the server says of proposals now takes the place of what it said before.
  function renew(proposals) {
    for (const told of proposals) {
      const index = waiting.findIndex((p) => p.id === told.id);
      if (index >= 0) waiting[index] = told;
      asked.delete(told.id);
    }
  }

  async function undo() {
    const last = done.pop();
    if (!last || busy) return;
    busy = true;
    try {
      const found = await post(root.dataset.undo, last.changes.map((n) => ["change", n]));
      for (const [index, proposal] of last.proposals) {
        waiting.splice(index, 0, proposal);
        at = index;
      }
      renew(found.proposals);
      await show();
    } catch (error) {
      say(error.message);
    } finally {
      busy = false;
    }
  }

  function offerJoins() {
    const one = current();
    const others = waiting.filter((p) => p.run && p.face_id === one.face_id && p !== one);
    const list = root.querySelector(".review-joins");
    list.replaceChildren();
    for (const other of others) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = `${other.what}: ${other.where}`;
      button.addEventListener("click", () => join(other));
      list.append(button);
    }
    if (!others.length) list.textContent = "There is no other run on this wall.";
    byId("joins").hidden = false;
    list.querySelector("button")?.focus();
  }

  async function join(other) {
    const index = waiting.indexOf(other);
    await decide("join", [["other", other.id]], false);
    if (byId("problem").hidden === false) return;
    waiting.splice(index, 1);
    done[done.length - 1].proposals = [[index, other]];
    if (index < at) at -= 1;
    await show();
  }

  function setMoving(on) {
    moving = on;
    const button = root.querySelector('[data-do="move"]');
    button.setAttribute("aria-pressed", String(on));
    if (!board) return;
    board.onDrag = on ? dragged : null;
    if (on) say("Drag from a spot of the proposal to where that spot really is.");
  }

  function dragged(start, point) {
    drag = { start, point };
    byId("proposal").setAttribute("transform", `translate(${point.x - start.x} ${point.y - start.y})`);
  }

  // The proposal stays where the finger leaves it.
  function dropped() {
    if (!drag) return;
    const { start, point } = drag;
    drag = null;
    setMoving(false);
    const fields = [["picture_id", views[shown].picture_id], ["from_x_px", start.x - 0.5], ["from_y_px", start.y - 0.5], ["to_x_px", point.x - 0.5], ["to_y_px", point.y - 0.5]];
    decide("move", fields, false);
  }

  // A sheath colour that does not fit the circuit chosen is said before it is accepted.
  function checkCircuit() {
    const words = byId("disagrees");
    if (!words) return;
    const all = JSON.parse(byId("circuit").selectedOptions[0]?.dataset.disagrees ?? "{}");
    words.textContent = (waiting.length && all[current().sheath]) || "";
    words.hidden = !words.textContent;
  }
  byId("circuit")?.addEventListener("change", checkCircuit);

  const circuit = () => (byId("circuit")?.value ? [["circuit_id", byId("circuit").value]] : []);
  const actions = {
    accept: () => decide("accept", circuit()),
    reject: () => decide("reject"),
    move: () => { say(""); setMoving(!moving); },
    join: offerJoins,
    later: () => { at = (at + 1) % Math.max(1, waiting.length); show(); },
    back: () => { at = (at - 1 + waiting.length) % Math.max(1, waiting.length); show(); },
    undo,
  };
  const keys = { a: "accept", x: "reject", m: "move", j: "join", z: "undo", ArrowRight: "later", ArrowLeft: "back" };

  root.addEventListener("click", (event) => {
    const button = event.target.closest("[data-do]");
    if (button) actions[button.dataset.do]();
  });
  byId("other").addEventListener("click", other);
  byId("board").addEventListener("pointerup", dropped);
  function other() {
    if (views.length < 2) return;
    shown = (shown + 1) % views.length;
    draw();
  }
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("select, input, textarea")) return;
    if (event.key.startsWith("Arrow") && event.target.closest("#board")) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (key === "o") return other();
    if (keys[key]) {
      event.preventDefault();
      actions[keys[key]]();
    }
  });
  show();
}
