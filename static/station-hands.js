// The hands at a station: scanners that end with Tab or Enter, keys typed outside a field, forms, and ways to other pages.
const form = document.getElementById("scan-form");
const field = document.getElementById("code");
const OURS = ["/station/scan", "/station/undo"];

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

// Some hands click twice. The answer is there between the two, and the second click would fall on a button of the next question.
document.addEventListener("click", (event) => {
  const sends = event.target.closest?.("button")?.form;
  if (event.detail > 1 && sends && OURS.includes(new URL(sends.action, location.href).pathname)) event.preventDefault();
}, true);

function fieldsOf(sent, data) {
  if (sent === form) {
    field.value = "";
    if (!String(data.get("code")).trim()) return null;
    if (window.blotterScanner) data.set("code", window.blotterScanner.read(String(data.get("code"))));
  }
  for (const name of ["csrf_token", "scan_id"]) data.delete(name);
  return Object.fromEntries(data.entries());
}

// Give every scan, and every button that sends one, to `heed`: where it goes, and its fields.
export function whenScanned(heed) {
  document.addEventListener("submit", (event) => {
    const data = new FormData(event.target, event.submitter);
    const path = new URL(event.target.action, location.href).pathname;
    if (!OURS.includes(path) || data.get("find")) return;
    event.preventDefault();
    const fields = fieldsOf(event.target, data);
    if (fields) heed(path, fields);
  });
}

// Before a form leads to another page `mayLeave` is asked, and waited for; before a link does, `mayFollow` is asked.
export function whenLeaving(mayLeave, mayFollow) {
  document.addEventListener("submit", async (event) => {
    const { target, submitter } = event;
    if (event.defaultPrevented) return;
    if (target.dataset.sure) { delete target.dataset.sure; return; }
    event.preventDefault();
    if (!(await mayLeave())) return;
    target.dataset.sure = "yes";
    target.requestSubmit(submitter);
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[href]");
    if (link && !link.getAttribute("href").startsWith("#") && !mayFollow()) event.preventDefault();
  });
}
