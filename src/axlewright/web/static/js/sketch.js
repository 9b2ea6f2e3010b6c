// @ts-check
// A mark drawn by finger on an empty tooth: kept as an outline, lengthwise −1 toe to +1 heel, profile −1 root to +1 top.

const LEFT = 30;
const TOP = 22;
const WIDE = 240;
const HIGH = 80;

/** @param {HTMLElement} box */
function start(box) {
  const svg = /** @type {SVGSVGElement} */ (box.querySelector("svg"));
  const line = /** @type {SVGPathElement} */ (box.querySelector(".s-line"));
  const kept = /** @type {HTMLInputElement} */ (box.querySelector("input"));
  /** @type {[number, number][]} */
  let points = kept.value
    .split(" ")
    .filter(Boolean)
    .map((p) => /** @type {[number, number]} */ (p.split(",").map(Number)));

  function draw() {
    const spots = points.map(([x, y]) => `${(LEFT + ((x + 1) / 2) * WIDE).toFixed(1)} ${(TOP + ((1 - y) / 2) * HIGH).toFixed(1)}`);
    line.setAttribute("d", spots.length ? `M${spots.join("L")}Z` : "");
  }

  /** @param {PointerEvent} event */
  function add(event) {
    const r = svg.getBoundingClientRect();
    const px = ((event.clientX - r.left) / r.width) * 300;
    const py = ((event.clientY - r.top) / r.height) * 124;
    const x = Math.min(1, Math.max(-1, (2 * (px - LEFT)) / WIDE - 1));
    const y = Math.min(1, Math.max(-1, 1 - (2 * (py - TOP)) / HIGH));
    const last = points[points.length - 1];
    if (!last || Math.hypot(last[0] - x, last[1] - y) > 0.03) points.push([x, y]);
    draw();
  }

  let drawing = false;
  svg.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    svg.setPointerCapture(event.pointerId);
    drawing = true;
    points = [];
    add(event);
  });
  svg.addEventListener("pointermove", (event) => {
    if (drawing) add(event);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    svg.addEventListener(name, () => {
      drawing = false;
      kept.value = points.map(([x, y]) => `${x.toFixed(3)},${y.toFixed(3)}`).join(" ");
      kept.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
  box.querySelector("[data-wipe]")?.addEventListener("click", () => {
    points = [];
    kept.value = "";
    kept.dispatchEvent(new Event("input", { bubbles: true }));
    draw();
  });
  draw();
  box.dataset.script = "ready";
}

function all() {
  for (const box of document.querySelectorAll("[data-sketch]")) {
    if (box instanceof HTMLElement && !box.dataset.script) start(box);
  }
}
document.addEventListener("axlewright:shown", all);
all();
