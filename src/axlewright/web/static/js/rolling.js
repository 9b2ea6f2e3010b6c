// @ts-check
// The rolling view follows its sliders: one request at a time, always the newest state, the address kept in step.
import { stepped } from "./steps.js";
import { _ } from "./words.js";

/** @param {string} name @param {string} flank */
const part = (name, flank) => document.querySelector(`[data-${name}="${flank}"]`);

/** @param {HTMLElement} root */
function start(root) {
  const controls = [...root.querySelectorAll("[data-control]")].map((field) => ({
    field: /** @type {HTMLElement} */ (field),
    name: /** @type {HTMLElement} */ (field).dataset.control ?? "",
    scale: Number(/** @type {HTMLElement} */ (field).dataset.scale),
    step: Number(/** @type {HTMLElement} */ (field).dataset.stepsize),
    low: Number(field.querySelector("input")?.min),
    high: Number(field.querySelector("input")?.max),
    number: /** @type {HTMLInputElement} */ (field.querySelector('input[type="number"]')),
    slider: /** @type {HTMLInputElement} */ (field.querySelector('input[type="range"]')),
  }));
  const design = root.dataset.design ?? "";
  const way = /** @type {HTMLSelectElement | null} */ (root.querySelector("#r-way"));

  function query() {
    const out = new URLSearchParams({ design });
    for (const c of controls) {
      const value = Number(c.number.value) * c.scale;
      if (Number.isFinite(value) && Math.abs(value) > 1e-12) out.set(c.name, String(Number(value.toPrecision(5))));
    }
    if (way?.value) out.set("way", way.value);
    return out;
  }

  let busy = false;
  let again = false;
  async function roll() {
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    root.setAttribute("aria-busy", "true");
    delete root.dataset.rolled;
    const asked = query();
    try {
      const answer = await fetch(`/api/roll?${asked}`, { credentials: "same-origin" });
      const data = await answer.json();
      if (answer.ok) show(data);
      else say(data.error);
      const address = new URLSearchParams(asked);
      if (root.dataset.beside) address.set("beside", root.dataset.beside);
      history.replaceState({}, "", `/rolling?${address}`);
      const compare = root.querySelector("[data-compare]");
      if (compare) compare.setAttribute("href", `/rolling?${asked}&beside=${encodeURIComponent(asked.toString())}`);
      const tag = root.querySelector("[data-tag]");
      if (tag && root.dataset.rolledFirst !== asked.toString()) tag.textContent = _("now");
      const alone = root.querySelector("[data-alone]");
      if (alone) alone.setAttribute("href", `/rolling?${asked}`);
      document.dispatchEvent(new CustomEvent("axlewright:rolled", { detail: data }));
    } catch {
      say(_("No answer from the bench; the picture shows the last state that was rolled."));
    } finally {
      busy = false;
      root.removeAttribute("aria-busy");
      if (again) {
        again = false;
        roll();
      } else {
        root.dataset.rolled = asked.toString();
      }
    }
  }

  /** @param {string} text */
  function say(text) {
    for (const flank of ["drive", "coast"]) {
      const line = /** @type {HTMLElement | null} */ (part("error", flank));
      if (line) {
        line.hidden = !text;
        line.textContent = text;
      }
    }
  }

  /** @param {any} data */
  function show(data) {
    for (const flank of ["drive", "coast"]) {
      const one = data.flanks[flank];
      const line = /** @type {HTMLElement} */ (part("error", flank));
      line.hidden = !one.error;
      line.textContent = one.error;
      // The drawings come from our own server and hold no text that anybody typed.
      for (const name of ["svg", "motion", "harmonics"]) {
        const place = part(name, flank);
        if (place) place.innerHTML = one.error ? "" : one[name];
      }
      const load = part("load", flank);
      if (load) load.textContent = one.error ? "" : one.load;
      const words = part("words", flank);
      if (words) words.textContent = one.error ? "" : one.words;
    }
    const state = root.querySelector("[data-statewords]");
    if (state) state.textContent = data.words;
    const backlash = root.querySelector("[data-backlash]");
    if (backlash) backlash.textContent = data.backlash;
    const ms = root.querySelector("[data-ms]");
    if (ms) ms.textContent = String(Math.round(data.ms));
  }

  for (const c of controls) {
    c.slider.addEventListener("input", () => {
      c.number.value = c.slider.value;
      roll();
    });
    c.number.addEventListener("input", () => {
      if (c.number.value === "" || !c.number.checkValidity()) return;
      c.slider.value = c.number.value;
      roll();
    });
    for (const button of c.field.querySelectorAll("[data-step]")) {
      button.addEventListener("click", () => {
        c.number.value = stepped(Number(c.number.value), Number(/** @type {HTMLElement} */ (button).dataset.step), c);
        c.slider.value = c.number.value;
        roll();
      });
    }
  }
  root.querySelector("form")?.addEventListener("submit", (event) => {
    event.preventDefault();
    roll();
  });
  way?.addEventListener("change", () => void roll());
  root.querySelector("#r-design")?.addEventListener("change", (event) => {
    location.assign(`/rolling?design=${encodeURIComponent(/** @type {HTMLSelectElement} */ (event.target).value)}`);
  });
  root.dataset.rolledFirst = query().toString();
  root.dataset.rolled = query().toString();
  root.dataset.script = "ready";
}

async function waitUntilReady() {
  for (;;) {
    await new Promise((r) => setTimeout(r, 700));
    try {
      const told = await (await fetch("/api/ready")).json();
      if (told.ready || told.trouble) return location.reload();
    } catch {
      /* the server is starting again: ask once more */
    }
  }
}

const root = document.querySelector("[data-rolling]");
if (root instanceof HTMLElement) start(root);
else if (document.querySelector("[data-warming]")) waitUntilReady();
