// The reading sheet. What is typed is kept in this browser at once, sent to the station in the order typed, and dropped
// here only when the station has answered: a cut connection or a reload loses nothing. A reading sent twice is kept
// once, since the station knows each line by name.
import { ask, say } from "/static/parts.js";

const bench = document.querySelector(".bench[data-session]");
const sheet = document.getElementById("sheet");
const held = `bench/${bench.dataset.session}/`;
const inputs = () => [...sheet.querySelectorAll("[data-reading]")];
const was = (id) => sheet.elements[`was.${id}`];
let token = document.querySelector('meta[name="token"]').content;
let sending = false, again;

// What waits to be sent, oldest first: one entry a line, the newest value of it.
function waiting() {
  const found = [];
  for (let i = 0; i < localStorage.length; i++) {
    const key = localStorage.key(i);
    if (key.startsWith(held)) found.push({ key, ...JSON.parse(localStorage.getItem(key)) });
  }
  return found.sort((a, b) => a.at - b.at);
}

// While a value is being typed the station works out what it would say, so that the verdict is there on Enter. Nothing
// is kept by that, and nothing depends on it.
const PAUSE_MS = 30;
let thinking;
function typing(input) {
  clearTimeout(thinking);
  thinking = setTimeout(() => {
    const typed = input.value.trim();
    if (sending || waiting().length || typed === input.defaultValue || !/\d$/.test(typed)) return;
    ask(sheet.dataset.ahead, { method: "POST", body: told([{ slot: input.id, typed, was: was(input.id).value }]), headers: { "X-Linewright-Token": token } }).catch(() => {});
  }, PAUSE_MS);
}

// Lines as a form sends them.
function told(lines) {
  const body = new URLSearchParams();
  for (const place of sheet.querySelectorAll('[name="also"]')) body.append("also", place.value);
  for (const one of lines) {
    body.append(`reading.${one.slot}`, one.typed);
    body.append(`was.${one.slot}`, one.was);
  }
  return body;
}

function commit(input) {
  clearTimeout(thinking);
  const id = input.id, typed = input.value.trim();
  const kept = localStorage.getItem(held + id);
  if (kept ? JSON.parse(kept).typed === typed : typed === input.defaultValue) return;
  const entry = { slot: id, typed, was: was(id).value, at: performance.timeOrigin + performance.now(), mark: crypto.getRandomValues(new Uint32Array(1))[0] };
  localStorage.setItem(held + id, JSON.stringify(entry));
  state(id, "…");
  flush();
}

function state(id, sign) {
  const at = document.getElementById(`s-${id}`);
  if (at) at.textContent = sign;
}

async function flush() {
  if (sending) return;
  const batch = waiting();
  if (!batch.length) return;
  sending = true;
  clearTimeout(again);
  try {
    const answer = await ask(sheet.action, { method: "POST", body: told(batch), headers: { "X-Linewright-Token": token } });
    if (answer.status === 403 && (await newToken())) {
      sending = false;
      return flush();
    }
    if (answer.redirected || answer.status === 403) throw new Error("The station was started anew.");
    if (answer.status >= 500) throw new Refused(reasons(await answer.text()));
    const text = await answer.text();
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("answers");
    if (!fresh) throw new Error("The station did not understand.");
    for (const one of batch) settled(one, fresh);
    show(fresh);
    document.dispatchEvent(new CustomEvent("judged", { detail: batch.map((b) => b.slot) }));
    sending = false;
    flush();
  } catch (cause) {
    sending = false;
    const many = waiting().length;
    document.body.classList.add("away");
    const kept = `${many} ${many === 1 ? "reading is" : "readings are"} kept in this browser`;
    say(cause instanceof Refused ? `${cause.message} ${kept} and sent again.` : `Not connected: ${kept} and sent when the station answers.`);
    lately(`Kept in this browser: ${many}`);
    again = setTimeout(flush, 1500);
  }
}

// The station answered, but could not keep what was sent: its reasons, in its own words.
class Refused extends Error {}
function reasons(text) {
  const found = [...new DOMParser().parseFromString(text, "text/html").querySelectorAll(".troubles li")];
  return found.map((one) => one.textContent.trim()).join(" ") || "The station could not keep it.";
}

// A station that was started anew knows no token it gave before: the page, whole, holds a new one.
async function newToken() {
  const whole = await fetch(sheet.dataset.at, { credentials: "same-origin" });
  const found = new DOMParser().parseFromString(await whole.text(), "text/html").querySelector('meta[name="token"]');
  if (!found || found.content === token) return false;
  token = found.content;
  return true;
}

