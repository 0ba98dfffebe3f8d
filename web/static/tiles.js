// The wall's own picture, tile by tile as it is needed, under the drawing.

import { svgElement } from "./board.js";

const OVERLAP_PX = 0.5; // neighbouring tiles cover each other by this, so that no seam shines through

/** One plane of the wall's picture: its tiles for what the board shows. */
class Plane {
  constructor(about, group, origin) {
    this.about = about;
    this.group = group;
    this.origin = origin; // millimetres of wall at the drawing's left and top
    this.tiles = new Map();
  }

  // The coarsest level that is still as fine as the screen.
  level(screenPxPerMm) {
    const finest = this.about.scale_px_per_m / 1000;
    const wanted = Math.floor(Math.log2(Math.max(finest / screenPxPerMm, 1)) + 0.25);
    return Math.min(wanted, this.about.levels - 1);
  }

  show(extent, screenPxPerMm) {
    const level = this.level(screenPxPerMm);
    const mm = (1000 / this.about.scale_px_per_m) * 2 ** level; // of wall in a pixel of this level
    const tile = this.about.tile_px;
    const top = (this.about.height_px / this.about.scale_px_per_m) * 1000;
    const left = -this.origin.left;
    const y0 = this.origin.top - top;
    const size = { w: Math.ceil(this.about.width_px / 2 ** level), h: Math.ceil(this.about.height_px / 2 ** level) };
    const first = (from, at) => Math.max(Math.floor((from - at) / mm / tile), 0);
    const last = (to, at, length) => Math.min(Math.floor((to - at) / mm / tile), Math.ceil(length / tile) - 1);
    const wanted = new Map();
    for (let row = first(extent.y, y0); row <= last(extent.y + extent.h, y0, size.h); row++) {
      for (let col = first(extent.x, left); col <= last(extent.x + extent.w, left, size.w); col++) {
        const w = Math.min(tile, size.w - col * tile);
        const h = Math.min(tile, size.h - row * tile);
        wanted.set(`${level}/${row}_${col}`, { x: left + col * tile * mm, y: y0 + row * tile * mm, width: (w + OVERLAP_PX) * mm, height: (h + OVERLAP_PX) * mm });
      }
    }
    this.replace(wanted);
  }

  // Old tiles stay until the new ones are there, so that nothing flashes.
  replace(wanted) {
    const stale = [...this.tiles].filter(([key]) => !wanted.has(key));
    const loading = [];
    for (const [key, box] of wanted) {
      if (this.tiles.has(key)) continue;
      const image = svgElement("image", { ...box, preserveAspectRatio: "none" });
      loading.push(new Promise((resolve) => { image.onload = image.onerror = resolve; }));
      image.setAttribute("href", `${this.about.tiles}/${key}.jpg?v=${this.about.version}`);
      this.tiles.set(key, image);
      this.group.append(image);
    }
    Promise.all(loading).then(() => {
      for (const [key, image] of stale) {
        if (this.tiles.get(key) !== image) continue;
        image.remove();
        this.tiles.delete(key);
      }
    });
  }
}

/** The picture layer of an elevation: nothing is loaded before it is first shown. */
export class WallPicture {
  constructor(svg, abouts, origin) {
    this.svg = svg;
    this.layer = svgElement("g", { "data-layer": "picture" });
    svg.insertBefore(this.layer, svg.querySelector("[data-layer=ground]").nextSibling);
    this.planes = abouts.map((about) => {
      const group = svgElement("g", {});
      this.layer.append(group);
      return new Plane(about, group, origin);
    });
    this.on = false;
    this.depth = 0;
  }

  toggle(on, board) {
    this.on = on;
    this.svg.classList.toggle("with-picture", on);
    this.layer.classList.toggle("off", !on);
    this.update(board);
  }

  // 0 shows the first plane, 1 the second; between, one shines through the other.
  slide(share, board) {
    this.depth = share;
    this.planes[1]?.group.setAttribute("opacity", String(share));
    this.update(board);
  }

  update(board) {
    if (!this.on) return;
    const screenPxPerMm = board.scale * devicePixelRatio;
    this.planes.forEach((plane, n) => {
      if (n === 0 ? this.depth < 1 : this.depth > 0) plane.show(board.extent, screenPxPerMm);
    });
  }
}
