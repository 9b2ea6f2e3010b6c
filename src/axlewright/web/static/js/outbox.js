// @ts-check
// Forms that nothing answered are kept here and sent again, each with its own key, so that none counts twice.

const STORE = "outbox";

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

async function count() {
  return within("readonly", (s) => s.count());
}

async function report() {
  const n = await count();
  say(n ? `No answer from the bench: ${n} ${n === 1 ? "entry is" : "entries are"} kept here and will be sent as soon as it answers.` : "");
}

/**
 * Keep a form for later.
 * @param {HTMLFormElement} form
 * @param {FormData} data
 * @returns {Promise<boolean>}
 */
export async function keepForLater(form, data) {
  try {
    await within("readwrite", (s) =>
      s.add({
        action: form.action,
        multipart: form.enctype === "multipart/form-data",
        parts: [...data].filter(([name]) => name !== "head"),
        at: Date.now(),
      }),
    );
    await report();
    return true;
  } catch {
    say("No answer from the bench, and this browser cannot keep the entry. Leave the page open and try again.");
    return false;
  }
}

let sending = false;

/** Send what is kept, oldest first; stop at the first that gets no answer. */
export async function sendKept() {
  if (sending) return;
  sending = true;
  try {
    const keys = await within("readonly", (s) => s.getAllKeys());
    const troubles = [];
    for (const key of keys) {
      const kept = await within("readonly", (s) => s.get(key));
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
      await within("readwrite", (s) => s.delete(key));
      if (!answer.ok || answer.headers.has("x-axlewright-problem")) troubles.push(kept);
    }
    if (keys.length && !(await count())) {
      say("");
      if (troubles.length) {
        say(`Sent, but ${troubles.length} could not be taken: open the job and look at the step once more.`);
      } else {
        location.reload();
      }
    } else {
      await report();
    }
  } finally {
    sending = false;
  }
}

/** Look at the outbox now, when the network comes back, and every few seconds while something waits. */
export async function watchOutbox() {
  if (!("indexedDB" in window)) return;
  window.addEventListener("online", () => void sendKept());
  if (await count()) await sendKept();
  setInterval(async () => {
    if (await count()) await sendKept();
  }, 4000);
}
