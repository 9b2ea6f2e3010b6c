// @ts-check
// Steps of a number between two ends.

/**
 * The next whole step up or down from a value, within reach; a value between two steps goes to the nearer end.
 * @param {number} value
 * @param {number} way
 * @param {{ step: number, low: number, high: number }} reach
 */
export function stepped(value, way, { step, low, high }) {
  const steps = (Number.isFinite(value) ? value : 0) / step;
  const whole = way > 0 ? Math.floor(steps + 1e-6) + 1 : Math.ceil(steps - 1e-6) - 1;
  return String(Number(Math.min(high, Math.max(low, whole * step)).toFixed(6)));
}
