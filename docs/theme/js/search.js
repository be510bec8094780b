// Search without a network: the index and its reader are files beside the pages, loaded when somebody first asks.
"use strict";
const base = document.currentScript.dataset.base;
const form = document.querySelector(".search");
const field = form.querySelector("input");
const list = form.querySelector("#found");
let ready;

const script = (address) =>
  new Promise((done, failed) => {
    const made = Object.assign(document.createElement("script"), { src: base + address, onload: done, onerror: failed });
    document.head.append(made);
  });

// Who searches wants a page that explains first, then the reference, then a benchmark's table.
const weight = (location) => (/^benchmarks/.test(location) ? 0.1 : /^reference/.test(location) ? 0.5 : 3);

const load = async () => {
  await Promise.all([script("search/lunr.js"), script("search/search_index.js")]);
  const docs = window.linewrightPages.docs;
  const index = lunr(function () {
    this.ref("place");
    this.field("title", { boost: 10 });
    this.field("text");
    docs.forEach((doc, place) => this.add({ ...doc, place }, { boost: weight(doc.location) }));
  });
  return { docs, index };
};

const hits = (index, words) =>
  index.query((query) => {
    for (const word of words) {
      query.term(word, { boost: 10 });
      query.term(word, { wildcard: lunr.Query.wildcard.TRAILING });
    }
  });

const shown = (doc, docs, words) => {
  const item = document.createElement("li");
  const page = docs.find((other) => other.location === doc.location.split("#")[0]);
  const title = page && page.title !== doc.title ? `${doc.title} · ${page.title}` : doc.title;
  const link = Object.assign(document.createElement("a"), { href: base + doc.location, textContent: title });
  const at = Math.max(0, doc.text.toLowerCase().indexOf(words[0]) - 40);
  const around = Object.assign(document.createElement("p"), { textContent: doc.text.slice(at, at + 130) });
  item.append(link, around);
  return item;
};

const answer = async () => {
  const words = field.value.toLowerCase().split(/[^\p{L}\p{N}-]+/u).filter((word) => word.length > 1);
  if (!words.length) return list.replaceChildren();
  ready ??= load();
  const { docs, index } = await ready;
  const found = hits(index, words).slice(0, 12).map((hit) => shown(docs[hit.ref], docs, words));
  const none = Object.assign(document.createElement("li"), { textContent: "Nothing found." });
  list.replaceChildren(...(found.length ? found : [none]));
};

form.hidden = false;
form.addEventListener("submit", (event) => event.preventDefault());
field.addEventListener("focus", () => (ready ??= load()), { once: true });
field.addEventListener("input", answer);
addEventListener("keydown", (event) => {
  if (event.key === "Escape") list.replaceChildren();
});
// On a phone the list of pages is folded.
if (matchMedia("(max-width: 959px)").matches) document.querySelector(".pages details").open = false;
