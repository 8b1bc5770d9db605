// The screen of what is so now in the block: each tap makes a record with its time.
function rowWords({ body }) {
  if (body.kind === "pick") return TEXT.pickSaid(body.weight_kg);
  if (body.kind === "stages") return TEXT.stagesSaid(body.codes);
  if (body.kind === "note") return body.text;
  return TEXT.states[`${body.kind}/${body.what}`] ?? body.kind;
}

function makeRow(body) {
  put(`q/${uuid4()}`, { body, time: seconds(Date.now()) });
  sendSoon();
}

const rowMade = () => fieldsUnder("q/").map((field) => [field, get(field)])
  .filter(([, made]) => made).sort((a, b) => a[1].time - b[1].time || (a[0] < b[0] ? -1 : 1));

function lastSaid(kind) {
  const made = rowMade().filter(([, { body, gone }]) => body.kind === kind && !gone);
  return made.length ? made.at(-1)[1].body.what : null;
}

function stateCard(title, kind, ways) {
  const taps = ways.map((what) => choice(TEXT.states[`${kind}/${what}`],
    () => lastSaid(kind) === what, () => makeRow({ kind, what })));
  return el("section", { class: "card" }, el("h2", null, title), el("div", { class: "pair" }, ...taps));
}

function sayLine() {
  return el("p", { class: "said", role: "status" });
}

function pickCard() {
  const said = sayLine();
  const keep = () => {
    const text = clean(get("d/kilos")).replace(",", ".");
    const fine = text === "" || (/^\d{1,6}(\.\d{1,3})?$/.test(text));
    said.textContent = fine ? "" : TEXT.kilosBad;
    if (!fine) return;
    makeRow({ kind: "pick", state: "done", weight_kg: text === "" ? null : Number(text) });
    empty("d/kilos", "kilos");
  };
  return el("section", { class: "card" }, el("h2", null, TEXT.pick),
    textBox(TEXT.pickKilos, "d/kilos", 12, { id: "kilos", inputmode: "decimal" }), said,
    button(TEXT.pickDone, keep, { class: "wide" }));
}

function empty(field, id) {
  put(field, "");
  document.getElementById(id).value = "";
}

function stagesCard() {
  const said = sayLine();
  const chosen = () => get("d/stages") ?? [];
  const turn = (code) => put("d/stages", chosen().includes(code)
    ? chosen().filter((other) => other !== code) : [...chosen(), code].sort((a, b) => a - b));
  const taps = PLAN.stages.map(([code, words]) => choice(`${code}  ${words}`,
    () => chosen().includes(code), () => turn(code)));
  const keep = () => {
    said.textContent = chosen().length ? "" : TEXT.stagesNone;
    if (!chosen().length) return;
    makeRow({ kind: "stages", codes: chosen() });
    put("d/stages", []);
  };
  const folded = el("summary", null, el("h2", null, TEXT.stages));
  return el("details", { class: "card", open: chosen().length > 0 }, folded,
    el("div", { class: "stages" }, ...taps), said, button(TEXT.stagesKeep, keep, { class: "wide" }));
}

function noteCard() {
  const said = sayLine();
  const keep = () => {
    const text = clean(get("d/note"));
    said.textContent = text ? "" : TEXT.freeNoteNone;
    if (!text) return;
    makeRow({ kind: "note", text, photos: [] });
    empty("d/note", "freeNote");
  };
  return el("section", { class: "card" },
    textBox(TEXT.freeNote, "d/note", 3500, { id: "freeNote", lines: 3 }), said,
    button(TEXT.freeNoteKeep, keep, { class: "wide" }));
}

function madeList() {
  return kept(el("ul", { class: "made" }), (list) => {
    const lines = rowMade().map(([field, made]) => {
      const words = TEXT.atTime(clockOf(made.time * 1000), rowWords(made));
      const off = button(TEXT.takeBack, () => {
        put(field, { ...made, gone: true });
        sendSoon();
      }, { class: "quiet", "aria-label": TEXT.takeBackOf(words) });
      const end = made.gone ? el("b", null, TEXT.takenBack) : off;
      return el("li", null, el("span", { class: made.gone ? "gone" : "" }, words), end);
    });
    list.replaceChildren(...(lines.length ? lines : [el("li", null, TEXT.nothingHere)]));
  });
}

function showRow() {
  showTop(TEXT.rowTitle, () => TEXT.rowAbout(PLAN.title));
  document.getElementById("screen").replaceChildren(
    stateCard(TEXT.cover, "row_cover", ["on", "off"]),
    stateCard(TEXT.sides, "sides", ["down", "up"]),
    pickCard(), stagesCard(), noteCard(),
    el("section", { class: "card" }, el("h2", null, TEXT.madeHere), madeList()));
  showFoot(button(TEXT.back, () => history.back()), button(TEXT.toList, () => go("list")),
    button(TEXT.toOver, () => go("over"), { class: "main" }));
}