// The station has answered for one line: drop it here, unless it was typed anew meanwhile.
function settled(sent, fresh) {
  const input = document.getElementById(sent.slot), told = fresh.querySelector(`#x-${sent.slot}`), why = fresh.querySelector(`#w-${sent.slot}`);
  const text = localStorage.getItem(sent.key), now = text && JSON.parse(text);
  const clash = why?.querySelector("[data-take]"), wrong = why?.querySelector(".over");
  if (now && now.mark === sent.mark) localStorage.removeItem(sent.key);
  else if (now && told && !clash) localStorage.setItem(sent.key, JSON.stringify({ ...now, was: told.dataset.was }));
  if (!input || !told) return;
  input.setAttribute("aria-invalid", String(Boolean(wrong || clash)));
  if (!wrong && !clash) input.defaultValue = sent.typed;
  state(sent.slot, clash || wrong ? "!" : sent.typed ? "✓" : "");
}

// Put the answers in place. What is being typed is left alone.
function show(fresh) {
  if (document.body.classList.contains("away")) say("The station answers again. What was kept in this browser is sent.");
  document.body.classList.remove("away");
  for (const id of ["verdicts", "next", "undo"]) swap(document.getElementById(id), fresh.querySelector(`#${id}`));
  for (const told of fresh.querySelectorAll(".beside")) {
    const id = told.id.slice(2), input = document.getElementById(id), old = document.getElementById(`w-${id}`);
    const why = fresh.querySelector(`#w-${id}`);
    if (!old || !input) continue;
    const mine = localStorage.getItem(held + id) !== null || input.value.trim() !== input.defaultValue;
    const open = why.querySelector("[data-take], .over"), seen = told.dataset.value === input.defaultValue;
    if (!mine && !open && input.value !== told.dataset.value) {
      input.value = input.defaultValue = told.dataset.value;
      state(id, told.dataset.value ? "✓" : "");
    }
    // What was not seen yet while something else is being typed stays unseen: sending then shows both.
    if (!mine || seen) was(id).value = told.dataset.was;
    swap(document.getElementById(told.id), told);
    if (!mine || open || !old.querySelector("[data-take], .over")) swap(old, why);
    document.getElementById(`row-${id}`)?.classList.toggle("doubted", Boolean(why.querySelector(".doubt")));
  }
  tell(fresh);
  followed();
}

// What takes long is followed here; the answers come in place once it is done.
let following = "";
async function followed() {
  const at = () => document.querySelector("#verdicts [data-work]")?.dataset.work;
  const work = at();
  if (!work || following === work) return;
  following = work;
  try {
    for (let far = {}; far; await new Promise((on) => setTimeout(on, 400))) {
      const answer = await ask(work, { redirect: "manual" });
      far = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("far");
      if (at() !== work) return;
      if (far) document.getElementById("far").value = far.value;
    }
    await look();
  } catch {
    setTimeout(followed, 1500);
  } finally {
    if (following === work) following = "";
  }
}

async function look() {
  const answer = await ask(sheet.dataset.at);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("answers");
  if (fresh) show(fresh);
}

document.addEventListener("submit", async (event) => {
  if (!event.target.dataset.work) return;
  event.preventDefault();
  try {
    await ask(event.target.action, { method: "POST", redirect: "manual", headers: { "X-Linewright-Token": token } });
    await look();
  } catch {
    say("The station does not answer.");
  }
});

function swap(old, fresh) {
  if (!old || !fresh) return;
  if (fresh.dataset.mark ? old.dataset.mark === fresh.dataset.mark : old.innerHTML === fresh.innerHTML) return;
  const open = [...old.querySelectorAll("details[open][id]")].map((d) => d.id);
  for (const d of fresh.querySelectorAll("details[id]")) if (open.includes(d.id)) d.open = true;
  old.replaceWith(document.importNode(fresh, true));
}

function tell(fresh) {
  const last = document.getElementById(lastSent);
  const told = last && fresh.querySelector(`#x-${last.id}`);
  if (!told) return;
  const doubt = fresh.querySelector(`#w-${last.id} > p`), expected = told.querySelector("summary");
  const words = doubt ? doubt.textContent : expected ? `Kept. ${expected.textContent.trim()}` : "Kept.";
  say(`${last.dataset.where}: ${words}`);
  lately(words);
}

