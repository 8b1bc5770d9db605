// The list of stops, and the way between screens: each has its own place in the address, so that
// the phone's own back button works and a reload comes back to it.
const MARKS = { done: ["✓", TEXT.stopDone], begun: ["…", TEXT.stopBegun], open: ["", TEXT.stopOpen] };

function stopButton([stop, bed, metres], place) {
  return kept(button("", () => go(`stop-${stop}`), { class: "stop" }), (made) => {
    const [mark, words] = MARKS[stopState(stop)];
    made.dataset.state = stopState(stop);
    made.replaceChildren(el("b", null, String(place + 1)), el("span", null, TEXT.where(bed, metres)),
      el("em", null, `${words} ${mark}`.trim()));
  });
}

function beginButton() {
  const next = () => openStops()[0];
  return kept(button("", () => {
    const who = document.getElementById("who");
    const missing = !whoWalks();
    document.getElementById("nameSaid").textContent = missing ? TEXT.nameFirst : "";
    if (missing) who.focus();
    else go(next() === undefined ? "over" : `stop-${next()}`);
  }, { class: "wide main", id: "begin" }), (made) => {
    const place = PLAN.stops.findIndex(([stop]) => stop === next()) + 1;
    const begun = PLAN.stops.some(([stop]) => stopState(stop) !== "open");
    made.textContent = !place ? TEXT.toOver : begun ? TEXT.goOn(place) : TEXT.begin;
  });
}

function showList() {
  showTop(TEXT.walkOf(PLAN.title), () => PLAN.farm);
  const odd = seconds(Date.now()) < PLAN.planned - 600
    ? el("p", { class: "say", "data-state": "half", id: "oddClock" },
      TEXT.oddClock(new Date().toLocaleString("en-GB"))) : null;
  const progress = kept(el("p", { class: "sum" }), (line) => {
    const all = PLAN.stops.length;
    const left = openStops().length;
    line.textContent = left ? TEXT.counted(all - left, all) : TEXT.allCounted;
  });
  document.getElementById("screen").replaceChildren(...[
    odd,
    textBox(TEXT.name, "who", 200, { id: "who", first: PLAN.who }),
    el("p", { id: "nameSaid", class: "said", role: "alert" }),
    beginButton(), el("p", null, TEXT.lookAt(PLAN.per_stop)), progress,
    el("h2", null, TEXT.stops), el("div", { class: "stopList" }, ...PLAN.stops.map(stopButton)),
  ].filter(Boolean));
  showFoot(button(TEXT.toRow, () => go("row")), button(TEXT.toOver, () => go("over")));
}

function show() {
  const name = decodeURIComponent(location.hash.slice(1)) || get("at") || "list";
  const stop = Number(/^stop-(\d+)$/.exec(name)?.[1]);
  const known = PLAN.stops.some(([number]) => number === stop);
  live = [];
  if (known) showStop(stop);
  else ({ row: showRow, over: showOver }[name] ?? showList)();
  if (get("at") !== name) put("at", name);
  scrollTo(0, 0);
  document.querySelector("h1").focus({ preventScroll: true });
}

function go(name) {
  if (location.hash === `#${name}`) show();
  else location.hash = name;
}

const WAIT_MS = 4000;
document.getElementById("screen").replaceChildren(el("p", null, TEXT.reading));
document.body.append(spoken);
canKeep();
// A disk that does not answer must not keep anybody from counting.
Promise.race([bringBack(), new Promise((done) => { setTimeout(done, WAIT_MS); })]).then(() => {
  addEventListener("hashchange", show);
  show();
  sendSoon();
});
