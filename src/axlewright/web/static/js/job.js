// @ts-check
// The form of a step: fields of the chosen way only, several readings from a number pad. Works without it too.
import { unitButtons } from "./units.js";
import { _, plural } from "./words.js";

/**
 * Show only the fields that may belong to what is chosen; hidden ones are not sent.
 * @param {HTMLFormElement} form
 */
function showChosen(form) {
  for (const box of form.querySelectorAll("[data-only]")) {
    if (!(box instanceof HTMLElement)) continue;
    const [name, keys] = (box.dataset.only ?? "").split(":");
    const choice = form.querySelector(`input[name="${name}"]`);
    const chosen = form.querySelector(`input[name="${name}"]:checked`);
    // Nothing chosen yet: it may belong. The choice itself hidden: it does not.
    const asked = choice instanceof HTMLInputElement && !choice.disabled;
    const belongs = asked && (!(chosen instanceof HTMLInputElement) || keys.split(",").includes(chosen.value));
    box.hidden = !belongs;
    for (const one of box.querySelectorAll("input, textarea, select")) {
      if (one instanceof HTMLInputElement || one instanceof HTMLTextAreaElement || one instanceof HTMLSelectElement) one.disabled = !belongs;
    }
  }
  for (const group of form.querySelectorAll(".group")) {
    if (group instanceof HTMLElement) group.hidden = ![...group.querySelectorAll(".field")].some((f) => f instanceof HTMLElement && !f.hidden);
  }
}

/**
 * Count the readings typed so far.
 * @param {string} text
 */
function count(text) {
  return text.split(/[\s;]+/).filter((part) => /\d/.test(part)).length;
}

/**
 * Give a field of several readings a number pad with a button for the next one: number pads have no space.
 * @param {HTMLTextAreaElement} field
 */
function readings(field) {
  if (field.dataset.script) return;
  field.dataset.script = "ready";
  // Where a reading may be below zero the page asks for a keyboard with a minus.
  if (!field.inputMode) field.inputMode = "decimal";
  const row = document.createElement("p");
  row.className = "nextreading";
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = _("Next reading");
  const told = document.createElement("span");
  told.className = "faint";
  told.setAttribute("role", "status");
  const tell = () => {
    const n = count(field.value);
    told.textContent = n ? plural("{count} reading", "{count} readings", n) : "";
  };
  button.addEventListener("click", () => {
    if (field.value && !/\s$/.test(field.value)) field.value += "\n";
    field.focus();
    field.setSelectionRange(field.value.length, field.value.length);
    field.scrollTop = field.scrollHeight;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  field.addEventListener("input", tell);
  row.append(button, told);
  field.closest(".entry")?.after(row);
  tell();
}

function ready() {
  const form = document.getElementById("entryform");
  if (!(form instanceof HTMLFormElement)) return;
  unitButtons();
  form.querySelectorAll("textarea[data-readings]").forEach((f) => f instanceof HTMLTextAreaElement && readings(f));
  if (form.querySelector("[data-only]")) {
    // Twice: a field that is shown may itself decide on others.
    const show = () => (showChosen(form), showChosen(form));
    form.addEventListener("change", show);
    show();
  }
}
document.addEventListener("axlewright:shown", ready);
ready();
