// What was counted where. A key is "symptom/part".
const partsOf = (key) => key.split("/");
const titleOf = (key) => {
  const [symptom, part] = partsOf(key);
  return TEXT.on(PLAN.symptoms[symptom].title, PLAN.parts[part].title);
};
const added = () => fieldsUnder("x/").filter(get).map((field) => field.slice(2));
const keysShown = () => [...new Set([...PLAN.counted, ...added()])];
const fieldOf = (stop, key, what) => `c/${stop}/${key}/${what}`;
const isCount = (value) => Number.isInteger(value) && value >= 0;

// A typed text stays as it is until it is a whole number: nothing written is dropped.
function typedCount(text) {
  const plain = text.trim();
  if (plain === "") return null;
  return /^\d{1,5}$/.test(plain) ? Number(plain) : plain;
}

function countAt(stop, key) {
  const a = get(fieldOf(stop, key, "a"));
  const e = get(fieldOf(stop, key, "e"));
  const state = (name, say) => ({ a, e, state: name, say });
  if (a === null && e === null) return state("open", TEXT.notCounted);
  if ([a, e].some((value) => value !== null && !isCount(value))) return state("half", TEXT.notWhole);
  if (e === null || e === 0) return state("half", TEXT.needExamined);
  if (a === null) return state("half", TEXT.needAffected);
  if (a > e) return state("half", TEXT.tooMany(a, e));
  return state("counted", TEXT.isCounted(a, e));
}

function step(stop, key, what, by) {
  const field = fieldOf(stop, key, what);
  const now = fresh(field);
  put(field, Math.max(0, (isCount(now) ? now : 0) + by));
}

function noneSeen(stop, key) {
  const { e } = countAt(stop, key);
  if (!isCount(e) || e === 0) put(fieldOf(stop, key, "e"), PLAN.per_stop);
  put(fieldOf(stop, key, "a"), 0);
}

function clearCount(stop, key) {
  put(fieldOf(stop, key, "a"), null);
  put(fieldOf(stop, key, "e"), null);
}

// What was added later was not looked for before: it holds no stop open that it was not begun at.
function stopState(stop) {
  const must = PLAN.counted.map((key) => countAt(stop, key).state);
  const more = added().map((key) => countAt(stop, key).state).filter((s) => s !== "open");
  const all = [...must, ...more];
  if (all.length && all.every((state) => state === "counted")) return "done";
  return all.some((state) => state !== "open") || get(`n/${stop}`) ? "begun" : "open";
}

const openStops = () => PLAN.stops.map(([stop]) => stop).filter((s) => stopState(s) !== "done");
const halfCounts = () => PLAN.stops
  .flatMap(([stop]) => keysShown().map((key) => countAt(stop, key)))
  .filter(({ state }) => state === "half").length;

function totals(key) {
  const counts = PLAN.stops.map(([stop]) => countAt(stop, key)).filter((c) => c.state === "counted");
  const sum = (name) => counts.reduce((all, count) => all + count[name], 0);
  return { a: sum("a"), e: sum("e"), n: counts.length };
}
