// The bench: one insertion at a time on a phone, the whole sheet on a desk. What is typed is kept in this browser at once, sent to the station in the order typed, and dropped
// here only when the station has answered: a cut connection or a reload loses nothing. A reading sent twice is kept
// once, since the station knows each line by name.
import { ask, say } from "/static/parts.js";

const bench = document.querySelector(".bench[data-session]");
const sheet = document.getElementById("sheet");
const held = `bench/${bench.dataset.session}/`;
const inputs = () => [...sheet.querySelectorAll("[data-reading]")];
const steps = inputs().sort((a, b) => a.dataset.step - b.dataset.step);
const phone = matchMedia("screen and (max-width: 720px)");
const thumb = matchMedia("(pointer: coarse)");
const word = (name, parts = {}) => (document.querySelector(`#words [data-word="${name}"]`)?.textContent ?? "").replace(/\{(\w+)\}/g, (_, key) => parts[key] ?? "");
let seen = Number(bench.dataset.number), heard = seen;
const known = new Map((sheet.elements.was?.value ?? "").trim().split(" ").map((pair) => [pair.split(":")[0], { value: pair.split(":")[1] }]));
const was = (id) => known.get(id);
let token = document.querySelector('meta[name="token"]').content;
let sending = false, again;

// What each line is called, by the headings above it: its meter, its band, what is put in. On a phone, where one
// insertion is shown at a time, each line says so itself, and the meter where that is taken in hand.
const text = (node) => node.textContent.trim();
const meters = [...sheet.querySelectorAll("thead [data-meter]")].flatMap((th) => Array(th.colSpan).fill({ meter: th.dataset.meter, unit: text(th.querySelector("small")) }));
const columns = [...sheet.querySelectorAll("thead .h2 th")].map((th, i) => ({ ...meters[i], at: text(th.firstChild) }));
const made = (name, kind, words = "") => Object.assign(document.createElement(name), { className: kind, textContent: words, ariaHidden: "true" });
for (const row of sheet.querySelectorAll("tr.insertion")) row.querySelectorAll("td").forEach((cell, i) => (cell.dataset.column = i + 1));
let before = {};
for (const input of steps) {
  const cell = input.closest("td"), row = cell.parentElement, { meter, at, unit } = columns[cell.dataset.column - 1];
  input.dataset.where = `${meter} · ${at} · ${row.dataset.label}`;
  Object.assign(input, { enterKeyHint: "next", placeholder: "–" });
  input.parentElement.append(made("i", "unit", unit), made("i", "state"));
  cell.prepend(Object.assign(document.createElement("label"), { className: "at", htmlFor: input.id, textContent: at }));
  if (row !== before.row || meter !== before.meter) {
    const line = document.getElementById("line").content.cloneNode(true);
    line.querySelector("b").textContent = before.meter && meter !== before.meter ? word("change", { meter }) : meter;
    cell.prepend(line);
  }
  before = { row, meter };
}

// Which lines this page shows as the station last told them: the station leaves them out of its answer.
const have = () => [...sheet.querySelectorAll(".beside[data-mark]")].map((told) => told.dataset.mark).join(".");
const ours = (more = {}) => ({ "X-Have": have(), ...more });

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
// is kept by that, and nothing depends on it. Where others have decimals, a number without is taken for half typed: it
// waits until the keys rest.
const PAUSE_MS = 30, HALF_TYPED_MS = 300;
let thinking;
const decimals = (text) => /[.,]/.test(text);
function typing(input) {
  clearTimeout(thinking);
  const half = !decimals(input.value) && steps.some((one) => one !== input && decimals(one.defaultValue));
  thinking = setTimeout(() => {
    const typed = input.value.trim();
    if (sending || waiting().length || typed === input.defaultValue || !/\d$/.test(typed)) return;
    ask(sheet.dataset.ahead, { method: "POST", body: told([{ slot: input.id, typed, was: was(input.id).value }]), headers: { "X-Linewright-Token": token } }).catch(() => {});
  }, half ? HALF_TYPED_MS : PAUSE_MS);
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
  const at = document.getElementById(id)?.parentElement.querySelector(".state");
  if (!at) return;
  at.textContent = sign;
  at.dataset.sign = sign;
}

