// @ts-check
// What is typed survives a reload, a dead battery or a restarted server: kept in this browser until it is sent.
import { _ } from "./words.js";

const PREFIX = "axlewright-draft:";
const SKIP = new Set(["token", "key", "head", "pin", "supersedes"]);

/** @param {HTMLFormElement} form */
function nameOf(form) {
  return PREFIX + form.dataset.draft;
}

/** @param {HTMLFormElement} form */
function collect(form) {
  /** @type {Record<string, string>} */
  const out = {};
  for (const [name, value] of new FormData(form)) {
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLInputElement && field.type === "password") continue;
    if (typeof value === "string" && !SKIP.has(name)) out[name] = value;
  }
  return out;
}

/** @param {HTMLFormElement} form */
export function forgetDraft(form) {
  if (form.dataset.draft) localStorage.removeItem(nameOf(form));
}

/**
 * @param {HTMLFormElement} form
 * @param {Record<string, string>} values
 */
export function fill(form, values) {
  let changed = false;
  for (const [name, value] of Object.entries(values)) {
    const field = form.elements.namedItem(name);
    if (field instanceof RadioNodeList) {
      if (field.value !== value) {
        field.value = value;
        changed = true;
      }
    } else if (field instanceof HTMLInputElement && field.type === "checkbox") {
      if (!field.checked) changed = true;
      field.checked = true;
    } else if (field instanceof HTMLInputElement && field.type === "radio") {
      if (field.value === value && !field.checked) {
        field.checked = true;
        changed = true;
      }
    } else if (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement || field instanceof HTMLSelectElement) {
      if (field.value !== value) changed = true;
      field.value = value;
    }
  }
  openFilled(form);
  return changed;
}

/**
 * Open what is folded away where something stands in it.
 * @param {HTMLFormElement} form
 */
function openFilled(form) {
  for (const box of form.querySelectorAll("details.group:not([open])")) {
    const filled = [...box.querySelectorAll("input, textarea")].some((one) =>
      one instanceof HTMLInputElement && (one.type === "radio" || one.type === "checkbox")
        ? one.checked
        : (one instanceof HTMLInputElement || one instanceof HTMLTextAreaElement) && one.value.trim() !== "",
    );
    if (filled && box instanceof HTMLDetailsElement) box.open = true;
  }
}

/** Fill kept drafts in again and keep new ones. */
export function keepDrafts() {
  for (const form of document.querySelectorAll("form[data-draft]:not([data-no-outbox])")) {
    if (!(form instanceof HTMLFormElement) || form.dataset.kept) continue;
    form.dataset.kept = "yes";
    const correcting = form.querySelector('input[name="supersedes"]');
    if (!document.getElementById("problem") && !correcting) {
      const kept = localStorage.getItem(nameOf(form));
      if (kept && fill(form, JSON.parse(kept))) {
        const note = document.createElement("p");
        note.className = "said";
        note.setAttribute("role", "status");
        note.textContent = _("What you had typed before is filled in again; it has not been sent yet.");
        form.prepend(note);
      }
    }
    form.addEventListener("input", () => localStorage.setItem(nameOf(form), JSON.stringify(collect(form))));
  }
}
