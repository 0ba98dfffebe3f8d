// Photograph a wall label or a marker sheet, and go to that wall.

const SENT_PX = 1600; // enough for a sheet across the room, light on a weak network

const input = document.getElementById("scan");
const told = document.getElementById("scan-status");

input?.addEventListener("change", async () => {
  const file = input.files[0];
  input.value = "";
  if (!file) return;
  told.textContent = "looking for a label or a marker sheet";
  try {
    const response = await fetch(input.dataset.scan, {
      method: "POST",
      body: await smaller(file),
      headers: {
        "X-Csrf-Token": document.querySelector('meta[name="csrf"]').content,
        "Content-Type": "application/octet-stream",
        Accept: "application/json",
      },
    });
    const answer = await response.json();
    if (!response.ok) {
      told.textContent = answer.error.message;
      return;
    }
    told.textContent = answer.words;
    location.assign(answer.url);
  } catch {
    told.textContent = "The viewer cannot be reached. Choose the wall by its name once it is.";
  }
});

async function smaller(file) {
  try {
    const picture = await createImageBitmap(file);
    const share = Math.min(1, SENT_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * share);
    canvas.height = Math.round(picture.height * share);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
  } catch {
    return file; // a kind that the browser cannot open; the viewer may
  }
}