let lastSent = "";
sheet.addEventListener("change", (event) => {
  if (!event.target.matches("[data-reading]")) return;
  lastSent = event.target.id;
  commit(event.target);
});
sheet.addEventListener("input", (event) => {
  if (event.target.matches("[data-reading]")) typing(event.target);
});
sheet.addEventListener("keydown", (event) => {
  if (!event.target.matches("[data-reading]")) return;
  const step = { Enter: event.shiftKey ? -1 : 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  go(event.target, step);
});

function go(input, step) {
  lastSent = input.id;
  commit(input);
  const all = inputs().filter((i) => !i.closest("details:not([open])"));
  const next = all[all.indexOf(input) + step];
  if (!next) return;
  next.focus();
  next.select();
}

sheet.addEventListener("submit", (event) => {
  event.preventDefault();
  for (const input of inputs()) commit(input);
  flush();
});

document.addEventListener("click", (event) => {
  const take = event.target.closest("[data-take]");
  if (take) return taken(take);
  const link = event.target.closest("[data-go]");
  if (link) {
    event.preventDefault();
    const input = document.getElementById(link.dataset.go);
    input?.closest("details")?.setAttribute("open", "");
    input?.focus();
  }
});

// Of two values one was chosen. Theirs stands already; mine is written over it knowingly.
function taken(button) {
  const beside = button.closest(".reason"), id = beside.id.slice(2), input = document.getElementById(id);
  was(id).value = button.dataset.was;
  input.value = button.dataset.value;
  input.removeAttribute("aria-invalid");
  beside.replaceChildren();
  beside.dataset.mark = "";
  if (button.dataset.take === "theirs") {
    input.defaultValue = input.value;
    localStorage.removeItem(held + id);
    state(id, "✓");
  } else {
    input.defaultValue = `${input.value}\u0000`;
    commit(input);
  }
  input.focus();
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!("undo" in form.dataset)) return;
  event.preventDefault();
  try {
    const answer = await ask(form.action, { method: "POST", body: new FormData(form, event.submitter), headers: { "X-Linewright-Token": token } });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("answers");
    if (!fresh) return location.reload();
    lastSent = "";
    show(fresh);
    say("Undone.");
  } catch {
    say("The station does not answer. Nothing was undone.");
  }
});

addEventListener("online", flush);
addEventListener("pageshow", flush);

// The keypad, for a thumb: only where fingers point. The phone's own keyboard is one tap away, for good.
const pad = document.getElementById("keypad");
const own = "bench-own-keyboard";
function lately(words) {
  document.getElementById("pad-said").textContent = words;
}
function padded() {
  return matchMedia("(pointer: coarse)").matches && !localStorage.getItem(own);
}
function raise() {
  for (const input of inputs()) input.inputMode = padded() ? "none" : "decimal";
}
sheet.addEventListener("focusin", (event) => {
  const input = event.target.closest("[data-reading]");
  if (!input || !padded()) return;
  pad.hidden = false;
  document.body.classList.add("padded");
  pad.querySelector(".minus").hidden = !("negative" in input.dataset);
  document.getElementById("pad-where").textContent = input.dataset.where;
  input.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
});
document.addEventListener("focusin", (event) => {
  if (event.target.closest("[data-reading], #keypad")) return;
  // The room below stays: were it taken away, what the finger is on would move from under it.
  pad.hidden = true;
});
pad.addEventListener("pointerdown", (event) => event.preventDefault());
pad.addEventListener("click", (event) => {
  const key = event.target.closest("[data-key]")?.dataset.key, input = document.activeElement;
  if (!key || !input?.matches("[data-reading]")) return;
  if (key === "next") return go(input, 1);
  if (key === "back") return go(input, -1);
  if (key === "own") {
    localStorage.setItem(own, "1");
    pad.hidden = true;
    document.body.classList.remove("padded");
    raise();
    input.blur();
    return input.focus();
  }
  const [from, to] = [input.selectionStart, input.selectionEnd];
  if (key === "⌫") input.setRangeText("", from === to ? Math.max(from - 1, 0) : from, to, "end");
  else input.setRangeText(key, from, to, "end");
  typing(input);
});

// What a cut connection left here, shown again and sent.
raise();
for (const one of waiting()) {
  const input = document.getElementById(one.slot);
  if (!input) continue;
  input.value = one.typed;
  was(one.slot).value = one.was;
  state(one.slot, "…");
}
for (const input of inputs()) if (input.value && !localStorage.getItem(held + input.id)) state(input.id, "✓");
flush();
followed();
