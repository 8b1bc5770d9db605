// What is kept: fields of this walk, each {v: value, t: order, at: clock [ms]}. Each is written to
// localStorage at once, which other windows see, and to IndexedDB with strict durability: browsers
// write localStorage to disk up to a minute later, too late for a battery that dies.
const PLAN = JSON.parse(document.getElementById("plan").textContent);
const SPACE = `${PLAN.format}/${PLAN.walk}/`;
const memory = new Map();
const watchers = new Set();
const keeping = { waiting: 0, disk: true, browser: true, at: 0 };

const base = new Promise((found, failed) => {
  const asked = indexedDB.open("riskrules walks", 1);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("fields");
    asked.result.createObjectStore("photos");
  };
  asked.onsuccess = () => found(asked.result);
  asked.onerror = asked.onblocked = () => failed(asked.error);
});
base.catch(() => { keeping.disk = false; });

const newer = (a, b) => (!a || (b && b.t > a.t) ? b : a);

function inBrowser(field) {
  try {
    const entry = JSON.parse(localStorage.getItem(SPACE + field));
    return entry && typeof entry.t === "number" ? entry : null;
  } catch {
    return null;
  }
}

// As this window knows it; other windows tell of theirs.
const entryOf = (field) => memory.get(field) ?? null;
const get = (field) => entryOf(field)?.v ?? null;

// As it is this moment, in whichever window it was tapped: to add to it.
function fresh(field) {
  const entry = newer(entryOf(field), inBrowser(field));
  if (entry) remember(field, entry);
  return get(field);
}

const groups = new Map();
const groupOf = (field) => field.slice(0, field.indexOf("/") + 1);

function remember(field, entry) {
  memory.set(field, entry);
  const group = groupOf(field);
  if (!groups.has(group)) groups.set(group, new Set());
  groups.get(group).add(field);
}

// Fields of a group, such as "q/".
const fieldsUnder = (group) => [...(groups.get(group) ?? [])].sort();

function namesInBrowser() {
  try {
    return Object.keys(localStorage).filter((name) => name.startsWith(SPACE))
      .map((name) => name.slice(SPACE.length));
  } catch {
    return [];
  }
}

function note(field, entry) {
  remember(field, entry);
  try {
    localStorage.setItem(SPACE + field, JSON.stringify(entry));
    keeping.browser = true;
  } catch {
    keeping.browser = false;
  }
}

// Many changes at once are shown once.
let told = false;
function tell() {
  if (told) return;
  told = true;
  queueMicrotask(() => {
    told = false;
    watchers.forEach((watch) => watch());
  });
}

// A tap that comes later counts, even where the phone's clock was set back between.
function put(field, value) {
  const before = newer(entryOf(field), inBrowser(field));
  const now = Date.now();
  const entry = { v: value, t: Math.max(now, before ? before.t + 1 : 0), at: now };
  note(field, entry);
  toDisk(field, entry);
  if (/^(c|p|n|ph)\//.test(field) && get("done")) put("done", null);
  tell();
}

function written(names, work) {
  return base.then((opened) => new Promise((done, failed) => {
    const turn = opened.transaction(names, "readwrite", { durability: "strict" });
    turn.oncomplete = () => done();
    turn.onerror = turn.onabort = () => failed(turn.error);
    work(turn);
  }));
}

function toDisk(field, entry) {
  keeping.waiting++;
  const key = [PLAN.walk, field];
  written(["fields"], (turn) => {
    const store = turn.objectStore("fields");
    store.get(key).onsuccess = (event) => {
      if (newer(event.target.result, entry) === entry) store.put(entry, key);
    };
  }).then(
    () => { keeping.disk = true; keeping.at = Date.now(); },
    () => { keeping.disk = false; },
  ).then(() => {
    keeping.waiting--;
    tell();
  });
}

function readAll(store, range) {
  return base.then((opened) => new Promise((done, failed) => {
    const found = [];
    const asked = opened.transaction(store).objectStore(store).openCursor(range);
    asked.onerror = () => failed(asked.error);
    asked.onsuccess = () => {
      const cursor = asked.result;
      if (!cursor) return done(found);
      found.push([cursor.key, cursor.value]);
      return cursor.continue();
    };
  }));
}

// Disk and browser are brought together, field by field: the later tap counts.
async function bringBack() {
  const range = IDBKeyRange.bound([PLAN.walk, ""], [PLAN.walk, "\uffff"]);
  const seen = new Map();
  namesInBrowser().forEach(fresh);
  try {
    for (const [key, entry] of await readAll("fields", range)) {
      seen.set(key[1], entry);
      keeping.at = Math.max(keeping.at, entry.at);
      if (newer(entryOf(key[1]), entry) === entry) note(key[1], entry);
    }
  } catch {
    keeping.disk = false;
  }
  for (const field of memory.keys()) {
    const entry = entryOf(field);
    if (newer(seen.get(field), entry) === entry && seen.get(field)?.t !== entry.t) {
      toDisk(field, entry);
    }
  }
}

addEventListener("storage", (event) => {
  if (event.storageArea !== localStorage) return;
  if (event.key === null) {
    memory.forEach((entry, field) => note(field, entry));
  } else if (event.key.startsWith(SPACE)) {
    const field = event.key.slice(SPACE.length);
    const mine = memory.get(field);
    const theirs = inBrowser(field);
    if (theirs && newer(mine, theirs) === theirs) remember(field, theirs);
    else if (mine) note(field, mine);
    tell();
  }
});

function canKeep() {
  try {
    localStorage.setItem(`${SPACE}try`, "1");
    localStorage.removeItem(`${SPACE}try`);
  } catch {
    keeping.browser = false;
  }
  // Without this a phone short of room may clear what it kept.
  navigator.storage?.persist?.().catch(() => {});
}
