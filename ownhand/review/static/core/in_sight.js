// What has the focus stays in sight: what appears or grows above it must not push it out of the window.

/** Whether a part of an element is in the window. */
export function isInSight(el) {
  const { top, bottom, left, right } = el.getBoundingClientRect();
  return bottom > 0 && top < innerHeight && right > 0 && left < innerWidth;
}

let held = null;
let seen = false;
let place = "";
let byTab = false;

const where = () => `${scrollX} ${scrollY}`;

function note(is) {
  seen = is;
  place = where();
}

const look = new IntersectionObserver((entries) => {
  const { isIntersecting, target } = entries.at(-1);
  if (target !== document.activeElement) return;
  if (seen && !isIntersecting) target.scrollIntoView({ block: "nearest" });
  else note(isIntersecting);
});

/** Whether the person has an element in sight, also where something pushed it away since the last picture. */
export const wasInSight = (el) => (el === held ? seen : isInSight(el));

/** Keep in sight what has the focus, wherever it goes, until the person scrolls away. */
export function keepInSight() {
  document.addEventListener("keydown", ({ key }) => { byTab = key === "Tab"; }, { capture: true });
  document.addEventListener("focusin", ({ target }) => {
    look.disconnect();
    held = null;
    const wanted = byTab;
    byTab = false;
    // The browser scrolls to it after it has told this; something may have pushed it away again since.
    setTimeout(() => {
      if (target !== document.activeElement) return;
      if (wanted && !isInSight(target)) target.scrollIntoView({ block: "nearest" });
      held = target;
      note(isInSight(target));
      look.observe(target);
    });
  });
  // Told before the observer is, in the same frame: who scrolls away from it wants to look elsewhere. A scroll to it may
  // be told only now, when something has pushed it away again.
  document.addEventListener("scroll", () => {
    const is = isInSight(document.activeElement);
    if (is || where() !== place) note(is);
  }, { capture: true, passive: true });
}
