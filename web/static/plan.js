// The rooms from above: tap near a wall's arrow to go to it.

import { Board, wireButtons } from "./board.js";

const NEAR_PX = 60;
const svg = document.getElementById("plan");
const board = new Board(document.getElementById("board"), svg, { onTap: go });
wireButtons(board);

function go(point) {
  let best = null;
  let bestPx = NEAR_PX;
  for (const group of svg.querySelectorAll("[data-layer=faces] > [data-key]")) {
    const box = group.getBBox();
    const dx = Math.max(box.x - point.x, 0, point.x - box.x - box.width);
    const dy = Math.max(box.y - point.y, 0, point.y - box.y - box.height);
    const away = Math.hypot(dx, dy) * board.scale;
    if (away < bestPx) {
      best = group.dataset.key;
      bestPx = away;
    }
  }
  for (const link of document.querySelectorAll("[data-face]")) if (link.dataset.face === best) link.click();
}

const eyes = document.getElementById("eyes");
eyes.addEventListener("click", () => {
  const on = eyes.getAttribute("aria-pressed") !== "true";
  eyes.setAttribute("aria-pressed", String(on));
  svg.querySelector("[data-layer=pictures]")?.classList.toggle("off", !on);
});
