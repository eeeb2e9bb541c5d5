// What is answered while the line is down. Kept is only what can be believed later: taken up, mounted, laid in, weights on
// and off, and who did it. For everything else: leave it.
import { read } from "./station-codes.js";
import { said, serverMs } from "./station-clock.js";

const LEAVE = say("Leave it, the line is down. Nothing was written or kept.");
const LATER = say("Leave it where it lies, and scan it again when the line is back. What cannot wait goes on the paper form.");

const no = (lines, next, shown) => ({ keeps: false, answer: { kind: "not-yet", word: say("Not yet."), shown, lines, next } });
const stop = (lines, next, shown) => ({ keeps: false, answer: { kind: "stop", word: say("Stop."), shown, lines, next } });
const yes = (lines, next, shown) => ({ keeps: true, answer: { kind: "done", word: say("Kept."), shown, lines, next } });

// Where something is glued or mended, a pot of adhesive may be opened.
const GLUES = ["mount", "re-glue", "inspect"];

export const leave = (next = LATER) => no([LEAVE], next).answer;

// The fields of a form, with those that a choice holds together each by its name.
function opened(fields) {
  return { ...fields, ...Object.fromEntries(new URLSearchParams(fields.choose || "")) };
}

// Whether this scan may be kept while the line is down, and what is answered to it.
// `at` is {facts, waiting, stacks, hands}: what the page was told, what is kept already, the stacks, and whether anybody works here.
export function judge(scan, at) {
  const fields = opened(scan.fields);
  if (scan.where !== "/station/scan") return no([LEAVE], say("It can be taken back when the line is back."));
  const code = read(String(fields.code || ""), at.facts.shapes);
  if (!code) return stop([say("It does not read right. Nothing was kept.")], say("Scan it again, or type the number off the slip."));
  if (code.kind === "badge") return yes([], say("What is scanned from now on is credited to this badge."));
  if (code.kind === "command") return card(code, at);
  if (!handsNow(at)) return stop([say("Nobody is signed in here.")], say("Scan your badge first, then scan this again."), code.shown);
  if (code.kind === "stack-on" || code.kind === "stack-off") return weights(code, fields, at);
  if (code.kind === "lot" && at.facts.steps.some((step) => GLUES.includes(step))) return yes([say("This pot is open here from now on.")], say("Scan the next sheet."), code.shown);
  return code.kind === "sheet" ? sheet(code, fields, at) : no([LEAVE], LATER, code.shown);
}

function card(code, at) {
  if (code.text === at.facts.cards.done) return yes([], say("Whoever comes next scans a badge."));
  if (code.text === at.facts.cards.undo) return undo(at);
  return no([LEAVE], say("Scan this card again when the line is back."));
}

// What was kept and never sent can be let go of as if it had not been scanned; nothing else is taken back alone.
function undo(at) {
  const last = at.waiting.at(-1);
  if (!last || last.tries) return no([LEAVE], say("What was sent already is taken back when the line is back."));
  const answer = { kind: "done", word: say("Undone."), shown: last.shown, lines: [say("Number {order} is no longer kept.", { order: last.order })], next: say("Go on with the next.") };
  return { keeps: false, letsGo: last, answer };
}

// Somebody works here, by what the server said last and by the badges and cards that were kept since.
function handsNow(at) {
  const turned = at.waiting.map((each) => read(String(each.fields.code || ""), at.facts.shapes)).filter(
    (code) => code && (code.kind === "badge" || code.text === at.facts.cards.done),
  );
  return turned.length ? turned.at(-1).kind === "badge" : at.hands;
}

function weights(code, fields, at) {
  if (fields.step) return no([LEAVE], say("Say the number when the line is back."), code.shown);
  const name = at.stacks?.find((each) => each.on === code.text || each.off === code.text)?.name || say("This stack");
  if (code.kind === "stack-on") return yes([say("{name}: weights on.", { name })], say("Leave it under its weights."));
  return yes([say("{name}: weights off. {name}'s clock is not running.", { name })], say("Lay in what is glued, and put the weights on again. Take nothing out."));
}

