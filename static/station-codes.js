// What a code is, read here as the server reads it, for when there is no server to ask: right in every place, or not at all.
const CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const PASSED_OVER = /[\p{Zs}\p{Pd}\p{Cf}.\u00b7\u2022\u2027\u2219\u22c5\u30fb\u2043\u2212\u30fc]/gu;
const SYMBOLOGY = /^\][A-Za-z][0-9A-Za-z]/;

// ISO/IEC 7064, MOD 37-2, over prefix and digits.
function checkCharacter(body) {
  let total = 0;
  for (const character of body) total = (total * 2 + CHARACTERS.indexOf(character)) % 37;
  return CHARACTERS[(((1 - 2 * total) % 37) + 37) % 37];
}

function right(typed, [, prefix, width, check]) {
  if (typed.length !== prefix.length + width + (check ? 1 : 0) || !typed.startsWith(prefix)) return null;
  const end = prefix.length + width;
  const digits = typed.slice(prefix.length, end).replace(/O/g, "0").replace(/[IL]/g, "1");
  if (!/^[0-9]+$/.test(digits)) return null;
  return !check || checkCharacter(prefix + digits) === typed[end] ? prefix + digits + typed.slice(end) : null;
}

// A code's kind, its text as it is kept and as people read it; null where it does not read right as one thing.
// `shapes` are [kind, prefix, digits, whether a check character follows].
export function read(text, shapes) {
  const typed = text.trim().normalize("NFKC").replace(PASSED_OVER, "").replace(SYMBOLOGY, "").toUpperCase();
  const found = new Map();
  for (const shape of shapes) {
    const number = right(typed, shape);
    if (number) found.set(`${shape[0]} ${number}`, { kind: shape[0], text: number, shown: shown(number, shape) });
  }
  return found.size === 1 ? [...found.values()][0] : null;
}

function shown(number, [, prefix, width, check]) {
  const end = prefix.length + width;
  return `${prefix} ${number.slice(prefix.length, end)}${check ? `·${number.slice(end)}` : ""}`;
}
