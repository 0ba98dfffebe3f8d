// Fetching an answer and putting it into the open page.

let newest = 0;

/**
 * Ask the server and show what it says in #answer.
 * @returns {Promise<HTMLElement|null>} the element that carries the normalised place, null on failure
 */
export async function ask(url, fields) {
  const place = document.getElementById("answer");
  const number = (newest += 1);
  const query = new URLSearchParams(Object.entries(fields).filter(([, value]) => value !== "" && value != null));
  place.setAttribute("aria-busy", "true");
  try {
    const response = await fetch(`${url}?${query}`, { headers: { "X-Part": "1" } });
    const text = await response.text();
    if (number !== newest) return null; // a newer question has been asked
    place.replaceChildren(document.createRange().createContextualFragment(text));
    return response.ok ? place.querySelector("[data-offset-m]") : null;
  } catch {
    const problem = document.createElement("p");
    problem.className = "sheet problem";
    problem.textContent = "No answer: the viewer cannot be reached. Nothing is known about this place until it is.";
    place.replaceChildren(problem);
    return null;
  } finally {
    place.removeAttribute("aria-busy");
  }
}

/** Keep the address of the page in step with what is shown, so that it can be reloaded and shared. */
export function rememberPlace(at, height) {
  const query = new URLSearchParams(location.search);
  query.set("at", at);
  if (height) query.set("height", height);
  else query.delete("height");
  history.replaceState(null, "", `${location.pathname}?${query}`);
}
