// The drawing of a run: what is touched opens beside it, what is typed is tried at once, steps are undone by key.
//
// <a data-go>, <form data-go>   the answer takes the place of the whole drawing; without this script a page is loaded
//   data-with="id"              what stands in that other form goes along
// <form data-try>               its fields are tried in the drawing while they are typed
// <div data-load="/at">         is asked for once the drawing stands
import { ask, say } from "/static/parts.js";

const wide = window.matchMedia("(min-width: 1001px)");
const number = (text) => Number.parseFloat(text.replace(",", "."));
let under;
let asked = 0;

async function go(address, { post, replace, keep } = {}) {
  const old = document.getElementById("result");
  under?.abort();
  const mine = (under = new AbortController());
  const turn = ++asked;
  old.setAttribute("aria-busy", "true");
  try {
    const answer = await ask(address, { signal: mine.signal, ...(post ? { method: "POST", body: post } : {}) });
    if (answer.redirected) return location.assign(answer.url);
    const text = await answer.text();
    if (turn !== asked) return;
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("result");
    if (!fresh) throw new Error(text.slice(0, 200));
    const there = answer.headers.get("x-address");
    const url = post ? there : address;
    if (url && answer.ok) history[replace ? "replaceState" : "pushState"]({ drawn: true }, "", url);
    put(old, fresh, keep);
  } catch (cause) {
    if (cause.name === "AbortError") return;
    old.removeAttribute("aria-busy");
    say(document.querySelector('meta[name="no-answer"]')?.content ?? "The station does not answer. What you typed is still here.");
  }
}

function put(old, fresh, keep) {
  const at = document.activeElement;
  const id = old.contains(at) ? at.id : "";
  const typed = keep && id && "value" in at && at.type !== "file" ? at.value : null;
  const caret = keep && typeof at.selectionStart === "number" ? [at.selectionStart, at.selectionEnd] : null;
  const was = old.querySelector("#insp");
  const scrolled = was?.scrollTop ?? 0;
  const open = new Set([...old.querySelectorAll("details[open][id]")].map((d) => d.id));
  const offers = keep && old.querySelector("#offers:not([data-load])");
  old.replaceWith(fresh);
  for (const d of fresh.querySelectorAll("details[id]")) if (open.has(d.id)) d.open = true;
  const now = fresh.querySelector("#insp");
  if (offers && fresh.querySelector("#offers[data-load]")) fresh.querySelector("#offers").replaceWith(offers);
  ready(fresh);
  const opened = now && now.dataset.open !== was?.dataset.open;
  if (now && !opened) now.scrollTop = scrolled;
  if (opened) {
    now.classList.add("rising");
    now.querySelector("#insp-h").focus({ preventScroll: wide.matches });
    if (!wide.matches) lift(now.dataset.open);
  } else if (!now && was) {
    fresh.querySelector(`[id="at-${was.dataset.open}"]`)?.focus({ preventScroll: true });
  } else if (id) {
    const again = document.getElementById(id) ?? document.getElementById("tried") ?? now?.querySelector("#insp-h");
    if (again && typed !== null) again.value = typed;
    again?.focus({ preventScroll: true });
    if (again && caret && again.setSelectionRange) again.setSelectionRange(...caret);
  }
  const verdict = document.getElementById("trying") ?? document.getElementById("verdict");
  say(verdict?.textContent ?? "");
  document.dispatchEvent(new Event("put"));
}

// On a phone what was touched stays in sight above the sheet.
function lift(open) {
  const touched = document.getElementById(`at-${open}`);
  if (touched) scrollTo({ top: touched.getBoundingClientRect().top + scrollY - innerHeight * 0.12, behavior: "instant" });
}

function ready(root) {
  for (const button of root.querySelectorAll(".by-hand")) button.classList.add("gone");
  for (const row of root.querySelectorAll(".when-tried")) row.classList.toggle("gone", !("now" in row.dataset && root.querySelector("#trying")));
  for (const button of root.querySelectorAll("[data-history]")) button.hidden = !history.state?.drawn && button.id === "undo";
  for (const slider of root.querySelectorAll("input[data-for]")) {
    const field = document.getElementById(slider.dataset.for);
    const value = number(field.value);
    if (!Number.isFinite(value) || /[:;]/.test(field.value)) continue;
    slider.max = String(Math.max(Number(slider.max), value));
    slider.value = String(value);
    slider.hidden = false;
  }
  // Of the views, a row wider than a phone, the chosen one is in sight.
  const view = root.querySelector(".tabs [aria-current]"), tabs = view?.parentElement;
  if (tabs) tabs.scrollLeft += view.getBoundingClientRect().left - tabs.getBoundingClientRect().left - 48;
  for (const place of root.querySelectorAll("[data-load]")) load(place);
  for (const link of root.querySelectorAll("#line a[data-number]")) link.draggable = true;
  behind(root);
}

// Behind a sheet on a phone nothing is reached by key or by a screen reader.
function behind(root) {
  const sheet = root.querySelector("#insp");
  const still = Boolean(sheet) && !wide.matches;
  for (const part of root.querySelectorAll(".rh, .main, :scope > p, :scope > ul")) part.inert = still;
  for (const part of document.querySelectorAll("body > header, body > footer")) part.inert = still;
}
wide.addEventListener("change", () => behind(document.getElementById("result")));

async function load(place) {
  const answer = await ask(place.dataset.load);
  const text = await answer.text();
  const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("offers");
  if (fresh && place.isConnected) place.replaceWith(fresh);
}

