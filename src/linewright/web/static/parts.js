// Parts of a page that follow what is typed. Everything works without this script: forms then load whole pages.
//
// <form data-part="result">   its answer takes the place of the element with that id
//   data-live                 sent after each change, not only when submitted
// <a data-part="result">      the same for a link
// <div id="x" data-follow="/at">   is asked for again and again until its answer no longer says so, or leads elsewhere
// The answer is the new element itself. Of several answers under way only the last is shown.

const token = document.querySelector('meta[name="token"]')?.content ?? "";
const said = document.getElementById("said");
const under = new Map();

const words = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? "";

export function say(words) {
  if (said) said.textContent = words;
}

export async function ask(address, options = {}) {
  const headers = { "X-Part": "1", "X-Linewright-Token": token, ...options.headers };
  return fetch(address, { ...options, headers, credentials: "same-origin" });
}

const FIELDS = "textarea[id], select[id], input[id]:not([type=checkbox], [type=radio], [type=file], [type=hidden])";
const values = (part) => new Map([...part.querySelectorAll(FIELDS)].map((field) => [field.id, field.value]));

export async function put(id, address, options = {}) {
  const old = document.getElementById(id);
  if (!old) return false;
  under.get(id)?.abort();
  const mine = new AbortController();
  under.set(id, mine);
  old.setAttribute("aria-busy", "true");
  const sent = values(old);
  try {
    const answer = await ask(address, { ...options, signal: mine.signal });
    if (answer.redirected) return location.assign(answer.url);
    const text = await answer.text();
    if (mine.signal.aborted) return false;
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById(id);
    if (!fresh) throw new Error(text.slice(0, 200));
    // What was typed since the question was sent is newer than the answer.
    for (const [id, value] of values(old)) {
      const field = value !== sent.get(id) && fresh.querySelector(`#${CSS.escape(id)}`);
      if (field) field.value = value;
    }
    keepingFocus(old, fresh);
    document.dispatchEvent(new CustomEvent("part", { detail: id }));
    return answer.ok;
  } catch (cause) {
    if (cause.name === "AbortError") return false;
    old.removeAttribute("aria-busy");
    say(words("no-answer"));
    return false;
  } finally {
    if (under.get(id) === mine) under.delete(id);
  }
}

export function keepingFocus(old, fresh) {
  const at = document.activeElement;
  const id = old.contains(at) && at.id;
  const live = id && at.form && "live" in at.form.dataset && !["checkbox", "radio", "file"].includes(at.type);
  const typed = live ? at.value : null;
  const caret = id && typeof at.selectionStart === "number" ? [at.selectionStart, at.selectionEnd] : null;
  const open = new Set([...old.querySelectorAll("details[open][id]")].map((d) => d.id));
  old.replaceWith(fresh);
  for (const d of fresh.querySelectorAll("details[id]")) if (open.has(d.id)) d.open = true;
  const again = id && document.getElementById(id);
  if (!again) return;
  if (typed !== null) again.value = typed;
  again.focus({ preventScroll: true });
  if (caret && again.setSelectionRange && again.type !== "number") again.setSelectionRange(...caret);
}

function send(form, submitter) {
  const data = new FormData(form, submitter);
  if (form.method === "post") return put(form.dataset.part, form.action, { method: "POST", body: data });
  const asked = new URL(form.action);
  asked.search = new URLSearchParams(data).toString();
  history.replaceState(null, "", asked);
  return put(form.dataset.part, asked);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.part) return;
  event.preventDefault();
  send(form, event.submitter);
});

let waiting;
document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form || !("live" in form.dataset)) return;
  clearTimeout(waiting);
  waiting = setTimeout(() => send(form), 20);
});

// What was typed before this script had been read, or what the browser filled in again, counts as well.
const typing = ["text", "search", "number", "tel"];
const changed = (field) => typing.includes(field.type) && field.value !== field.defaultValue;
for (const form of document.querySelectorAll("form[data-live]")) if ([...form.elements].some(changed)) send(form);

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-part]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  history.replaceState(null, "", link.href);
  put(link.dataset.part, link.href);
});

const SOON_MS = 400, LATEST_MS = 2000, SLOWER = 1.1; // what takes long is asked for less often
let pause = SOON_MS;
async function follow() {
  const old = document.querySelector("[data-follow]");
  if (!old) return;
  try {
    const answer = await ask(old.dataset.follow);
    if (answer.redirected) return location.replace(answer.url);
    if (answer.status === 204 && old.id === "waiting") return location.reload(); // gone; the whole page says why
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(old.id);
    // A button that is being pressed stays until it is let go, or the press would be lost.
    if (fresh && old.isConnected && !old.matches(":active")) keepingFocus(old, fresh);
  } catch {
    say(words("asking-again"));
  }
  setTimeout(follow, pause);
  pause = Math.min(pause * SLOWER, LATEST_MS);
}
follow();

if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
