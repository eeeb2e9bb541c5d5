// The scanner: what a check card tells of keyboard, prefix and line end, and how scans are put right in this browser.
// A scanner types keys, not characters: set for another keyboard than the computer's, it types other characters.
(() => {
  "use strict";
  const CHECK = "Quay-0123456789-ZWM";
  const KEPT = "blotter-scanner";
  const QUICK_MS = 50; // between two characters of a scanner, in the middle; nobody types so fast. Common practice, no source.
  const ENDS_MS = 100; // a Tab so soon after a quick run of characters is the scanner's; later, it is somebody's own
  const SILENT_MS = 700; // after the last character of a card: nothing more comes

  // The same keys on an American keyboard and on another, from memory of the German (DIN 2137) and French (AZERTY) ones.
  // Dead keys are left out: no number and no card has a character of theirs.
  const KEYS = {
    qwerty: ["", ""],
    qwertz: ["yzYZ-_[{]};:'\"\\|<>/?~@#^&*()", "zyZYß?üÜ+*öÖäÄ#';:-_°\"§&/()="],
    azerty: ["qawzQAWZ1234567890!@#$%^&*()-_]};:'\"\\|mM,<.>/?", "aqzwAQZW&é\"'(-è_çà1234567890)°$£mMù%*µ,?;.:/!§"],
  };
  const SHIFTS = "1!2@3#4$5%6^7&8*9(0)-_=+[{]};:'\"\\|,<.>/?`~";

  // -- which keys -----------------------------------------------------------------------------------------------
  function changed(text, from, to) {
    const into = new Map([...from].map((key, at) => [key, [...to][at]]));
    return [...text].map((key) => into.get(key) ?? key).join("");
  }

  function typed(way, text) {
    // A way is a keyboard's name, or "not-" before it: the scanner is set for that keyboard, and the computer has the American.
    const [from, to] = KEYS[way.replace("not-", "")];
    return way.startsWith("not-") ? changed(text, to, from) : changed(text, from, to);
  }

  function printed(way, text) {
    return typed(way.startsWith("not-") ? way.slice(4) : way === "qwerty" ? way : `not-${way}`, text);
  }

  function otherCase(text) {
    return [...text].map((key) => (key === key.toLowerCase() ? key.toUpperCase() : key.toLowerCase())).join("");
  }

  function otherShift(text) {
    const shifted = (key) => {
      const at = SHIFTS.indexOf(key);
      return at < 0 ? otherCase(key) : SHIFTS[at % 2 ? at - 1 : at + 1];
    };
    return [...text].map(shifted).join("");
  }

  const WAYS = ["qwerty", "qwertz", "azerty", "not-qwertz", "not-azerty"];
  // Caps Lock turns letters only, or on some keyboards every key; scanners can be set to write all large or all small.
  const CASES = [
    ["as-printed", (text) => text],
    ["caps-lock", otherCase],
    ["caps-lock", otherShift],
    ["changed", (text) => text.toUpperCase()],
    ["changed", (text) => text.toLowerCase()],
  ];

  // What the check card tells, as it came in: {way, letters, prefix, suffix}; null where nothing known makes it so.
  function judge(came) {
    for (const [letters, turn] of CASES) {
      for (const way of WAYS) {
        const expected = typed(way, turn(CHECK));
        const at = came.indexOf(expected);
        if (at >= 0) return { way, letters, prefix: came.slice(0, at), suffix: came.slice(at + expected.length) };
      }
    }
    return null;
  }

  // A scan as it is printed, by what was kept of the check card.
  function putRight(came, kept) {
    let text = came;
    if (kept.prefix && text.startsWith(kept.prefix)) text = text.slice(kept.prefix.length);
    if (kept.suffix && text.endsWith(kept.suffix)) text = text.slice(0, -kept.suffix.length);
    return printed(kept.way, text);
  }

  function isPlain(found) {
    return found.way === "qwerty" && !found.prefix && !found.suffix;
  }

  // -- what is kept in this browser -----------------------------------------------------------------------------
  function kept() {
    try {
      const found = JSON.parse(localStorage.getItem(KEPT) || "null");
      const texts = found && [found.way, found.prefix, found.suffix].every((each) => typeof each === "string");
      return texts && WAYS.includes(found.way) ? found : null;
    } catch { return null; }
  }

  function keep(found) {
    try {
      if (found) localStorage.setItem(KEPT, JSON.stringify({ way: found.way, prefix: found.prefix, suffix: found.suffix }));
      else localStorage.removeItem(KEPT);
      return true;
    } catch { return false; }
  }

  // -- who types: a scanner or a person -------------------------------------------------------------------------
  function watch(field) {
    let times = [];
    field.addEventListener("input", (event) => {
      if (field.value.length <= 1) times = [];
      if (event.inputType === "insertText" && field.value) times.push(event.timeStamp);
    });
    return {
      isQuick() {
        const gaps = times.slice(1).map((time, at) => time - times[at]).sort((a, b) => a - b);
        return gaps.length >= 3 && gaps[gaps.length >> 1] <= QUICK_MS;
      },
      since: (time) => (times.length ? time - times[times.length - 1] : Infinity),
    };
  }

  function says(found) {
    const parts = [found.way === "qwerty" ? "" : WORDS[found.way].short, found.prefix && say("“{prefix}” before each code is dropped", { prefix: found.prefix }),
      found.suffix && say("“{suffix}” after each code is dropped", { suffix: found.suffix })];
    return parts.filter(Boolean).join("; ");
  }

  const WORDS = {
    "qwerty": { is: say("Letters, digits and hyphens arrive as they are printed.") },
    "qwertz": {
      short: say("German keys (QWERTZ) are put right"),
      is: say("This computer has a German keyboard (QWERTZ), and the scanner types for an American one: Y and Z change places, a hyphen becomes ß."),
      set: say("Set the scanner’s keyboard country to Germany, by its own booklet."),
    },
    "azerty": {
      short: say("French keys (AZERTY) are put right"),
      is: say("This computer has a French keyboard (AZERTY), and the scanner types for an American one: digits become signs, and A, Q, W, Z and M change places."),
      set: say("Set the scanner’s keyboard country to France, by its own booklet."),
    },
    "not-qwertz": {
      short: say("keys of a scanner set for German (QWERTZ) are put right"),
      is: say("The scanner types for a German keyboard (QWERTZ), and this computer has another: Y and Z change places, a hyphen becomes /."),
      set: say("Set the scanner’s keyboard country to USA, by its own booklet."),
    },
    "not-azerty": {
      short: say("keys of a scanner set for French (AZERTY) are put right"),
      is: say("The scanner types for a French keyboard (AZERTY), and this computer has another: digits become signs, and A, Q, W, Z and M change places."),
      set: say("Set the scanner’s keyboard country to USA, by its own booklet."),
    },
  };
  const ENDS = {
    enter: say("Enter comes after the code. Good."),
    tab: say("Tab comes after the code. A station takes that as well."),
    none: say("Nothing comes after the code. Set the scanner to send Enter after each code, by its own booklet."),
  };

  // -- at a station: a scan is put right before it is sent; what a person types is left as it is -------------------
  const station = document.getElementById("code");
  const watched = station && watch(station);
  window.blotterScanner = {
    judge, putRight, typed, CHECK,
    read(text) {
      const how = kept();
      return how && watched && watched.isQuick() ? putRight(text, how) : text;
    },
  };
  const note = document.getElementById("scanner-note");
  if (note && kept()) note.textContent = say("This scanner: {how}.", { how: says(kept()) });

  // -- the page of the check --------------------------------------------------------------------------------------
  const form = document.getElementById("scanner-check");
  if (!form) return;
  const field = document.getElementById("scanned");
  const told = document.getElementById("scanner-told");
  const right = document.getElementById("put-right");
  const stop = document.getElementById("leave-as-is");
  const state = document.getElementById("scanner-state");
  const typing = watch(field);
  let found = null;
  let silence = 0;

  function linesFor(came, end) {
    if (!found) {
      return [say("This is not what the card says: “{came}” came in.", { came }),
        say("Scan the card again. If it stays so, set the scanner’s keyboard country to that of this computer, by its own booklet.")];
    }
    const words = WORDS[found.way];
    const caps = found.letters === "caps-lock" && say("Caps Lock is on at this computer. Switch it off, and scan the card again.");
    const all = found.letters === "changed" && say("Large and small letters come in alike. That does no harm.");
    const before = found.prefix && say("Before each code comes “{prefix}”. Set the scanner to send nothing before it.", { prefix: found.prefix });
    const after = found.suffix && say("After each code comes “{suffix}”. Set the scanner to send only Enter after it.", { suffix: found.suffix });
    return [words.is, words.set, caps, all, before, after, ENDS[end]].filter(Boolean);
  }

  function show(came, end) {
    clearTimeout(silence);
    field.value = "";
    if (!came.trim()) return;
    found = judge(came);
    const lines = linesFor(came, end).map((words) => Object.assign(document.createElement("li"), { textContent: words }));
    told.replaceChildren(...lines);
    told.dataset.way = found ? found.way : "unknown";
    told.dataset.end = end;
    right.hidden = !found || isPlain(found) || found.letters === "caps-lock";
    field.focus({ preventScroll: true });
  }

  function drawState() {
    const now = kept();
    state.textContent = now ? say("In this browser: {how}.", { how: says(now) }) : say("In this browser scans are taken as they come.");
    stop.hidden = !now;
  }

  form.addEventListener("submit", (event) => { event.preventDefault(); show(field.value, "enter"); });
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Tab" || event.shiftKey || !typing.isQuick() || typing.since(event.timeStamp) > ENDS_MS) return;
    event.preventDefault();
    show(field.value, "tab");
  });
  field.addEventListener("input", () => {
    clearTimeout(silence);
    silence = setTimeout(() => { if (typing.isQuick()) show(field.value, "none"); }, SILENT_MS);
  });
  right.addEventListener("click", () => {
    const isKept = keep(found);
    right.hidden = true;
    drawState();
    if (!isKept) state.textContent = say("This browser keeps nothing. Set the scanner itself.");
    field.focus();
  });
  stop.addEventListener("click", () => { keep(null); drawState(); field.focus(); });
  form.hidden = false;
  drawState();
  field.focus({ preventScroll: true });
})();
