// The drawing marks the very place that was tapped. Without script, and by keyboard, it marks the middle of the part.
"use strict";
for (const drawing of document.querySelectorAll(".inspect-drawing .sheet-drawing")) {
  drawing.addEventListener("click", (event) => {
    const part = event.target.closest(".draw-tap");
    const isPlain = event.detail > 0 && event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey;
    if (!part || !isPlain) { return; }
    const box = drawing.getScreenCTM();
    const size = drawing.viewBox.baseVal;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(box.inverse());
    const thousandth = (along, whole) => Math.min(1000, Math.max(0, Math.round((along / whole) * 1000)));
    const address = new URL(part.getAttribute("href"), window.location.href);
    address.searchParams.set("at", `${thousandth(point.x, size.width)},${thousandth(point.y, size.height)}`);
    event.preventDefault();
    window.location.assign(address);
  });
}
