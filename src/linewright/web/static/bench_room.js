// The screen for a room follows a bench as it is read. What the bench says is shown when the room has guessed.
import { ask } from "/static/parts.js";

const page = document.querySelector(".room-page"), reveal = document.getElementById("reveal");
const kept = "bench-room-shown";
let seen = Number(document.getElementById("room").dataset.number), asking, stream;

reveal.checked = Boolean(sessionStorage.getItem(kept));
function shown() {
  page.classList.toggle("shown", reveal.checked);
  if (reveal.checked) sessionStorage.setItem(kept, "1");
  else sessionStorage.removeItem(kept);
}
reveal.addEventListener("change", shown);
shown();

async function look() {
  try {
    const answer = await ask(page.dataset.at);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("room");
    if (!fresh) return;
    const before = new Map([...document.querySelectorAll("#room td[id]")].map((td) => [td.id, td.textContent.trim()]));
    seen = Math.max(seen, Number(fresh.dataset.number));
    document.getElementById("room").replaceWith(fresh);
    for (const td of fresh.querySelectorAll("td[id]")) td.classList.toggle("fresh", before.get(td.id) !== td.textContent.trim());
    typing(hands);
  } catch {
    // The station does not answer: what was read last stays in view.
  }
}

let hands = [];
function typing(all) {
  hands = all;
  for (const td of document.querySelectorAll("#room [data-hand]")) delete td.dataset.hand;
  for (const hand of all) {
    const td = hand.place && document.getElementById(`row-${hand.place}`);
    if (td) td.dataset.hand = hand.letter;
  }
  const line = document.getElementById("hands");
  line.hidden = !all.length;
  line.querySelector("b").textContent = all.map((hand) => hand.letter).join(", ");
}

function listen() {
  clearTimeout(asking);
  stream = new EventSource(page.dataset.live);
  const came = (event) => JSON.parse(event.data).number > seen && look();
  stream.addEventListener("hello", came);
  stream.addEventListener("change", came);
  stream.addEventListener("hands", (event) => typing(JSON.parse(event.data).hands));
  stream.addEventListener("error", () => {
    if (stream.readyState !== EventSource.CLOSED) return;
    asking = setTimeout(() => look().then(listen), 3000);
  });
}
addEventListener("pagehide", () => stream?.close());
listen();
