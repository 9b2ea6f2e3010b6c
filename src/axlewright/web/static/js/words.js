// @ts-check
// Messages of the scripts in the reader's language: the page carries their translations in its head.

/** @type {Record<string, string | string[]>} */
const words = JSON.parse(globalThis.document?.querySelector('meta[name="axlewright-words"]')?.getAttribute("content") || "{}");

/**
 * Put values into the places of a message, such as "{count} readings".
 * @param {string} message
 * @param {Record<string, string | number>} values
 */
export function fillIn(message, values) {
  return message.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

/**
 * Translate a message; without a translation it stays as it is.
 * @param {string} message
 */
export function _(message) {
  const found = words[message];
  return typeof found === "string" ? found : message;
}

/**
 * Translate a message whose wording depends on a number, in a language with two forms, and put the number in.
 * @param {string} one
 * @param {string} many
 * @param {number} count
 */
export function plural(one, many, count) {
  const forms = words[one];
  const [single, several] = Array.isArray(forms) ? [forms[0], forms[forms.length - 1]] : [one, many];
  return fillIn(count === 1 ? single : several, { count });
}
