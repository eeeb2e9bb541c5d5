// The station's screen itself: whether the keyboard on the glass comes up, where the answer stands, and to which room the page belongs.
(() => {
  "use strict";
  const form = document.getElementById("scan-form");
  if (!form) return;
  const field = document.getElementById("code");
  const place = document.getElementById("answer-place");
  const toggle = document.getElementById("keyboard");
  const KEPT = `blotter keyboard ${document.getElementById("sounds")?.dataset.station || ""}`;

  // -- the keyboard on the glass ------------------------------------------------------------------------------
  // A scanner types without it, and it would cover the answer; whoever types calls it up, and this browser remembers.
  function wanted() {
    try { return localStorage.getItem(KEPT) === "on"; } catch { return false; }
  }

  function remember(on) {
    try { localStorage.setItem(KEPT, on ? "on" : "off"); } catch { /* it holds until the page is closed */ }
  }

  function show(on) {
    field.inputMode = on ? "text" : "none";
    toggle.setAttribute("aria-pressed", String(on));
  }

  if (matchMedia("(any-pointer: coarse)").matches) {
    toggle.hidden = false;
    document.getElementById("by-touch").hidden = false;
    show(wanted());
    toggle.addEventListener("click", () => {
      const on = field.inputMode === "none";
      show(on);
      remember(on);
      // Only a field that takes the focus anew brings the keyboard up, or lets it go.
      field.blur();
      field.focus({ preventScroll: true });
    });
  }

  // -- the answer ---------------------------------------------------------------------------------------------
  // Where the field stays at the upper edge, the answer is brought up to just below it when any of what to do next is hidden.
  function inSight() {
    const next = place.querySelector(".answer-next") || place;
    const stays = getComputedStyle(form).position === "sticky";
    const top = place.getBoundingClientRect().top;
    const under = stays ? form.getBoundingClientRect().bottom - 1 : 0;
    if (top >= under && next.getBoundingClientRect().bottom <= innerHeight) return;
    scrollBy({ top: top - (stays ? form.offsetHeight : 0), behavior: "instant" });
  }

  // -- the room -----------------------------------------------------------------------------------------------
  // The station was set to practise, or to real work, while this page was open: it belongs to the other room.
  function isOfAnotherRoom() {
    const answer = document.getElementById("answer");
    return Boolean(answer?.dataset.room) && answer.dataset.room !== form.elements.room.value;
  }

  function offerToLoad() {
    const link = document.createElement("a");
    link.className = "button button-main";
    link.href = location.pathname;
    link.textContent = say("Load this page again");
    document.querySelector("#answer .answer-slip").append(link);
  }

  // Whoever answers, the room or the station by itself, puts its answer in the one place.
  new MutationObserver(() => {
    if (isOfAnotherRoom() && !place.querySelector("a.button-main")) offerToLoad();
    inSight();
  }).observe(place, { childList: true });
})();
