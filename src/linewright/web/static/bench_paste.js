// What is pasted, dropped or chosen is matched at once; without this script a button does it.
import { put } from "/static/parts.js";

const form = document.getElementById("paste"), table = document.getElementById("table"), file = document.getElementById("file");
let waiting;

function match() {
  const body = new FormData(form);
  body.set("do", "match");
  return put("matched", form.action, { method: "POST", body });
}
function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(match, 150);
}
async function take(dropped) {
  if (!dropped) return;
  table.value = await dropped.text();
  match();
}
table.addEventListener("input", soon);
form.addEventListener("change", (event) => {
  if (event.target === file) take(file.files[0]);
  else if (event.target.closest("#matched")) soon();
});
for (const name of ["dragover", "drop"])
  document.addEventListener(name, (event) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    if (name === "drop") take(event.dataTransfer.files[0]);
  });
