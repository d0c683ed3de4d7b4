/** A drawing keeps its letters unstretched: its width in its own units follows from how wide and high it stands. */
import { useEffect, useRef, useState } from "./html.js";

/**
 * How wide a drawing of a given height is in its own units.
 * @param {number} height of the drawing, in its own units
 * @returns {[{current: any}, number]} a reference for the element, and the width
 */
export function useWidth(height) {
  const element = useRef(null), [width, setWidth] = useState(1200);
  useEffect(() => {
    const watch = new ResizeObserver((entries) => {
      const box = entries[0].contentRect;
      if (box.height > 0) setWidth(Math.max(200, Math.round((box.width * height) / box.height)));
    });
    if (element.current) watch.observe(element.current);
    return () => watch.disconnect();
  }, [element.current]);
  return [element, width];
}
