// @ts-check
// The unit beside a field is a button that types the other one: number pads have no letters. Works without it too.
import { _, fillIn } from "./words.js";

/** @type {Record<string, string>} */
const OTHER = { in: "mm", mm: "in", "lb-in": "N·m", "N·m": "lb-in", lbf: "N", N: "lbf" };

/**
 * A typed value with this unit behind it, or with none; an empty one stays empty. What was typed with any other
 * unit is left alone.
 * @param {string} value
 * @param {string} unit
 * @param {boolean} wanted
 */
export function withUnit(value, unit, wanted) {
  const text = value.trimEnd();
  const bare = text.endsWith(unit) ? text.slice(0, -unit.length).trimEnd() : text;
  if (!wanted) return bare === text ? value : bare;
  return /[\d.,]$/.test(bare) ? `${bare} ${unit}` : value;
}

/** @param {HTMLElement} label */
function upgrade(label) {
  const own = label.textContent?.trim() ?? "";
  const other = OTHER[own];
  const field = label.previousElementSibling;
  if (!other || !(field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)) return;
  let swapped = field.value.trimEnd().endsWith(` ${other}`);
  const button = document.createElement("button");
  button.type = "button";
  button.className = "unit";
  const show = () => {
    button.textContent = swapped ? other : own;
    button.setAttribute("aria-label", fillIn(_("{unit}; change to {other}"), { unit: swapped ? other : own, other: swapped ? own : other }));
  };
  const write = () => {
    const now = withUnit(field.value, other, swapped);
    if (now === field.value) return;
    field.value = now;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  button.addEventListener("click", () => {
    swapped = !swapped;
    show();
    write();
  });
  field.addEventListener("change", write);
  field.addEventListener("input", () => {
    if (swapped || !field.value.trimEnd().endsWith(other)) return;
    swapped = true;
    show();
  });
  show();
  label.replaceWith(button);
}

/** Make a button of every unit beside a field of a step. */
export function unitButtons() {
  document.querySelectorAll("#entryform .entry > span.unit").forEach((one) => one instanceof HTMLElement && upgrade(one));
}
