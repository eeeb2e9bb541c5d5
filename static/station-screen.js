// What the station's screen says of the line, of what is kept here, and of what could not be written after all.
import { draw } from "./station-answers.js";
import { said, session } from "./station-clock.js";

const form = document.getElementById("scan-form");
const line = document.getElementById("line");

// One kept scan in a line: its number, what was scanned, and when.
export function toldOf(scan, zone) {
  const what = scan.shown || (scan.kind === "command" || !scan.fields.code ? "a card or a button" : scan.fields.code);
  const when = scan.since ? `, ${said(scan.since, zone)}` : "";
  return `No. ${scan.order}: ${what}${when}${scan.session === session ? "" : ", time uncertain"}`;
}

// The answer to a scan that was kept: its number, when it was scanned, and what becomes of it.
export function keptAs(scan, answer, zone) {
  const when = scan.since ? `, scanned at ${said(scan.since, zone)}` : "";
  const paper = scan.inMemory ? ["This browser keeps it only while this page is open: write it on the paper form too."] : [];
  const keeps = `Number ${scan.order}${when}. It is written when the line is back.`;
  return { ...answer, shown: scan.shown, lines: [...answer.lines, keeps, ...paper] };
}

// The band and the two lists. `every` is all that is kept in this browser, `mine` tells what of it is this station's.
export function paintLine({ state, shut, lasting, every, mine, aside, zone }) {
  const here = every.filter(mine).length;
  const others = every.length - here;
  const rows = state === "down" || state === "shut" || others ? every : [];
  draw(document.getElementById("kept"), rows.map((scan) => toldOf(scan, zone) + (mine(scan) ? "" : " (of another station)")));
  draw(document.getElementById("aside"), aside.map((each) => `${each.said}. ${each.words}`));
  form.dataset.line = state;
  form.dataset.kept = here;
  tell(bandOf(state, here, others, { shut, lasting }));
}

function bandOf(state, here, others, { shut, lasting }) {
  const many = here === 1 ? "1 scan is kept here" : `${here} scans are kept here`;
  if (state === "shut") return `${shut} ${here ? `${many}, and nothing of it is lost: tell` : "Tell"} the manager.`;
  if (state === "down") {
    const paper = lasting ? "" : " This browser cannot keep scans when it is closed: write them on the paper form too.";
    return `The line is down. ${here ? `${many} and will be sent by itself. ` : ""}Go on with what is safe; take nothing out.${paper}`;
  }
  return others ? "Scans that were made when this browser was another station are kept here. Tell the manager." : "";
}

function tell(words) {
  if (line.textContent !== words) line.textContent = words;
  line.hidden = !words;
}

// How scans are kept in this browser, and whether the page opens without the server (undefined: not known yet).
export function sayHowKept(lasting, promised, opens) {
  const away = opens ? "This page also opens while the server is away." :
    "While the server is away this page cannot be opened again: leave it open; what it keeps is sent when it can be loaded.";
  const asked = promised ? "" : " The browser did not promise to keep them when its disk is full.";
  const note = document.getElementById("keeps");
  note.textContent = lasting ? `Scans are kept in this browser until the server has them.${asked} ${away}` :
    "This browser cannot keep scans when it is closed. If the line is down, use the paper form.";
  form.dataset.keeps = lasting ? "lasting" : "until-closed";
  if (opens !== undefined) form.dataset.opens = opens ? "without-server" : "with-server";
}
