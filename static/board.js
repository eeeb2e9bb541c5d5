// The board says when it no longer hears from the room; as long as it does, nothing here touches the page.
(() => {
  "use strict";
  const LOST_AFTER_MS = 50_000, LOOK_EVERY_MS = 5_000;
  const lost = document.getElementById("board-lost");
  let heard = performance.now();

  const at = (ms) => new Date(ms).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

  const tell = (words) => {
    if (lost.textContent === words) return;
    lost.textContent = words;
    lost.hidden = !words;
  };

  document.addEventListener("htmx:after:request", (event) => {
    const status = event.detail?.ctx?.response?.raw?.status ?? event.detail?.ctx?.response?.status ?? 0;
    if (status >= 200 && status < 400) {
      heard = performance.now();
      tell("");
    }
  });

  setInterval(() => {
    const silent = performance.now() - heard;
    if (silent > LOST_AFTER_MS) tell(say("The room has not been heard since {hour}. What stands here may be old.", { hour: at(Date.now() - silent) }));
  }, LOOK_EVERY_MS);
})();
