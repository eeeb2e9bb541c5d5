// The line to the server: asking with patience that ends, a fresh token, and what may come out of the stacks.
import { heard, isClear, unheard } from "./station-clock.js";

const PATIENCE_MS = 8000;
const form = document.getElementById("scan-form");
const tabs = window.BroadcastChannel ? new BroadcastChannel("blotter-station") : null;

// What another page of this station in this browser says: {answer: {session, html, kind}}, or {clear: ms}.
export function hearTabs(listen) {
  tabs?.addEventListener("message", (event) => {
    if (event.data.clear) isClear(event.data.clear);
    else listen(event.data);
  });
}

export function tellTabs(words) {
  tabs?.postMessage(words);
}

function listened(response, held) {
  const clear = heard(response, held);
  if (clear) tellTabs({ clear });
  return response;
}

// Ask the server; throws where no answer comes in time. `held` is how many scans it is told that are held here.
export async function ask(where, fields, held) {
  const impatient = new AbortController();
  const timer = setTimeout(() => impatient.abort(), PATIENCE_MS);
  const more = { headers: { "X-Station": "1" }, signal: impatient.signal, cache: "no-store" };
  if (fields) {
    more.method = "POST";
    more.body = new URLSearchParams({ ...fields, held: String(held), csrf_token: form.elements.csrf_token.value });
  }
  try {
    const response = await fetch(where, more);
    // The whole answer, within the same patience: a line may go down in the middle of it.
    const text = await response.text();
    return { response: listened(response, held), text };
  } catch (error) {
    unheard(held);
    throw error;
  } finally {
    clearTimeout(timer);
  }
}

export const isShut = (response) => response.status === 401 || response.status === 403 || (response.redirected && !response.headers.has("X-Answer"));

// Ask whether the line is there, and take a fresh token with it, for a page that is older than its session: "up", "shut"
// (this browser is no longer that station), or "down".
export async function stillThere() {
  try {
    const { response, text } = await ask("/station/token");
    if (isShut(response)) return "shut";
    if (!response.ok) return "down";
    form.elements.csrf_token.value = JSON.parse(text).token;
    return "up";
  } catch { return "down"; }
}

// Say that the station is here, and what it holds; gives what `stillThere` gives.
export async function contact(station, held) {
  try {
    let { response, text } = await ask("/station/contact", {}, held);
    if (response.status === 400 && (await stillThere()) === "up") ({ response, text } = await ask("/station/contact", {}, held));
    if (isShut(response)) return "shut";
    if (!response.ok) return "down";
    return JSON.parse(text).station === station ? "up" : "shut";
  } catch { return "down"; }
}

// -- what may come out, as last heard; kept in this browser ---------------------------------------------------------
export async function fetchStacks(station) {
  try {
    const { response, text } = await ask("/station/out");
    if (response.ok && !response.redirected) localStorage.setItem(`blotter-out-${station}`, text);
  } catch { /* what was heard before stays */ }
}

export function stacksHeard(station) {
  try { return JSON.parse(localStorage.getItem(`blotter-out-${station}`)) || {}; } catch { return {}; }
}

// The page itself opens without the server where the browser lets a script look after it: over https, or on this machine.
export async function openWithoutServer() {
  if (!window.isSecureContext || !navigator.serviceWorker) return false;
  try {
    await navigator.serviceWorker.register("/station/worker.js", { scope: "/station" });
    const worker = (await navigator.serviceWorker.ready).active;
    const pieces = performance.getEntriesByType("resource").map((each) => each.name);
    return await new Promise((resolve) => {
      const answers = new MessageChannel();
      answers.port1.onmessage = (event) => resolve(event.data === true);
      worker.postMessage({ keep: pieces }, [answers.port2]);
    });
  } catch { return false; }
}
