// Pieces of a screen. Text is always put in as text, never as markup.
let live = [];

function el(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (typeof value === "function") made.addEventListener(name.slice(2), value);
    else if (value !== null && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

// Runs now and after every change, here or in another window.
function kept(element, show) {
  const run = () => show(element);
  live.push(run);
  run();
  return element;
}

watchers.add(() => live.forEach((run) => run()));

const clockOf = (ms) => new Date(ms).toLocaleTimeString("en-GB", {
  hour: "2-digit", minute: "2-digit",
});

function button(words, onclick, more = {}) {
  return el("button", { type: "button", onclick, ...more }, words);
}

// A tap that is on or off; what is on shows by a mark and a fill.
function choice(words, isOn, onclick) {
  return kept(button(words, onclick), (made) => {
    made.setAttribute("aria-pressed", String(isOn()));
  });
}

// Written down at every stroke; another window's text shows once nobody writes here.
function writable(input, field, read, show) {
  input.addEventListener("input", () => put(field, read(input.value)));
  return kept(input, () => {
    if (document.activeElement !== input) input.value = show(get(field));
  });
}

const asText = (value) => (value === null ? "" : String(value));

function textBox(label, field, most, more = {}) {
  const tag = more.lines ? "textarea" : "input";
  const box = el(tag, {
    id: more.id ?? null, maxlength: most, rows: more.lines ?? null, autocomplete: "off",
    inputmode: more.inputmode ?? null,
  });
  const input = writable(box, field, (text) => text, (value) => value ?? more.first ?? "");
  return el("label", { class: "text" }, el("span", null, label), input);
}

function photoButton(label, about, stop) {
  const said = el("p", { class: "said", role: "status" });
  const input = el("input", {
    type: "file", accept: "image/*", capture: "environment", "aria-label": label,
    onchange: async () => {
      const [file] = input.files;
      if (!file) return;
      said.textContent = TEXT.photoBusy;
      said.textContent = await keepPhoto(file, about, stop);
      input.value = "";
    },
  });
  const shown = kept(el("div", { class: "photos" }), (box) => showPhotos(box, about, stop));
  return [el("label", { class: "file button" }, TEXT.photo, input), said, shown];
}

function showPhotos(box, about, stop) {
  const fields = photosOf(about, stop);
  if (box.dataset.shown === fields.join()) return;
  box.dataset.shown = fields.join();
  box.replaceChildren(...fields.flatMap((field, i) => {
    const picture = el("img", { alt: TEXT.photoNumber(i + 1), width: 72, height: 72 });
    photoBytes(get(field).hash).then((bytes) => {
      if (!bytes) return;
      picture.src = URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" }));
      picture.onload = () => URL.revokeObjectURL(picture.src);
    }, () => {});
    return [picture, button(TEXT.photoOff(i + 1), () => put(field, null), { class: "quiet" })];
  }));
}

function looksOf(key) {
  const [symptom, part] = partsOf(key);
  const about = PLAN.symptoms[symptom];
  const alike = about.alike.map((tell) => el("li", null, el("b", null, TEXT.alike), tell));
  return el("details", null,
    el("summary", null, TEXT.looks),
    el("p", null, about.looks),
    el("ul", null, ...alike),
    el("p", null, el("b", null, TEXT.countsAsOne(PLAN.parts[part].title)), PLAN.parts[part].looks));
}

// Bars: where one is, what is kept, what is sent; and the ways on.
function showTop(heading, below) {
  const line = kept(el("p", { class: "below" }), (made) => { made.textContent = below(); });
  const keepLine = kept(el("p", { id: "kept" }), (line) => {
    line.textContent = keepWords();
    line.classList.toggle("warn", !keeping.disk);
  });
  const sendLine = online ? kept(el("p", { id: "sent" }), (line) => {
    line.textContent = sendWords();
  }) : null;
  document.getElementById("top").replaceChildren(
    el("h1", { tabindex: "-1" }, heading), line, keepLine,
    ...(sendLine ? [sendLine] : []));
}

function keepWords() {
  if (!keeping.disk) return keeping.browser ? TEXT.tabOnly : TEXT.notKept;
  if (keeping.waiting) return TEXT.keeping;
  return keeping.at ? TEXT.kept(clockOf(keeping.at)) : "";
}

// Read out only what has come to rest.
const spoken = el("div", { class: "away", "aria-live": "polite" });
watchers.add(() => {
  if (keeping.waiting || sending.busy) return;
  const words = [keepWords(), sendWords()].filter(Boolean).join(". ");
  if (spoken.textContent !== words) spoken.textContent = words;
});

const showFoot = (...made) => document.getElementById("foot").replaceChildren(...made);
