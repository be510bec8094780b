// What the chosen order costs is counted by the station while one chooses. Without this script the form works as well.
import { ask } from "/static/parts.js";

const form = document.getElementById("start");
let waiting, newest = 0;

// What is wrong may stand far below: it is scrolled to, and its field is typed into at once.
const fault = form.querySelector(".fault"), field = fault && form.querySelector(`[aria-describedby="${fault.id}"]`);
fault?.scrollIntoView({ block: "center" });
field?.focus({ preventScroll: true });

form.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(count, 120);
});

async function count() {
  const mine = ++newest;
  try {
    const answer = await ask(form.dataset.count, { method: "POST", body: new FormData(form) });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("cost");
    if (fresh && mine === newest) document.getElementById("cost").replaceWith(fresh);
  } catch {
    // The station does not answer: what is chosen stays, and is counted with the next change.
  }
}

// Enter in a field goes on to the next one; only the button begins.
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input:not([type=checkbox]):not([type=radio])")) return;
  event.preventDefault();
  const all = [...form.querySelectorAll("input, select, button")].filter((e) => e.type !== "hidden" && e.checkVisibility());
  all[all.indexOf(event.target) + 1]?.focus();
});

form.querySelector('[aria-invalid="true"]')?.focus();
