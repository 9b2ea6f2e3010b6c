// @ts-check
// Forms that nothing answered are kept here and sent again, each with its own key, so that none counts twice.
// What the bench then refuses stays here, flagged, until it is sent once more by hand or thrown away.
// A form with a PIN is never kept.
import { fill } from "./drafts.js";
import { _, fillIn, plural } from "./words.js";

const STORE = "outbox";
const REFILL = "axlewright-refill";

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("axlewright", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest<T>} work
 * @returns {Promise<T>}
 */
async function within(mode, work) {
  const base = await open();
  try {
    return await new Promise((resolve, reject) => {
      const asked = work(base.transaction(STORE, mode).objectStore(STORE));
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  } finally {
    base.close();
  }
}

/** @param {string} text */
function say(text) {
  const line = document.getElementById("waiting");
  if (!line) return;
  line.hidden = !text;
  line.textContent = text;
}

async function all() {
  const keys = await within("readonly", (s) => s.getAllKeys());
  const out = [];
  for (const key of keys) out.push({ key, kept: await within("readonly", (s) => s.get(key)) });
  return out.filter((one) => one.kept);
}

async function count() {
  return (await all()).filter((one) => !one.kept.refused).length;
}

async function report() {
  const found = await all();
  const n = found.filter((one) => !one.kept.refused).length;
  say(
    n
      ? plural(
          "No answer from the bench: {count} entry is kept here and will be sent as soon as it answers.",
          "No answer from the bench: {count} entries are kept here and will be sent as soon as it answers.",
          n,
        )
      : "",
  );
  const line = document.getElementById("waiting");
  for (const { key, kept } of found.filter((one) => one.kept.refused)) {
    if (!line) return;
    line.hidden = false;
    const part = document.createElement("span");
    part.className = "refused";
    const at = new Date(kept.at).toLocaleString(document.documentElement.lang || undefined);
    part.append("✕ ", fillIn(_("An entry kept here on {time} was not taken."), { time: at }), " ");
    const link = document.createElement("a");
    link.href = kept.page;
    link.textContent = _("Fill it in again and look");
    link.addEventListener("click", () => sessionStorage.setItem(REFILL, String(key)));
    const drop = document.createElement("button");
    drop.type = "button";
    drop.textContent = _("Throw it away");
    drop.addEventListener("click", () => void forgetKept(Number(key)));
    part.append(link, " ", drop);
    line.append(part);
  }
}

/**
 * Whether a form may be kept in this browser: one with a PIN never is.
 * @param {HTMLFormElement} form
 */
export function mayBeKept(form) {
  return !form.hasAttribute("data-no-outbox") && !form.querySelector('input[type="password"]');
}

/**
 * Forget a kept entry.
 * @param {number} key
 */
export async function forgetKept(key) {
  await within("readwrite", (s) => s.delete(key));
  await report();
}

/** Fill a refused entry into its form again, when its link was followed. */
export async function refill() {
  const key = Number(sessionStorage.getItem(REFILL));
  if (!key) return;
  sessionStorage.removeItem(REFILL);
  const kept = await within("readonly", (s) => s.get(key));
  const form = kept && [...document.forms].find((one) => one.action === kept.action && mayBeKept(one));
  if (!form) return;
  /** @type {Record<string, string>} */
  const values = {};
  for (const [name, value] of kept.parts) {
    if (typeof value === "string" && !["token", "key", "head", "supersedes"].includes(name)) values[name] = value;
  }
  fill(form, values);
  form.dataset.keptEntry = String(key);
  const folded = form.closest("details");
  if (folded) folded.open = true;
  form.scrollIntoView({ block: "start" });
}

/**
 * Keep a form for later.
 * @param {HTMLFormElement} form
 * @param {FormData} data
 * @returns {Promise<boolean>}
 */
export async function keepForLater(form, data) {
  if (!mayBeKept(form)) {
    say(_("No answer from the bench. Nothing was sent, and a PIN is never kept here: press the button again when the bench answers."));
    return false;
  }
  try {
    await within("readwrite", (s) =>
      s.add({
        action: form.action,
        multipart: form.enctype === "multipart/form-data",
        page: location.href,
        parts: [...data],
        at: Date.now(),
      }),
    );
    await report();
    return true;
  } catch {
    say(_("No answer from the bench, and this browser cannot keep the entry. Leave the page open and try again."));
    return false;
  }
}

/**
 * The job a form belongs to, by its address; empty for none.
 * @param {string} action
 */
export function jobOf(action) {
  return /\/jobs\/\d+(?=\/|$)/.exec(new URL(action, "http://bench.invalid").pathname)?.[0] ?? "";
}

/**
 * Entries that were kept one after the other without an answer were all made on the same state of the job. Once one of
 * them is in, the next ones for that job stand on the state it left; on any other state the bench asks.
 * @template {{ action: string, parts: [string, any][] }} T
 * @param {T[]} later
 * @param {T} sent
 * @param {string} head state of the job the bench answered with
 * @returns {T[]} the entries that changed
 */
export function standOn(later, sent, head) {
  const job = jobOf(sent.action);
  const before = sent.parts.find(([name]) => name === "head")?.[1];
  if (!job || !before || !head) return [];
  const changed = [];
  for (const kept of later) {
    const mine = kept.parts.find(([name, value]) => name === "head" && value === before);
    if (jobOf(kept.action) !== job || !mine) continue;
    mine[1] = head;
    changed.push(kept);
  }
  return changed;
}

let sending = false;

/** Send what is kept, oldest first; stop at the first that gets no answer. */
export async function sendKept() {
  if (sending) return;
  sending = true;
  try {
    const waiting = (await all()).filter((one) => !one.kept.refused);
    let refused = 0;
    for (const [index, { key, kept }] of waiting.entries()) {
      const body = kept.multipart ? new FormData() : new URLSearchParams();
      const token = document.querySelector('meta[name="axlewright-token"]')?.getAttribute("content") ?? "";
      for (const [name, value] of kept.parts) /** @type {any} */ (body).append(name, name === "token" ? token : value);
      let answer;
      try {
        answer = await fetch(kept.action, { method: "POST", body, credentials: "same-origin", headers: { "x-axlewright-live": "1" } });
      } catch {
        break;
      }
      if (answer.status >= 500) break;
      if (answer.ok && !answer.headers.has("x-axlewright-problem")) {
        await within("readwrite", (s) => s.delete(key));
        const shown = new DOMParser().parseFromString(await answer.text(), "text/html");
        const head = shown.querySelector('input[name="head"]')?.getAttribute("value") ?? "";
        const later = waiting.slice(index + 1);
        const changed = new Set(standOn(later.map((one) => one.kept), kept, head));
        for (const one of later) if (changed.has(one.kept)) await within("readwrite", (s) => s.put(one.kept, one.key));
      } else {
        refused += 1;
        await within("readwrite", (s) => s.put({ ...kept, refused: true }, key));
      }
    }
    await report();
    if (waiting.length && !refused && !(await count())) location.reload();
  } finally {
    sending = false;
  }
}

/** Look at the outbox now, when the network comes back, and every few seconds while something waits. */
export async function watchOutbox() {
  if (!("indexedDB" in window)) return;
  window.addEventListener("online", () => void sendKept());
  await refill();
  await report();
  if (await count()) await sendKept();
  setInterval(async () => {
    if (await count()) await sendKept();
  }, 4000);
}
