"use strict";
// What of a face the pictures show: classes of square inches, and why one is not well recorded.

const Cover = (() => {
  const NOT_RECORDED = 0;
  const POOR = 1;
  const WELL = 2;
  const OPENING = 3;

  // Runs of equal values: pairs of (value, how often), 16 bits each, in base64.
  function unpack(text, count) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const pairs = new Uint16Array(bytes.buffer);
    const cells = new Int32Array(count);
    let at = 0;
    for (let i = 0; i < pairs.length; i += 2) {
      cells.fill(pairs[i], at, at + pairs[i + 1]);
      at += pairs[i + 1];
    }
    return cells;
  }

  /** The coverage of a face as it comes with the data, ready to be asked. */
  function open(stored, pictures, unit) {
    const count = stored.rows * stored.cols;
    const layers = {};
    for (const name of Object.keys(stored.layers)) layers[name] = unpack(stored.layers[name], count);
    const classes = unpack(stored.classes, count);
    const best = unpack(stored.best, count).map((n) => n - 1);
    return new FaceCover(stored, classes, layers, best, pictures, unit);
  }

  function median(values) {
    const sorted = values.sort((a, b) => a - b);
    const middle = sorted.length >> 1;
    return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
  }

  class FaceCover {
    constructor(stored, classes, layers, best, pictures, unit) {
      Object.assign(this, { stored, classes, layers, best, pictures, unit });
      this.cell = stored.cell_m;
    }

    row(value) { return Math.min(Math.max(Math.floor(value / this.cell), 0), this.stored.rows - 1); }

    col(value) { return Math.min(Math.max(Math.floor(value / this.cell), 0), this.stored.cols - 1); }

    // First and past-the-last row and column of a rectangle; at least one cell.
    window(left, bottom, right, top) {
      const row = this.row(bottom);
      const col = this.col(left);
      return { row, col, rowEnd: Math.max(this.row(top - 1e-9), row) + 1, colEnd: Math.max(this.col(right - 1e-9), col) + 1 };
    }

    cells(w) {
      const found = [];
      for (let r = w.row; r < w.rowEnd; r++) for (let c = w.col; c < w.colEnd; c++) found.push(r * this.stored.cols + c);
      return found;
    }

    /** How a rectangle is recorded: by the worst of its cells. */
    area(left, bottom, right, top) {
      const cells = this.cells(this.window(left, bottom, right, top));
      const inside = cells.filter((i) => this.classes[i] !== OPENING);
      const share = (state) => inside.filter((i) => this.classes[i] === state).length / inside.length;
      const worst = inside.length ? Math.min(...inside.map((i) => this.classes[i])) : WELL;
      const ids = this.frequent(cells);
      const dates = ids.map((id) => this.pictures[id].taken_at).filter(Boolean).sort();
      return {
        state: Words.cover(worst),
        well_share: inside.length ? share(WELL) : 1,
        poor_share: inside.length ? share(POOR) : 0,
        picture_ids: ids,
        first_date: dates.length ? dates[0].slice(0, 10) : "",
        last_date: dates.length ? dates[dates.length - 1].slice(0, 10) : "",
        reason: worst >= WELL ? "" : this.reason(cells.filter((i) => this.classes[i] === worst)),
      };
    }

    frequent(cells) {
      const counts = new Map();
      for (const i of cells) if (this.best[i] >= 0) counts.set(this.best[i], (counts.get(this.best[i]) || 0) + 1);
      const numbers = [...counts.keys()].sort((a, b) => a - b);
      return numbers.sort((a, b) => counts.get(b) - counts.get(a)).map((n) => this.stored.picture_ids[n]);
    }

    /** Why some cells are not well recorded. */
    reason(cells) {
      if (!this.stored.worked_out) return Words.word("NO_COVERAGE");
      const { count, obliquity, light, sharpness, resolution, error } = this.layers;
      const seen = cells.filter((i) => count[i] > 0);
      if (1 - seen.length / cells.length > 0.5) return Words.word("NO_PICTURE");
      const middle = (layer) => median(seen.map((i) => layer[i]));
      const limits = this.stored.limits;
      const steep = middle(obliquity);
      const fine = middle(resolution);
      const sigma = middle(error) * limits.error_step_m;
      return Words.poorReason({
        obliquity: steep > limits.obliquity ? steep : null,
        blurred: middle(sharpness) < limits.sharpness,
        dark: middle(light) < limits.light,
        resolution: fine < limits.resolution ? fine : null,
        single: middle(count) < limits.count,
        error: sigma > limits.sigma_m ? Units.error(sigma, this.unit) : null,
      });
    }
  }

  return { open, NOT_RECORDED, POOR, WELL, OPENING };
})();
