// The station: keeps every scan before it is sent, sends them in order, and shows each answer in one place.
import { judge, leave, unsure } from "./station-alone.js";
import { draw, showOwn, showSent } from "./station-answers.js";
import { isLate, newId, session, stamp, timesOf } from "./station-clock.js";
import { read } from "./station-codes.js";
import { whenLeaving, whenScanned } from "./station-hands.js";
import * as store from "./station-keep.js";
import { ask, contact, fetchStacks, hearTabs, isShut, openWithoutServer, stacksHeard, stillThere, tellTabs } from "./station-line.js";
import { keepTime, keptAs, paintLine, sayHowKept, toldOf } from "./station-screen.js";

const form = document.getElementById("scan-form");
const field = document.getElementById("code");
const facts = JSON.parse(form.dataset.facts || "{}");
const BEAT_MS = 20_000;
const STACKS_MS = 60_000;
const MOST_BREAKS = 5;
const LOAD_AFTER_MS = 1500; // so that the greeting is heard and seen
const SHUT = say("This browser is no longer this station.");
let lasting = true;
let state = "finding"; // then up, down, or shut: this browser is no longer this station
let sending = false;
let again = false;
let waits = 0;
let timer = null;
let lastAlone = null;
const told = new Set(); // the scans that were answered here, by id

const mine = (scan) => !scan.station || scan.station === facts.station;
const kept = async () => (await store.waiting()).filter(mine);
const atPress = (facts.steps || []).includes("take-out");

// -- sending ------------------------------------------------------------------------------------------------------
async function send() {
  if (sending) { again = true; return; }
  sending = true;
  clearTimeout(timer);
  try {
    // Two pages of one station take turns where the browser knows turns; elsewhere the ids keep a scan from being written twice.
    do { again = false; await (navigator.locks ? navigator.locks.request("blotter-station", drain) : drain()); } while (again);
  } catch (error) {
    await down();
    throw error;
  } finally {
    sending = false;
  }
}

async function drain() {
  let met = false;
  for (let queue = await kept(); ; queue = await kept()) {
    const isWaiting = !queue.length || isLate(queue[0]);
    // The line is asked first where nothing else would show that it is back, and before old scans tell their times.
    if (isWaiting && !met && (state !== "up" || queue.length)) {
      const found = await contact(facts.station, queue.length);
      if (found !== "up") { await heedLine(found); return; }
      met = true;
    }
    if (!queue.length) { await up(); return; }
    if (!(await sendOne(queue))) return;
  }
}

async function sendOne(queue) {
  const [scan, ...others] = queue;
  const late = isLate(scan);
  const times = timesOf(scan, others);
  scan.tries = (scan.tries || 0) + 1;
  await store.change(scan);
  const made_at = scan.station ? { made_at: scan.station } : {};
  try {
    const found = await ask(scan.where, { ...scan.fields, scan_id: scan.id, ...made_at, ...times }, others.length);
    return await heed(scan, found, late, others.length);
  } catch {
    await down();
    return false;
  }
}

async function heed(scan, { response, text }, late, left) {
  if (response.headers.has("X-Answer") || response.status === 422 || response.status === 409) {
    await settle(scan, showSent(text, response.headers.get("X-Answer"), !late || !left), response, late);
    if (scan.session !== session) tellTabs({ answer: { session: scan.session, html: text, kind: response.headers.get("X-Answer") } });
    return true;
  }
  if (isShut(response)) { await shut(); return false; }
  if (response.status === 400 && scan.tries < MOST_BREAKS && (await stillThere()) === "up") return true;
  if (response.status === 400 || response.status === 500) return breaks(scan);
  await down();
  return false;
}

async function settle(scan, words, response, late) {
  // At once with the answer, so that the next thing can be scanned the moment it is read.
  field.focus({ preventScroll: true });
  await store.letGo(scan);
  if (late && response.headers.get("X-Answer") !== "done") await putAside(scan, words);
  state = "up";
  waits = 0;
  if (atPress) setTimeout(stacks, 1500);
  await paint();
  await loadInTheirLanguage(response);
}

// Whoever signed in reads another language than the page is written in: it is loaded anew once nothing waits any more.
async function loadInTheirLanguage(response) {
  const theirs = response.headers.get("Content-Language");
  if (!theirs || theirs === document.documentElement.lang || (await store.waiting()).length) return;
  setTimeout(() => location.reload(), LOAD_AFTER_MS);
}

// The server is there and cannot take this one: it is tried a few times, and then it does not keep the others waiting.
async function breaks(scan) {
  scan.breaks = (scan.breaks || 0) + 1;
  if (scan.breaks < MOST_BREAKS) { await store.change(scan); await down(); return false; }
  await store.letGo(scan);
  await putAside(scan, say("The server could not take it. Tell the manager."));
  return true;
}

const putAside = (scan, words) => store.setAside({ station: facts.station, said: toldOf(scan, facts.zone), words });

