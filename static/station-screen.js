// What the station's screen says of the line, of what is kept here, and of what could not be written after all.
import { draw } from "./station-answers.js";
import { said, serverMs, session } from "./station-clock.js";

const form = document.getElementById("scan-form");
const line = document.getElementById("line");

// The clock in the head: the server's time, which goes on here while the line is down.
export function keepTime(zone) {
  if (serverMs()) document.querySelector(".frame .clock").textContent = said(serverMs(), zone);
}

// One kept scan in a line: its number, what was scanned, and when.
export function toldOf(scan, zone) {
  const what = scan.shown || (scan.kind === "command" || !scan.fields.code ? say("a card or a button") : scan.fields.code);
  const when = scan.since ? `, ${said(scan.since, zone)}` : "";
  const uncertain = scan.session === session ? "" : say(", time uncertain");
  return say("No. {order}: {what}{when}{uncertain}", { order: scan.order, what, when, uncertain });
}

// The answer to a scan that was kept: its number, when it was scanned, and what becomes of it.
export function keptAs(scan, answer, zone) {
  const when = scan.since ? say(", scanned at {hour}", { hour: said(scan.since, zone) }) : "";
  const paper = scan.inMemory ? [say("This browser keeps it only while this page is open: write it on the paper form too.")] : [];
  const keeps = say("Number {order}{when}. It is written when the line is back.", { order: scan.order, when });
  return { ...answer, shown: scan.shown, lines: [...answer.lines, keeps, ...paper] };
}

// The band and the two lists. `every` is all that is kept in this browser, `mine` tells what of it is this station's.
export function paintLine({ state, shut, lasting, every, mine, aside, zone }) {
  const here = every.filter(mine).length;
  const others = every.length - here;
  const rows = state === "down" || state === "shut" || others ? every : [];
  draw(document.getElementById("kept"), rows.map((scan) => toldOf(scan, zone) + (mine(scan) ? "" : say(" (of another station)"))));
  draw(document.getElementById("aside"), aside.map((each) => `${each.said}. ${each.words}`));
  form.dataset.line = state;
  form.dataset.kept = here;
  tell(bandOf(state, here, others, { shut, lasting }));
}

function bandOf(state, here, others, { shut, lasting }) {
  const many = here === 1 ? say("1 scan is kept here") : say("{here} scans are kept here", { here });
  if (state === "shut") return here ? say("{shut} {many}, and nothing of it is lost: tell the manager.", { shut, many }) : say("{shut} Tell the manager.", { shut });
  if (state === "down") {
    const paper = lasting ? "" : say(" This browser cannot keep scans when it is closed: write them on the paper form too.");
    const waits = here ? say("{many} and will be sent by itself. ", { many }) : "";
    return say("The line is down. {waits}Go on with what is safe; take nothing out.{paper}", { waits, paper });
  }
  return others ? say("Scans that were made when this browser was another station are kept here. Tell the manager.") : "";
}

function tell(words) {
  if (line.textContent !== words) line.textContent = words;
  line.hidden = !words;
}

// How scans are kept in this browser, and whether the page opens without the server (undefined: not known yet).
export function sayHowKept(lasting, promised, opens) {
  const away = opens ? say("This page also opens while the server is away.") :
    say("While the server is away this page cannot be opened again: leave it open; what it keeps is sent when it can be loaded.");
  const asked = promised ? "" : say(" The browser did not promise to keep them when its disk is full.");
  const note = document.getElementById("keeps");
  note.textContent = lasting ? say("Scans are kept in this browser until the server has them.{asked} {away}", { asked, away }) :
    say("This browser cannot keep scans when it is closed. If the line is down, use the paper form.");
  form.dataset.keeps = lasting ? "lasting" : "until-closed";
  if (opens !== undefined) form.dataset.opens = opens ? "without-server" : "with-server";
}