document.addEventListener("click", (event) => {
  const step = event.target.closest("[data-history]");
  if (step) return history.go(Number(step.dataset.history));
  const link = event.target.closest("a[data-go]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  go(link.href, { replace: !link.closest(".seg") });
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!("go" in form.dataset)) return;
  event.preventDefault();
  clearTimeout(waiting);
  const button = event.submitter;
  if (form.method === "get" && !button?.hasAttribute("formmethod")) {
    const there = new URL(form.action);
    there.search = new URLSearchParams([...new FormData(form, button)].filter(([name, value]) => value || !/^v\.[pceo]\./.test(name))).toString();
    return go(there);
  }
  const post = new FormData(form, button);
  // What stands in another form, typed but not sent yet, goes along.
  if (form.dataset.with) for (const [name, value] of new FormData(document.getElementById(form.dataset.with))) post.set(name, value);
  go(button?.hasAttribute("formaction") ? button.formAction : form.action, { post });
});

const REST_MS = 60;
let waiting, lastInput = -REST_MS;
document.addEventListener("input", (event) => {
  const { target } = event;
  if (target.dataset.for) {
    const field = document.getElementById(target.dataset.for);
    field.value = String(Number(target.value));
  } else {
    const slider = document.querySelector(`input[data-for="${target.id}"]`);
    const value = slider ? number(target.value) : Number.NaN;
    if (Number.isFinite(value)) slider.value = String(value);
  }
  const form = target.form;
  if (!form || !("try" in form.dataset) || target.type === "file") return;
  // The first change is tried at once, further ones when the keys rest: of a pulled slider not every step is asked for.
  clearTimeout(waiting);
  const rested = event.timeStamp - lastInput > REST_MS;
  lastInput = event.timeStamp;
  if (rested) attempt(form);
  else waiting = setTimeout(() => attempt(form), 30);
});

function attempt(form) {
  const asked = new URL("/runs/run", location.href);
  const data = new FormData(form);
  data.delete("token");
  for (const [name, value] of [...data]) if (typeof value !== "string") data.delete(name);
  data.set("do", form.dataset.try || "set");
  asked.search = new URLSearchParams(data).toString();
  go(asked, { replace: true, keep: true });
}

function step(target, by) {
  const size = Number(target.dataset.step);
  const typed = number(target.value);
  if (!Number.isFinite(typed)) return false;
  const unit = target.value.replace(/^[\s\d.,+-]*/, "");
  const places = Math.max(0, -Math.floor(Math.log10(size)));
  target.value = `${Number(Math.max(0, typed + by * size).toFixed(places))}${unit && ` ${unit}`}`;
  target.dispatchEvent(new Event("input", { bubbles: true }));
  return true;
}

const press = (id) => document.querySelector(`#${id}:not([disabled], [hidden])`)?.click();

document.addEventListener("keydown", (event) => {
  const { target, key } = event;
  const typing = target.matches("input:not([type=range], [type=checkbox]), textarea, select");
  const by = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[key];
  if (by && target.dataset.step && step(target, by)) return event.preventDefault();
  if (key === "Escape" && document.getElementById("insp-close")) return press("insp-close");
  if ((event.ctrlKey || event.metaKey) && key.toLowerCase() === "z" && !typing) {
    event.preventDefault();
    return press(event.shiftKey ? "redo" : "undo");
  }
  if (typing) return;
  const along = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[key];
  const onLine = target.closest?.("#line");
  if (along && event.altKey && document.getElementById("take-out") && (onLine || target.closest?.("#insp"))) {
    event.preventDefault();
    return press(along > 0 ? "to-antenna" : "to-radio");
  }
  if (along && onLine) {
    event.preventDefault();
    const stops = [...onLine.querySelectorAll("a")];
    stops[Math.min(Math.max(stops.indexOf(target) + along, 0), stops.length - 1)].focus();
  }
  if (key === "Delete" && onLine && target.dataset.number) {
    event.preventDefault();
    edit({ open: target.dataset.number, do: "out" });
  }
});

function edit(told) {
  const data = new FormData(document.getElementById("where"));
  for (const [name, value] of Object.entries(told)) data.set(name, value);
  go("/runs/edit", { post: data });
}

// A part is dragged along the line into another gap.
let dragged = "";
document.addEventListener("dragstart", (event) => {
  dragged = event.target.closest?.("#line a[data-number]")?.dataset.number ?? "";
  if (dragged) event.dataTransfer.effectAllowed = "move";
});
for (const kind of ["dragover", "drop"]) {
  document.addEventListener(kind, (event) => {
    const line = dragged && event.target.closest?.("#line");
    if (!line) return;
    event.preventDefault();
    const gaps = [...line.querySelectorAll(".gap")];
    const far = (gap) => {
      const box = gap.querySelector("a").getBoundingClientRect();
      return Math.hypot(event.clientX - box.x - 22, (event.clientY - box.y - 22) / (wide.matches ? 9 : 1));
    };
    const near = gaps.reduce((a, b) => (far(a) < far(b) ? a : b));
    for (const gap of gaps) gap.classList.toggle("over", gap === near);
    if (kind === "drop") edit({ open: dragged, do: "move", to: `gap${gaps.indexOf(near)}` });
  });
}
document.addEventListener("dragend", () => {
  dragged = "";
  for (const gap of document.querySelectorAll(".gap.over")) gap.classList.remove("over");
});

addEventListener("popstate", () => go(location.href, { replace: true }));
document.addEventListener("part", () => ready(document.getElementById("result")));
ready(document.getElementById("result"));
