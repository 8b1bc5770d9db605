// The screen of one stop.
function counter(stop, key, what, label, last) {
  const title = titleOf(key);
  const field = fieldOf(stop, key, what);
  const input = el("input", {
    type: "text", inputmode: "numeric", autocomplete: "off", maxlength: 12,
    "aria-label": TEXT.typed(label, title), onfocus: () => input.select(),
  });
  const turn = (by, name, cls) => button(by < 0 ? "−1" : "+1", () => step(stop, key, what, by), {
    class: cls, "aria-label": name(label, title),
  });
  return el("div", { class: "counter" },
    el("span", { class: "label" }, label),
    turn(-1, TEXT.less, "less"), writable(input, field, typedCount, asText),
    turn(1, TEXT.more, "more"), last);
}

const SURE_MS = 4000;

function clearButton(stop, key, title) {
  const ask = (words) => {
    made.textContent = words;
    made.setAttribute("aria-label", words === TEXT.clearCount ? TEXT.clearOf(title) : words);
  };
  const made = button("", () => {
    if (made.textContent === TEXT.clearSure) {
      clearCount(stop, key);
      ask(TEXT.clearCount);
    } else {
      ask(TEXT.clearSure);
      setTimeout(ask, SURE_MS, TEXT.clearCount);
    }
  }, { class: "quiet" });
  ask(TEXT.clearCount);
  return kept(made, () => { made.hidden = countAt(stop, key).state === "open"; });
}

function card(stop, key) {
  const title = titleOf(key);
  const all = button(TEXT.allOf(PLAN.per_stop), () => put(fieldOf(stop, key, "e"), PLAN.per_stop), {
    "aria-label": TEXT.allOfLong(PLAN.per_stop, title),
  });
  // Beside +1: a wet glove that slips must not wipe out what was counted.
  const none = kept(button(TEXT.noneSeen, () => noneSeen(stop, key), {
    "aria-label": TEXT.noneSeenOf(title),
  }), (made) => { made.disabled = ![null, 0].includes(countAt(stop, key).a); });
  const say = kept(el("p", { class: "say" }), (line) => {
    const count = countAt(stop, key);
    line.textContent = count.say;
    line.dataset.state = count.state;
  });
  return el("section", { class: "card", "data-key": key },
    el("h2", null, title),
    counter(stop, key, "e", TEXT.lookedAt, all),
    counter(stop, key, "a", TEXT.affected, none),
    el("div", { class: "under" }, say, clearButton(stop, key, title)),
    el("div", { class: "under" }, looksOf(key), ...photoButton(TEXT.photoOf(title), key, stop)));
}

function anotherBox() {
  const what = el("select", { id: "another" }, el("option", { value: "" }, TEXT.pick1),
    ...Object.entries(PLAN.symptoms).map(([name, { title }]) => el("option", { value: name }, title)));
  const part = el("select", { id: "anotherPart" });
  what.addEventListener("change", () => {
    const first = PLAN.symptoms[what.value]?.parts ?? [];
    const others = Object.keys(PLAN.parts).filter((name) => !first.includes(name));
    part.replaceChildren(...[...first, ...others].map((name) => (
      el("option", { value: name }, PLAN.parts[name].title))));
  });
  const add = () => {
    if (!what.value || !part.value) return what.focus();
    put(`x/${what.value}/${part.value}`, true);
    return undefined;
  };
  return el("details", { class: "card" }, el("summary", null, TEXT.another),
    el("label", { class: "text" }, el("span", null, TEXT.anotherWhich), what),
    el("label", { class: "text" }, el("span", null, TEXT.anotherPart), part),
    button(TEXT.anotherAdd, add));
}

// Cards are added, here or in another window; none that is in use is built anew.
function cards(stop) {
  return kept(el("div", { id: "cards" }), (box) => {
    const there = new Set([...box.children].map((made) => made.dataset.key));
    box.append(...keysShown().filter((key) => !there.has(key)).map((key) => card(stop, key)));
  });
}

function noneOfTheRest(stop) {
  keysShown().filter((key) => countAt(stop, key).state === "open")
    .forEach((key) => noneSeen(stop, key));
}

function showStop(number) {
  const at = PLAN.stops.findIndex(([stop]) => stop === number);
  const [stop, bed, metres] = PLAN.stops[at];
  const before = PLAN.stops[at - 1];
  const after = PLAN.stops[at + 1];
  showTop(TEXT.stopOf(at + 1, PLAN.stops.length),
    () => TEXT.whereNow(bed, metres, MARKS[stopState(stop)][1]));
  const rest = kept(button(TEXT.noneSeenRest, () => noneOfTheRest(stop), { class: "wide" }), (made) => {
    made.hidden = !keysShown().some((key) => countAt(stop, key).state === "open");
  });
  document.getElementById("screen").replaceChildren(
    cards(stop), rest, anotherBox(),
    el("section", { class: "card" }, textBox(TEXT.noteOfStop, `n/${stop}`, 3500, { lines: 2 }),
      el("div", { class: "under" }, ...photoButton(TEXT.photoOf(TEXT.noteOfStop), "note", stop))));
  showFoot(
    button(TEXT.back, () => go(before ? `stop-${before[0]}` : "list")),
    button(TEXT.toList, () => go("list")),
    button(TEXT.next, () => go(after ? `stop-${after[0]}` : "over"), { class: "main" }));
}
