// Pictures that answer. <div class="answers" data-picture="/address"> holds a plain picture; here the drawing takes its
// place, as wide as its column. The point nearest to pointer or finger is read; away from points, the line nearest above
// or below it, where the pointer stands. Left and right go along a line where there is one, up and down from point to
// point; Enter, or a second touch, leads to what stands behind it. Pieces and meters can be left out.

const HIT = 20;
const STEP = 8;

// Sending a form may remove what is drawn here: from then on the page asks for no drawings, until it is shown again.
let leaving = new AbortController();
addEventListener("submit", (event) => event.defaultPrevented || leaving.abort());
addEventListener("pageshow", () => (leaving = new AbortController()));

for (const box of document.querySelectorAll("[data-picture]")) watch(box);
for (const name of ["part", "put"]) document.addEventListener(name, () => document.querySelectorAll("[data-picture]:not([data-watched])").forEach(watch));

function watch(box) {
  box.dataset.watched = "";
  const seen = new IntersectionObserver((entries) => {
    if (!entries.some((e) => e.isIntersecting)) return;
    seen.disconnect();
    begin(box);
  }, { rootMargin: "400px" });
  seen.observe(box);
}

function begin(box) {
  const out = new Set();
  let wide = 0;
  // On a large screen the page is set larger; the drawing is asked for as on a common one, and grows with it.
  const width = () => box.clientWidth * 16 / parseFloat(getComputedStyle(document.documentElement).fontSize);
  const draw = async () => {
    const now = Math.floor(width() / 25) * 25;
    wide = now;
    const address = new URL(box.dataset.picture, location);
    address.searchParams.set("wide", now);
    for (const name of out) address.searchParams.append("without", name);
    try {
      const answer = await fetch(address, { credentials: "same-origin", signal: leaving.signal });
      if (!answer.ok) return;
      const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
      if (svg.nodeName !== "svg") return;
      show(box, document.importNode(svg, true), out, draw);
    } catch { /* the plain picture stays */ }
  };
  draw();
  let later;
  new ResizeObserver(() => {
    if (Math.abs(width() - wide) < 40) return;
    clearTimeout(later);
    later = setTimeout(draw, 200);
  }).observe(box);
}

