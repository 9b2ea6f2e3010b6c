// @ts-check
// The outline of a mark corrected on the unrolled tooth: strokes of a finger, a mouse or a pen put area in or
// take it away; the buttons of the four edges do the same by keyboard.
import { _, fillIn } from "./words.js";

const ROWS = 48;
const COLUMNS = 96;
const FINE = 2.2; // radius of a stroke, in cells
const BROAD = 5;
const KEPT = 60; // steps that can be undone

/** @param {string} lines kept lines, root row first @returns {Uint8Array} */
function parse(lines) {
  const mask = new Uint8Array(ROWS * COLUMNS);
  lines.split(" ").forEach((line, row) => {
    [...line].forEach((digit, at) => {
      const bits = Number.parseInt(digit, 16);
      for (let k = 0; k < 4; k++) mask[row * COLUMNS + 4 * at + k] = (bits >> (3 - k)) & 1;
    });
  });
  return mask;
}

/** @param {Uint8Array} mask */
function write(mask) {
  const lines = [];
  for (let row = 0; row < ROWS; row++) {
    let line = "";
    for (let at = 0; at < COLUMNS; at += 4) {
      let bits = 0;
      for (let k = 0; k < 4; k++) bits = 2 * bits + mask[row * COLUMNS + at + k];
      line += bits.toString(16);
    }
    lines.push(line);
  }
  return lines.join(" ");
}

/**
 * Move one edge of the mark by one cell; what lies between the edges is stretched evenly.
 * @param {Uint8Array} mask @param {string} edge @param {number} by
 */
function nudge(mask, edge, by) {
  const lengthwise = edge === "toe" || edge === "heel";
  const cells = lengthwise ? COLUMNS : ROWS;
  /** @param {number} place @param {number} other */
  const index = (place, other) => (lengthwise ? other * COLUMNS + place : place * COLUMNS + other);
  const others = lengthwise ? ROWS : COLUMNS;
  let first = cells;
  let last = -1;
  for (let place = 0; place < cells; place++) {
    for (let other = 0; other < others; other++) {
      if (mask[index(place, other)]) {
        first = Math.min(first, place);
        last = Math.max(last, place);
      }
    }
  }
  if (last < 0) return mask;
  const low = edge === "toe" || edge === "root";
  const from = low ? Math.max(0, first - by) : first;
  const to = low ? last : Math.min(cells - 1, last + by);
  if (to - from < 2) return mask;
  const out = new Uint8Array(mask.length);
  for (let place = from; place <= to; place++) {
    const source = Math.min(last, Math.floor(first + ((place + 0.5 - from) * (last + 1 - first)) / (to + 1 - from)));
    for (let other = 0; other < others; other++) out[index(place, other)] = mask[index(source, other)];
  }
  return out;
}

