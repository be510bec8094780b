// An address that ends in the name of a closed explanation opens it.
function open() {
  const there = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (there?.tagName === "DETAILS") there.open = true;
}
addEventListener("hashchange", open);
open();
