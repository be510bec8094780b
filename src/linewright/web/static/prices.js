// A file of prices is read here and put where prices are typed; without script the form sends it.
for (const form of document.querySelectorAll("form[data-into]")) {
  const file = form.querySelector('input[type="file"]');
  const into = document.getElementById(form.dataset.into);
  const button = form.querySelector("button");
  button.hidden = true;
  const take = async (found) => {
    if (!found) return;
    into.value = await found.text();
    into.dispatchEvent(new Event("input", { bubbles: true }));
  };
  file.addEventListener("change", () => take(file.files[0]));
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("drop", (event) => take(event.dataTransfer.files[0]));
}
