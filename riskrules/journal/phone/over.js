// The screen that sums up and hands over.
function sumCard(key) {
  const title = titleOf(key);
  const line = kept(el("p", { class: "sum" }), (made) => {
    const { a, e, n } = totals(key);
    made.textContent = n ? TEXT.sumUp(a, e, n) : TEXT.nothingCounted;
  });
  const taps = Object.entries(TEXT.patterns).map(([name, words]) => choice(words,
    () => get(`p/${key}`) === name, () => put(`p/${key}`, get(`p/${key}`) === name ? null : name)));
  const where = kept(el("fieldset", { "aria-label": TEXT.patternOf(title) }, el("legend", null, TEXT.pattern),
    el("div", { class: "pair" }, ...taps)), (made) => { made.hidden = totals(key).a === 0; });
  return el("section", { class: "card" }, el("h2", null, title), line, where);
}

function openLine() {
  return kept(el("p", { class: "say", "data-state": "half" }), (line) => {
    const open = openStops();
    const half = halfCounts();
    const places = PLAN.stops.map(([stop], i) => [stop, i + 1]);
    const list = places.filter(([stop]) => open.includes(stop)).map(([, place]) => place).join(", ");
    line.hidden = !open.length;
    line.textContent = TEXT.openStops(list) + (half ? ` ${TEXT.openHalf(half)}` : "");
  });
}

function answerLines() {
  return kept(el("ul", { class: "made", id: "answers" }), (list) => {
    const lines = versions().flatMap((record) => {
      const answer = answerTo(record.id);
      const said = [];
      if (answer?.state === "refused") said.push(TEXT.refused(answer.reason));
      if (answer?.state === "differs") said.push(TEXT.differs);
      said.push(...(answer?.asks ?? []).map(TEXT.asks));
      return said.map((words) => el("li", null, el("span", null, `${recordWords(record)}: ${words}`)));
    });
    list.hidden = !lines.length;
    list.replaceChildren(...lines);
  });
}

function recordWords(record) {
  const { body } = record;
  if (body.kind === "sighting") return titleOf(`${body.symptom}/${body.part}`);
  return body.kind === "taken_back" ? TEXT.takenBack : rowWords(record);
}

function withName(work) {
  return async () => {
    const said = document.getElementById("overSaid");
    said.textContent = "";
    if (!settleAll()) {
      said.textContent = TEXT.nameFirst;
      document.getElementById("who").focus();
      return;
    }
    said.textContent = await work();
  };
}

async function finish() {
  put("done", true);
  await sendNow();
  return "";
}

const asFile = async () => (await handOverFile() ? "" : TEXT.fileStopped);

function handedLine() {
  return kept(el("p", { id: "handed" }), (line) => {
    const gone = get("handed");
    const more = gone && (unsettled() || versions().some(({ id }) => !gone.includes(id)));
    const time = gone ? clockOf(entryOf("handed").at) : "";
    line.hidden = !gone;
    line.textContent = gone ? TEXT.fileGone(time) + (more ? ` ${TEXT.changedSince}` : "") : "";
    line.classList.toggle("warn", Boolean(more));
  });
}

function showOver() {
  showTop(TEXT.overTitle, () => TEXT.walkOf(PLAN.title));
  const send = online ? kept(button("", withName(finish), { class: "wide main", id: "done" }), (made) => {
    made.textContent = versions().some((r) => r.body.kind === "sighting") && unsettled()
      ? TEXT.walkAgain : TEXT.walkDone;
  }) : null;
  document.getElementById("screen").replaceChildren(...[
    openLine(), ...keysShown().map(sumCard),
    el("section", { class: "card" },
      textBox(TEXT.name, "who", 200, { id: "who", first: PLAN.who }),
      el("p", { id: "overSaid", class: "said", role: "alert" }), send,
      button(TEXT.asFile, withName(asFile), { class: online ? "wide" : "wide main", id: "asFile" }),
      el("p", null, TEXT.asFileAbout), handedLine(), answerLines()),
  ].filter(Boolean));
  const last = PLAN.stops.at(-1)[0];
  showFoot(button(TEXT.back, () => go(`stop-${last}`)), button(TEXT.toList, () => go("list")),
    button(TEXT.toRow, () => go("row")));
}