function show(box, svg, out, redraw) {
  const place = box.querySelector(".drawn");
  const reading = box.querySelector(".reading");
  const leads = JSON.parse(svg.dataset.leads || "{}");
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  svg.setAttribute("aria-hidden", "true");
  place.replaceChildren(svg);
  place.classList.add("live");
  place.tabIndex = 0;
  place.setAttribute("role", "group");
  place.setAttribute("aria-label", box.dataset.words);
  place.setAttribute("aria-describedby", reading.id);
  const points = [...svg.querySelectorAll('[aria-roledescription="reading"]')].map((mark) => ({ mark, told: mark.getAttribute("aria-label") }));
  const lines = linesOf(svg);
  let at = -1;
  let on = -1;
  let stop = -1;
  const cursor = document.createElementNS(svg.namespaceURI, "circle");
  cursor.setAttribute("r", "5");
  cursor.setAttribute("class", "cursor");
  const middle = (p) => {
    const r = p.mark.getBoundingClientRect();
    return [r.left + r.width / 2, r.top + r.height / 2];
  };
  points.sort((a, b) => middle(a)[0] - middle(b)[0] || middle(a)[1] - middle(b)[1]);
  const read = (i) => {
    leave();
    at = i;
    const p = points[i];
    if (!p) return;
    p.mark.classList.add("read");
    reading.replaceChildren(p.told);
    const to = leads[p.told];
    if (to) {
      const link = document.createElement("a");
      link.href = to;
      link.textContent = box.dataset.behind;
      reading.append(" ", link);
    }
  };
  const leave = () => {
    points[at]?.mark.classList.remove("read");
    cursor.remove();
    at = on = stop = -1;
  };
  const along = (i, k) => {
    if (i === on && k === stop) return;
    leave();
    [on, stop] = [i, k];
    const [x, y] = lines[i].stops[k];
    cursor.setAttribute("cx", x);
    cursor.setAttribute("cy", y);
    lines[i].mark.parentNode.append(cursor);
    reading.replaceChildren(lines[i].told[k]);
  };
  const nearest = (event) => {
    let best = -1, least = HIT * HIT;
    points.forEach((p, i) => {
      const [x, y] = middle(p);
      const d = (x - event.clientX) ** 2 + (y - event.clientY) ** 2;
      if (d < least) [best, least] = [i, d];
    });
    return best;
  };
  // The line whose place under the pointer is nearest above or below it, within the plot it is drawn in.
  const nearestLine = (event) => {
    let found, least = Infinity;
    lines.forEach((line, i) => {
      const plot = line.plot.getBoundingClientRect();
      if (event.clientX < plot.left - HIT || event.clientX > plot.right + HIT) return;
      if (event.clientY < plot.top - HIT || event.clientY > plot.bottom + HIT) return;
      const seen = line.seen();
      const k = seen.reduce((best, s, j) => (Math.abs(s[0] - event.clientX) < Math.abs(seen[best][0] - event.clientX) ? j : best), 0);
      if (Math.abs(seen[k][0] - event.clientX) > HIT) return;
      const far = Math.abs(seen[k][1] - event.clientY);
      if (far < least) [found, least] = [[i, k], far];
    });
    return found;
  };
  const point = (event) => {
    const i = nearest(event);
    if (i >= 0) return i === at ? undefined : read(i);
    const place = nearestLine(event);
    if (place) along(...place);
  };
  place.onpointermove = point;
  place.onclick = (event) => {
    const i = nearest(event);
    if (i < 0) return point(event);
    if (i === at && place.dataset.touched === String(i) && leads[points[i].told]) return location.assign(leads[points[i].told]);
    place.dataset.touched = String(i);
    read(i);
  };
  // A step along a line: to the next place far enough from here to be seen; past its end, on to the next line.
  const go = (by) => {
    if (on < 0) {
      const from = at >= 0 ? nearestLine({ clientX: middle(points[at])[0], clientY: middle(points[at])[1] }) : undefined;
      [on, stop] = from ?? (by > 0 ? [0, -1] : [lines.length - 1, lines.at(-1).told.length]);
      if (!from) return along(on, stop + by);
    }
    const seen = lines[on].seen();
    const here = seen[stop][0];
    let k = stop + by;
    while (seen[k] && Math.abs(seen[k][0] - here) < STEP) k += by;
    if (seen[k]) return along(on, k);
    const other = (on + by + lines.length) % lines.length;
    along(other, by > 0 ? 0 : lines[other].told.length - 1);
  };
  place.onkeydown = (event) => {
    const { key } = event;
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[key];
    if (step && lines.length && (key === "ArrowLeft" || key === "ArrowRight")) {
      event.preventDefault();
      go(step);
    } else if (step && points.length) {
      event.preventDefault();
      read((at + step + points.length) % points.length);
    } else if (points.length && (key === "Home" || key === "End")) {
      event.preventDefault();
      read(key === "Home" ? 0 : points.length - 1);
    } else if (key === "Enter" && points[at] && leads[points[at].told]) location.assign(leads[points[at].told]);
  };
  const series = JSON.parse(svg.dataset.series || "[]");
  const chips = box.querySelector(".series");
  if (!chips.children.length && series.length > 1) {
    for (const name of series) {
      const chip = document.createElement("button");
      chip.type = "button";
      chip.className = "chip";
      chip.textContent = name;
      chip.setAttribute("aria-pressed", "true");
      chip.onclick = () => {
        const shown = chip.getAttribute("aria-pressed") === "true";
        chip.setAttribute("aria-pressed", String(!shown));
        if (shown) out.add(name);
        else out.delete(name);
        redraw();
      };
      chips.append(chip);
    }
  }
}

// What is told along a line belongs to every so many corners of its path, in their order.
function linesOf(svg) {
  const lines = JSON.parse(svg.dataset.lines || "{}");
  const found = [];
  for (const mark of svg.querySelectorAll('[aria-roledescription="along"]')) {
    const line = lines[mark.getAttribute("aria-label")];
    const plot = mark.closest("g:has(> path.background)")?.querySelector(":scope > path.background");
    if (!line || !plot) continue;
    const corners = [...mark.getAttribute("d").matchAll(/[ML]\s*(-?[\d.e+-]+)[ ,]+(-?[\d.e+-]+)/gi)];
    const places = line.told
      .map((told, i) => ({ told, at: corners[i * line.step] }))
      .filter((p) => p.told && p.at)
      .map((p) => ({ told: p.told, at: [Number(p.at[1]), Number(p.at[2])] }));
    if (!places.length) continue;
    const stops = places.map((p) => p.at);
    const seen = () => {
      const m = mark.getScreenCTM();
      return stops.map(([x, y]) => [m.a * x + m.c * y + m.e, m.b * x + m.d * y + m.f]);
    };
    found.push({ mark, plot, told: places.map((p) => p.told), stops, seen });
  }
  return found;
}
