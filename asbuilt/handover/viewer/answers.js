"use strict";
// The answers of the program, worked out in the page from what was recorded: the same
// arithmetic, the same four outcomes, the same words. Metres throughout.

const Answers = (() => {
  const C95 = 1.96;
  const WITHIN = 0.2032;
  const LEAST_GAP = 0.0508;
  const SEARCH = 0.3048;
  const ROUND_THE_BIT = 0.0254;
  const SWITCH_OFF = 0.15;
  const BEYOND = 1.0; // farther behind the wall than any error in depth
  const SHORT_OF = 0.00635;
  const INCH = 0.0254;
  const USUAL_INCHES = [1, 1.25, 1.625, 2, 2.5, 3, 3.5, 4, 5, 6];
  const USUAL_MM = [25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 120, 140, 160];
  const AIM_SIGMA = 0.0032;
  const TAPE_SIGMA = 0.0016;
  const FAR_ENOUGH = 0.15;
  const MOST_PICTURES = 4;
  let data = null;

  /** Take the record's data in; ``nodes`` are the nodes of the rule for chances. */
  function use(record, nodes) {
    data = record;
    Words.use(record.words);
    Touch.use(nodes);
    for (const face of record.faces) face.coverage = Cover.open(face.cover, record.pictures, record.unit);
  }

  const fromFace = (face) => (face.covering_m ? "finished face" : "stud face");
  const faceOf = (id) => data.faces.find((f) => f.id === id);
  const rectangle = (left, bottom, right, top) => ({ left, bottom, right, top });
  const wordFor = (t) => Words.thingName(t.kind, t.label);
  // The guessed way of a run past its last mark is not on record.
  const isRecorded = (found) => found.some((f) => [f, ...(f.pieces || f.course)]
    .some((piece) => piece.status !== data.limits.guessed));
  const outcomeOf = (t, window, doubtful) => (isRecorded(t) ? Words.word("RECORDED")
    : gapOutcome(window, doubtful || t.length > 0));

  // --- what is behind -------------------------------------------------------------------------

  function behind(faceId, offset, height = null, within = WITHIN) {
    const face = faceOf(faceId);
    const reach = reachOf(face, offset, height, within);
    const bays = spans(face, reach).map((span) => ({ span, window: inside(reach, span) }));
    const parts = face.things.flatMap((t) => partsOf(t, reach, bays, offset, height));
    const cover = face.coverage.area(reach.left, reach.bottom, reach.right, reach.top);
    const doubts = doubtsIn(face, reach, cover.first_date);
    const described = parts.map((p) => ({ bay: p.bay, answer: describe(face, p, offset) }));
    const answered = bays.map(({ span, window }, i) => {
      const things = described.filter((d) => d.bay === i).map((d) => d.answer);
      const isGuess = (thing) => thing.status === data.limits.guessed;
      things.sort((a, b) => isGuess(a) - isGuess(b) || a.bottom_m - b.bottom_m || a.offset_m - b.offset_m);
      return bayAnswer(face, span, window, offset, things, doubts.length > 0);
    });
    const [outcome, sentence] = behindOutcome(parts, cover, doubts);
    const shown = parts.map((p) => p.thing);
    const wide = face.spacing_m / 2;
    const landmarks = landmarksOf(face, offset);
    return {
      building: data.building, unit: data.unit, room: face.room, face_id: face.id, face_title: face.title,
      offset_m: offset, height_m: height, within_m: within, outcome, sentence, bays: answered,
      studs: face.studs.filter((s) => reach.left - wide <= s.center_m && s.center_m <= reach.right + wide)
        .map((s) => ({ center_m: s.center_m, error_95_m: C95 * s.sigma_m, width_m: s.width_m, source: s.source })),
      openings: face.openings.filter((o) => o.left_m <= reach.right && o.right_m >= reach.left && o.bottom_m <= reach.top),
      covering_m: face.covering_m, covering: Words.covering(face.covering_m, data.unit), covered_on: face.covered_on,
      from_face: fromFace(face), inside_offset_m: offset, inside: "",
      recorded_on: cover.last_date, age: ageOf(cover.first_date), cover, doubts, circuits_off: circuitsOff(shown),
      landmarks, cross_check: crossCheck(landmarks), cautions: cautionsFor(shown),
      expected: parts.length ? [] : expectedIn(face, reach), unconfirmed: unconfirmedNear(face, offset, height, within),
    };
  }

  function reachOf(face, offset, height, within) {
    const bottom = height === null ? 0 : height - within;
    const top = height === null ? face.height_m : height + within;
    return rectangle(Math.max(offset - within, 0), Math.max(bottom, 0), Math.min(offset + within, face.length_m),
      Math.min(top, face.height_m));
  }

  function spans(face, reach) {
    const all = face.bays.length ? face.bays : [{ number: null, left_m: 0, right_m: face.length_m }];
    return all.filter((s) => s.left_m < reach.right && s.right_m > reach.left);
  }

  const inside = (reach, span) => rectangle(Math.max(reach.left, span.left_m), reach.bottom,
    Math.min(reach.right, span.right_m), reach.top);

  // The parts of a thing by bay; one that only its error brings within reach goes to the nearest bay.
  function partsOf(thing, reach, bays, offset, height) {
    const grown = Reach.part(thing, reach, offset, height);
    if (!grown) return [];
    const own = bays.map(({ window }, bay) => ({ thing, part: Reach.part(thing, window, offset, height, 0), bay }));
    const found = own.filter((p) => p.part);
    if (found.length || !bays.length) return found;
    const at = grown.point[0];
    const away = bays.map(({ window }) => Math.max(window.left - at, at - window.right));
    return [{ thing, part: grown, bay: away.indexOf(Math.min(...away)) }];
  }

  function behindOutcome(parts, cover, doubts) {
    if (isRecorded(parts.map((p) => p.part))) {
      return [Words.word("RECORDED"), Words.recordedHere(cover.state, cover.reason)];
    }
    const guessed = [...new Set(parts.map((p) => wordFor(p.thing)))];
    const reason = doubts.length ? doubts[0].text : cover.well_share === 0 ? cover.reason : "";
    if (reason || guessed.length) {
      return [Words.word("UNKNOWN"), Words.notRecorded(Words.whyUnknown(reason, guessed))];
    }
    if (cover.state !== Words.word("WELL")) {
      return [Words.word("PARTLY"), Words.partlyRecorded(cover.well_share, cover.reason)];
    }
    return [Words.word("NOTHING"), Words.nothingRecorded(cover.first_date, cover.last_date)];
  }

  function bayAnswer(face, span, window, offset, things, doubtful) {
    const gaps = gapsIn(face, window);
    const share = face.coverage.area(window.left, window.bottom, window.right, window.top).well_share;
    return { number: span.number, left_m: span.left_m, right_m: span.right_m,
      asked: span.left_m <= offset && offset < span.right_m,
      outcome: outcomeOf(things, { gaps, share }, doubtful), things, gaps };
  }

  function gapOutcome({ gaps, share }, doubtful) {
    if (doubtful || share === 0) return Words.word("UNKNOWN");
    return Words.word(gaps.length ? "PARTLY" : "NOTHING");
  }

  // Runs of rows in which some of the window is not well recorded, from the floor up.
  function gapsIn(face, window) {
    const cover = face.coverage;
    if (window.right - window.left < cover.cell) return [];
    const w = cover.window(window.left, window.bottom, window.right, window.top);
    const worst = [];
    for (let row = w.row; row < w.rowEnd; row++) {
      worst.push(Math.min(...cover.cells({ ...w, row, rowEnd: row + 1 }).map((i) => cover.classes[i])));
    }
    const found = [];
    for (let first = 0, last; first < worst.length; first = last) {
      last = first + 1;
      while (last < worst.length && worst[last] === worst[first]) last++;
      const bottom = (w.row + first) * cover.cell;
      const top = (w.row + last) * cover.cell;
      if (worst[first] >= Cover.WELL || top - bottom < LEAST_GAP) continue;
      const cells = cover.cells({ ...w, row: w.row + first, rowEnd: w.row + last });
      const reason = cover.reason(cells.filter((i) => cover.classes[i] === worst[first]));
      const recorded = Words.cover(worst[first]);
      const upTo = Math.min(top, face.height_m);
      found.push({ bottom_m: bottom, top_m: upTo, recorded, reason,
        text: Words.gap(bottom, upTo, face.height_m, recorded, reason, data.unit) });
    }
    return found;
  }

  // --- a thing described ----------------------------------------------------------------------

  function describe(face, { thing, part }, offset) {
    const sigma = Touch.spread(part.cov);
    const [x, z, y] = part.point;
    const pictures = thingPictures(face, thing, part.point);
    const dates = pictures.filter((m) => m.sighted && m.taken_at).map((m) => m.taken_at.slice(0, 10));
    return {
      item_id: thing.item_id, kind: thing.kind, label: thing.label, name: wordFor(thing), cable: thing.cable,
      state: thing.state, on_far_face: thing.on_far_face,
      circuit: thing.circuit_id ? circuitOff(thing.circuit_id) : null,
      offset_m: x, height_m: z, depth_m: y, depth_finished_m: y + face.covering_m,
      offset_error_95_m: C95 * sigma[0], height_error_95_m: C95 * sigma[1], depth_error_95_m: C95 * sigma[2],
      left_m: part.extent.left, right_m: part.extent.right, bottom_m: part.extent.bottom, top_m: part.extent.top,
      direction: thing.is_run ? direction(part) : "", status: part.status,
      crossings: thing.block ? [] : Reach.crossings(thing.course, offset), course: coursePoints(part),
      method: thing.method, picture_count: thing.picture_count, seen_on: dates.sort().pop() || "", pictures,
      comes_from: thing.comes_from, goes_to: thing.goes_to, notes: notesOf(face, thing, part),
      doubt: thing.doubt,
    };
  }

  function direction(part) {
    const aside = (s) => {
      const d = s.end.map((v, i) => v - s.start[i]);
      const ahead = part.point.reduce((sum, v, i) => sum + (v - s.start[i]) * d[i], 0);
      const share = Touch.clip(ahead / Math.max(d.reduce((sum, v) => sum + v * v, 0), 1e-18), 0, 1);
      return Math.hypot(...s.start.map((v, i) => v + share * d[i] - part.point[i]));
    };
    const nearest = part.pieces.reduce((a, b) => (aside(b) < aside(a) ? b : a));
    const dx = Math.abs(nearest.end[0] - nearest.start[0]);
    const dz = Math.abs(nearest.end[1] - nearest.start[1]);
    if (dz > 3 * dx) return "upright";
    return dx > 3 * dz ? "level" : "slanting";
  }

  function coursePoints(part) {
    return part.pieces.flatMap((s) => [s.start, s.end].map((p) => ({ offset_m: p[0], height_m: p[1], depth_m: p[2],
      group: s.group, alternative: s.alternative, weight: s.weight, status: s.status })));
  }

  function notesOf(face, thing, part) {
    const notes = [];
    if (thing.on_far_face && face.far) notes.push(Words.word("FAR_SIDE").replace("{title}", face.far.title));
    if (thing.state === "proposed") notes.push(Words.word("PROPOSED"));
    if (thing.usual_depth) notes.push(Words.word("USUAL_DEPTH"));
    if (thing.is_run) {
      const words = { "between sightings": "COURSE_UNSEEN", "beyond the last sighting": "GOES_ON" };
      notes.push(Words.word(words[part.status] || "STRAIGHT_BETWEEN"));
    }
    if (thing.note) notes.push(thing.note);
    if (thing.doubt) notes.push(thing.doubt);
    return notes;
  }

  // --- pictures -------------------------------------------------------------------------------

  // Where a place of a face is in every placed picture that shows it, and how large.
  function project(face, point) {
    const inFace = [point[0], point[2], point[1]];
    const p = face.pose.rotation.map((row, i) => row.reduce((sum, v, k) => sum + v * inFace[k], face.pose.translation_m[i]));
    return data.cameras.map((camera) => {
      const c = camera.rotation.map((row, i) => row.reduce((sum, v, k) => sum + v * p[k], camera.translation_m[i]));
      if (!(c[2] > 0.05)) return null;
      const [f, cx, cy, k1, k2, p1, p2] = camera.lens;
      const [x, y] = [c[0] / c[2], c[1] / c[2]];
      const r2 = x * x + y * y;
      const radial = 1 + r2 * (k1 + r2 * k2);
      const u = f * (x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx;
      const v = f * (y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy;
      const [w, h] = camera.size_px;
      const half = Math.hypot(w, h) / 2 / f;
      const within = u >= 0 && v >= 0 && u <= w - 1 && v <= h - 1 && r2 < (1.3 * half) ** 2;
      if (!within || !unblocked(face, camera, inFace, p)) return null;
      return { id: camera.id, u, v, score: f / c[2] };
    }).filter(Boolean).sort((a, b) => b.score - a.score);
  }

  // Whether a camera looks at a place without a stud between.
  function unblocked(face, camera, [x, depth]) {
    const d = camera.center_m.map((v, i) => v - face.pose.translation_m[i]);
    const [cx, cy] = [0, 1].map((k) => d.reduce((sum, v, i) => sum + face.pose.rotation[i][k] * v, 0));
    if (!(cy < 0 || face.open_behind)) return false;
    const through = depth > 0 ? cx + ((0 - cy) / (depth - cy)) * (x - cx) : x;
    const low = Math.min(through, x);
    const high = Math.max(through, x);
    return face.stud_edges.every(([left, right]) => !(high > left && low < right && !(x > left && x < right)));
  }

  function mark(id, x, y, sighted) {
    const p = data.pictures[id];
    return { picture_id: id, name: p.name, taken_at: p.taken_at, stage: p.stage, x_px: x, y_px: y, width_px: p.width_px,
      height_px: p.height_px, sighted, text: Words.word(sighted ? "SIGHTED" : "PREDICTED") };
  }

  function thingPictures(face, thing, point) {
    const away = (s) => (s.spot === null ? 1e9 : Math.hypot(...thing.spots[s.spot].map((v, i) => v - point[i])));
    const own = new Map();
    for (const s of [...thing.sightings].sort((a, b) => away(a) - away(b))) {
      if (data.pictures[s.picture_id] && !own.has(s.picture_id)) {
        own.set(s.picture_id, mark(s.picture_id, s.x_px, s.y_px, true));
      }
    }
    const more = project(face, point).slice(0, 4 * MOST_PICTURES)
      .filter((m) => !own.has(m.id) && data.pictures[m.id].stage === "open").map((m) => mark(m.id, m.u, m.v, false));
    return [...own.values(), ...more].slice(0, MOST_PICTURES);
  }

  const bestPictures = (face, point) => project(face, point).filter((m) => data.pictures[m.id].stage === "open")
    .slice(0, MOST_PICTURES).map((m) => mark(m.id, m.u, m.v, false));

  /** The pictures that show a place of a wall best, at half height where no height is given. */
  function placePictures(faceId, offset, height) {
    const face = faceOf(faceId);
    return bestPictures(face, [offset, height === null ? face.height_m / 2 : height, 0]);
  }

  // --- around an answer -----------------------------------------------------------------------

  function doubtsIn(face, r, recordedOn) {
    const meets = (e) => e.left_m <= r.right && e.right_m >= r.left && e.bottom_m <= r.top && e.top_m >= r.bottom;
    return face.events.filter((e) => e.date.slice(0, 10) >= recordedOn.slice(0, 10) && meets(e))
      .map((e) => ({ event_id: e.id, kind: e.kind, date: e.date, note: e.note, text: Words.doubt(e.kind, e.date) }));
  }

  function ageOf(recordedOn) {
    const taken = Date.parse(`${recordedOn.slice(0, 10)}T00:00:00Z`);
    if (!recordedOn || Number.isNaN(taken)) return "";
    const now = new Date();
    const today = Date.UTC(now.getFullYear(), now.getMonth(), now.getDate());
    return Words.older(Math.max(Math.round((today - taken) / 86400000), 0));
  }

  function circuitOff(id) {
    const c = data.circuits[id];
    return { circuit_id: id, number: c.number, name: c.name, amps: c.amps, volts: c.volts, panel: c.panel,
      text: `${Words.circuitName(c)}: ${Words.breaker(c.number, c.panel)}` };
  }

  function circuitsOff(things) {
    const leading = (number) => { const found = /\d+/.exec(number); return found ? Number(found[0]) : 10 ** 6; };
    return [...new Set(things.map((t) => t.circuit_id).filter(Boolean))].map(circuitOff)
      .sort((a, b) => leading(a.number) - leading(b.number) || (a.number < b.number ? -1 : a.number > b.number ? 1 : 0));
  }

  function cautionsFor(things) {
    const found = [];
    const special = [...new Set(things.filter((t) => t.hazard === "specialist").map((t) => t.kind))].sort();
    if (special.length) found.push(Words.word("SPECIALIST").replace("{kinds}", special.join(" and ")));
    if (things.some((t) => t.hazard === "gas")) found.push(Words.word("GAS"));
    if (things.some((t) => t.hazard === "wet")) found.push(Words.word("WATER"));
    if (things.some((t) => t.hazard === "live" && !t.circuit_id)) found.push(Words.word("NO_CIRCUIT_KNOWN"));
    return [...found, ...Words.word("CAUTIONS")];
  }

  function landmarksOf(face, offset) {
    const marks = [...face.marks].sort((a, b) => Math.abs(a.offset_m - offset) - Math.abs(b.offset_m - offset));
    const apart = (a, b) => Math.abs(a.offset_m - b.offset_m) >= FAR_ENOUGH;
    const left = marks.find((m) => m.offset_m <= offset);
    const right = marks.find((m) => m.offset_m > offset && (!left || apart(m, left)));
    let chosen = [left, right].filter(Boolean);
    if (chosen.length === 1) chosen = [...chosen, ...marks.filter((m) => apart(m, chosen[0])).slice(0, 1)];
    return chosen.map((m) => {
      const sigma = Math.hypot(m.sigma_m, TAPE_SIGMA);
      const distance = offset - m.offset_m;
      return { name: m.name, offset_m: m.offset_m, distance_m: distance, error_95_m: C95 * sigma,
        text: Words.fromLandmark(m.name, distance, sigma, data.unit) };
    });
  }

  // Strips of a face in which cable is to be expected, as far as they meet a rectangle.
  const expectedIn = (face, r) => face.expected.filter((e) => e.left_m <= r.right && e.right_m >= r.left
    && e.bottom_m <= r.top && e.top_m >= r.bottom);

  // What the pictures propose near a place and nobody has decided on, nearest first.
  function unconfirmedNear(face, offset, height, within) {
    return face.proposals.map((p) => ({ id: p.id, kind: p.kind, sheath: p.sheath, reach_m: p.reach_m,
      distance_m: proposalAway(p.points, offset, height) }))
      .filter((p) => p.distance_m - p.reach_m <= within).sort((a, b) => a.distance_m - b.distance_m);
  }

  function proposalAway(points, offset, height) {
    if (height === null) {
      const across = points.map(([x]) => x);
      return Math.max(Math.min(...across) - offset, offset - Math.max(...across), 0);
    }
    if (points.length === 1) return Math.hypot(points[0][0] - offset, points[0][1] - height);
    return Math.min(...points.slice(1).map(([x, z], i) => {
      const [x0, z0] = points[i];
      const [dx, dz] = [x - x0, z - z0];
      const along = ((offset - x0) * dx + (height - z0) * dz) / Math.max(dx * dx + dz * dz, 1e-12);
      const share = Touch.clip(along, 0, 1);
      return Math.hypot(x0 + share * dx - offset, z0 + share * dz - height);
    }));
  }

  function crossCheck(landmarks) {
    if (landmarks.length < 2) return "";
    const [one, two] = landmarks;
    const sigma = Math.hypot(one.error_95_m, two.error_95_m) / 1.96;
    return Words.crossCheck(one.name, two.name, Math.abs(one.offset_m - two.offset_m), sigma, data.unit);
  }

  // --- a drill path ---------------------------------------------------------------------------

  function drill(faceId, offset, height, bitM, depthM, depthFrom = "finished") {
    const face = faceOf(faceId);
    const tip = depthFrom === "finished" ? depthM - face.covering_m : depthM;
    const bit = { offset, height, radius: bitM / 2, tip };
    const passed = passages(face, bit);
    const round = bit.radius + ROUND_THE_BIT;
    const place = rectangle(offset - round, height - round, offset + round, height + round);
    const cover = face.coverage.area(place.left, place.bottom, place.right, place.top);
    const doubts = doubtsIn(face, place, cover.first_date);
    const known = cover.state === Words.word("WELL") && !doubts.length;
    const outcome = drillOutcome(passed, known);
    const off = passed.filter((p) => isClose(p) || lessError(p.clearance) < SWITCH_OFF);
    const landmarks = landmarksOf(face, offset);
    const stop = stopWords(passed);
    const order = [...passed].sort((a, b) => b.chance - a.chance || a.clearance.gap - b.clearance.gap);
    return {
      building: data.building, unit: data.unit, face_id: face.id, face_title: face.title, offset_m: offset,
      height_m: height, bit_m: bitM, depth_m: depthM, depth_from: depthFrom, from_face: fromFace(face), tip_m: tip,
      inside_offset_m: offset, inside: "",
      covering_m: face.covering_m, covering: Words.covering(face.covering_m, data.unit), outcome,
      sentence: drillSentence(outcome, passed, cover, doubts), stop,
      chance: Math.max(0, ...passed.map((p) => p.chance)), things: order.map((p) => passedAnswer(face, p)),
      nearest: nearestWays(passed), wood: woodMet(face, offset, height, bit.radius, tip),
      rule_depth_m: face.covering_m + 1.25 * INCH, other_side: otherSide(face, offset, height, tip),
      screw: stop ? { longest_m: null, limit: "", text: Words.stopped(stop) } : longestScrew(face, passed, bit, known && outcome !== Words.word("UNKNOWN")),
      expected: expectedIn(face, rectangle(offset, height, offset, height)),
      unconfirmed: unconfirmedNear(face, offset, height, bit.radius + data.limits.unconfirmed_m),
      cover, doubts, recorded_on: cover.last_date, age: ageOf(cover.first_date),
      circuits_off: circuitsOff(off.map((p) => p.thing)), landmarks, cross_check: crossCheck(landmarks),
      pictures: bestPictures(face, [offset, height, Math.max(tip, 0)]), cautions: cautionsFor(passed.map((p) => p.thing)),
    };
  }

  function passages(face, bit) {
    // Nothing lies deeper than the wall, so a bit that comes out meets all depths.
    if (bit.tip >= backOf(face) - 1e-9) bit = { ...bit, tip: bit.tip + BEYOND };
    return face.things.map((thing) => ({ thing, clearance: Touch.clearance(thing, bit) }))
      .filter(({ clearance: c }) => c.planeGap - C95 * c.planeSigma <= SEARCH)
      .map((p) => passage(p, bit));
  }

  // With isGuess: it can be touched only where a run may go on beyond its last sighting.
  function passage({ thing, clearance }, bit) {
    const chance = Touch.chance(thing, bit, clearance);
    const { limits } = data;
    const isGuess = chance > limits.close_chance && chance < limits.hit_chance
      && (thing.course || []).some((s) => s.status === limits.guessed)
      && Touch.chance(thing, bit, clearance, limits.guessed) <= limits.close_chance;
    return { thing, clearance, chance, isGuess };
  }

  // Whether a thing may be touched, as far as that can be told.
  const isClose = (p) => p.chance > (p.isGuess ? data.limits.guessed_chance : data.limits.close_chance);
  const lessError = (c) => c.gap - C95 * c.sigma;

  // Wood blocking is wanted wood and not a hit.
  function drillOutcome(passed, known) {
    const met = passed.filter((p) => p.thing.kind !== "blocking");
    if (met.some((p) => p.chance >= data.limits.hit_chance)) return Words.word("HIT");
    if (met.some((p) => isClose(p) && !p.isGuess)) return Words.word("CLOSE");
    return Words.word(known && !met.some(isClose) ? "NOTHING" : "UNKNOWN");
  }

  function drillSentence(outcome, passed, cover, doubts) {
    if (outcome === Words.word("NOTHING")) return Words.nothingRecorded(cover.first_date, cover.last_date);
    const met = passed.filter((p) => isClose(p) && p.thing.kind !== "blocking");
    met.sort((a, b) => b.chance - a.chance);
    const names = met.map((p) => [wordFor(p.thing), p.chance]);
    const doubt = doubts.length ? doubts[0].text : "";
    if (outcome === Words.word("UNKNOWN")) {
      const poor = cover.state === Words.word("WELL") ? "" : cover.reason;
      return Words.notRecorded(Words.unknown(doubt || poor, names));
    }
    return outcome === Words.word("HIT") ? Words.hit(names, doubt) : Words.close(names, doubt);
  }

  function stopWords(passed) {
    const special = [...new Set(passed.filter((p) => p.thing.hazard === "specialist").map((p) => p.thing.kind))].sort();
    if (special.length) return Words.word("SPECIALIST").replace("{kinds}", special.join(" and "));
    return passed.some((p) => p.thing.hazard === "gas") ? Words.word("GAS") : "";
  }

  function passedAnswer(face, { thing, clearance: c, chance }) {
    const name = wordFor(thing);
    const where = c.gap > 0 ? directionOf(c.toward) : "on the path";
    return {
      item_id: thing.item_id, kind: thing.kind, name, circuit: thing.circuit_id ? circuitOff(thing.circuit_id) : null,
      on_far_face: thing.on_far_face, hazard: thing.hazard, chance, gap_m: c.gap, error_95_m: C95 * c.sigma,
      gap_less_error_m: lessError(c), direction: where, depth_m: c.depth + face.covering_m, status: c.status,
      method: thing.method, picture_count: thing.picture_count, doubt: thing.doubt,
      text: Words.passed(name, chance, c.gap, c.sigma, where, thing.doubt, data.unit),
    };
  }

  function directionOf(toward) {
    const names = [["to the left", "to the right"], ["below", "above"], ["in front", "deeper"]];
    const sizes = toward.map(Math.abs);
    const axis = sizes.indexOf(Math.max(...sizes));
    return names[axis][toward[axis] > 0 ? 1 : 0];
  }

  function nearestWays(passed) {
    const found = [];
    for (const way of ["to the left", "to the right", "above", "below"]) {
      const ways = passed.filter((p) => directionOf([...p.clearance.planeToward, 0]) === way);
      if (!ways.length) continue;
      const p = ways.reduce((a, b) => (b.clearance.planeGap < a.clearance.planeGap ? b : a));
      found.push(wayTo(p, way, p.clearance.planeGap, p.clearance.planeSigma));
    }
    const ahead = passed.filter((p) => p.clearance.planeGap <= 0 && p.clearance.gap > 0);
    if (ahead.length) {
      const p = ahead.reduce((a, b) => (b.clearance.gap < a.clearance.gap ? b : a));
      found.push(wayTo(p, "deeper", p.clearance.gap, p.clearance.sigma));
    }
    return found;
  }

  function wayTo(p, direction, gap, sigma) {
    const error = C95 * sigma;
    return { direction, name: wordFor(p.thing), gap_m: gap, error_95_m: error, gap_less_error_m: gap - error };
  }

  function woodMet(face, offset, height, radius, tipM) {
    const wood = Math.min(Math.max(tipM, 0), face.stud_depth_m);
    const found = [];
    if (!face.studs.length) return found;
    const plate = (name) => found.push({ name, center_m: null, chance: 1, wood_m: wood, text: Words.plate(name) });
    const isWall = face.kind === "wall";
    if (isWall && height < data.sole_plate_m) plate("sole plate");
    if (isWall && height > face.height_m - data.top_plate_m) plate("top plate");
    for (const stud of face.studs) {
      if (height < stud.bottom_m || height > (stud.top_m === null ? face.height_m : stud.top_m)) continue;
      const sigma = Math.sqrt(stud.sigma_m ** 2 + AIM_SIGMA ** 2);
      const away = offset - stud.center_m;
      const between = (half) => Touch.below((half - away) / sigma) - Touch.below((-half - away) / sigma);
      const room = stud.width_m / 2 - radius;
      const chance = room > 0 ? between(room) : 0;
      const meets = between(stud.width_m / 2 + radius);
      if (meets > 0.001) {
        const name = isWall ? "stud" : "joist";
        found.push({ name, center_m: stud.center_m, chance, wood_m: wood, text: Words.studMet(name, chance, meets) });
      }
    }
    return found;
  }

  // Depth at which a bit comes out of all that is on record of a wall.
  function backOf(face) {
    return face.stud_depth_m + (face.far ? face.far.covering_m : face.sheathing_m || 0);
  }

  function otherSide(face, offset, height, tip) {
    const back = backOf(face);
    if (face.far) {
      const there = [face.far.offset_sum_m - offset, height + face.far.height_shift_m];
      return { comes_out: tip >= back, wall_m: back + face.covering_m, face_id: face.far.id, offset_m: there[0],
        height_m: there[1], text: Words.farRoom(face.far.title, face.far.room, ...there, data.unit) };
    }
    return { comes_out: tip >= back, wall_m: back + face.covering_m, face_id: null, offset_m: null, height_m: null,
      text: Words.outside(face.exterior, face.open_behind, face.sheathing_m, data.unit) };
  }

  function longestScrew(face, passed, bit, known) {
    if (!known) return { longest_m: null, limit: "", text: Words.word("NO_SCREW_UNKNOWN") };
    const near = passed.filter((p) => p.thing.kind !== "blocking"
      && p.clearance.planeGap - C95 * p.clearance.planeSigma < SHORT_OF).map((p) => p.thing);
    const usual = Units.isInch(data.unit) ? USUAL_INCHES.map((i) => i * INCH) : USUAL_MM.map((mm) => mm / 1000);
    let longest = null;
    let limit = "";
    for (const length of usual) {
      const shorter = { ...bit, tip: length - face.covering_m };
      const stop = near.find((t) => lessError(Touch.clearance(t, shorter)) < SHORT_OF);
      limit = stop ? wordFor(stop) : shorter.tip > face.stud_depth_m - SHORT_OF ? Words.word("BACK") : "";
      if (limit) break;
      longest = length;
    }
    return { longest_m: longest, limit, text: Words.screw(longest, limit, fromFace(face), data.unit) };
  }

  return { use, behind, drill, crossCheck, faceOf, placePictures };
})();
