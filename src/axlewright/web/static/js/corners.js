// @ts-check
// Four corners tapped on a photo: drag with a magnifier, or move with the arrow keys, or type the numbers.
// A guess to start from is drawn dashed until the corners are set.
import { _, fillIn, plural } from "./words.js";

const ZOOM = 3;
const LENS = 168;

/** @param {HTMLElement} box */
function start(box) {
  const stage = /** @type {HTMLElement} */ (box.querySelector("[data-stage]"));
  const image = /** @type {HTMLImageElement} */ (stage.querySelector("img"));
  const prompt = /** @type {HTMLElement} */ (box.querySelector("[data-prompt]"));
  const fields = /** @type {HTMLInputElement[]} */ ([...box.querySelectorAll("[data-corner]")]);
  const width = () => image.naturalWidth || Number(box.dataset.width);
  const height = () => image.naturalHeight || Number(box.dataset.height);
  const lines = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const outline = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
  lines.setAttribute("aria-hidden", "true");
  lines.append(outline);
  const ghost = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
  ghost.setAttribute("class", "ghost");
  ghost.setAttribute("points", box.dataset.guess || "");
  lines.append(ghost);
  const take = box.querySelector("[data-take-guess]");
  const clear = box.querySelector("[data-clear]");
  stage.append(lines);
  const lens = document.createElement("canvas");
  lens.width = lens.height = LENS;
  lens.className = "lens";
  lens.hidden = true;
  stage.append(lens);

  const handles = fields.map((field, index) => {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = "handle";
    handle.textContent = String(index + 1);
    handle.setAttribute(
      "aria-label",
      fillIn(_("Corner {number}, {name}: move with the arrow keys, Shift for ten points"), { number: index + 1, name: field.dataset.name || "" }),
    );
    stage.append(handle);
    return handle;
  });

  /** @param {number} i @returns {[number, number] | null} */
  function at(i) {
    const parts = fields[i].value.split(",").map(Number);
    return parts.length === 2 && parts.every(Number.isFinite) && fields[i].value.trim() ? [parts[0], parts[1]] : null;
  }

  /** @param {number} i @param {number} x @param {number} y */
  function set(i, x, y) {
    const cx = Math.min(Math.max(x, 0), width());
    const cy = Math.min(Math.max(y, 0), height());
    fields[i].value = `${cx.toFixed(1)},${cy.toFixed(1)}`;
    fields[i].dispatchEvent(new Event("input", { bubbles: true }));
    draw();
  }

  /** Whether two opposite sides of the outline cut each other. */
  function crossed() {
    const p = fields.map((_, i) => /** @type {[number, number]} */ (at(i)));
    /** @param {number} a @param {number} b @param {number} c */
    const turn = (a, b, c) => Math.sign((p[b][0] - p[a][0]) * (p[c][1] - p[a][1]) - (p[b][1] - p[a][1]) * (p[c][0] - p[a][0]));
    /** @param {number} a @param {number} b @param {number} c @param {number} d */
    const cut = (a, b, c, d) => turn(a, b, c) * turn(a, b, d) < 0 && turn(c, d, a) * turn(c, d, b) < 0;
    return cut(0, 1, 2, 3) || cut(1, 2, 3, 0);
  }

  /** How many corners still lie where they were guessed. */
  function left() {
    const guess = (box.dataset.guess || "").split(" ").map((pair) => pair.split(",").map(Number));
    return fields.filter((_, i) => {
      const p = at(i);
      return p && guess[i] && Math.abs(p[0] - guess[i][0]) < 0.5 && Math.abs(p[1] - guess[i][1]) < 0.5;
    }).length;
  }

  function draw() {
    /** @type {string[]} */
    const known = [];
    lines.setAttribute("viewBox", `0 0 ${width()} ${height()}`);
    fields.forEach((_, i) => {
      const p = at(i);
      handles[i].hidden = !p;
      if (p) {
        handles[i].style.left = `${(100 * p[0]) / width()}%`;
        handles[i].style.top = `${(100 * p[1]) / height()}%`;
        known.push(p.join(","));
      }
    });
    outline.setAttribute("points", known.join(" "));
    const next = fields.findIndex((_, i) => !at(i));
    const wrong = next < 0 && crossed();
    prompt.classList.toggle("error", wrong);
    const guessed = Boolean(box.dataset.guess) && !known.length;
    ghost.style.display = guessed ? "" : "none";
    if (take instanceof HTMLElement) take.hidden = !guessed;
    if (clear instanceof HTMLElement) clear.hidden = !known.length;
    const still = next < 0 ? left() : 0;
    const message = still
      ? plural("{count} number still lies where it was guessed: drag it to its corner of the tooth.", "{count} numbers still lie where they were guessed: drag each to its corner of the tooth.", still)
      : wrong
      ? _("The lines cross: the corners are not in order. Clear them and tap toe top, heel top, heel root, toe root.")
      : next < 0 ? _("All four corners are set. Drag near a number to correct it.") : _("Tap corner {number}: {name}.");
    prompt.textContent = fillIn(message, { number: next + 1, name: next < 0 ? "" : fields[next].dataset.name || "" });
    box.dataset.set = String(known.length);
  }

  /** @param {PointerEvent} event @returns {[number, number]} */
  function place(event) {
    const r = image.getBoundingClientRect();
    return [((event.clientX - r.left) / r.width) * width(), ((event.clientY - r.top) / r.height) * height()];
  }

  /** @param {number} x @param {number} y */
  function magnify(x, y) {
    const r = image.getBoundingClientRect();
    const source = (LENS / ZOOM) * (width() / r.width);
    const paint = lens.getContext("2d");
    if (!paint) return;
    paint.fillStyle = "#000";
    paint.fillRect(0, 0, LENS, LENS);
    paint.drawImage(image, x - source / 2, y - source / 2, source, source, 0, 0, LENS, LENS);
    paint.strokeStyle = "#fff";
    paint.lineWidth = 3;
    paint.beginPath();
    paint.moveTo(LENS / 2, LENS / 2 - 18);
    paint.lineTo(LENS / 2, LENS / 2 + 18);
    paint.moveTo(LENS / 2 - 18, LENS / 2);
    paint.lineTo(LENS / 2 + 18, LENS / 2);
    paint.stroke();
    paint.strokeStyle = "#000";
    paint.lineWidth = 1;
    paint.stroke();
    lens.hidden = false;
    // Away from the finger: in the other half of the picture.
    lens.style.left = x < width() / 2 ? "auto" : "0";
    lens.style.right = x < width() / 2 ? "0" : "auto";
  }

  let held = -1;
  let offX = 0;
  let offY = 0;

  /** @param {number} x @param {number} y */
  function nearest(x, y) {
    let best = -1;
    let least = Infinity;
    fields.forEach((_, i) => {
      const p = at(i);
      const away = p ? Math.hypot(p[0] - x, p[1] - y) : Infinity;
      if (away < least) [best, least] = [i, away];
    });
    return best;
  }

  stage.addEventListener("pointerdown", (event) => {
    // A tap sets the next corner; when all are set it takes hold of the nearest one, without making it jump.
    const [x, y] = place(event);
    const next = fields.findIndex((_, i) => !at(i));
    held = next >= 0 ? next : nearest(x, y);
    if (held < 0) return;
    event.preventDefault();
    stage.setPointerCapture(event.pointerId);
    const p = at(held);
    [offX, offY] = p ? [p[0] - x, p[1] - y] : [0, 0];
    if (!p) set(held, x, y);
    magnify(x + offX, y + offY);
  });
  stage.addEventListener("pointermove", (event) => {
    if (held < 0) return;
    const [x, y] = place(event);
    set(held, x + offX, y + offY);
    magnify(x + offX, y + offY);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    stage.addEventListener(name, () => {
      if (held >= 0) handles[held].focus({ preventScroll: true });
      held = -1;
      lens.hidden = true;
    });
  }
  handles.forEach((handle, i) =>
    handle.addEventListener("keydown", (event) => {
      const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const way = ways[/** @type {keyof typeof ways} */ (event.key)];
      const p = at(i);
      if (!way || !p) return;
      event.preventDefault();
      const step = event.shiftKey ? 10 : 1;
      set(i, p[0] + way[0] * step, p[1] + way[1] * step);
    }),
  );
  fields.forEach((field) => field.addEventListener("change", draw));
  take?.addEventListener("click", () => {
    (box.dataset.guess || "").split(" ").forEach((pair, i) => {
      const [x, y] = pair.split(",").map(Number);
      set(i, x, y);
    });
    handles[0].focus({ preventScroll: true });
  });
  if (clear instanceof HTMLElement) {
    clear.addEventListener("click", () => {
      fields.forEach((field) => {
        field.value = "";
        field.dispatchEvent(new Event("input", { bubbles: true }));
      });
      draw();
    });
  }
  if (image.complete) draw();
  else image.addEventListener("load", draw);
  box.dataset.script = "ready";
}

function all() {
  for (const box of document.querySelectorAll("[data-cornering]")) {
    if (box instanceof HTMLElement && !box.dataset.script) start(box);
  }
}
document.addEventListener("axlewright:shown", all);
all();
