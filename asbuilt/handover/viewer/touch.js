"use strict";
// How far a drill path passes from a recorded thing, and the chance that it touches it.
// Points are [offset, height, depth] in metres, covariances nine numbers row by row.

const Touch = (() => {
  const AIM = [0.0032 ** 2, 0.0032 ** 2, 0.0016 ** 2];
  const FARTHEST = 5;
  const HALVINGS = 14; // a ten-thousandth of a stretch's length
  const NEGLIGIBLE = 1e-5;
  const AIM_TRACE = AIM[0] + AIM[1] + AIM[2];
  const trace = (cov) => cov[0] + cov[4] + cov[8];
  const clip = (v, low, high) => Math.min(Math.max(v, low), high);
  const blend = (a, b, share) => a.map((v, i) => (1 - share) * v + share * b[i]);
  const aimed = (cov) => cov.map((v, i) => (i % 4 === 0 ? v + AIM[i / 4] : v));
  let points = new Float64Array(0);

  /** The nodes of the rule by which chances are integrated: standard normal, three numbers each. */
  const use = (nodes) => { points = nodes; };

  // The chance that a standard normal number is below x.
  function below(x) {
    const z = Math.abs(x) / Math.SQRT2;
    let tail;
    if (z < 2.5) { // series of erf
      let term = z;
      let sum = z;
      for (let n = 1; Math.abs(term) > 1e-17 * sum && n < 200; n++) {
        term *= (-z * z) / n;
        sum += term / (2 * n + 1);
      }
      tail = 0.5 - sum / Math.sqrt(Math.PI);
    } else { // continued fraction of erfc
      let fraction = 0;
      for (let n = 60; n > 0; n--) fraction = n / 2 / (z + fraction);
      tail = Math.exp(-z * z) / (z + fraction) / Math.sqrt(Math.PI) / 2;
    }
    return x > 0 ? 1 - tail : tail;
  }

  // The symmetric root of a covariance, by Jacobi rotations.
  function root(cov) {
    const a = [cov.slice(0, 3), cov.slice(3, 6), cov.slice(6, 9)];
    const v = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
    for (let sweep = 0; sweep < 30; sweep++) {
      if (Math.abs(a[0][1]) + Math.abs(a[0][2]) + Math.abs(a[1][2]) < 1e-30) break;
      for (const [p, q] of [[0, 1], [0, 2], [1, 2]]) {
        if (a[p][q] === 0) continue;
        const theta = (a[q][q] - a[p][p]) / (2 * a[p][q]);
        const t = (theta >= 0 ? 1 : -1) / (Math.abs(theta) + Math.hypot(theta, 1));
        const c = 1 / Math.hypot(t, 1);
        const s = t * c;
        for (let k = 0; k < 3; k++) [a[k][p], a[k][q]] = [c * a[k][p] - s * a[k][q], s * a[k][p] + c * a[k][q]];
        for (let k = 0; k < 3; k++) [a[p][k], a[q][k]] = [c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]];
        for (let k = 0; k < 3; k++) [v[k][p], v[k][q]] = [c * v[k][p] - s * v[k][q], s * v[k][p] + c * v[k][q]];
      }
    }
    const out = new Array(9).fill(0);
    for (let i = 0; i < 3; i++) {
      for (let j = 0; j < 3; j++) {
        for (let k = 0; k < 3; k++) out[3 * i + j] += v[i][k] * Math.sqrt(Math.max(a[k][k], 0)) * v[j][k];
      }
    }
    return out;
  }

  const spread = (cov) => [Math.sqrt(Math.max(cov[0], 0)), Math.sqrt(Math.max(cov[4], 0)), Math.sqrt(Math.max(cov[8], 0))];

  function sigmaAlong(cov, direction) {
    let sum = 0;
    const n = direction.length;
    for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) sum += direction[i] * cov[3 * i + j] * direction[j];
    return Math.sqrt(Math.max(sum, 0));
  }

  function unit(x, z) {
    const length = Math.hypot(x, z);
    return length > 1e-9 ? [x / length, z / length] : [1, 0];
  }

  // Share along the centre line at which it is nearest to the bit's axis, depth left out.
  function alongPlane(ax, az, dx, dz) {
    return clip(-(ax * dx + az * dz) / Math.max(dx * dx + dz * dz, 1e-18), 0, 1);
  }

  function distance(s, ax, az, dx, dz, ay, dy, radius) {
    return Math.hypot(Math.max(Math.hypot(ax + s * dx, az + s * dz) - radius, 0), Math.max(ay + s * dy, 0));
  }

  // Share along a line at which it is nearest to the swept bit: the sign of the slope of the (convex) distance is halved
  // upon, between the place nearest along the wall and the end that lies nearest to the room.
  function nearestShare(along, ax, az, dx, dz, ay, dy, radius) {
    let inner = along;
    let outer = dy > 0 ? 0 : 1;
    for (let i = 0; i < HALVINGS; i++) {
      const share = (inner + outer) / 2;
      const axis = Math.max(Math.hypot(ax + share * dx, az + share * dz), 1e-12);
      const aside = Math.max(1 - radius / axis, 0) * (share * (dx * dx + dz * dz) + ax * dx + az * dz);
      const slope = aside + Math.max(ay + share * dy, 0) * dy;
      if ((slope > 0) === (dy > 0)) inner = share; else outer = share;
    }
    return (inner + outer) / 2;
  }

  function capsuleTouched(sx, sz, sy, ex, ez, ey, radius, bit) {
    const ax = sx - bit.offset;
    const az = sz - bit.height;
    const dx = ex - sx;
    const dz = ez - sz;
    const ay = sy - bit.tip;
    const dy = ey - sy;
    const along = alongPlane(ax, az, dx, dz);
    const aside = Math.hypot(ax + along * dx, az + along * dz) - bit.radius;
    if (Math.hypot(Math.max(aside, 0), Math.max(ay + along * dy, 0)) <= radius) return true;
    if (aside > radius || Math.min(ay, ay + dy) > radius) return false;
    const share = nearestShare(along, ax, az, dx, dz, ay, dy, bit.radius);
    return distance(share, ax, az, dx, dz, ay, dy, bit.radius) <= radius;
  }

  function blockChance(block, bit) {
    const wider = block.wider;
    const widest = wider.length ? Math.max(...wider.map(([half]) => half)) : block.half_w;
    const sigma = spread(block.cov);
    const gaps = [Math.abs(block.center[0] - bit.offset) - widest, Math.abs(block.center[1] - bit.height) - block.half_h];
    if (gaps.some((gap, i) => gap - bit.radius > FARTHEST * sigma[i] + 1e-12)) return 0;
    const l = root(block.cov);
    const touchedShare = (halfW) => {
      let count = 0;
      for (let n = 0; n < points.length; n += 3) {
        const [p, q, r] = [points[n], points[n + 1], points[n + 2]];
        const x = block.center[0] + p * l[0] + q * l[1] + r * l[2];
        const z = block.center[1] + p * l[3] + q * l[4] + r * l[5];
        const y = block.center[2] + p * l[6] + q * l[7] + r * l[8];
        const dx = Math.max(Math.abs(x - bit.offset) - halfW, 0);
        const dz = Math.max(Math.abs(z - bit.height) - block.half_h, 0);
        if (Math.hypot(dx, dz) <= bit.radius && y <= bit.tip) count++;
      }
      return (3 * count) / points.length;
    };
    let chance = (1 - wider.reduce((sum, [, w]) => sum + w, 0)) * touchedShare(block.half_w);
    for (const [half, weight] of wider) chance += weight * touchedShare(half);
    return chance;
  }

  function mayTouch(s, radius, bit) {
    const sigma = Math.sqrt(Math.max(s.start_cov[0] + s.start_cov[4], s.end_cov[0] + s.end_cov[4]));
    const ax = s.start[0] - bit.offset;
    const az = s.start[1] - bit.height;
    const dx = s.end[0] - s.start[0];
    const dz = s.end[1] - s.start[1];
    const along = alongPlane(ax, az, dx, dz);
    return Math.hypot(ax + along * dx, az + along * dz) <= radius + bit.radius + FARTHEST * sigma;
  }

  function touchedAt(s, radius, bit) {
    const l = root(s.start_cov);
    const m = root(s.end_cov);
    const touched = new Uint8Array(points.length / 3);
    for (let n = 0; n < touched.length; n++) {
      const p = points[3 * n];
      const q = points[3 * n + 1];
      const r = points[3 * n + 2];
      touched[n] = capsuleTouched(
        s.start[0] + p * l[0] + q * l[1] + r * l[2], s.start[1] + p * l[3] + q * l[4] + r * l[5],
        s.start[2] + p * l[6] + q * l[7] + r * l[8],
        s.end[0] + p * m[0] + q * m[1] + r * m[2], s.end[1] + p * m[3] + q * m[4] + r * m[5],
        s.end[2] + p * m[6] + q * m[7] + r * m[8], radius, bit) ? 1 : 0;
    }
    return touched;
  }

  // Alternatives of one group exclude each other; groups are independent.
  function stretchesChance(stretches, radius, bit) {
    const near = stretches.filter((s) => mayTouch(s, radius, bit));
    if (!near.length) return 0;
    const touched = near.map((s) => touchedAt(s, radius, bit));
    const count = points.length / 3;
    const miss = new Float64Array(count).fill(1);
    for (const group of new Set(near.map((s) => s.group))) {
      const share = new Float64Array(count);
      for (const alternative of new Set(near.filter((s) => s.group === group).map((s) => s.alternative))) {
        const members = near.map((s, i) => i).filter((i) => near[i].group === group && near[i].alternative === alternative);
        const weight = near[members[0]].weight;
        for (let n = 0; n < count; n++) if (members.some((i) => touched[i][n])) share[n] += weight;
      }
      for (let n = 0; n < count; n++) miss[n] *= 1 - Math.min(share[n], 1);
    }
    return 1 - miss.reduce((a, b) => a + b, 0) / count;
  }

  /** The chance that the bit touches a thing, the error of aiming included; stretches of one status left out. */
  function chance(thing, bit, clearance, without = "") {
    if (clearance.outOfReach) return 0;
    if (thing.block) {
      const gap = clearance.gap - Math.max(0, ...thing.block.wider.map(([half]) => half - thing.block.half_w));
      if (gap > 0 && below(-gap / Math.max(clearance.sigma, 1e-9)) < NEGLIGIBLE) return 0;
      return blockChance({ ...thing.block, cov: aimed(thing.block.cov) }, bit);
    }
    const near = thing.course.filter((s) => s.status !== without);
    const aim = near.map((s) => ({ ...s, start_cov: aimed(s.start_cov), end_cov: aimed(s.end_cov) }));
    return stretchesChance(aim, thing.radius, bit);
  }

  function gapOf(asideX, asideZ, planeGap, over, radius, cov, depth, status) {
    const [ux, uz] = unit(asideX, asideZ);
    const outside = Math.max(planeGap, 0);
    let direction = [ux * outside, uz * outside, over];
    const length = Math.hypot(...direction);
    let gap;
    if (length < 1e-9) {
      direction = [ux, uz, 0];
      gap = planeGap - radius;
    } else {
      direction = direction.map((v) => v / length);
      gap = length - radius;
    }
    return {
      gap, sigma: sigmaAlong(cov, direction), toward: direction, planeGap: planeGap - radius,
      planeSigma: sigmaAlong(cov, [ux, uz]), planeToward: [ux, uz], depth, status,
    };
  }

  function blockClearance(block, bit) {
    const x = clip(bit.offset, block.center[0] - block.half_w, block.center[0] + block.half_w) - bit.offset;
    const z = clip(bit.height, block.center[1] - block.half_h, block.center[1] + block.half_h) - bit.height;
    const plane = Math.hypot(x, z);
    const over = Math.max(block.center[2] - bit.tip, 0);
    const inside = Math.min(block.half_w - Math.abs(bit.offset - block.center[0]),
      block.half_h - Math.abs(bit.height - block.center[1]));
    const cov = aimed(block.cov);
    for (const [half, weight] of block.wider) cov[0] += weight * (half - block.half_w) ** 2;
    return gapOf(x, z, (plane === 0 ? -inside : plane) - bit.radius, over, 0, cov, block.center[2], "seen");
  }

  function runClearance(thing, bit) {
    let best = null;
    let flat = null;
    for (const s of thing.course) {
      const ax = s.start[0] - bit.offset;
      const az = s.start[1] - bit.height;
      const dx = s.end[0] - s.start[0];
      const dz = s.end[1] - s.start[1];
      const ay = s.start[2] - bit.tip;
      const dy = s.end[2] - s.start[2];
      const along = alongPlane(ax, az, dx, dz);
      const plane = Math.hypot(ax + along * dx, az + along * dz);
      if (!flat || plane < flat.plane) flat = { s, along, plane, x: ax + along * dx, z: az + along * dz };
      let share = along;
      if (ay + along * dy > 0 && Math.abs(dy) > 1e-6) {
        share = nearestShare(along, ax, az, dx, dz, ay, dy, bit.radius);
      }
      const [x, z] = [ax + share * dx, az + share * dz];
      const over = Math.max(ay + share * dy, 0);
      // In errors: what lies nearest may be well known.
      const apart = (Math.hypot(Math.max(Math.hypot(x, z) - bit.radius, 0), over) - thing.radius)
        / Math.sqrt(Math.max(trace(s.start_cov), trace(s.end_cov), 0) + AIM_TRACE);
      if (!best || apart < best.apart) best = { s, share, x, z, over, apart };
    }
    const cov = aimed(blend(best.s.start_cov, best.s.end_cov, best.share));
    const depth = best.s.start[2] + best.share * (best.s.end[2] - best.s.start[2]) - thing.radius;
    const found = gapOf(best.x, best.z, Math.hypot(best.x, best.z) - bit.radius, best.over, thing.radius, cov, depth,
      best.s.status);
    const toward = unit(flat.x, flat.z);
    const flatCov = aimed(blend(flat.s.start_cov, flat.s.end_cov, flat.along));
    return { ...found, outOfReach: best.apart > FARTHEST, planeGap: flat.plane - bit.radius - thing.radius, planeToward: toward,
      planeSigma: sigmaAlong(flatCov, toward) };
  }

  /** The clearance between a bit and the nearest part of a thing. */
  const clearance = (thing, bit) => (thing.block ? blockClearance(thing.block, bit) : runClearance(thing, bit));

  return { use, below, clearance, chance, spread, blend, clip };
})();
