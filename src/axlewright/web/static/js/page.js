// @ts-check
// Forms sent without leaving the page, drafts kept through a reload. Everything works without this file.
import { keepDrafts, forgetDraft } from "./drafts.js";
import { forgetKept, keepForLater, watchOutbox } from "./outbox.js";
import { watchSideways } from "./sideways.js";

/**
 * Put a page's main part in place of the present one.
 * @param {string} html
 * @param {string} url
 */
export function showPage(html, url) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const main = fresh.querySelector("main");
  const here = document.querySelector("main");
  if (!main || !here) {
    location.assign(url);
    return;
  }
  here.replaceWith(document.adoptNode(main));
  document.title = fresh.title;
  for (const script of fresh.querySelectorAll('head script[type="module"]')) {
    const src = script.getAttribute("src");
    if (src && !document.querySelector(`head script[src="${src}"]`)) {
      const one = document.createElement("script");
      one.type = "module";
      one.src = src;
      document.head.append(one);
    }
  }
  document.dispatchEvent(new CustomEvent("axlewright:shown"));
  // A form to mend says itself where to go on; without this file the browser goes there as well.
  const mend = document.querySelector("main [autofocus]");
  if (mend instanceof HTMLElement) {
    mend.focus({ preventScroll: true });
    mend.scrollIntoView({ block: "center" });
    return;
  }
  const target = document.getElementById("problem") || document.querySelector(location.hash || "#answer") || document.querySelector("main");
  if (target instanceof HTMLElement) {
    target.focus({ preventScroll: true });
    target.scrollIntoView({ block: "start" });
  }
}

/**
 * Send a form; keep it for later when nothing answers.
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 */
async function send(form, submitter) {
  const data = new FormData(form);
  if (submitter instanceof HTMLButtonElement && submitter.name) data.append(submitter.name, submitter.value);
  const buttons = form.querySelectorAll("button");
  buttons.forEach((b) => (b.disabled = true));
  const slow = form.querySelector("button[data-busy]");
  const before = slow?.textContent ?? "";
  if (slow instanceof HTMLElement) slow.textContent = slow.dataset.busy ?? before;
  form.setAttribute("aria-busy", "true");
  const body = form.enctype === "multipart/form-data" ? data : new URLSearchParams(/** @type {any} */ (data));
  try {
    const answer = await fetch(form.action, { method: "POST", body, credentials: "same-origin", redirect: "follow", headers: { "x-axlewright-live": "1" } });
    const html = await answer.text();
    if (answer.ok && !answer.headers.has("x-axlewright-problem")) {
      forgetDraft(form);
      if (form.dataset.keptEntry) await forgetKept(Number(form.dataset.keptEntry));
    }
    if (answer.redirected) {
      // fetch drops the fragment of a redirect: the answer stands at #answer.
      history.pushState({}, "", answer.url.replace(/([?&])said=[^&#]*&?/, "$1").replace(/[?&]$/, ""));
    }
    showPage(html, answer.url);
  } catch {
    if (await keepForLater(form, data)) forgetDraft(form);
    buttons.forEach((b) => (b.disabled = false));
  } finally {
    form.removeAttribute("aria-busy");
    if (slow) slow.textContent = before;
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement) || !form.hasAttribute("data-live") || event.defaultPrevented) return;
  event.preventDefault();
  send(form, event instanceof SubmitEvent ? event.submitter : null);
});

// A gauge that types a reading and presses Enter goes on to the next field; the last one sends.
document.addEventListener("keydown", (event) => {
  const at = event.target;
  if (event.key !== "Enter" || !(at instanceof HTMLInputElement) || at.type !== "text" || !at.form) return;
  if (!at.form.hasAttribute("data-draft")) return;
  const all = [...at.form.querySelectorAll('input[type="text"], textarea')].filter((e) => /** @type {HTMLElement} */ (e).offsetParent);
  const next = all[all.indexOf(at) + 1];
  if (next instanceof HTMLElement) {
    event.preventDefault();
    next.focus();
  }
});

window.addEventListener("popstate", () => location.reload());

function ready() {
  keepDrafts();
  const current = document.querySelector('.strip [aria-current="step"]');
  if (current instanceof HTMLElement) {
    const strip = current.closest(".strip");
    if (strip) strip.scrollLeft = current.offsetLeft - strip.clientWidth / 2 + current.clientWidth / 2;
  }
  watchSideways();
}
document.addEventListener("axlewright:shown", ready);
ready();
watchOutbox();
