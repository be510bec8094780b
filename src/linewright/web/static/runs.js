// A run's fields: sliders follow what is typed and the other way round, arrows step a figure, the verdict is said aloud.
import { say } from "/static/parts.js";

const number = (text) => Number.parseFloat(text.replace(",", "."));

function tell(field) {
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

// Forms that follow need no button.
for (const button of document.querySelectorAll("form[data-live] button.by-hand")) button.hidden = true;

// A slider may stand in a part that is put anew, so the document listens for all of them.
function shown() {
  for (const slider of document.querySelectorAll("input[data-for]")) slider.hidden = false;
}
shown();
document.addEventListener("part", shown);

document.addEventListener("input", (event) => {
  const { target } = event;
  const field = target.dataset.for && document.getElementById(target.dataset.for);
  if (field) {
    event.stopPropagation();
    field.value = String(Number(target.value));
    tell(field);
    return;
  }
  const slider = target.id && document.querySelector(`input[data-for="${CSS.escape(target.id)}"]`);
  if (slider && Number.isFinite(number(target.value))) slider.value = number(target.value);
}, true);

document.addEventListener("keydown", (event) => {
  const step = Number(event.target.dataset?.step);
  const by = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
  const typed = step && by ? number(event.target.value) : Number.NaN;
  if (!Number.isFinite(typed)) return;
  event.preventDefault();
  const unit = event.target.value.replace(/^[\s\d.,+-]*/, "");
  const places = Math.max(0, -Math.floor(Math.log10(step)));
  event.target.value = `${Number(Math.max(0, typed + by * step).toFixed(places))}${unit && ` ${unit}`}`;
  tell(event.target);
});

document.addEventListener("part", (event) => {
  const verdict = document.getElementById("verdict");
  if (event.detail === "result" && verdict) say(verdict.textContent);
});

for (const form of document.querySelectorAll("form.drop")) {
  const field = form.querySelector('input[type="file"]');
  const over = (is) => (event) => {
    event.preventDefault();
    form.classList.toggle("over-it", is);
  };
  form.addEventListener("dragover", over(true));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer.files.length) field.files = event.dataTransfer.files;
  });
}
