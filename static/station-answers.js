// Answers in the one place: those that the server sent, and those that the station gives by itself while the line is down.
const place = document.getElementById("answer-place");
const SVG = "http://www.w3.org/2000/svg";

function make(tag, className, ...inside) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  made.append(...inside);
  return made;
}

function mark(name, className, box) {
  const svg = document.createElementNS(SVG, "svg");
  const use = document.createElementNS(SVG, "use");
  svg.setAttribute("class", className);
  if (box) svg.setAttribute("viewBox", box);
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#mark-${name}`);
  svg.append(use);
  return svg;
}

// An answer of the station's own, in the look of the server's: {kind, word, shown, lines, next}.
export function showOwn(answer) {
  const stub = make("div", "answer-stub", mark(answer.kind, "answer-icon", "0 0 64 64"));
  const word = make("h2", "answer-word", answer.word);
  word.id = "answer-word";
  stub.append(word);
  const slip = make("div", "answer-slip");
  if (answer.shown) slip.append(make("div", "answer-thing", make("p", "answer-number number", answer.shown)));
  slip.append(make("ul", "answer-lines", ...answer.lines.map((line) => make("li", "", line))));
  if (answer.next) slip.append(make("p", "answer-next", mark("next", "icon"), make("span", "", answer.next)));
  const section = make("section", `answer answer-${answer.kind}`, stub, slip);
  section.id = "answer";
  section.dataset.kind = answer.kind;
  section.dataset.own = "yes";
  section.setAttribute("aria-labelledby", "answer-word");
  layUndoDown(true);
  place.replaceChildren(section);
  // Heard, but nothing is fetched for it: there is no line.
  document.body.dispatchEvent(new CustomEvent("told", { detail: answer.kind }));
}

// What the server sent: the answer, who works here, and the newest of the last scans. Gives its words.
export function showSent(html, kind, isHeard) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const answer = page.getElementById("answer");
  layUndoDown(kind !== "done");
  place.replaceChildren(...(answer ? [document.adoptNode(answer)] : page.body.childNodes));
  const atWork = page.getElementById("at-work");
  if (atWork) document.getElementById("at-work").replaceWith(document.adoptNode(atWork));
  addToLast(page.querySelector("#scans li"));
  if (isHeard) document.body.dispatchEvent(new CustomEvent("scanned", { detail: kind || "stop" }));
  return wordsOf(place);
}

// An answer takes the card from the one before. Where nothing was written with it, the scan before can still be undone: in its row.
function layUndoDown(isLast) {
  const undo = document.querySelector("#answer .undo, #scans .undo");
  const row = undo?.closest("#scans li") || document.querySelector("#scans li");
  undo?.remove();
  if (!undo || !row || !isLast) return;
  undo.open = false;
  row.append(undo);
}

function wordsOf(shown) {
  const text = (selector) => shown.querySelector(selector)?.textContent.trim() || "";
  return [text(".answer-word"), text(".answer-lines li"), text(".answer-next")].filter(Boolean).join(" ");
}

function addToLast(row) {
  // Only the newest comes with an answer; the others are on the screen already.
  const list = document.querySelector("#scans ol");
  if (!row || !list) return;
  list.prepend(document.adoptNode(row));
  while (list.children.length > 12) list.lastElementChild.remove();
}

// A list of what is kept or was put aside: one line each, hidden while there is none.
export function draw(section, rows) {
  if (!section) return;
  section.hidden = !rows.length;
  section.querySelector("ol").replaceChildren(...rows.map((row) => make("li", "", row)));
}
