"use strict";
// The page: which wall, where on it, and what the record says. Nothing is fetched; everything
// shown came with this file or lies in the folder beside it.

(() => {
  const data = JSON.parse(document.getElementById("record").textContent);
  const inlined = JSON.parse(document.getElementById("pictures").textContent);
  const nodes = new Float64Array(Uint8Array.from(atob(data.nodes), (c) => c.charCodeAt(0)).buffer);
  Answers.use(data, nodes);
  window.asbuilt = { behind: Answers.behind, drill: Answers.drill, parse: Units.parse, length: Units.length };

  const main = document.getElementById("main");
  const shown = (valueM, sigma) => Units.length(valueM, data.unit, sigma);
  const MOST_SHOWN = 6;

  function el(name, attributes, ...children) {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (value === true) element.setAttribute(key, "");
      else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
    }
    element.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== ""));
    return element;
  }

  function svg(name, attributes) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  }

  const list = (lines) => el("ul", {}, lines.map((line) => el("li", {}, line)));
  const section = (title, ...children) => el("section", {}, el("h3", {}, title), ...children);
  const link = (path, ...children) => el("a", { href: `#/${path}` }, ...children);
  const facePath = (id) => `wall/${encodeURIComponent(id)}`;

  // --- the walls ------------------------------------------------------------------------------

  function walls() {
    const rooms = [...new Set(data.faces.map((f) => f.room))];
    return [
      el("p", { class: "lead" }, data.about),
      rooms.map((room) => el("section", { class: "sheet" }, el("h2", {}, room),
        el("div", { class: "walls" }, data.faces.filter((f) => f.room === room).map(wallCard)))),
      data.left_out.length ? el("section", { class: "sheet" }, el("h2", {}, "Left out of this copy"), list(data.left_out)) : null,
      el("section", { class: "sheet" }, el("h2", {}, "Before you drill or cut"), list(Words.word("CAUTIONS"))),
    ];
  }

  function wallCard(face) {
    const [well, , missing] = face.shares;
    const percent = (share) => `${Math.round(100 * share)} %`;
    return el("a", { class: "wall-card", href: `#/${facePath(face.id)}` }, el("strong", {}, face.title),
      el("span", {}, `${shown(face.length_m)} long, ${shown(face.height_m)} high`),
      el("span", {}, `${percent(well)} well recorded`),
      missing > 0.005 ? el("span", { class: "gap-missing" }, `${percent(missing)} not recorded`) : null);
  }

  // --- one wall -------------------------------------------------------------------------------

  function wall(id, query) {
    const face = Answers.faceOf(id);
    if (!face) return [el("p", {}, "No such wall is in this record.")];
    const field = (name, label, placeholder, value) => el("label", {}, label,
      el("input", { name, placeholder, value: value || "", autocomplete: "off", autocapitalize: "none" }));
    const form = el("form", { class: "ask" }, field("at", "From the left end", Units.isInch(data.unit) ? "6 ft" : "1800 mm", query.get("at")),
      field("height", "Height, if known", Units.isInch(data.unit) ? "4 ft" : "1200 mm", query.get("height")),
      el("button", { class: "primary" }, "What is behind?"),
      field("bit", "Bit", Units.isInch(data.unit) ? "1/4 in" : "6 mm", query.get("bit")),
      field("depth", "Depth of the hole", Units.isInch(data.unit) ? "1-1/2 in" : "40 mm", query.get("depth")),
      el("button", { name: "hole", value: "1" }, "Check a hole"));
    const answer = el("div", { id: "answer", "aria-live": "polite" });
    const board = elevation(face, (offset, height) => {
      form.at.value = shown(offset);
      form.height.value = shown(height);
      ask(face, form, answer, board, false);
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      ask(face, form, answer, board, event.submitter && event.submitter.name === "hole");
    });
    const page = [
      el("h1", {}, face.title),
      el("p", { class: "soft" }, `${face.room}. Seen from inside. ${shown(face.length_m)} long, ${shown(face.height_m)} high.`,
        face.covered_on ? ` Covered ${face.covered_on}.` : ""),
      form, board.element, answer,
    ];
    if (query.get("at")) ask(face, form, answer, board, Boolean(query.get("bit")));
    else answer.append(el("p", { class: "soft" }, "Type a distance from the left end, or tap the wall."));
    return page;
  }

  function elevation(face, tapped) {
    const drawing = new DOMParser().parseFromString(face.svg, "image/svg+xml").documentElement;
    for (const image of drawing.querySelectorAll("image")) image.setAttribute("href", source(image.getAttribute("href")));
    const frame = el("div", { class: "board", tabindex: "0", role: "group", "aria-label": "Elevation; tap to ask" });
    frame.append(drawing);
    let zoom = 1;
    const [, , width, height] = drawing.getAttribute("viewBox").split(" ").map(Number);
    drawing.style.aspectRatio = `${width} / ${height}`;
    // The whole height of a wall is in view; a long wall is scrolled sideways.
    const scale = () => { drawing.style.height = `${zoom * (window.innerWidth < 700 ? 48 : 64)}vh`; };
    scale();
    const left = Number(drawing.dataset.leftMm);
    const top = Number(drawing.dataset.topMm);
    drawing.addEventListener("click", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
      const offset = Math.min(Math.max((point.x + left) / 1000, 0), face.length_m);
      tapped(offset, Math.min(Math.max((top - point.y) / 1000, 0), face.height_m));
    });
    const button = (text, act) => {
      const b = el("button", { type: "button" }, text);
      b.addEventListener("click", act);
      return b;
    };
    const layers = [...new Set([...drawing.querySelectorAll("[data-layer]")].map((g) => g.dataset.layer))]
      .filter((name) => !["ground", "outline", "title block"].includes(name));
    const tools = el("div", { class: "tools" },
      button("+", () => { zoom *= 1.5; scale(); }), button("\u2212", () => { zoom = Math.max(zoom / 1.5, 1); scale(); }),
      el("details", {}, el("summary", {}, "Layers"), layers.map((name) => layerBox(drawing, name))));
    const mark = (offset, heightM) => {
      const old = drawing.querySelector("#question");
      if (old) old.remove();
      const group = svg("g", { id: "question", "pointer-events": "none" });
      const x = offset * 1000 - left;
      group.append(svg("path", { d: `M${x} ${top}L${x} ${top - face.height_m * 1000}`, class: "mark-line" }));
      if (heightM !== null) group.append(svg("circle", { cx: x, cy: top - heightM * 1000, r: 45, class: "mark-line" }));
      drawing.append(group);
      const at = (x / width) * drawing.getBoundingClientRect().width;
      if (at < frame.scrollLeft || at > frame.scrollLeft + frame.clientWidth) frame.scrollLeft = at - frame.clientWidth / 2;
    };
    return { element: el("div", { class: "board-wrap" }, frame, tools), mark };
  }

  function layerBox(drawing, name) {
    const box = el("input", { type: "checkbox", checked: true });
    box.addEventListener("change", () => {
      for (const group of drawing.querySelectorAll(`[data-layer="${name}"]`)) group.style.display = box.checked ? "" : "none";
    });
    return el("label", { class: "check" }, box, name);
  }

  function ask(face, form, answer, board, hole) {
    const values = {};
    for (const [name, most] of [["at", face.length_m], ["height", face.height_m], ["bit", 1], ["depth", 3]]) {
      const text = form[name].value.trim();
      values[name] = text ? Units.parse(text, data.unit) : null;
      if (values[name] !== null && !(values[name] >= 0 && values[name] <= most + 0.01)) {
        return refuse(answer, Number.isNaN(values[name]) ? `\u201c${text}\u201d is not a length; write it like 6 ft 3-1/2 in or 1910 mm.`
          : `${text} is not on this wall, or no such hole.`);
      }
    }
    if (values.at === null) return refuse(answer, "Say how far from the left end, for example 6 ft.");
    const needed = hole && [values.height, values.bit, values.depth].some((v) => v === null || v === 0);
    if (needed) return refuse(answer, "To check a hole, give its height, the bit and the depth too.");
    const offset = Math.min(values.at, face.length_m);
    const height = values.height === null ? null : Math.min(values.height, face.height_m);
    const found = hole ? Answers.drill(face.id, offset, height, values.bit, values.depth) : Answers.behind(face.id, offset, height);
    answer.replaceChildren(...(hole ? drillPage(found) : behindPage(found)).filter(Boolean));
    board.mark(offset, height);
    const query = new URLSearchParams(Object.entries(hole
      ? { at: form.at.value, height: form.height.value, bit: form.bit.value, depth: form.depth.value }
      : { at: form.at.value, height: form.height.value }).filter(([, v]) => v));
    history.replaceState(null, "", `#/${facePath(face.id)}?${query}`);
    return undefined;
  }

  function refuse(answer, text) {
    answer.replaceChildren(el("p", { class: "sheet problem" }, text));
  }

  // --- an answer ------------------------------------------------------------------------------

  function verdict(outcome, question) {
    const looks = { [Words.word("HIT")]: "hit", [Words.word("CLOSE")]: "close", [Words.word("RECORDED")]: "hit",
      [Words.word("NOTHING")]: "nothing", [Words.word("UNKNOWN")]: "missing", [Words.word("PARTLY")]: "missing" };
    return el("h2", { class: `verdict verdict-${looks[outcome]}` }, Words.upper(outcome), el("span", {}, question));
  }

  const gapLine = (gap) => el("p", { class: gap.recorded === Words.word("UNKNOWN") ? "gap-missing" : "gap-poor" }, Words.upper(gap.text));
  const doubtLines = (doubts) => doubts.map((d) => el("p", { class: "caution" }, `Doubtful: ${d.text}. ${d.note}`));
  const off = (circuits) => (circuits.length ? section("Switch off first", list(circuits.map((c) => c.text))) : null);

  const block = (title, lines) => (lines.length ? section(title, list(lines)) : null);

  function unsure(a) {
    const [title, ...lines] = Words.unconfirmed(a.unconfirmed, a.unit);
    return lines.length ? section(title, list(lines)) : null;
  }

  function findIt(landmarks) {
    if (!landmarks.length) return null;
    const check = Answers.crossCheck(landmarks);
    return section("Find the place on the finished wall", list([...landmarks.map((m) => m.text), ...(check ? [check] : [])]));
  }

  function behindPage(a) {
    return [el("article", { class: "sheet" },
      verdict(a.outcome, Words.asked(a.face_title, a.room, a.offset_m, a.height_m, a.within_m, a.unit)),
      el("p", {}, a.sentence), doubtLines(a.doubts), a.bays.map((bay) => bayPart(bay, a)), unsure(a),
      block("Where cable runs", a.expected.map((r) => r.text)), off(a.circuits_off), findIt(a.landmarks),
      pictureParts([...a.bays.flatMap((bay) => bay.things.flatMap((t) => t.pictures.map((m) => ({ ...m, words: t.name })))),
        ...Answers.placePictures(a.face_id, a.offset_m, a.height_m).map((m) => ({ ...m, words: "" }))]),
      section("Before you drill or cut", list(a.cautions)),
      el("p", { class: "soft" }, Words.recordLine(a.covering, a.recorded_on, a.age, a.covered_on)))];
  }

  function bayPart(bay, a) {
    const name = bay.number === null ? "This face" : `Bay ${bay.number}`;
    return section(`${name}, ${shown(bay.left_m)} to ${shown(bay.right_m)}: ${bay.outcome}${bay.asked ? " (asked here)" : ""}`,
      bay.things.map((t) => el("div", { class: "thing" },
        el("strong", {}, t.circuit ? el("span", { class: "tag" }, t.circuit.number) : null, ` ${t.name} ${t.cable}`),
        el("span", {}, Words.upper(Words.place(t, a.unit))),
        el("span", {}, Words.upper(Words.depth(t.depth_m, a.covering_m, t.depth_error_95_m / 1.96, a.unit))),
        el("span", { class: "soft" }, Words.upper(Words.measured(t.method, t.picture_count, t.seen_on))),
        t.notes.map((note) => el("span", { class: "soft" }, Words.upper(note))))),
      bay.gaps.map(gapLine));
  }

  function drillPage(a) {
    const wood = a.wood.map((w) => w.text + (w.wood_m > 0 ? `, ${shown(w.wood_m)} of wood` : ""));
    const ways = a.nearest.map((n) => Words.way(n.direction, n.name, n.gap_m, n.error_95_m, a.unit));
    return [el("article", { class: "sheet" },
      verdict(a.outcome, Words.drillAsked(a.face_title, a.offset_m, a.height_m, a.bit_m, a.depth_m, a.depth_from, a.unit)),
      el("p", {}, a.sentence), a.stop ? el("p", { class: "caution stop" }, `STOP. ${a.stop}`) : null, doubtLines(a.doubts),
      a.other_side.comes_out ? el("p", { class: "caution" }, Words.cameOut(a.other_side.wall_m, a.other_side.text, a.unit)) : null,
      block("Near the hole", a.things.map((t) => t.text)), block("Nearest along the wall", ways), unsure(a), block("Wood", wood),
      block("Screws", [a.screw.text, Words.rule(a.rule_depth_m, a.from_face, a.unit)]), block("Where cable runs", a.expected.map((r) => r.text)),
      off(a.circuits_off), findIt(a.landmarks), pictureParts(a.pictures.map((m) => ({ ...m, words: "" }))),
      section("Before you drill or cut", list(a.cautions)),
      el("p", { class: "soft" }, Words.recordLine(a.covering, a.recorded_on, a.age, "")))];
  }

  // --- pictures -------------------------------------------------------------------------------

  const source = (name) => inlined[name] || name;
  const fileOf = (id) => (data.pictures[id] && data.pictures[id].file ? source(data.pictures[id].file) : null);

  function pictureParts(marks) {
    const byPicture = new Map();
    for (const m of marks) {
      if (!byPicture.has(m.picture_id)) byPicture.set(m.picture_id, []);
      byPicture.get(m.picture_id).push(m);
    }
    if (!byPicture.size) return null;
    const here = [...byPicture].filter(([id]) => fileOf(id));
    const sighted = ([, of]) => -of.filter((m) => m.sighted).length;
    const chosen = here.sort((a, b) => sighted(a) - sighted(b)).slice(0, MOST_SHOWN);
    const others = [...byPicture].filter(([id]) => !fileOf(id)).map(([, [m]]) => m.name);
    return section("Pictures of this place",
      el("div", { class: "grid" }, chosen.map(([id, of]) => closeUp(id, of))),
      others.length ? el("p", { class: "soft" }, `Also in the originals: ${others.join("; ")}`) : null);
  }

  function closeUp(id, marks) {
    const p = data.pictures[id];
    const wide = Math.min(p.width_px, Math.max(p.width_px / 2.5, ...marks.map((m) => 2.4 * Math.abs(m.x_px - marks[0].x_px))));
    const high = Math.min(p.height_px, wide * 0.75);
    const x = Math.min(Math.max(marks[0].x_px - wide / 2, 0), p.width_px - wide);
    const y = Math.min(Math.max(marks[0].y_px - high / 2, 0), p.height_px - high);
    return el("a", { class: "picture", href: `#/picture/${encodeURIComponent(id)}` },
      marked(p, fileOf(id), marks, `${x} ${y} ${wide} ${high}`, wide),
      el("span", {}, `${p.name}${p.taken_at ? `, ${p.taken_at.slice(0, 10)}` : ""}${p.stage === "open" ? "" : ", finished wall"}`));
  }

  // A picture with spots: solid where somebody marked it, dashed where it was worked out.
  function marked(p, href, marks, view, wide) {
    const drawing = svg("svg", { viewBox: view, role: "img", "aria-label": p.name });
    drawing.append(svg("image", { href, width: p.width_px, height: p.height_px, preserveAspectRatio: "none" }));
    for (const m of marks) {
      const r = wide / 30;
      for (const kind of ["spot-rim", m.sighted ? "spot" : "spot spot-guess"]) {
        drawing.append(svg("circle", { cx: m.x_px + 0.5, cy: m.y_px + 0.5, r, class: kind }));
      }
      const text = svg("text", { x: m.x_px + 1.3 * r, y: m.y_px + r / 3, "font-size": wide / 26, class: "spot-text" });
      text.textContent = m.words || "";
      drawing.append(text);
    }
    return drawing;
  }

  function pictures() {
    const ids = Object.keys(data.pictures).filter(fileOf);
    return [el("h1", {}, "Pictures"), el("div", { class: "grid small" }, ids.map((id) => {
      const p = data.pictures[id];
      return el("a", { class: "picture", href: `#/picture/${encodeURIComponent(id)}` },
        el("img", { src: fileOf(id), alt: p.name, loading: "lazy", width: p.width_px, height: p.height_px }),
        el("span", {}, `${p.name}${p.stage === "open" ? "" : ", finished wall"}`));
    }))];
  }

  function picture(id) {
    const p = data.pictures[id];
    if (!p || !fileOf(id)) return [el("p", {}, "That picture is not in this copy; look for it in the originals.")];
    const marks = data.faces.flatMap((f) => f.things.filter((t) => !t.on_far_face).flatMap((t) => t.sightings.filter((s) => s.picture_id === id)
      .map((s) => ({ x_px: s.x_px, y_px: s.y_px, sighted: true, words: Words.thingName(t.kind, t.label) }))));
    return [el("h1", {}, p.name), el("p", { class: "soft" }, p.taken_at ? `Taken ${p.taken_at.slice(0, 10)}.` : "", " ", p.stage === "open"
      ? "Before the wall was covered." : "Of the finished wall."),
      el("div", { class: "whole" }, marked(p, fileOf(id), marks, `0 0 ${p.width_px} ${p.height_px}`, p.width_px))];
  }

  // --- finding --------------------------------------------------------------------------------

  function find(query) {
    const box = el("input", { name: "words", value: query.get("words") || "", placeholder: "receptacle, pipe, circuit 4 ...", autocomplete: "off" });
    const found = el("div", {});
    const look = () => {
      const asked = box.value.toLowerCase();
      const circuit = /\bcircuit\s+(\d\S*)/.exec(asked);
      const words = (circuit ? asked.replace(circuit[0], " ") : asked).split(/\s+/).filter(Boolean);
      const hits = data.finds.filter((f) => (!circuit || isCircuit(f.number, circuit[1])) && words.every((w) => f.text.includes(w)));
      found.replaceChildren(...hits.map(foundPart));
      if (!hits.length) found.append(el("p", { class: "sheet" }, `Nothing on record matches ${box.value}. That does not prove there is none.`));
      history.replaceState(null, "", `#/find${box.value ? `?${new URLSearchParams({ words: box.value })}` : ""}`);
    };
    box.addEventListener("input", look);
    look();
    return [el("h1", {}, "Find"), el("form", { class: "ask", onsubmit: false }, el("label", {}, "Words, a kind of thing, a circuit", box)), found];
  }

  // A circuit of two poles is asked for by either of its breakers, or both.
  const isCircuit = (number, asked) => number === asked || number.split("+").includes(asked);

  function foundPart(f) {
    const where = f.face_id ? link(`${facePath(f.face_id)}?${new URLSearchParams({ at: shown(f.offset_m), height: shown(f.height_m) })}`, f.where) : f.where;
    return el("div", { class: "sheet thing" }, el("strong", {}, f.number ? el("span", { class: "tag" }, f.number) : null, ` ${f.name}`),
      where, f.lines.map((line) => el("span", {}, Words.upper(line))));
  }

  // --- circuits -------------------------------------------------------------------------------

  function circuits() {
    const head = ["No.", "Circuit", "Breaker", "Cable", "Feeds", "State"];
    return [el("h1", {}, "Circuits"), data.panels.map((panel) => el("section", { class: "sheet" },
      el("h2", {}, panel.name), panel.about ? el("p", { class: "soft" }, panel.about) : null,
      el("table", { class: "stacked" }, el("thead", {}, el("tr", {}, head.map((h) => el("th", { scope: "col" }, h)))),
        el("tbody", {}, panel.rows.map((row) => el("tr", {}, row.map((cell, i) => el(i ? "td" : "th", { "data-head": head[i] },
          i === 1 ? link(`find?${new URLSearchParams({ words: `circuit ${row[0]}` })}`, cell || "what is on it") : cell)))))))),
      el("p", { class: "sheet caution" }, "A label is not proof. Prove dead with a contact tester before touching any conductor.")];
  }

  // --- which page -----------------------------------------------------------------------------

  function show() {
    const [path, query] = location.hash.replace(/^#\/?/, "").split("?");
    const [page, id] = path.split("/").map(decodeURIComponent);
    const asked = new URLSearchParams(query || "");
    const homes = { wall: "", picture: "pictures" };
    const pages = { wall: () => wall(id, asked), find: () => find(asked), circuits, pictures, picture: () => picture(id) };
    main.replaceChildren(...[(pages[page] || walls)()].flat(Infinity).filter(Boolean));
    for (const a of document.querySelectorAll("nav a")) a.toggleAttribute("aria-current", a.hash === `#/${homes[page] || page}`);
    window.scrollTo(0, 0);
  }

  document.addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("hashchange", show);
  show();
})();