async function flush() {
  if (sending) return;
  const batch = waiting();
  if (!batch.length) return;
  sending = true;
  clearTimeout(again);
  try {
    const answer = await ask(sheet.action, { method: "POST", body: told(batch), headers: ours({ "X-Linewright-Token": token }) });
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
    if (heard > seen) soon();
    flush();
  } catch (cause) {
    sending = false;
    const many = waiting().length;
    document.body.classList.add("away");
    const count = many === 1 ? "one" : "many";
    const words = cause instanceof Refused ? `${cause.message} ${word(`again-${count}`, { n: many })}` : word(`off-${count}`, { n: many });
    say(words);
    for (const line of document.querySelectorAll(".kept-here")) line.textContent = words;
    again = setTimeout(flush, 1500);
  }
}

// The station answered, but could not keep what was sent: its reasons, in its own words.
class Refused extends Error {}
function reasons(text) {
  const found = [...new DOMParser().parseFromString(text, "text/html").querySelectorAll(".troubles li")];
  return found.map((one) => one.textContent.trim()).join(" ") || word("cannot");
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
  if (document.body.classList.contains("away")) say(word("back"));
  document.body.classList.remove("away");
  seen = Math.max(seen, Number(fresh.dataset.number || 0));
  for (const id of ["verdicts", "next", "undo", "pin"]) swap(document.getElementById(id), fresh.querySelector(`#${id}`));
  let elsewhere = false;
  for (const told of fresh.querySelectorAll(".beside")) {
    const id = told.id.slice(2), input = document.getElementById(id), old = document.getElementById(`w-${id}`);
    const why = fresh.querySelector(`#w-${id}`);
    if (!old || !input) {
      elsewhere ||= told.dataset.value !== "";
      continue;
    }
    const mine = localStorage.getItem(held + id) !== null || input.value.trim() !== input.defaultValue;
    const open = why.querySelector("[data-take], .over"), known = told.dataset.value === input.defaultValue;
    if (!mine && !open && input.value !== told.dataset.value) {
      input.value = input.defaultValue = told.dataset.value;
      state(id, told.dataset.value ? "✓" : "");
      if (document.activeElement === input) input.select();
    }
    const unfolded = document.querySelector(`#${told.id} > [aria-expanded=true]`);
    swap(document.getElementById(told.id), told);
    const link = unfolded && document.querySelector(`#${told.id} > a:not([aria-expanded=true])`);
    if (link) worked(link);
    // What was not seen yet while something else is being typed stays unseen, and is told again: sending then shows both.
    const seenNow = !mine || known, settledNow = !mine || open || !old.querySelector("[data-take], .over");
    if (seenNow) was(id).value = told.dataset.was;
    if (settledNow) {
      swap(old, why);
      under(input, why);
    }
    if (!seenNow || !settledNow) delete document.getElementById(told.id).dataset.mark;
    document.getElementById(`row-${id}`)?.classList.toggle("doubted", Boolean(why.querySelector(".doubt")));
  }
  tell(fresh);
  marked();
  followed();
  // A line that this page does not have was put on the sheet elsewhere.
  if (elsewhere) anew();
}

// What is wrong with a reading stands under its row as well: there it is read on a desk.
function under(input, why) {
  const id = input.id, old = sheet.querySelector(`.why[data-of="${id}"]`);
  if ((old?.textContent ?? "") === why.textContent) return; // what somebody opened in it stays open
  const fresh = document.createElement("div");
  fresh.className = "why";
  fresh.dataset.of = id;
  fresh.replaceChildren(...document.importNode(why, true).childNodes);
  if (old) return old.replaceWith(fresh);
  const step = (of) => Number(document.getElementById(of)?.dataset.step);
  const all = input.closest("tr").nextElementSibling.querySelector("td:last-child");
  all.insertBefore(fresh, [...all.children].find((one) => step(one.dataset.of) > step(id)) ?? null);
}

// What stands behind an expected value, once somebody opens it.
function worked(link) {
  const there = link.nextElementSibling;
  link.setAttribute("aria-expanded", String(!there));
  if (there) return there.remove();
  const cell = link.closest("td"), shown = document.getElementById("worked").content.firstElementChild.cloneNode(true);
  const [read, likely] = shown.querySelectorAll("dd");
  read.textContent = `${cell.querySelector("[data-reading]").defaultValue} ${cell.querySelector(".unit").textContent}`;
  likely.textContent = link.dataset.likely;
  link.after(shown);
}
document.addEventListener("keydown", (event) => {
  const link = event.key === "Escape" && sheet.querySelector(".expected[aria-expanded=true]");
  if (link) worked(link);
});

