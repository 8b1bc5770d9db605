// Handing over: as a file, and to the farm's server while it is in reach.
const online = Boolean(PLAN.send_to) && location.protocol.startsWith("http");
const sending = { busy: false, again: null, wait: 0, failed: "", at: 0 };
const TAKEN = ["new", "known", "differs"];
const FIRST_WAIT_S = 5;
const LONGEST_WAIT_S = 300;
const GIVE_UP_S = 30;

const answerTo = (id) => get(`k/${id}`);
const isTaken = (id) => TAKEN.includes(answerTo(id)?.state);
const toSend = () => versions().filter(({ id }) => !isTaken(id));
const photosToSend = () => photosIn(versions().filter(({ id }) => isTaken(id)))
  .filter((hash) => !get(`kp/${hash}`));

function envelope(records, photos) {
  return JSON.stringify({ format: PLAN.format, walk: PLAN.walk, records, photos });
}

async function post(records, photos) {
  const stop = new AbortController();
  setTimeout(() => stop.abort(), GIVE_UP_S * 1000);
  const response = await fetch(PLAN.send_to, {
    method: "POST",
    headers: { "Content-Type": "application/json", Authorization: `Bearer ${PLAN.token}` },
    body: envelope(records, photos),
    cache: "no-store",
    signal: stop.signal,
  });
  const answer = await response.json();
  if (response.ok) return answer;
  throw Object.assign(new Error(answer.error), { refused: response.status < 500 });
}

async function sendOnce() {
  settleAll(!get("done"));
  const records = toSend();
  if (records.length) {
    markOut(records);
    const answer = await post(records, {});
    for (const { id, state, reason, asks } of answer.records) {
      put(`k/${id}`, { state, reason, asks });
    }
  }
  for (const hash of photosToSend()) {
    const bytes = await photoBytes(hash);
    if (!bytes) continue;
    const answer = await post([], { [hash]: base64(bytes) });
    if (answer.photos.includes(hash)) put(`kp/${hash}`, true);
  }
}

async function sendNow() {
  if (!online || sending.busy) return;
  clearTimeout(sending.again);
  sending.again = null;
  sending.busy = true;
  tell();
  try {
    await sendOnce();
    sending.wait = 0;
    sending.failed = "";
    sending.at = Date.now();
  } catch (error) {
    sending.failed = error.refused ? TEXT.refusedAll(error.message) : tryLater();
  }
  sending.busy = false;
  tell();
}

function tryLater() {
  sending.wait = Math.min(LONGEST_WAIT_S, sending.wait ? sending.wait * 2 : FIRST_WAIT_S);
  sending.again = setTimeout(sendNow, sending.wait * 1000);
  return `${TEXT.toSend(toSend().length + photosToSend().length)} ${TEXT.noReach(sending.wait)}`;
}

// What the farm did not simply take.
const odd = (answer) => !["new", "known"].includes(answer?.state) || Boolean(answer.asks?.length);

// Worked out anew after every tap: what was sent before is not all any more.
function sendWords() {
  if (!online) return "";
  if (sending.busy) return TEXT.sending;
  if (sending.failed) return sending.failed;
  if (!whoWalks()) return TEXT.nameFirst;
  if (!sending.at) return "";
  const all = versions();
  const asked = all.filter(({ id }) => odd(answerTo(id))).length;
  if (asked) return TEXT.sentPart(all.filter(({ id }) => isTaken(id)).length, asked);
  if (unsettled()) return TEXT.sentSoFar;
  return all.length ? TEXT.sent(clockOf(sending.at)) : "";
}


function sendSoon() {
  if (document.visibilityState !== "visible") return;
  sending.wait = 0;
  sendNow();
}

addEventListener("online", sendSoon);
addEventListener("pageshow", sendSoon);
document.addEventListener("visibilitychange", sendSoon);

async function fileOf() {
  const records = versions();
  const photos = {};
  for (const hash of photosIn(records)) {
    const bytes = await photoBytes(hash);
    if (bytes) photos[hash] = base64(bytes);
  }
  markOut(records);
  const day = new Date().toISOString().slice(0, 10);
  return [envelope(records, photos), `walk-${PLAN.block}-${day}-${PLAN.walk.slice(0, 8)}`];
}

// Some browsers share text but no JSON; where none of both, the file goes to the downloads.
function shareable(text, name) {
  const files = [["json", "application/json"], ["json.txt", "text/plain"]]
    .map(([ending, type]) => new File([text], `${name}.${ending}`, { type }));
  return files.find((file) => navigator.canShare?.({ files: [file] })) ?? null;
}

function download(text, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  link.download = `${name}.json`;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

// Returns whether it was handed over; the user may stop the sharing.
async function handOverFile() {
  const [text, name] = await fileOf();
  const file = shareable(text, name);
  try {
    if (file) await navigator.share({ files: [file] });
    else download(text, name);
  } catch (error) {
    if (error.name === "AbortError") return false;
    download(text, name);
  }
  put("handed", versions().map(({ id }) => id));
  return true;
}