// -- up and down ----------------------------------------------------------------------------------------------------
async function up() {
  state = "up";
  waits = 0;
  await paint();
}

async function down() {
  const before = state;
  state = "down";
  const queue = await kept();
  if (before !== "down") await giveBack(queue);
  waits = Math.min(waits + 1, 5);
  clearTimeout(timer);
  timer = setTimeout(send, Math.min(1000 * 2 ** (waits - 1), 15_000));
  await paint();
}

// The line went down with scans on their way. What was never sent, and could not be believed later, is given back at once.
async function giveBack(queue) {
  const things = await around();
  let last = null;
  for (const scan of queue) {
    const judged = judge(scan, { ...things, waiting: queue.filter((each) => each.order < scan.order && each.safe) });
    if (scan.safe === false && !scan.tries) {
      await store.letGo(scan);
      await putAside(scan, say("The line went down before it was sent. It was not written."));
      last = [scan, judged.answer];
    } else last = [scan, scan.safe !== false ? keptAs(scan, judged.answer, facts.zone) : unsure(scan.shown)];
  }
  if (last && last[0].session === session && !told.has(last[0].id)) answer(last[0], last[1]);
}

async function shut() {
  state = "shut";
  await paint();
}

async function heedLine(found) {
  if (found === "shut") await shut();
  if (found === "down") await down();
}

// -- alone ------------------------------------------------------------------------------------------------------------
async function around() {
  const heard = stacksHeard(facts.station);
  const hands = Number(document.getElementById("at-work")?.dataset.count || 0) > 0;
  return { facts, waiting: await kept(), stacks: heard.stacks, heardMs: heard.at || 0, hands };
}

function answer(scan, words) {
  told.add(scan.id);
  showOwn(words);
}

async function answerAlone(scan) {
  if (state === "shut") { showOwn({ ...leave(say("Tell the manager.")), lines: [SHUT, say("Nothing was written or kept.")] }); return; }
  const same = JSON.stringify([scan.where, scan.fields]);
  if (lastAlone && lastAlone.same === same && scan.madeAt - lastAlone.at < facts.doubleReadMs) { showOwn(lastAlone.words); return; }
  const judged = judge(scan, await around());
  if (judged.letsGo) await store.letGo(judged.letsGo);
  if (judged.keeps) await store.keep(Object.assign(scan, { safe: true }));
  const words = judged.keeps ? keptAs(scan, judged.answer, facts.zone) : judged.answer;
  lastAlone = { same, at: scan.madeAt, words };
  answer(scan, words);
  await paint();
  if (judged.keeps) send();
}

// -- showing ------------------------------------------------------------------------------------------------------------
async function paint() {
  keepTime(facts.zone);
  const aside = (await store.aside()).filter(mine);
  paintLine({ state, shut: SHUT, lasting, every: await store.waiting(), mine, aside, zone: facts.zone });
}

async function stacks() {
  if (atPress && state === "up") await fetchStacks(facts.station);
}

// -- the hands ------------------------------------------------------------------------------------------------------------
async function scanned(where, fields, made) {
  const code = facts.shapes ? read(String(fields.code || ""), facts.shapes) : null;
  const scan = { id: newId(), station: facts.station, where, fields, tries: 0, ...made, ...code };
  if (state === "down" || state === "shut") { await answerAlone(scan); return; }
  scan.safe = judge(scan, await around()).keeps;
  await store.keep(scan);
  send();
}

// One after the other, as they were made: what is decided of one may rest on the one before.
let before = Promise.resolve();

whenScanned((where, fields) => {
  const made = stamp();
  before = before.then(() => scanned(where, fields, made));
});

// Without a line another page would be a blank one, and this one gone.
whenLeaving(async () => {
  const found = state === "down" ? "down" : await contact(facts.station, (await kept()).length);
  if (found !== "down") return true;
  await down();
  showOwn(leave(say("This needs the server. To sign in, scan your badge.")));
  return false;
}, () => {
  if (state !== "down") return true;
  showOwn(leave(say("That page is not here while the line is down.")));
  return false;
});

document.getElementById("aside-seen")?.addEventListener("click", async () => {
  await store.clearAside();
  await paint();
});

hearTabs(({ answer: sent }) => {
  if (sent.session === session) showSent(sent.html, sent.kind, true);
});

// -- beginning ------------------------------------------------------------------------------------------------------------
async function beat() {
  keepTime(facts.zone);
  if (state === "up" && !sending && document.visibilityState === "visible") await heedLine(await stillThere());
}

async function begin() {
  const opened = await store.open();
  lasting = opened.lasting;
  sayHowKept(lasting, opened.promised);
  await send();
  stacks();
  setInterval(beat, BEAT_MS);
  setInterval(stacks, STACKS_MS);
  sayHowKept(lasting, opened.promised, await openWithoutServer());
}

window.addEventListener("online", send);
window.addEventListener("offline", beat);
window.addEventListener("beforeunload", (event) => { if (store.wouldBeLost()) event.preventDefault(); });
field.focus({ preventScroll: true });
begin();