/** @param {HTMLFormElement} form */
function start(form) {
  const canvas = /** @type {HTMLCanvasElement} */ (form.querySelector("canvas"));
  const field = /** @type {HTMLInputElement} */ (form.querySelector('input[name="mask"]'));
  const told = /** @type {HTMLElement} */ (form.querySelector("[data-told]"));
  const back = /** @type {HTMLButtonElement} */ (form.querySelector("[data-undo]"));
  const tools = /** @type {HTMLButtonElement[]} */ ([...form.querySelectorAll("[data-tool]")]);
  const broad = /** @type {HTMLButtonElement} */ (form.querySelector("[data-brush]"));
  const given = parse(form.dataset.mask || "");
  const asRead = form.dataset.asRead ? parse(form.dataset.asRead) : given;
  /** @type {Uint8Array} */
  let mask = given.slice();
  /** @type {Uint8Array[]} */
  const before = [];
  let adding = true;

  function draw() {
    const paint = canvas.getContext("2d");
    if (!paint) return;
    const cell = canvas.width / COLUMNS;
    paint.clearRect(0, 0, canvas.width, canvas.height);
    paint.fillStyle = "rgba(0, 140, 190, 0.38)";
    /** @param {number} row @param {number} column */
    const at = (row, column) => row >= 0 && row < ROWS && column >= 0 && column < COLUMNS && mask[row * COLUMNS + column] === 1;
    paint.beginPath();
    for (let row = 0; row < ROWS; row++) {
      for (let column = 0; column < COLUMNS; column++) {
        if (!at(row, column)) continue;
        const x = column * cell;
        const y = (ROWS - 1 - row) * cell;
        paint.fillRect(x, y, cell, cell);
        if (!at(row + 1, column)) paint.rect(x, y, cell, 0);
        if (!at(row - 1, column)) paint.rect(x, y + cell, cell, 0);
        if (!at(row, column - 1)) paint.rect(x, y, 0, cell);
        if (!at(row, column + 1)) paint.rect(x + cell, y, 0, cell);
      }
    }
    for (const [style, wide] of /** @type {[string, number][]} */ ([["#ffffff", 5], ["#003b52", 2.5]])) {
      paint.strokeStyle = style;
      paint.lineWidth = wide;
      paint.stroke();
    }
    back.disabled = !before.length;
  }

  /** Say how large the mark is, and bring it into the form when it was changed. */
  function settle() {
    const changed = mask.some((v, i) => v !== given[i]);
    field.value = changed ? write(mask) : "";
    const share = mask.reduce((sum, v) => sum + v, 0) / mask.length;
    told.textContent = fillIn(_("The mark covers {percent} % of the flank."), { percent: (100 * share).toFixed(0) });
    draw();
  }

  function remember() {
    before.push(mask.slice());
    if (before.length > KEPT) before.shift();
  }

  /** @param {number} x @param {number} y in cells, y from the top */
  function stamp(x, y) {
    const radius = broad.getAttribute("aria-pressed") === "true" ? BROAD : FINE;
    for (let i = Math.floor(y - radius); i <= y + radius; i++) {
      for (let j = Math.floor(x - radius); j <= x + radius; j++) {
        if (i < 0 || j < 0 || i >= ROWS || j >= COLUMNS) continue;
        if (Math.hypot(j + 0.5 - x, i + 0.5 - y) <= radius) mask[(ROWS - 1 - i) * COLUMNS + j] = adding ? 1 : 0;
      }
    }
  }

  /** @type {[number, number] | null} */
  let held = null;
  /** @param {PointerEvent} event @returns {[number, number]} */
  function place(event) {
    const r = canvas.getBoundingClientRect();
    return [((event.clientX - r.left) / r.width) * COLUMNS, ((event.clientY - r.top) / r.height) * ROWS];
  }
  canvas.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    remember();
    held = place(event);
    stamp(...held);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) return;
    const to = place(event);
    const steps = Math.max(1, Math.ceil(Math.hypot(to[0] - held[0], to[1] - held[1])));
    for (let k = 1; k <= steps; k++) {
      stamp(held[0] + ((to[0] - held[0]) * k) / steps, held[1] + ((to[1] - held[1]) * k) / steps);
    }
    held = to;
    draw();
  });
  for (const name of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(name, () => {
      if (held) settle();
      held = null;
    });
  }
  for (const tool of tools) {
    tool.addEventListener("click", () => {
      adding = tool.dataset.tool === "add";
      for (const one of tools) one.setAttribute("aria-pressed", String(one === tool));
    });
  }
  broad.addEventListener("click", () => broad.setAttribute("aria-pressed", String(broad.getAttribute("aria-pressed") !== "true")));
  back.addEventListener("click", () => {
    mask = before.pop() ?? mask;
    settle();
  });
  form.querySelector("[data-reset]")?.addEventListener("click", () => {
    remember();
    mask = asRead.slice();
    settle();
  });
  form.querySelector("[data-take-other]")?.addEventListener("click", () => {
    remember();
    mask = parse(form.dataset.other || "");
    settle();
  });
  for (const button of form.querySelectorAll("[data-nudge]")) {
    if (!(button instanceof HTMLElement)) continue;
    button.addEventListener("click", () => {
      remember();
      mask = nudge(mask, button.dataset.nudge || "", Number(button.dataset.by));
      settle();
    });
  }
  for (const part of form.querySelectorAll("[data-script-only]")) if (part instanceof HTMLElement) part.hidden = false;
  for (const part of form.querySelectorAll("[data-no-script]")) if (part instanceof HTMLElement) part.hidden = true;
  settle();
  form.dataset.script = "ready";
}

function all() {
  for (const form of document.querySelectorAll("form[data-outline]")) {
    if (form instanceof HTMLFormElement && !form.dataset.script) start(form);
  }
}
document.addEventListener("axlewright:shown", all);
all();
