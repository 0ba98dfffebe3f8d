// At the wall: step or sweep along with the tape, one thumb.

import { ask, rememberPlace } from "./answer.js";
import { Tape } from "./tape.js";

const form = document.getElementById("ask");
const metric = form.dataset.unit === "mm" || form.dataset.unit === "m";
const STEPS = metric ? { 1: "25 mm", 4: "100 mm", 12: "300 mm" } : { 1: "1 in", 4: "4 in", 12: "1 ft" };

for (const words of form.querySelectorAll("[data-step-words]")) words.textContent = STEPS[words.dataset.stepWords];

const tape = new Tape(document.getElementById("tape"), {
  lengthM: Number(form.dataset.lengthM),
  metric,
  onMove: (offsetM) => send({ at: `${offsetM.toFixed(4)} m` }, true),
});
const shown = document.querySelector("#answer [data-offset-m]");
tape.show(Number(shown?.dataset.offsetM ?? 0));
tape.say(form.at.value || "0");

let newest = 0;

async function send(fields = {}, byTape = false) {
  const number = ++newest;
  const found = await ask(form.dataset.answer, {
    at: form.at.value || "0", height: form.height.value, bit: form.bit.value, depth: form.depth.value, ...fields,
  });
  if (!found || number !== newest) return; // a newer question is on its way
  form.at.value = found.dataset.atText;
  form.height.value = found.dataset.heightText;
  if (!byTape) tape.show(Number(found.dataset.offsetM));
  tape.say(found.dataset.atText);
  rememberPlace(found.dataset.atText, found.dataset.heightText);
  if (found.getBoundingClientRect().top < 0) found.scrollIntoView();
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  document.activeElement?.blur(); // put the keyboard away so that the answer shows
  send();
});

for (const button of form.querySelectorAll("[data-step]")) {
  button.addEventListener("click", () => {
    const step = STEPS[form.step.value];
    const sign = button.dataset.step === "-1" ? "-" : "";
    send({ [`move_${button.dataset.for}`]: sign + step });
  });
}