function anew() {
  const at = document.activeElement;
  if (!waiting().length && (!at?.matches("[data-reading]") || at.value.trim() === at.defaultValue)) location.reload();
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
  const answer = await ask(sheet.dataset.at, { headers: ours() });
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
    say(word("silent"));
  }
});

function swap(old, fresh) {
  if (!old || !fresh) return;
  if (fresh.dataset.mark ? old.dataset.mark === fresh.dataset.mark : old.innerHTML === fresh.innerHTML) return;
  const open = [...old.querySelectorAll("details[open][id]")].map((d) => d.id);
  for (const d of fresh.querySelectorAll("details[id]")) if (open.includes(d.id)) d.open = true;
  old.replaceWith(document.importNode(fresh, true));
}

// What the station says of the reading sent last.
function tell(fresh) {
  const last = document.getElementById(lastSent);
  const told = last && fresh.querySelector(`#x-${last.id}`);
  if (!told) return;
  const doubt = fresh.querySelector(`#w-${last.id} > p`), expected = told.querySelector(".expected > summary, a.expected")?.textContent, ends = told.querySelector(".reach")?.textContent;
  const words = doubt ? doubt.textContent : expected ? `${word("kept")} ${ends ? expected.replace(ends, `(${ends})`) : expected}` : word("kept");
  say(`${last.dataset.where}: ${words}`.replace(/\s+/g, " "));
}

// A doubted reading that is out of sight stands above the keys, until it is read again, taken out or left as it stands.
function oddOne() {
  const doubted = steps.filter((i) => document.querySelector(`#w-${i.id} [data-doubted]`));
  const far = doubted.filter((i) => i.closest("tr") !== rowNow() && !document.getElementById(`w-${i.id}`)?.classList.contains("left"));
  const one = far.find((i) => i.id === lastSent) ?? far[0];
  odd.hidden = !one;
  if (!one) return;
  odd.dataset.of = one.id;
  odd.querySelector(".doubt").textContent = one.dataset.where;
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
  const input = event.target;
  if (!input.matches("[data-reading]") || event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.key === "Enter") {
    event.preventDefault();
    return go(input, event.shiftKey ? -1 : 1);
  }
  if (event.key === "Escape" && input.value !== input.defaultValue) {
    input.value = input.defaultValue;
    return input.select();
  }
  const whole = input.selectionStart === 0 && input.selectionEnd === input.value.length;
  const way = { ArrowDown: [1, 0], ArrowUp: [-1, 0], ArrowRight: whole && [0, 1], ArrowLeft: whole && [0, -1] }[event.key];
  if (!way) return;
  event.preventDefault();
  commit(input);
  to(beside(input, ...way));
});

// The line beside one on the sheet, past what is not read.
function beside(input, down, across) {
  const cell = input.closest("td"), column = Number(cell.dataset.column);
  const rows = [...sheet.querySelectorAll("tr.insertion")];
  let at = rows.indexOf(cell.parentElement), on = column;
  for (;;) {
    at += down;
    on += across;
    if (!rows[at]) return null;
    const next = rows[at].querySelector(`td[data-column="${on}"]`);
    if (!next) return null;
    const found = next.querySelector("[data-reading]");
    if (found) return found;
  }
}

// Keep what was typed and go on in the order of the plugs; on a phone past what is read already.
function go(input, step) {
  lastSent = input.id;
  commit(input);
  const at = steps.indexOf(input);
  let next = steps[at + step];
  if (step > 0 && padded() && next?.value) next = nextFree(input) ?? next;
  if (!next && step > 0) next = padded() ? nextFree(input) : null;
  if (next) return to(next);
  if (step > 0 && !nextFree(input)) {
    say(word("all"));
    input.blur();
    marked();
    if (phone.matches) scrollTo({ top: 0 });
  }
}

function nextFree(input) {
  const at = steps.indexOf(input);
  return [...steps.slice(at + 1), ...steps.slice(0, at)].find((i) => !i.value.trim() && i !== input);
}

function to(input) {
  if (!input) return;
  now(input.closest("tr"));
  input.focus();
  input.select();
}

// One insertion is at hand: the one shown on a phone, and marked on a desk.
const rowNow = () => sheet.querySelector("tr.insertion.now");
function now(row) {
  if (!row || row === rowNow()) return;
  rowNow()?.classList.remove("now");
  row.classList.add("now");
  if (phone.matches) scrollTo(0, 0);
  marked();
}

const inAll = () => document.querySelector('#pin [data-piece=""]')?.textContent ?? "";

