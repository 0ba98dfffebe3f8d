"use strict";
// The part of a thing that lies in a rectangle of the face, and the spot of it to name.

const Reach = (() => {
  const C95 = 1.96;
  const NEARLY = 0.02;
  const SELDOM = 0.15;
  const { blend, clip, spread } = Touch;

  const at = (s, share) => ({
    point: s.start.map((v, i) => v + share * (s.end[i] - v)), cov: blend(s.start_cov, s.end_cov, share),
  });

  /** The part of a thing in a rectangle grown by so many times its own error, or null. */
  function part(thing, r, offset, height, sigmas = C95) {
    return thing.block ? blockPart(thing.block, r, sigmas) : runPart(thing, r, offset, height, sigmas);
  }

  function blockPart(block, r, sigmas) {
    const grow = spread(block.cov).map((s) => s * sigmas);
    const [x, z] = block.center;
    const extent = { left: x - block.half_w, bottom: z - block.half_h, right: x + block.half_w, top: z + block.half_h };
    if (extent.left - grow[0] > r.right || extent.right + grow[0] < r.left
      || extent.bottom - grow[1] > r.top || extent.top + grow[1] < r.bottom) return null;
    return { point: block.center, cov: block.cov, status: "seen", extent, pieces: [] };
  }

  function runPart(thing, r, offset, height, sigmas) {
    const radius = sigmas ? thing.radius : 0;
    const pieces = thing.course.map((s) => clipped(s, r, radius, sigmas)).filter(Boolean);
    if (!pieces.length) return null;
    const usual = pieces.filter((s) => !isSeldom(s, thing.course));
    const likely = likeliest(usual.length ? usual : pieces);
    const spots = likely.map((s) => nearest(s, offset, height));
    const least = Math.min(...spots.map((s) => s.distance));
    let best = -1;
    likely.forEach((s, i) => {
      if (spots[i].distance > least + NEARLY) return;
      if (best < 0 || s.weight > likely[best].weight
        || (s.weight === likely[best].weight && spots[i].distance < spots[best].distance)) best = i;
    });
    const ends = likely.flatMap((s) => [s.start, s.end]);
    const extent = {
      left: Math.min(...ends.map((p) => p[0])), bottom: Math.min(...ends.map((p) => p[1])),
      right: Math.max(...ends.map((p) => p[0])), top: Math.max(...ends.map((p) => p[1])),
    };
    let { cov } = spots[best];
    const { point } = spots[best];
    if (likely[best].weight < 1) {
      const more = alternativesSpread(point, likely[best].group, thing.course);
      cov = cov.map((v, i) => v + more[i]);
    }
    return { point, cov, status: likely[best].status, extent, pieces };
  }

  // Of stretches that exclude each other, the likeliest alternative.
  function likeliest(stretches) {
    const best = new Map();
    for (const s of stretches) best.set(s.group, Math.max(best.get(s.group) || 0, s.weight));
    return stretches.filter((s) => s.weight >= best.get(s.group));
  }

  // Whether a run hardly takes that way past its last mark: it counts for touching, but names no place.
  function isSeldom(s, course) {
    if (s.status !== "beyond the last sighting") return false;
    return s.weight < SELDOM * Math.max(...course.filter((o) => o.group === s.group).map((o) => o.weight));
  }

  // The piece of a stretch inside a rectangle grown by the run's width and error.
  function clipped(s, r, radius, sigmas) {
    const low = [r.left, r.bottom];
    const high = [r.right, r.top];
    let first = 0;
    let last = 1;
    for (let k = 0; k < 2; k++) {
      const grow = radius + sigmas * Math.sqrt(Math.max(s.start_cov[4 * k], s.end_cov[4 * k]));
      const d = s.end[k] - s.start[k];
      if (Math.abs(d) < 1e-12) {
        if (s.start[k] < low[k] - grow || s.start[k] > high[k] + grow) return null;
        continue;
      }
      const one = (low[k] - grow - s.start[k]) / d;
      const two = (high[k] + grow - s.start[k]) / d;
      first = Math.max(first, Math.min(one, two));
      last = Math.min(last, Math.max(one, two));
    }
    if (first > last) return null;
    const a = at(s, first);
    const b = at(s, last);
    return { ...s, start: a.point, end: b.point, start_cov: a.cov, end_cov: b.cov };
  }

  function nearest(s, offset, height) {
    const d = s.end.map((v, i) => v - s.start[i]);
    if (height === null) {
      const share = Math.abs(d[0]) < 1e-9 ? 0.5 : clip((offset - s.start[0]) / d[0], 0, 1);
      const spot = at(s, share);
      return { ...spot, distance: Math.abs(spot.point[0] - offset) };
    }
    const ahead = (offset - s.start[0]) * d[0] + (height - s.start[1]) * d[1];
    const spot = at(s, clip(ahead / Math.max(d[0] * d[0] + d[1] * d[1], 1e-18), 0, 1));
    return { ...spot, distance: Math.hypot(spot.point[0] - offset, spot.point[1] - height) };
  }

  /** Where a run crosses an offset, from the floor up; of alternatives the likeliest, with the spread of all. */
  function crossings(course, offset) {
    const groups = new Map();
    for (const s of course) {
      const d = s.end[0] - s.start[0];
      if (Math.abs(d) < 1e-6 || Math.abs(d) < 0.1 * Math.abs(s.end[1] - s.start[1])) continue;
      const share = (offset - s.start[0]) / d;
      const isOn = (share >= 0 && share < 1) || (share === 1 && s === course[course.length - 1]);
      if (isOn && !isSeldom(s, course)) {
        if (!groups.has(s.group)) groups.set(s.group, []);
        groups.get(s.group).push({ s, ...at(s, share) });
      }
    }
    return [...groups.values()].map(mixture).sort((a, b) => a.height_m - b.height_m);
  }

  function mixture(hits) {
    let best = 0;
    hits.forEach((hit, i) => { if (hit.s.weight > hits[best].s.weight) best = i; });
    const total = hits.reduce((sum, hit) => sum + hit.s.weight, 0);
    let up = 0;
    let deep = 0;
    for (const { s, point, cov } of hits) {
      const slope = (s.end[1] - s.start[1]) / (s.end[0] - s.start[0]);
      const along = cov[4] - 2 * slope * cov[1] + slope * slope * cov[0];
      up += (s.weight / total) * (along + (point[1] - hits[best].point[1]) ** 2);
      deep += (s.weight / total) * (cov[8] + (point[2] - hits[best].point[2]) ** 2);
    }
    const [, height, depth] = hits[best].point;
    return { height_m: height, depth_m: depth, height_error_95_m: C95 * Math.sqrt(up), depth_error_95_m: C95 * Math.sqrt(deep),
      status: hits[best].s.status };
  }

  // What the alternatives that a spot might lie on instead add to its covariance.
  function alternativesSpread(point, group, course) {
    const own = course.filter((s) => s.group === group).map((s) => {
      const d = s.end.map((v, i) => v - s.start[i]);
      const ahead = point.reduce((sum, v, i) => sum + (v - s.start[i]) * d[i], 0);
      const share = clip(ahead / Math.max(d.reduce((sum, v) => sum + v * v, 0), 1e-18), 0, 1);
      const miss = s.start.map((v, i) => v + share * d[i] - point[i]);
      return { s, miss, length: miss.reduce((sum, v) => sum + v * v, 0) };
    });
    const total = { weight: 0, cov: new Array(9).fill(0) };
    for (const alternative of [...new Set(own.map((o) => o.s.alternative))].sort((a, b) => a - b)) {
      const members = own.filter((o) => o.s.alternative === alternative);
      const least = members.reduce((a, b) => (b.length < a.length ? b : a));
      total.weight += least.s.weight;
      for (let i = 0; i < 9; i++) total.cov[i] += least.s.weight * least.miss[Math.floor(i / 3)] * least.miss[i % 3];
    }
    return total.cov.map((v) => v / total.weight);
  }

  return { part, crossings };
})();
