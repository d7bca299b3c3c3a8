// How much larger drawings are than on a small screen: they follow the size of the page's own text.

/** Text size that the drawings are made for, in pixels. */
const MADE_FOR = 14;

export function drawingScale(): number {
  const size = Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
  return Number.isFinite(size) && size > 0 ? size / MADE_FOR : 1;
}