// Heading, progress, verdict of what is in, and what comes next.
function marked() {
  oddOne();
  const row = rowNow(), put = document.getElementById("put"), on = document.activeElement;
  const free = on?.matches?.("[data-reading]") ? nextFree(on) : steps.find((i) => !i.value.trim());
  const done = !steps.some((i) => !i.value.trim());
  if (row && (!done || on?.matches?.("[data-reading]"))) {
    const words = row.dataset.put, name = row.dataset.label, from = words.indexOf(name);
    put.textContent = words;
    if (name && from >= 0) {
      const bold = document.createElement("b");
      bold.textContent = name;
      put.replaceChildren(words.slice(0, from), bold, words.slice(from + name.length));
    }
  } else if (done && inAll()) put.textContent = inAll();
  document.body.classList.toggle("all-read", done);
  document.querySelector(".briefly")?.toggleAttribute("hidden", steps.some((i) => i.value.trim()));
  for (const li of document.querySelectorAll(".prog li")) {
    const mine = [...sheet.querySelectorAll(`tr.insertion[data-insertion="${li.dataset.insertion}"] [data-reading]`)];
    li.className = row?.dataset.insertion === li.dataset.insertion ? "c" : mine.every((i) => i.value) ? "d" : "";
  }
  const jump = document.getElementById("insertion");
  if (jump && row) jump.value = row.dataset.insertion;
  const said = [...document.querySelectorAll("#pin [data-piece]")], path = row?.dataset.path;
  const shown = said.find((p) => p.dataset.piece === path) ?? said.find((p) => p.dataset.piece === "");
  for (const p of said) p.hidden = p !== shown;
  const next = document.getElementById("nx");
  if (next) {
    const advice = document.querySelector("#next .action");
    next.textContent = free ? `${free.closest("tr") === row ? "" : `${free.closest("tr").dataset.label}, `}${free.dataset.where.split(" · ").slice(0, 2).join(", ")}` : advice?.textContent ?? word("all");
  }
  const again = document.querySelector('.options [name="number"]'), none = document.querySelector("#none-of-that");
  if (again && row) again.value = row.dataset.insertion;
  if (none && row) {
    none.elements.path.value = path;
    none.hidden = path === "reference";
  }
}

sheet.addEventListener("submit", (event) => {
  event.preventDefault();
  for (const input of inputs()) commit(input);
  flush();
});

document.addEventListener("click", (event) => {
  const take = event.target.closest("[data-take]");
  if (take) return taken(take);
  const figure = event.target.closest("a.expected");
  if (figure) return event.preventDefault(), worked(figure);
  if (event.target.closest('a[href="#expected-how"]')) document.getElementById("expected-how").open = true;
  const link = event.target.closest("[data-go], [data-reread]");
  if (link) {
    const input = document.getElementById(link.dataset.go ?? link.dataset.reread);
    if (!input) return;
    event.preventDefault();
    return to(input);
  }
  const leave = event.target.closest("[data-leave]");
  if (leave) {
    document.getElementById(`w-${leave.dataset.leave}`)?.classList.add("left");
    oddOne();
    const free = nextFree(document.getElementById(leave.dataset.leave));
    return padded() ? to(free) : undefined;
  }
  const same = event.target.closest("[data-same]");
  if (same) return confirmed(same);
  const gone = event.target.closest("[data-withdraw]");
  if (gone) {
    const input = document.getElementById(gone.dataset.withdraw);
    input.value = "";
    lastSent = input.id;
    commit(input);
    to(input);
  }
});

// A doubted reading was looked at again and is the same: the station keeps a repeat of it, on a line of its own.
async function confirmed(button) {
  button.disabled = true;
  try {
    const body = new URLSearchParams({ slot: button.dataset.same, typed: button.dataset.value });
    const answer = await ask(sheet.dataset.confirm, { method: "POST", body, headers: { "X-Linewright-Token": token } });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("answers");
    if (!fresh) return location.reload();
    lastSent = "";
    say(word("kept"));
    show(fresh);
  } catch {
    button.disabled = false;
    say(word("silent"));
  }
}

