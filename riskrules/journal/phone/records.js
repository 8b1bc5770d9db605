// Records of the field journal, made of what was tapped. One that may have left the phone is never
// changed: a change is a correction.
const seconds = (ms) => Math.floor(ms / 1000);
const writer = new TextEncoder();
const reader = new TextDecoder();
const clean = (text) => (text ? reader.decode(writer.encode(text)).replaceAll("\0", "").trim() : "");
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

function timesOf(fields) {
  const at = fields.map(entryOf).filter((entry) => entry && entry.v !== null)
    .map((entry) => seconds(entry.at));
  const first = Math.min(...at);
  const last = Math.max(...at);
  return { time: first, end: last > first ? last : null };
}

function wishedSighting(key) {
  const counted = PLAN.stops.filter(([stop]) => countAt(stop, key).state === "counted");
  if (!counted.length) return null;
  const [symptom, part] = partsOf(key);
  const stops = counted.map(([stop, bed]) => {
    const { a, e } = countAt(stop, key);
    return { stop, affected: a, examined: e, bed };
  });
  const { a, e } = totals(key);
  const fields = counted.flatMap(([stop]) => ["a", "e"].map((what) => fieldOf(stop, key, what)));
  const body = {
    kind: "sighting", symptom, part, affected: a, examined: e,
    pattern: a === 0 ? "none_seen" : get(`p/${key}`),
    stops, walk: PLAN.walk, photos: hashesOf(photosOf(key)),
  };
  return { id: uuid5(PLAN.walk, key), body, ...timesOf(fields) };
}

// A photo of a symptom that was counted nowhere goes with the note of its stop.
const alone = () => keysShown().filter((key) => totals(key).n === 0);

function wishedNote([stop, bed, metres], about) {
  const words = clean(get(`n/${stop}`));
  const photos = about.flatMap((each) => photosOf(each, stop));
  if (!words && !photos.length) return null;
  const text = TEXT.inWords(stop, bed, metres, words || TEXT.justPhoto);
  const body = { kind: "note", text, photos: hashesOf(photos) };
  const fields = [...(words ? [`n/${stop}`] : []), ...photos];
  return { id: uuid5(PLAN.walk, `note/${stop}`), body, ...timesOf(fields) };
}

function wishedRow(field) {
  const made = get(field);
  if (!made || made.gone) return null;
  return { id: field.slice(2), body: made.body, time: made.time, end: null };
}

function wishes(onlyRow = false) {
  const found = new Map(fieldsUnder("q/").map((field) => [field, wishedRow(field)]));
  if (onlyRow) return found;
  const about = ["note", ...alone()];
  for (const stop of PLAN.stops) found.set(`note/${stop[0]}`, wishedNote(stop, about));
  const all = new Set([...keysShown(), ...versionKeys().filter((k) => PLAN.symptoms[partsOf(k)[0]])]);
  for (const key of all) found.set(key, wishedSighting(key));
  return found;
}

const versionKeys = () => fieldsUnder("v/").map((field) => field.slice(2));
const versionsOf = (key) => get(`v/${key}`) ?? [];
const versions = () => versionKeys().flatMap(versionsOf).sort((a, b) => a.made - b.made);
const stands = (record) => record && record.body.kind !== "taken_back";

function settled(wish, last) {
  return wish ? Boolean(last) && same(last.body, wish.body) : !stands(last);
}

function whyOf(wish, before) {
  if (!wish) return TEXT.wasMistake;
  return same(wish.body.stops, before.body.stops) ? TEXT.changed : TEXT.countedAgain;
}

function settle(key, wish, who) {
  fresh(`v/${key}`);
  const list = [...versionsOf(key)];
  if (settled(wish, list.at(-1))) return;
  if (list.length && !get(`o/${list.at(-1).id}`)) list.pop();
  const before = list.at(-1);
  if (!settled(wish, before)) {
    list.push({
      id: before ? uuid4() : wish.id,
      block: PLAN.block,
      time: wish ? wish.time : before.time,
      end: wish ? wish.end : before.end,
      body: wish ? wish.body : { kind: "taken_back" },
      who,
      made: seconds(Date.now()),
      replaces: before ? before.id : null,
      why: before ? whyOf(wish, before) : "",
      note: "",
      came_by: "form",
    });
  }
  put(`v/${key}`, list);
}

const whoWalks = () => clean(get("who") ?? PLAN.who).slice(0, 200);

// Makes the records of what was tapped; false where nobody said who walks.
function settleAll(onlyRow = false) {
  const who = whoWalks();
  if (!who) return false;
  wishes(onlyRow).forEach((wish, key) => settle(key, wish, who));
  return true;
}

const unsettled = () => [...wishes()].some(([key, wish]) => !settled(wish, versionsOf(key).at(-1)));
const markOut = (records) => records.forEach(({ id }) => {
  if (!get(`o/${id}`)) put(`o/${id}`, true);
});
const photosIn = (records) => [...new Set(records.flatMap((record) => record.body.photos ?? []))];
