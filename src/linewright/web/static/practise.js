// What a new part says is read out. A club's page follows the club: it is asked for again and again, and what has another mark
// is put in place. What is being filled in stays, for its mark does not change with what others do.
import { ask, keepingFocus, say } from "/static/parts.js";

const EVERY_MS = 1500;
const club = () => document.querySelector("[data-club]");
const words = () => [...document.querySelectorAll("[data-said]")].map((one) => one.textContent.trim()).join(". ");

let heard = words();
function tell() {
  const now = words();
  if (now !== heard) say(now);
  heard = now;
}
document.addEventListener("part", tell);

function put(fresh) {
  const old = club();
  Object.assign(old.dataset, fresh.dataset);
  const here = new Map([...old.querySelectorAll("[data-mark][id]")].map((part) => [part.id, part]));
  for (const part of fresh.querySelectorAll("[data-mark][id]")) {
    const before = here.get(part.id);
    if (!before) return keepingFocus(old, fresh);
    if (before.dataset.mark !== part.dataset.mark) keepingFocus(before, part);
  }
}

let away = false;
async function follow() {
  const old = club();
  try {
    const answer = await ask(`${old.dataset.club}?since=${old.dataset.turn}`);
    if (answer.redirected || answer.status === 404) return location.reload();
    if (away) say("");
    away = false;
    if (answer.status === 200) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-club]");
      // What was sent meanwhile has put a newer page in place.
      if (fresh && Number(fresh.dataset.version) >= Number(club().dataset.version)) put(fresh);
      tell();
    }
  } catch {
    if (!away) say(document.querySelector('meta[name="asking-again"]').content);
    away = true;
  }
  setTimeout(follow, EVERY_MS);
}
if (club()) setTimeout(follow, EVERY_MS);