// Of two values one was chosen. Theirs stands already; mine is written over it knowingly.
function taken(button) {
  const id = button.dataset.of, input = document.getElementById(id);
  was(id).value = button.dataset.was;
  input.value = button.dataset.value;
  input.removeAttribute("aria-invalid");
  document.getElementById(`w-${id}`).replaceChildren();
  sheet.querySelector(`.why[data-of="${id}"]`)?.replaceChildren();
  if (button.dataset.take === "theirs") {
    input.defaultValue = input.value;
    localStorage.removeItem(held + id);
    state(id, "✓");
  } else {
    input.defaultValue = `${input.value}\u0000`;
    commit(input);
  }
  to(input);
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!("undo" in form.dataset) && !("lacking" in form.dataset)) return;
  event.preventDefault();
  try {
    const answer = await ask(form.action, { method: "POST", body: new FormData(form, event.submitter), headers: ours({ "X-Linewright-Token": token }) });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("answers");
    if (!fresh) return location.reload();
    lastSent = "";
    show(fresh);
    say("undo" in form.dataset ? word("undone") : word("kept"));
  } catch {
    say(word("undo" in form.dataset ? "not-undone" : "silent"));
  }
});

addEventListener("online", flush);
addEventListener("pageshow", flush);

// The keypad, for a thumb: only where fingers point. The phone's own keyboard is one tap away, for good.
const pad = document.getElementById("keypad"), odd = document.getElementById("odd-one"), own = "bench-own-keyboard";
function padded() {
  return thumb.matches && phone.matches && !localStorage.getItem(own);
}
function raise() {
  for (const input of inputs()) input.inputMode = padded() ? "none" : "decimal";
  pad.hidden = !thumb.matches || !phone.matches || !steps.length || steps[0].readOnly;
  pad.classList.toggle("bare", !padded());
  document.body.classList.toggle("padded", !pad.hidden);
  document.body.classList.toggle("one", phone.matches);
  const options = document.getElementById("options");
  if (options) options.hidden = !phone.matches;
  const jump = document.getElementById("insertion");
  if (jump) jump.hidden = false;
  // On a phone the lines of an insertion stand in the order they are read, on a desk under their columns.
  for (const row of sheet.querySelectorAll("tr.turned")) {
    const place = (cell) => (phone.matches ? cell.querySelector("[data-reading]")?.dataset.step : cell.dataset.column) ?? 999;
    const cells = [...row.querySelectorAll("td")].sort((a, b) => place(a) - place(b));
    if (cells.some((cell, i) => row.cells[i + 1] !== cell)) row.append(...cells);
  }
}
phone.addEventListener("change", raise);
sheet.addEventListener("focusin", (event) => {
  const input = event.target.closest("[data-reading]");
  if (!input) return;
  now(input.closest("tr"));
  marked();
  input.select();
  hereNow(input.id);
  pad.querySelector(".minus").hidden = !("negative" in input.dataset);
  if (padded()) input.closest("td").scrollIntoView({ block: "nearest", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
});
pad.addEventListener("pointerdown", (event) => event.preventDefault());
pad.addEventListener("click", (event) => {
  if (event.target.closest("#odd-one button")) {
    return to(document.getElementById(odd.dataset.of));
  }
  const key = event.target.closest("[data-key]")?.dataset.key;
  if (!key) return;
  const on = document.activeElement;
  // Where every reading is in, a key changes none of them until one is touched.
  if (!on?.matches("[data-reading]")) return to(steps.find((i) => !i.value.trim()));
  if (key === "next") return go(on, 1);
  const [from, until] = [on.selectionStart, on.selectionEnd];
  if (key === "clear") on.value = "";
  else if (key === "<") {
    on.value = on.value.startsWith("<") ? on.value.slice(1) : `<${on.value}`;
    on.setSelectionRange(on.value.length, on.value.length);
  } else if (key === "⌫") on.setRangeText("", from === until ? Math.max(from - 1, 0) : from, until, "end");
  else on.setRangeText(key, from, until, "end");
  typing(on);
});
document.getElementById("skip")?.addEventListener("click", () => {
  const rows = [...sheet.querySelectorAll("tr.insertion")], at = rows.indexOf(rowNow());
  const next = rows[at + 1] ?? rows[0];
  to([...next.querySelectorAll("[data-reading]")].sort((a, b) => a.dataset.step - b.dataset.step).find((i) => !i.value) ?? next.querySelector("[data-reading]"));
});
document.getElementById("insertion")?.addEventListener("change", (event) => {
  const row = sheet.querySelector(`tr.insertion[data-insertion="${event.target.value}"]`);
  const mine = steps.filter((i) => row.contains(i));
  to(mine.find((i) => !i.value) ?? mine[0]);
});
document.querySelector("[data-own]")?.addEventListener("click", () => {
  if (localStorage.getItem(own)) localStorage.removeItem(own);
  else localStorage.setItem(own, "1");
  const on = steps.find((i) => !i.value) ?? steps[0];
  raise();
  on?.blur();
  to(on);
});

// What others do at this bench: each change as it is made, and who types where. Where too many listen, or nothing can
// be heard, the page asks from time to time.
const ASK_MS = 3000;
const me = [...crypto.getRandomValues(new Uint32Array(2))].map((n) => n.toString(36)).join("");
let stream, asking, looking;
function listen() {
  clearTimeout(asking);
  stream?.close();
  if (document.hidden) return;
  stream = new EventSource(`${bench.dataset.live}?who=${me}`);
  stream.addEventListener("hello", (event) => {
    came(JSON.parse(event.data));
    where = "";
    if (document.activeElement?.matches("[data-reading]")) hereNow(document.activeElement.id);
  });
  stream.addEventListener("change", (event) => came(JSON.parse(event.data)));
  stream.addEventListener("hands", (event) => hands(JSON.parse(event.data).hands));
  stream.addEventListener("error", () => {
    hands([]);
    if (stream.readyState !== EventSource.CLOSED) return;
    clearTimeout(asking);
    asking = setTimeout(async () => {
      await look().catch(() => {});
      listen();
    }, ASK_MS);
  });
}
function came(change) {
  heard = Math.max(heard, change.number);
  if (change.kind === "sheet" || change.kind === "note") return change.number > seen && anew();
  if (heard <= seen) return;
  if (change.kind === "reading" && change.after && !change.before) early(change.after);
  soon();
}
// The value itself is in view at once, in the first free line it belongs to; the answers follow with what it says.
function early({ meter, frequency, path, reading, low, high }) {
  const plain = (text) => text.replace(",", ".");
  const lines = steps.filter((i) => {
    const [on, at] = i.dataset.where.split(" · ");
    return on === meter && plain(at) === plain(frequency) && i.closest("tr").dataset.path === path;
  });
  const input = lines.find((i) => !i.value);
  // One of ours may be on its way: which is which the answers say.
  if (!input || input === document.activeElement || lines.some((i) => localStorage.getItem(held + i.id))) return;
  input.value = input.defaultValue = reading === "0" && low === "0" && high ? `<${high}` : reading;
  state(input.id, "✓");
  // It no longer stands as the station told it last: the station is to tell it again, whatever it is by then.
  delete document.getElementById(`x-${input.id}`).dataset.mark;
}
function soon() {
  clearTimeout(looking);
  looking = setTimeout(() => {
    if (!sending && heard > seen) look().catch(() => {});
  }, 30);
}
let where = "";
function hereNow(slot) {
  if (slot === where) return;
  where = slot;
  const body = new URLSearchParams({ who: me, slot });
  ask(bench.dataset.here, { method: "POST", body, headers: { "X-Linewright-Token": token } }).catch(() => {});
}
function hands(all) {
  for (const cell of sheet.querySelectorAll("[data-hand]")) delete cell.dataset.hand;
  const others = all.filter((hand) => hand.who !== me), line = document.getElementById("hands");
  for (const hand of others) {
    const cell = hand.place && document.getElementById(`row-${hand.place}`);
    if (cell) cell.dataset.hand = hand.letter;
  }
  line.hidden = !others.length;
  line.querySelector("b").textContent = others.map((hand) => hand.letter).join(", ");
}
document.addEventListener("visibilitychange", () => (document.hidden ? stream?.close() : listen()));
addEventListener("pagehide", () => stream?.close());
// Tabs of one browser share what is kept here: what another tab holds counts as being typed, until it is dropped there.
addEventListener("storage", (event) => {
  if (event.key?.startsWith(held) && event.newValue === null && !sending) look().catch(() => {});
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
const asked = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
for (const why of sheet.querySelectorAll(".reason:not(:empty)")) under(document.getElementById(why.id.slice(2)), why);
const first = asked?.matches?.("[data-reading]") ? asked : steps.find((i) => !i.value.trim());
if (!rowNow()) sheet.querySelector("tr.insertion")?.classList.add("now");
marked();
// On a phone the cautions are one line that opens: what is to be done stands in view.
if (phone.matches) document.getElementById("before").open = false;
document.body.classList.add("scripted");
if (first && (document.activeElement === document.body || !document.activeElement) && !first.readOnly) {
  now(first.closest("tr"));
  first.focus({ preventScroll: !asked });
}
flush();
followed();
listen();
