// Four sounds, one for each kind of answer, made here and not played from files. The station says what it showed ("scanned", or
// "told" where it answered by itself).
(() => {
  "use strict";
  const panel = document.getElementById("sounds");
  const Context = window.AudioContext;
  // Pitch in Hz (0 is a rest) and length in seconds. They differ in how many notes are heard (two rising, one long, three low and
  // rough, four to and fro), so that they are told apart without a good ear; all lie between 300 and 1000 Hz, which a small
  // loudspeaker still gives, and most people hear who have lost the high tones (common practice, no source).
  const SCORE = {
    "done": [[660, 0.1], [0, 0.05], [990, 0.18]],
    "not-yet": [[440, 0.6]],
    "stop": [[330, 0.14], [0, 0.08], [330, 0.14], [0, 0.08], [330, 0.14]],
    "which-one": [[880, 0.08], [0, 0.06], [587, 0.08], [0, 0.06], [880, 0.08], [0, 0.06], [587, 0.08]],
  };
  const LOUD = [0, 0.08, 0.22, 0.6];
  const LATE_MS = 500;
  const EDGE_S = 0.012; // a note that begins at once clicks
  let audio = null;
  let playing = null;

  // -- the notes ----------------------------------------------------------------------------------------------
  // Write a sound into a context, its first note `at` that context's seconds; it is ended by disconnecting what is given back.
  function write(context, kind, loudness, at) {
    const all = context.createGain();
    all.gain.value = LOUD[loudness];
    all.connect(context.destination);
    for (const [pitch, length] of SCORE[kind]) {
      if (pitch) note(context, all, kind === "stop" ? "square" : "triangle", pitch, at, length);
      at += length;
    }
    return all;
  }

  function note(context, all, shape, pitch, at, length) {
    const tone = context.createOscillator();
    const swell = context.createGain();
    tone.type = shape;
    tone.frequency.value = pitch;
    swell.gain.setValueAtTime(0, at);
    swell.gain.linearRampToValueAtTime(shape === "square" ? 0.6 : 1, at + EDGE_S);
    swell.gain.setValueAtTime(shape === "square" ? 0.6 : 1, at + length - EDGE_S);
    swell.gain.linearRampToValueAtTime(0, at + length);
    tone.connect(swell).connect(all);
    tone.start(at);
    tone.stop(at + length);
  }

  window.blotterSounds = { SCORE, write };
  if (!panel) return;

  // -- how loud, kept for this station in this browser ----------------------------------------------------------
  const shelf = `blotter-sounds-${panel.dataset.station}`;
  let set = { loudness: 2, muted: false };
  try {
    const kept = JSON.parse(localStorage.getItem(shelf) || "{}");
    if ([0, 1, 2, 3].includes(kept.loudness)) set.loudness = kept.loudness;
    set.muted = kept.muted === true;
  } catch { /* not kept here, then */ }

  function change(values) {
    set = { ...set, ...values };
    if (playing && (set.muted || !set.loudness)) playing.disconnect();
    try { localStorage.setItem(shelf, JSON.stringify(set)); } catch { /* holds until the page is left */ }
    draw();
  }

  function draw() {
    const silent = set.muted || !set.loudness;
    const words = silent ? say("Sound is off: the answers are only shown.") : say("Sound is on, loudness {loudness} of 3.", { loudness: set.loudness });
    document.getElementById("sounds-say").textContent = Context ? words : say("This browser makes no sounds: the answers are only shown.");
    document.getElementById("mute").textContent = silent ? say("Turn the sound on") : say("Turn the sound off");
  }

  // -- playing --------------------------------------------------------------------------------------------------
  // Browsers let a page sound only after a key or a touch; before that nothing is opened, so that nothing is complained of.
  function wake(event) {
    if (!event.isTrusted || navigator.userActivation?.hasBeenActive === false || !Context) return;
    try { audio ||= new Context(); } catch { return; }
    if (audio.state !== "running") audio.resume().catch(() => {});
  }

  function sound(kind) {
    if (!audio || set.muted || !set.loudness || !Object.hasOwn(SCORE, kind)) return;
    if (audio.state === "running") { begin(kind); return; }
    // Falling asleep again is the browser's right. A sound that would come late is left out: it would belong to no answer.
    const asked = performance.now();
    audio.resume().then(() => { if (performance.now() - asked < LATE_MS) begin(kind); }).catch(() => {});
  }

  function begin(kind) {
    if (playing) playing.disconnect();
    playing = write(audio, kind, set.loudness, audio.currentTime + 0.01);
  }

  for (const each of ["keydown", "pointerdown", "pointerup", "touchend"]) document.addEventListener(each, wake, { capture: true, passive: true });
  for (const each of ["scanned", "told"]) document.body.addEventListener(each, (event) => sound(event.detail));

  // -- the buttons ------------------------------------------------------------------------------------------------
  function turn() {
    const silent = set.muted || !set.loudness;
    change({ muted: !silent, loudness: silent ? set.loudness || 2 : set.loudness });
  }

  function turnTo(loudness) {
    change({ loudness: Math.min(Math.max(loudness, 0), 3), muted: loudness > set.loudness ? false : set.muted });
    sound("done");
  }

  document.getElementById("mute").addEventListener("click", turn);
  document.getElementById("quieter").addEventListener("click", () => turnTo(set.loudness - 1));
  document.getElementById("louder").addEventListener("click", () => turnTo(set.loudness + 1));
  for (const each of panel.querySelectorAll("[data-sound]")) each.addEventListener("click", () => sound(each.dataset.sound));
  panel.hidden = false;
  draw();
})();
