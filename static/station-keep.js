// Keeping: what was scanned lies in this browser's own store until the server has it; in memory only where there is none.
const SCANS = "scans";
const ASIDE = "aside"; // what was kept, and could not be written after all
const TRIAL = "trial";
let shelf = null;
let memory = { [SCANS]: [], [ASIDE]: [] };
let last = 0;

function openShelf() {
  return new Promise((resolve) => {
    let asked;
    try { asked = indexedDB.open("blotter", 2); } catch { resolve(null); return; }
    asked.onupgradeneeded = () => {
      for (const name of [SCANS, ASIDE, TRIAL]) {
        if (!asked.result.objectStoreNames.contains(name)) asked.result.createObjectStore(name, { keyPath: "order", autoIncrement: true });
      }
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => asked.result.close();
      resolve(asked.result);
    };
    asked.onerror = asked.onblocked = () => resolve(null);
  });
}

function on(name, mode, deed) {
  return new Promise((resolve, reject) => {
    const deal = shelf.transaction(name, mode, mode === "readwrite" ? { durability: "strict" } : {});
    const asked = deed(deal.objectStore(name));
    deal.oncomplete = () => resolve(asked.result);
    deal.onerror = deal.onabort = () => reject(deal.error);
  });
}

// Whether what is kept can be read again is tried, not believed: a browser may have the store and refuse to write to it.
async function triedOut() {
  const word = crypto.getRandomValues(new Uint32Array(4)).join("-");
  try {
    const order = await on(TRIAL, "readwrite", (store) => store.add({ word }));
    const found = await on(TRIAL, "readonly", (store) => store.get(order));
    await on(TRIAL, "readwrite", (store) => store.delete(order));
    return found?.word === word;
  } catch { return false; }
}

// Open the store; tells whether it lasts, and whether the browser has promised not to clear it when its disk is full.
export async function open() {
  shelf = await openShelf();
  if (shelf && !(await triedOut())) shelf = null;
  let promised = false;
  try { promised = Boolean(await navigator.storage?.persist?.()); } catch { /* not promised, then */ }
  return { lasting: Boolean(shelf), promised };
}

async function add(name, thing) {
  if (shelf) {
    try {
      thing.order = await on(name, "readwrite", (store) => store.add(thing));
      last = Math.max(last, thing.order);
      return true;
    } catch { delete thing.order; /* the disk is full, or the store was cleared under us */ }
  }
  last += 1;
  thing.order = last;
  thing.inMemory = true;
  memory[name].push(thing);
  return false;
}

async function all(name) {
  const stored = shelf ? await on(name, "readonly", (store) => store.getAll()) : [];
  return [...stored, ...memory[name]].sort((one, other) => one.order - other.order);
}

async function remove(name, thing) {
  memory[name] = memory[name].filter((each) => each !== thing);
  if (shelf && !thing.inMemory) await on(name, "readwrite", (store) => store.delete(thing.order));
}

// Keep a scan and number it; whether it is kept lastingly.
export const keep = (scan) => add(SCANS, scan);
// Every scan that waits, in the order in which they were made.
export const waiting = () => all(SCANS);
export const letGo = (scan) => remove(SCANS, scan);
export const setAside = (note) => add(ASIDE, note);
export const aside = () => all(ASIDE);
// How many scans would be lost with the page.
export const wouldBeLost = () => memory[SCANS].length;

export async function change(scan) {
  if (shelf && !scan.inMemory) await on(SCANS, "readwrite", (store) => store.put(scan));
}

export async function clearAside() {
  for (const note of await aside()) await remove(ASIDE, note);
}
