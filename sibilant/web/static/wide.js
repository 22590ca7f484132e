// A table wider than its place says that it scrolls, for as long as it does.
const seen = new ResizeObserver((changed) => {
  for (const { target } of changed) {
    const box = target.closest(".wide");
    box.classList.toggle("scrolls", box.scrollWidth > box.clientWidth + 1);
  }
});

/** Watch a box and what is in it. */
export function watch(box) {
  seen.observe(box);
  for (const inside of box.children) seen.observe(inside);
}
for (const box of document.querySelectorAll(".wide")) watch(box);
