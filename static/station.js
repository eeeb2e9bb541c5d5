// The station: keeps every scan before it is sent, sends them in order, and shows each answer in one place.
(() => {
  "use strict";
  const form = document.getElementById("scan-form");
  if (!form) return;
  const field = document.getElementById("code");
  const place = document.getElementById("answer-place");
  const line = document.getElementById("line");
  const SOON_MS = 10_000;
  const session = newId();
  let shelf = null;
  let memory = [];
  let sending = false;
  let waits = 0;
  let clock = null; // server's milliseconds at `at` on the page's own steady clock
  let clearMs = 0; // server's milliseconds of the last contact with nothing held

  // -- keeping ------------------------------------------------------------------------------------------------
  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function openShelf() {
    return new Promise((resolve) => {
      let asked;
      try { asked = indexedDB.open("blotter", 1); } catch { resolve(null); return; }
      asked.onupgradeneeded = () => asked.result.createObjectStore("scans", { keyPath: "order", autoIncrement: true });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => resolve(null);
    });
  }

  function withShelf(mode, deed) {
    return new Promise((resolve, reject) => {
      const deal = shelf.transaction("scans", mode);
      const asked = deed(deal.objectStore("scans"));
      deal.oncomplete = () => resolve(asked.result);
      deal.onerror = () => reject(deal.error);
    });
  }

  async function keep(scan) {
    if (shelf) scan.order = await withShelf("readwrite", (store) => store.add(scan));
    else { scan.order = performance.now(); memory.push(scan); }
  }

  async function kept() {
    if (!shelf) return memory;
    return withShelf("readonly", (store) => store.getAll());
  }

  async function let_go(scan) {
    if (shelf) await withShelf("readwrite", (store) => store.delete(scan.order));
    else memory = memory.filter((each) => each !== scan);
  }

  // -- time ---------------------------------------------------------------------------------------------------
  function heard(response, held) {
    const told = Number(response.headers.get("X-Now"));
    if (!told) return;
    clock = { ms: told + 1, at: performance.now() };
    if (held === 0) clearMs = clock.ms;
  }

  function serverMs(at) {
    return clock ? Math.floor(clock.ms + (at - clock.at)) : 0;
  }

  function happenedMs(scan) {
    // A scan that goes out at once happens when the server hears it; only one that had to wait tells its own time.
    const waited = performance.now() - scan.madeAt;
    if (scan.session !== session || waited < SOON_MS || !clock) return "";
    return String(Math.max(serverMs(scan.madeAt), clearMs));
  }

  // -- sending ------------------------------------------------------------------------------------------------
  async function send() {
    if (sending) return;
    sending = true;
    try {
      for (let scans = await kept(); scans.length; scans = await kept()) {
        const settled = await sendOne(scans[0], scans.length - 1);
        if (!settled) break;
        await let_go(scans[0]);
        waits = 0;
        say(scans.length - 1);
      }
    } finally {
      sending = false;
    }
  }

  async function sendOne(scan, held) {
    const body = new URLSearchParams(scan.fields);
    body.set("scan_id", scan.id);
    body.set("held", String(held));
    body.set("csrf_token", token());
    const happened = happenedMs(scan);
    if (happened) body.set("happened_ms", happened);
    let response;
    try {
      response = await fetch(scan.where, { method: "POST", body, headers: { "X-Station": "1" }, redirect: "follow" });
    } catch {
      return later(held + 1);
    }
    return heed(response, held);
  }

  async function heed(response, held) {
    heard(response, held);
    if (response.redirected && !response.headers.has("X-Answer")) { location.assign(response.url); return true; }
    if (response.headers.has("X-Answer") || response.status === 422 || response.status === 409) {
      show(await response.text(), response.headers.get("X-Answer"));
      return true;
    }
    if (response.status === 400) { await freshToken(); return later(held + 1); }
    if (response.status === 401 || response.status === 403) {
      tell("This browser is no longer a station here. What was scanned is kept; tell the manager.");
      return false;
    }
    return later(held + 1);
  }

  function later(count) {
    waits = Math.min(waits + 1, 5);
    say(count);
    setTimeout(send, Math.min(1000 * 2 ** (waits - 1), 15_000));
    return false;
  }

  function token() {
    return form.elements.csrf_token.value;
  }

  async function freshToken() {
    try {
      const response = await fetch("/station/token", { headers: { "X-Station": "1" } });
      if (response.ok) form.elements.csrf_token.value = (await response.json()).token;
    } catch { /* the line is down; the next try asks again */ }
  }

  // -- showing ------------------------------------------------------------------------------------------------
  function show(html, kind) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const answer = page.getElementById("answer");
    place.replaceChildren(...(answer ? [document.adoptNode(answer)] : page.body.childNodes));
    const atWork = page.getElementById("at-work");
    if (atWork) document.getElementById("at-work").replaceWith(document.adoptNode(atWork));
    addToLast(page.querySelector("#scans li"));
    document.body.dispatchEvent(new CustomEvent("scanned", { detail: kind || "stop" }));
    field.focus({ preventScroll: true });
  }

  function addToLast(row) {
    // Only the newest comes with an answer; the others are on the screen already.
    const list = document.querySelector("#scans ol");
    if (!row || !list) return;
    list.prepend(document.adoptNode(row));
    while (list.children.length > 12) list.lastElementChild.remove();
  }

  function say(count) {
    if (!count || !waits) { line.hidden = true; line.textContent = ""; return; }
    const many = count === 1 ? "1 scan is kept here" : `${count} scans are kept here`;
    tell(`The line is down. ${many} and will be sent by itself. Go on with what is safe; take nothing out.`);
  }

  function tell(words) {
    line.hidden = false;
    line.textContent = words;
  }

  // -- the hands ----------------------------------------------------------------------------------------------
  document.addEventListener("submit", async (event) => {
    const sent = event.target;
    const path = new URL(sent.action, location.href).pathname;
    if (path !== "/station/scan" && path !== "/station/undo") return;
    const data = new FormData(sent, event.submitter);
    if (data.get("find")) return;
    event.preventDefault();
    if (sent === form) {
      field.value = "";
      if (!String(data.get("code")).trim()) return;
      if (window.blotterScanner) data.set("code", window.blotterScanner.read(String(data.get("code"))));
    }
    data.delete("csrf_token");
    data.delete("scan_id");
    const fields = Object.fromEntries(data.entries());
    await keep({ id: newId(), where: path, fields, madeAt: performance.now(), session });
    send();
  });

  // A scanner types faster than a hand, and some end with Tab instead of Enter. A Tab that follows within BURST_MS of at least
  // BURST_KEYS characters as quick as that is the scanner's end, and sends what is in the field; any other Tab moves on.
  const BURST_MS = 100;
  const BURST_KEYS = 4;
  let burst = { keys: 0, at: -Infinity };

  function isScannersTab(event) {
    const quick = event.timeStamp - burst.at <= BURST_MS;
    const enough = quick && burst.keys >= BURST_KEYS;
    if (event.key.length === 1) burst = { keys: quick ? burst.keys + 1 : 1, at: event.timeStamp };
    if (event.key === "Tab" || event.key === "Enter") burst.keys = 0;
    return event.key === "Tab" && enough && !event.shiftKey && document.activeElement === field;
  }

  document.addEventListener("keydown", (event) => {
    if (isScannersTab(event)) { event.preventDefault(); form.requestSubmit(); return; }
    const at = document.activeElement;
    const typing = at && (at.matches("input, select, textarea") || at.isContentEditable);
    if (typing || event.ctrlKey || event.metaKey || event.altKey || event.key.length !== 1 || event.key === " ") return;
    field.focus();
  });

  openShelf().then((opened) => {
    shelf = opened;
    form.dataset.keeps = shelf ? "lasting" : "until-closed";
    const note = document.getElementById("keeps");
    if (note) {
      note.textContent = shelf
        ? "Scans are kept in this browser until the server has them."
        : "This browser cannot keep scans when it is closed. If the line is down, use the paper form.";
    }
    send();
  });
  window.addEventListener("online", send);
  field.focus({ preventScroll: true });
})();
