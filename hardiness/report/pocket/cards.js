// One plant a card: the page of hardiness serve and the sheet in a single file show the same cards.
// In: what to show, and a keeper that holds the scores. Nothing here knows where they are kept or sent.
"use strict";
(function () {
  const NOT_SAID = "no";

  // An element with its properties and children; text is text, never markup.
  function make(tag, given = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(given)) {
      if (name === "class") made.className = value;
      else if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
      else if (name in made && name !== "list") made[name] = value;
      else made.setAttribute(name, value);
    }
    made.append(...children.filter((child) => child !== null));
    return made;
  }

  function dayText(day) {
    const [year, month, date] = day.split("-").map(Number);
    return new Date(Date.UTC(year, month - 1, date)).toLocaleDateString("en-GB", {
      day: "numeric", month: "long", year: "numeric", timeZone: "UTC",
    });
  }

  // A file's field that looks and feels like a button; on a phone it opens the camera.
  function fileButton(id, text, onchange) {
    const field = make("input", { type: "file", id, accept: "image/*", onchange });
    field.setAttribute("capture", "environment");
    return make("label", { class: "file", htmlFor: id }, text, field);
  }

  function count(amount, noun) {
    return `${amount} ${noun}${amount === 1 ? "" : "s"}`;
  }

  // Show the cards in an element. keeper: observer, day, get(plant), others(plant), put(plant, value), undo(), choose(plant, mine),
  // drop(plant), photo(plant, file) or null, moved(), onchange. scan: a file to the text of its code, or null.
  function showCards(root, data, keeper, { scan = null, limit = null } = {}) {
    const grades = data.grades.map((name, grade) => `${grade} ${name}`);
    let stops = data.stops;
    let at = 0;
    let shown = ""; // the plant on the card
    let aimed = ""; // what the card showed when a finger or the mouse went down on a grade
    const drafts = new Map(); // of plants without a grade yet: note, cover, photos

    const observer = make("input", { id: "observer", maxLength: 200, autocomplete: "off", value: keeper.observer });
    const day = make("input", { id: "day", type: "date", value: keeper.day, required: true });
    if (limit) day.max = limit;
    const blocks = [...new Set(data.stops.map((stop) => stop.block))];
    const block = make("select", { id: "block" }, make("option", { value: "*" }, "all blocks"),
      ...blocks.map((name) => make("option", { value: name }, name || "no block")));
    const whoText = make("summary");
    const who = make("details", { class: "who" }, whoText,
      make("div", { class: "field" }, make("label", { htmlFor: "observer" }, "Who scores"), observer),
      make("div", { class: "field" }, make("label", { htmlFor: "day" }, "Date of the scores"), day),
      make("div", { class: "field" }, make("label", { htmlFor: "block" }, "Where"), block));

    const progress = make("progress", { max: 1, value: 0 });
    const progressText = make("span");
    const where = make("p", { class: "where" });
    const name = make("h2", { tabIndex: -1 });
    const what = make("p", { class: "what" });
    const last = make("p", { class: "last" });
    const notice = make("div", { class: "notice", role: "alert", hidden: true });
    const said = make("p", { class: "said", role: "status" });
    const presses = data.grades.map((text, grade) => {
      const tile = make("b", {}, String(grade));
      const [fill, letter] = data.colours[grade];
      tile.style.setProperty("--fill", fill);
      tile.style.setProperty("--letter", letter);
      return make("button", { type: "button", class: "grade-press", "aria-pressed": "false",
        onpointerdown: () => { aimed = inSight(); }, onclick: () => pressed(grade) },
        tile, make("span", {}, text));
    });
    const undo = make("button", { type: "button", class: "plain", onclick: takeBack }, "Undo");
    const back = make("button", { type: "button", class: "plain", onclick: () => go(at - 1) }, "Back");
    const skip = make("button", { type: "button", class: "plain", onclick: () => go(at + 1) }, "Skip");

    const note = make("textarea", { id: "note", rows: 2, maxLength: 2000, onchange: keepMore });
    const cover = make("select", { id: "cover", onchange: keepMore },
      ...data.protections.map((one) => make("option", { value: one === NOT_SAID ? "" : one },
        one === NOT_SAID ? "no, it stood open" : one)));
    const more = make("details", { class: "more" }, make("summary", {}, "Note, cover", keeper.photo ? ", photo" : ""),
      make("div", { class: "field" }, make("label", { htmlFor: "note" }, "Note on this plant"), note),
      make("div", { class: "field" }, make("label", { htmlFor: "cover" }, "Was it covered in the coldest freeze?"), cover));
    if (keeper.photo) {
      more.append(fileButton("photo", "Take a photo of this plant", takePhoto));
    }

    const label = make("input", { id: "jump", autocomplete: "off", autocapitalize: "characters", spellcheck: false,
      maxLength: 200, enterKeyHint: "go" });
    const found = make("div", { class: "found", role: "status" });
    const jump = make("form", { class: "jump", onsubmit: (event) => { event.preventDefault(); find(label.value); } },
      make("label", { htmlFor: "jump" }, "Go to a plant by its label"),
      make("div", { class: "beside" }, label, make("button", { class: "plain" }, "Go")), found);
    if (scan) {
      jump.append(fileButton("scan", "Go by a photo of its square code", readCode));
    }

    root.replaceChildren(
      who,
      make("div", { class: "progress" }, progressText, progress),
      make("article", { class: "plant" }, where, name, what, last, notice),
      make("div", { class: "grades", role: "group", "aria-label": "Grade" }, ...presses),
      said,
      make("div", { class: "moves" }, back, undo, skip),
      more, jump);

    observer.addEventListener("change", () => { keeper.observer = observer.value.normalize("NFC").replace(/^[=+\-@\s]+/, "").replace(/\s+/g, " ").trim(); moved(); });
    day.addEventListener("change", () => { if (day.value) { keeper.day = day.value; moved(); } else day.value = keeper.day; });
    block.addEventListener("change", () => {
      stops = block.value === "*" ? data.stops : data.stops.filter((stop) => stop.block === block.value);
      at = firstOpen(0);
      show();
    });
    document.addEventListener("keydown", (event) => {
      const writing = event.target.closest && event.target.closest("input, textarea, select");
      if (writing || event.ctrlKey || event.metaKey || event.altKey || !/^[0-9]$/.test(event.key)) return;
      if (Number(event.key) < data.grades.length) press(Number(event.key));
    });
    keeper.onchange = show;

    function moved() {
      observer.value = keeper.observer;
      keeper.moved();
      at = firstOpen(0);
      show();
    }

    function stop() { return stops[at]; }

    // The next plant without a score, once round; where all have one, the place one stands at.
    function firstOpen(from) {
      for (let step = 0; step < stops.length; step += 1) {
        const place = (from + step) % stops.length;
        if (!keeper.get(stops[place].plant).value) return place;
      }
      return Math.min(from, Math.max(stops.length - 1, 0));
    }

    function go(place) {
      note.blur();
      at = (place + stops.length) % stops.length;
      said.textContent = "";
      show();
    }

    function goTo(plant) {
      note.blur();
      let place = stops.findIndex((one) => one.plant === plant);
      if (place < 0) {
        block.value = "*";
        stops = data.stops;
        place = stops.findIndex((one) => one.plant === plant);
      }
      if (place >= 0) { at = place; show(); }
      return place >= 0;
    }

    function draftOf(plant) { return drafts.get(plant) || { protected: "", notes: "", files: [] }; }

    function inSight() {
      if (!stops.length) return "";
      const { value } = keeper.get(stop().plant);
      return JSON.stringify([stop().plant, value && value.grade]);
    }

    // A finger that goes down leaves the field it was in: a new name or date then changes the card beneath it.
    function pressed(grade) {
      const meant = aimed;
      aimed = "";
      if (meant && meant !== inSight()) said.textContent = "The card has changed. Look at it, then give the grade.";
      else press(grade);
    }

    function press(grade) {
      if (!stops.length || keeper.get(stop().plant).state === "conflict") return;
      note.blur(); // a note still being written is kept with this plant
      const plant = stop().plant;
      const before = keeper.get(plant).value;
      const draft = draftOf(plant);
      const known = before || draft;
      const value = { grade, protected: known.protected, notes: known.notes };
      const same = before && before.grade === grade && before.notes === value.notes && before.protected === value.protected;
      if (!same) keeper.put(plant, value);
      for (const file of draft.files) keeper.photo(plant, file);
      drafts.delete(plant);
      said.textContent = `${plant}: ${grades[grade]}.`;
      at = firstOpen((at + 1) % stops.length);
      if (keeper.get(stop().plant).value) at = stops.findIndex((one) => one.plant === plant);
      more.open = false;
      who.open = false;
      show();
      // The next plant's name is brought into sight, should the page stand lower.
      if (name.getBoundingClientRect().top < 0) root.scrollIntoView();
    }

    function keepMore() {
      if (!stops.length) return;
      const plant = stop().plant;
      const { value } = keeper.get(plant);
      const changed = { protected: cover.value, notes: note.value.trim() };
      if (!value) { drafts.set(plant, { ...draftOf(plant), ...changed }); return; }
      if (value.protected === changed.protected && value.notes === changed.notes) return;
      keeper.put(plant, { grade: value.grade, ...changed });
      said.textContent = `${plant}: kept with its score.`;
      show();
    }

    function takePhoto(event) {
      const [file] = event.target.files;
      if (!file || !stops.length) return;
      const plant = stop().plant;
      if (keeper.get(plant).value) {
        keeper.photo(plant, file);
        said.textContent = `${plant}: the photo goes with its score.`;
      } else {
        const draft = draftOf(plant);
        drafts.set(plant, { ...draft, files: [...draft.files, file] });
        said.textContent = `${plant}: the photo waits for the grade.`;
      }
      event.target.value = "";
    }

    async function takeBack() {
      const plant = await keeper.undo();
      if (plant) goTo(plant);
      said.textContent = plant ? `Taken back: ${plant}.` : "Nothing to take back since this page was opened.";
      show();
    }

    function find(text) {
      const wanted = text.trim().toLowerCase();
      found.replaceChildren();
      if (!wanted) return;
      const labels = data.stops.map((one) => one.plant);
      let hits = labels.filter((one) => one.toLowerCase() === wanted);
      if (!hits.length) hits = labels.filter((one) => one.toLowerCase().endsWith(wanted) || one.toLowerCase().startsWith(wanted));
      if (hits.length === 1) {
        goTo(hits[0]);
        label.value = "";
        label.blur();
        name.focus();
        root.scrollIntoView();
      } else if (hits.length) {
        found.append(make("p", {}, hits.length > 6 ? `${hits.length} plants; write more of the label.` : "Which one?"));
        if (hits.length <= 6) {
          found.append(...hits.map((one) => make("button", { type: "button", class: "plain", onclick: () => find(one) }, one)));
        }
      } else {
        found.append(make("p", {}, `No plant on this walk is labelled ${text.trim()}. ${data.said.join(" ")}`));
      }
    }

    async function readCode(event) {
      const [file] = event.target.files;
      if (!file) return;
      found.textContent = "Reading the code.";
      const text = await scan(file);
      event.target.value = "";
      if (text) find(text);
      else found.textContent = "No code was found in the photo. Go closer, hold it level, or write the label.";
    }

    function show() {
      const seen = data.stops.filter((one) => keeper.get(one.plant).value).length;
      progressText.textContent = `${seen} of ${data.stops.length} scored`;
      progress.max = Math.max(data.stops.length, 1);
      progress.value = seen;
      progress.setAttribute("aria-label", progressText.textContent);
      whoText.textContent = `${keeper.observer || "No name yet"}, ${dayText(keeper.day)}${block.value === "*" ? "" : `, ${block.value || "no block"}`}`;
      undo.disabled = !keeper.mayUndo();
      if (!stops.length) return;
      const one = stop();
      const held = keeper.get(one.plant);
      const draft = draftOf(one.plant);
      where.textContent = [one.block && `Block ${one.block}`, one.row && `row ${one.row}`, one.place && `place ${one.place}`,
        `stop ${at + 1} of ${stops.length}`].filter(Boolean).join(", ");
      name.textContent = one.plant;
      what.textContent = `${one.selection} on ${one.rootstock}`;
      last.textContent = one.last_on === null ? "No score yet." : `Last: ${grades[one.last_grade]}, ${dayText(one.last_on)}.`;
      const others = keeper.others(one.plant).map((other) => `${other.observer || "somebody"} gave ${grades[other.grade]}`);
      if (others.length) last.textContent += ` That day ${others.join(", ")}.`;
      presses.forEach((one_press, grade) => {
        const pressed = Boolean(held.value) && held.value.grade === grade;
        one_press.setAttribute("aria-pressed", String(pressed));
        one_press.disabled = held.state === "conflict";
      });
      // What is being written stays, unless another plant has come up.
      if (document.activeElement !== note || shown !== one.plant) note.value = (held.value || draft).notes;
      shown = one.plant;
      cover.value = (held.value || draft).protected === NOT_SAID ? "" : (held.value || draft).protected;
      notice.hidden = held.state !== "refused" && held.state !== "conflict";
      if (!notice.hidden) showNotice(one.plant, held);
    }

    function showNotice(plant, held) {
      const texts = held.sentences.map((text) => make("p", {}, text));
      const acts = held.state === "refused"
        ? [make("p", {}, `Not taken: ${grades[held.mine.grade]}. Tap another grade, or drop it.`),
          make("button", { type: "button", class: "plain", onclick: () => keeper.drop(plant) }, "Drop it")]
        : [make("button", { type: "button", onclick: () => keeper.choose(plant, true) }, `Put mine: ${grades[held.mine.grade]}`),
          make("button", { type: "button", class: "plain", onclick: () => keeper.choose(plant, false) },
            held.theirs ? `Leave ${grades[held.theirs.grade]}` : "Leave it without a score")];
      notice.replaceChildren(...texts, ...acts);
    }

    at = firstOpen(0);
    if (!keeper.observer) who.open = true;
    show();
    return { show, goTo };
  }

  window.hardinessCards = { showCards, make, dayText, count };
})();
