// When a scan was made, told by the server's clock and the page's own steady one; what the device takes for the time is not asked.
const SOON_MS = 10_000;
// A steady clock stands still while some devices sleep. Parted by more than this, it is not believed. Common practice, no source.
const PARTED_MS = 120_000;
export const session = newId();
let clock = null; // the server's milliseconds at `at` on the page's steady clock, when it was heard last
let clearMs = 0; // the server's milliseconds when it may last have heard that nothing is held here

export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The server answered, and heard that so many scans are held (none said: undefined). Gives when nothing was held, or 0.
export function heard(response, held) {
  const told = Number(response.headers.get("X-Now"));
  if (!told) return 0;
  clock = { ms: told + 1, at: performance.now() };
  if (held === 0) isClear(clock.ms);
  return held === 0 ? clock.ms : 0;
}

// A request got no answer. The server may have heard all the same that nothing is held.
export function unheard(held) {
  if (held === 0) isClear(serverMs());
}

export function isClear(ms) {
  clearMs = Math.max(clearMs, ms);
}

// The server's time in milliseconds, now or at a moment of this page; 0 where it was not heard yet.
export function serverMs(at = performance.now()) {
  return clock ? Math.floor(clock.ms + (at - clock.at)) : 0;
}

// What is kept with a scan of when it was made.
export function stamp() {
  return { session, madeAt: performance.now(), wall: Date.now(), before: clock, since: serverMs() };
}

// Whether a scan had to wait, so that it tells its own time. Both clocks are asked: one of them may stand still or be set.
export function isLate(scan) {
  if (scan.session !== session) return true;
  return Math.max(performance.now() - scan.madeAt, Date.now() - scan.wall) >= SOON_MS;
}

// The earliest and the latest that it can have been. The server was heard since, or else this says nothing.
function bounds(scan) {
  if (scan.session !== session) return [scan.since || 0, serverMs()];
  const back = Math.floor(clock.ms - (clock.at - scan.madeAt));
  if (scan.before) {
    const on = Math.floor(scan.before.ms + (scan.madeAt - scan.before.at));
    // The smaller of the two never lies after what the server takes for now.
    const early = Math.min(on, back);
    return Math.abs(back - on) <= PARTED_MS ? [early, early] : [early, Math.max(on, back)];
  }
  const parted = Date.now() - scan.wall - (performance.now() - scan.madeAt);
  return Math.abs(parted) <= PARTED_MS ? [back, back] : [0, back];
}

// What a scan says of its time: nothing for one that goes out at once, since the server hears it as it happens. One whose
// time is uncertain is not later than the next that is certain, because it was made before.
export function timesOf(scan, those_after) {
  if (!isLate(scan) || !clock) return {};
  const [earliest, latest] = bounds(scan);
  if (earliest === latest) return { happened_ms: Math.max(latest, clearMs) };
  const sure = those_after.filter((each) => isLate(each)).map(bounds).filter(([from, to]) => from === to).map(([from]) => from);
  return { not_before_ms: Math.min(earliest, ...sure), happened_ms: Math.max(Math.min(latest, serverMs(), ...sure), clearMs) };
}

// A moment of the server as the room's wall clock shows it.
export function said(ms, zone) {
  return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(ms);
}
