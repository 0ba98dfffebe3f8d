// Sending files in pieces, each picking up where it broke off, and watching the work on them.

const input = document.getElementById("files");
const list = document.getElementById("transfers");
const csrf = document.querySelector('meta[name="csrf"]').content;
const pieceBytes = Number(input.dataset.pieceBytes);
const WAITS_S = [1, 2, 4, 8, 15, 30]; // between tries when the connection is gone

let queue = Promise.resolve();

input.addEventListener("change", () => {
  for (const file of input.files) {
    const row = transferRow(file);
    const stage = document.querySelector('[name="stage"]:checked').value;
    queue = queue.then(() => send(file, row, stage)); // one after another: a phone's Wi-Fi is the limit
  }
  input.value = "";
});

function transferRow(file) {
  const item = document.createElement("li");
  const name = document.createElement("span");
  name.textContent = file.name;
  const bar = document.createElement("progress");
  bar.max = file.size || 1;
  bar.value = 0;
  bar.setAttribute("aria-label", `How much of ${file.name} is sent`);
  const words = document.createElement("span");
  words.className = "soft";
  words.textContent = "waits";
  item.append(name, bar, words);
  list.append(item);
  return { bar, words };
}

async function send(file, row, stage) {
  try {
    const begun = await patiently(row, () => begin(file, stage));
    const url = `${input.dataset.begin}/${begun.id}`;
    let received = begun.received_count;
    while (received < file.size) {
      row.bar.value = received;
      row.words.textContent = `${Math.floor((100 * received) / file.size)} % of ${megabytes(file.size)}`;
      const piece = file.slice(received, received + pieceBytes);
      const answer = await patiently(row, () =>
        fetch(`${url}?offset=${received}`, {
          method: "PUT", body: piece, headers: { "X-Csrf-Token": csrf, "Content-Type": "application/octet-stream", Accept: "application/json" },
        }), [409]);
      received = answer.received_count;
    }
    row.bar.value = file.size;
    row.words.textContent = "sent";
  } catch (problem) {
    row.words.textContent = problem.message;
  }
}

function begin(file, stage) {
  const form = new FormData();
  form.set("name", file.name);
  form.set("byte_count", String(file.size));
  form.set("key", String(file.lastModified));
  form.set("stage", stage);
  return fetch(input.dataset.begin, { method: "POST", body: form, headers: { "X-Csrf-Token": csrf, Accept: "application/json" } });
}

// Try until the server answers; what it refuses is not tried again.
async function patiently(row, attempt, alsoFine = []) {
  for (let n = 0; ; n++) {
    try {
      const response = await attempt();
      const data = await response.json();
      if (response.ok || alsoFine.includes(response.status)) return data;
      if (response.status < 500) throw new Refused(data.error.message);
    } catch (problem) {
      if (problem instanceof Refused) throw problem;
    }
    const wait = WAITS_S[Math.min(n, WAITS_S.length - 1)];
    row.words.textContent = `no connection; trying again in ${wait} s`;
    await new Promise((resolve) => setTimeout(resolve, wait * 1000));
  }
}

class Refused extends Error {}

const megabytes = (bytes) => `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;

const work = document.getElementById("work");
const events = new EventSource(work.dataset.events);
events.addEventListener("message", (event) => {
  const state = JSON.parse(event.data);
  const share = state.share === null ? "" : ` ${Math.round(100 * state.share)} %`;
  document.getElementById("work-step").textContent = state.running
    ? `${state.step} ${state.name}${share}`.trim()
    : "Nothing is being worked on.";
  const bar = document.getElementById("work-share");
  bar.hidden = !state.running;
  if (state.share === null) bar.removeAttribute("value");
  else bar.value = state.share;
  document.getElementById("work-notes").replaceChildren(
    ...state.notes.map((note) => Object.assign(document.createElement("li"), { textContent: note })),
  );
});
