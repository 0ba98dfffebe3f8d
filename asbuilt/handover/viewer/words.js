"use strict";
// Every sentence an answer may show. The fixed ones come with the data (WORDS), so that they are
// the program's own; those with numbers in them are put together here in the same words.

const Words = (() => {
  const { length, error, even } = Units;
  const C95 = 1.96;
  let W = {};

  const use = (words) => { W = words; };
  const word = (name) => W[name];
  const cover = (state) => [W.UNKNOWN, W.POOR, W.WELL][state];
  const upper = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
  const general = (value) => String(Number(value.toPrecision(6)));

  function covering(thickness, unit) {
    if (thickness <= 0) return W.NO_COVERING;
    return `depths from the finished face, ${length(thickness, unit)} in front of the studs`;
  }

  const quoted = (label) => `\u201c${label}\u201d`;
  const thingName = (kind, label) => (label ? `${kind} ${quoted(label)}` : kind);

  function circuitName(c) {
    const rating = [[c.amps, "A"], [c.volts, "V"]].filter(([v]) => v).map(([v, s]) => `${general(v)} ${s}`).join(", ");
    return `circuit ${c.number} ${c.name}${rating ? ` (${rating})` : ""}`;
  }

  const breaker = (number, panel) => `breaker ${number.split("+").join(" and ")}${panel ? ` in ${panel}` : ""}`;

  function poorReason(r) {
    const parts = [];
    if (r.obliquity !== null) parts.push(`only seen at ${even(r.obliquity)} degrees`);
    if (r.resolution !== null) parts.push(`only seen from afar (${even(r.resolution)} px per inch)`);
    if (r.blurred) parts.push("blurred");
    if (r.dark) parts.push("dark");
    if (r.single) parts.push("in one picture only");
    if (r.error !== null && !parts.length) parts.push(`placed only to ${r.error} (tape a mark or a sheet there)`);
    return parts.length ? parts.join(" and ") : "seen, but not well everywhere";
  }

  function stretchOfHeight(bottom, top, faceHeight, unit) {
    const low = bottom < 0.15;
    const high = top > faceHeight - 0.15;
    if (low && high) return "floor to top";
    if (high) return `above ${length(bottom, unit, 0.025)}`;
    if (low) return `below ${length(top, unit, 0.025)}`;
    return `${length(bottom, unit, 0.025)} to ${length(top, unit, 0.025)} up`;
  }

  function recordedHere(state, reason) {
    if (state === W.WELL) return "Recorded here: see the list. There may be things that nobody marked.";
    return `Recorded here: see the list. It is not complete: part of this place is ${state} (${reason}).`;
  }

  function nothingRecorded(first, last) {
    const when = first === last ? first : `${first} to ${last}`;
    return `Nothing recorded here: pictures taken ${when || "before cover-up"} show this place and nothing was `
      + "marked in it. That does not prove it empty.";
  }

  const partlyRecorded = (share, reason) =>
    `Nothing recorded in the ${even(100 * share)} % of this place that pictures show well; the rest is not `
    + `recorded: ${reason}. What is behind that part is unknown.`;

  const notRecorded = (reason) => `Not recorded: ${reason}. What is behind here is unknown.`;
  const whyUnknown = (reason, guessed) => [reason, guessed.length
    ? `${guessed.join(" and ")} may come through here: past the last mark the way was not marked` : ""]
    .filter(Boolean).join("; ");
  const doubt = (kind, date) => `the wall was ${kind} on ${date}, after the pictures were taken`;

  function older(days) {
    if (days < 60) return `${days} days old`;
    if (days < 730) return `${Math.floor(days / 30)} months old`;
    return `${Math.floor(days / 365)} years old`;
  }

  const gap = (bottom, top, faceHeight, state, reason, unit) =>
    `${stretchOfHeight(bottom, top, faceHeight, unit)}: ${state} (${reason})`;

  function fromLandmark(name, distance, sigma, unit) {
    const side = distance >= 0 ? "right" : "left";
    return `${length(Math.abs(distance), unit, sigma)} to the ${side} of ${name} (${error(sigma, unit)})`;
  }

  const crossCheck = (one, two, distance, sigma, unit) =>
    `Check: from ${one} to ${two} it must be ${length(distance, unit, sigma)} (${error(sigma, unit)}); `
    + "if not, this is not the place.";

  function asked(title, room, offset, height, within, unit) {
    const up = height === null ? "floor to top" : `${length(height, unit)} up`;
    return `${title}, ${room}: ${length(offset, unit)} from the left end, ${up}, within ${length(within, unit)}.`;
  }

  function recordLine(coveringText, recordedOn, age, coveredOn) {
    const since = recordedOn ? `recorded ${recordedOn} (${age})` : "no dated picture shows it";
    return `${upper(coveringText)}; ${since}${coveredOn ? `, covered ${coveredOn}` : ""}.`;
  }

  function place(t, unit) {
    const sx = t.offset_error_95_m / C95;
    const sz = t.height_error_95_m / C95;
    const across = `${length(t.offset_m, unit, sx)} from the left end ${error(sx, unit)}`;
    const up = `${length(t.height_m, unit, sz)} up ${error(sz, unit)}`;
    if (t.direction === "upright") {
      return `upright at ${across}, ${length(t.bottom_m, unit, sz)} to ${length(t.top_m, unit, sz)} up`;
    }
    if (t.direction === "level") {
      return `level at ${up}, ${length(t.left_m, unit, sx)} to ${length(t.right_m, unit, sx)} from the left end`;
    }
    return `${t.direction || "middle"} at ${across}, ${up}`;
  }

  function depth(depthM, coveringM, sigma, unit) {
    const fromFace = depthM + coveringM;
    const face = coveringM > 0 ? "finished face" : "stud face";
    if (fromFace < 0) return `front stands ${length(-fromFace, unit, sigma)} proud of the ${face} ${error(sigma, unit)}`;
    return `${length(fromFace, unit, sigma)} deep from the ${face} ${error(sigma, unit)}`;
  }

  function measured(method, count, seenOn) {
    const pictures = count ? ` from ${count} picture${count === 1 ? "" : "s"}` : ""; // a tape needs none
    return `${method}${pictures}${seenOn ? `, seen ${seenOn}` : ""}`;
  }

  function percent(chance) {
    if (chance < 0.01) return chance > 0 ? "less than 1 %" : "next to 0 %";
    return chance > 0.99 ? "more than 99 %" : `about ${even(100 * chance)} %`;
  }

  const named = (names) => names.map(([name, chance]) => `${name} (${percent(chance)})`).join("; ");
  const unknown = (reason, names) => whyUnknown(reason, names.map(([name, chance]) => `${name} (${percent(chance)})`));
  const doubtful = (text) => (text ? ` Doubtful: ${text}.` : "");
  const hit = (names, text) => `Hit expected: ${named(names)}.${doubtful(text)}`;
  const close = (names, text) =>
    `Too close to call: ${named(names)} may lie on the path.${doubtful(text)} Move the hole, or open the wall and look.`;

  function passed(name, chance, gapM, sigma, direction, doubted, unit) {
    const where = gapM <= 0 ? "on the path" : `${length(gapM, unit, sigma)} ${direction}`;
    return `${name}: ${where} ${error(sigma, unit)}, chance of touching ${percent(chance)}${doubted ? `; ${doubted}` : ""}`;
  }

  function way(direction, name, gapM, error95, unit) {
    const left = gapM - error95;
    const rest = left > 0 ? `${length(left, unit, error95 / C95)} after error` : "within its error";
    return `${direction}: ${name}, ${length(Math.max(gapM, 0), unit, error95 / C95)} away, ${rest}`;
  }

  const stopped = (stop) => `no screw length is named here: ${stop.slice(0, 1).toLowerCase()}${stop.slice(1)}`;

  function unconfirmed(near, unit) {
    if (!near.length) return [];
    return ["The pictures also seem to show here, NOT CONFIRMED by anyone:", ...near.map((one) => {
      const colour = ["", "unsure"].includes(one.sheath) ? "" : `, sheath looks ${one.sheath}`;
      return `${one.kind}${colour}, about ${length(one.distance_m, unit)} from there along the wall`;
    })];
  }

  const plate = (name) => `${name}: the bit goes into it`;

  function studMet(name, chance, meets) {
    if (chance >= 0.95) return `${name}: the whole bit goes into it`;
    if (meets > 0.5) return `${name}: ${percent(chance)} that the whole bit goes into it; it may run out at the edge`;
    return `${name} edge: ${percent(meets)} that the bit meets it`;
  }

  const farRoom = (title, room, offset, height, unit) =>
    `on the other side is ${title} of ${room}: ${length(offset, unit)} from its left end, ${length(height, unit)} up`;

  function outside(exterior, openBehind, sheathing, unit) {
    const behind = exterior ? "the outside of the building" : "a space that is not on record";
    const layer = sheathing ? `behind ${length(sheathing, unit)} of sheathing` : "behind the studs";
    return `${layer} is ${behind}${openBehind ? " (this wall was open behind when it was recorded)" : ""}`;
  }

  function screw(longest, limit, face, unit) {
    if (longest === null) return `no usual screw stays 1/4 in short of ${limit} after error`;
    const text = `the longest usual screw from the ${face} is ${length(longest, unit)}`;
    return limit ? `${text}; the next longer one comes within 1/4 in of ${limit} after error` : text;
  }

  const cameOut = (wall, text, unit) => `The bit comes out: the wall is ${length(wall, unit)} thick here; ${text}.`;

  function drillAsked(title, offset, height, bit, depthM, depthFrom, unit) {
    const face = depthFrom === "finished" ? "finished face" : "stud face";
    return `${title}: a ${length(bit, unit)} bit ${length(offset, unit)} from the left end, `
      + `${length(height, unit)} up, ${length(depthM, unit)} deep from the ${face}.`;
  }

  const rule = (depthM, face, unit) =>
    `NFPA 70 300.4 (2020; check local adoption): cable nearer than ${length(depthM, unit)} from the `
    + `${face} must be behind a steel plate. Cable deeper than that may have no plate.`;

  return {
    use, word, cover, upper, covering, quoted, thingName, circuitName, breaker, poorReason, recordedHere,
    nothingRecorded, partlyRecorded, notRecorded, doubt, older, gap, fromLandmark, crossCheck, asked, recordLine,
    place, depth, measured, percent, hit, close, passed, way, plate, studMet, farRoom, outside, screw, cameOut,
    drillAsked, rule, stopped, unconfirmed, whyUnknown, unknown,
  };
})();
