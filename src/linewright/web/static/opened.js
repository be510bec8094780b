// An address that ends in the name of a closed explanation opens it.
function open() {
  const there = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (let at = there; at?.tagName === "DETAILS"; at = at.parentElement.closest("details")) at.open = true;
}
// A figure that stands open is closed by Escape, or by a touch elsewhere.
function close(event) {
  const there = document.querySelector("details.opens[open]");
  if (!there || (event.type === "click" ? there.contains(event.target) : event.key !== "Escape")) return;
  if (there.contains(document.activeElement)) there.querySelector("summary").focus();
  there.open = false;
}
// On a phone the explanation lies over the foot of the window: its figure stays in sight above it.
function lift({ target }) {
  if (!target.matches?.("details.opens[open]")) return;
  const figure = target.querySelector("summary").getBoundingClientRect(), sheet = target.querySelector(".worked");
  if (getComputedStyle(sheet).position !== "fixed" || figure.bottom <= sheet.getBoundingClientRect().top) return;
  scrollBy({ top: figure.top - innerHeight * 0.12, behavior: "instant" });
}
document.addEventListener("toggle", lift, true);
document.addEventListener("keydown", close);
document.addEventListener("click", close);
addEventListener("hashchange", open);
open();
