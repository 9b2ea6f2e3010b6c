// @ts-check
// What can be pushed sideways fades out at the side where more is hidden.

const watched = new WeakSet();

/**
 * Which sides of a box hide something.
 * @param {{ scrollLeft: number, clientWidth: number, scrollWidth: number }} box
 * @returns {{ left: boolean, right: boolean }}
 */
export function hiddenSides(box) {
  return { left: box.scrollLeft > 2, right: box.scrollLeft + box.clientWidth < box.scrollWidth - 2 };
}

/** @param {HTMLElement} box */
function mark(box) {
  const { left, right } = hiddenSides(box);
  box.classList.toggle("more-left", left);
  box.classList.toggle("more-right", right);
}

/** Watch every strip, table and drawing on the page. */
export function watchSideways() {
  for (const box of document.querySelectorAll(".strip, .scroll, .drawing")) {
    if (!(box instanceof HTMLElement)) continue;
    mark(box);
    if (watched.has(box)) continue;
    watched.add(box);
    box.addEventListener("scroll", () => mark(box), { passive: true });
    box.closest("details")?.addEventListener("toggle", () => mark(box));
    if ("ResizeObserver" in window) new ResizeObserver(() => mark(box)).observe(box);
  }
}