function sheet(code, fields, at) {
  const { bare, safe } = at.facts;
  if (fields.step) return safe.includes(fields.step) ? kept(code, fields.step, at) : no([LEAVE], LATER, code.shown);
  if (fields.already_done) return no([LEAVE], LATER, code.shown);
  const unsafe = bare.filter((step) => !safe.includes(step));
  if (!unsafe.length && bare.length) return kept(code, bare[0], at);
  return unsafe.length === 1 && unsafe[0] === "take-out" ? atThePress(code, fields, at) : no([LEAVE], LATER, code.shown);
}

function kept(code, step, at) {
  if (step !== "put-under-weight") {
    const next = say("Taken up: read the cautions on its slip before you open the folder. Mounted: lay it under weight now.");
    return yes([], next, code.shown);
  }
  const name = openStack(at);
  const where = name ? say("Laid in {name}, top layer.", { name }) : say("Laid in.");
  return yes([where], say("Release paper, foam and a board on it. Put the weights on, and scan the other side of the card."), code.shown);
}

// -- the press ---------------------------------------------------------------------------------------------------
function atThePress(code, fields, at) {
  const stack = at.stacks?.find((each) => code.text in each.sheets);
  const again = at.waiting.find((each) => each.text === code.text);
  if (again && !stack) return no([say("It is kept as laid in, number {order}.", { order: again.order }), LEAVE], say("Leave it in its stack."), code.shown);
  if (stack) return mayComeOut(code, stack, stack.sheets[code.text], at);
  if (!fields.stack && !openStack(at)) {
    return no([say("No stack is open here.")], say("Scan the card of the open stack, with “off” upward; then scan the sheet again."), code.shown);
  }
  return kept(code, "put-under-weight", at);
}

// The stack that is open here: by the last of its cards that was kept, or else by what the server said.
function openStack(at) {
  const cards = at.waiting.filter((each) => each.kind === "stack-on" || each.kind === "stack-off");
  if (!cards.length) return at.stacks?.find((each) => each.inHand)?.name || "";
  const card = cards.at(-1);
  return card.kind === "stack-off" ? at.stacks?.find((each) => each.off === card.text)?.name || say("the open stack") : "";
}

// The list only answers; nothing is taken out on it. It is good until a lifting is heard of: what had its time by then has it
// still, and the clock of the others stands.
function mayComeOut(code, stack, ready, at) {
  const out = say("Is it out already? ");
  const lay = say("{out}Lay it back, put the weights on, and write it on the paper form.", { out });
  const lifted = at.waiting.find((each) => each.kind === "stack-off" && each.text === stack.off);
  const until = lifted ? lifted.since : stack.weightsOn ? Infinity : at.heardMs;
  if (!ready || ready > until) {
    const why = lifted ? say("The weights of {name} were lifted since: when it may come out is told when the line is back.", { name: stack.name }) :
      say("{name}'s clock is not running: its weights are off.", { name: stack.name });
    return no([why, LEAVE], say("Leave it in {name}. {lay}", { name: stack.name, lay }), code.shown);
  }
  const when = said(ready, at.facts.zone);
  const now = serverMs();
  if (now && ready > now) {
    return no([say("It may come out at {when}, if the weights of {name} stay on.", { when, name: stack.name }), LEAVE], say("Leave it in {name}. {lay}", { name: stack.name, lay }), code.shown);
  }
  const had = now || lifted ? say("It has had its time since {when}.", { when }) : say("By what was last heard, it may come out at {when}.", { when });
  const slip = say("{out}Put it beside {name} with a slip of paper, and scan it when the line is back.", { out, name: stack.name });
  return no([had, LEAVE], say("Leave it in {name} until the line is back. {slip}", { name: stack.name, slip }), code.shown);
}

// What was sent, and met the line as it went down.
export function unsure(shown) {
  const lines = [say("The line went down while this was sent. Whether it was written is not known yet.")];
  return { kind: "not-yet", word: say("Not yet."), shown, lines, next: say("Leave it as it is. The answer comes here when the line is back.") };
}
