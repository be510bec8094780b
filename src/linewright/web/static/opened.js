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
document.addEventListener("keydown", close);
document.addEventListener("click", close);
addEventListener("hashchange", open);
open();
