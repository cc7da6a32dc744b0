// The sheet in a single file: scores are kept in this browser, for this file, until they are taken out as a table.
"use strict";
(function () {
  const { showCards, make, count } = window.hardinessCards;
  const data = JSON.parse(document.getElementById("data").textContent);
  const root = document.getElementById("cards");
  const bar = document.getElementById("queue");
  const place = `hardiness sheet ${data.key}`;
  const COLUMNS = ["plant", "scored_on", "grade", "protected", "observer", "notes"];
  let kept = true;
  let state = { observer: "", scores: {}, taken: 0 };
  try {
    state = { ...state, ...JSON.parse(localStorage.getItem(place) || "{}") };
  } catch {
    kept = false;
  }
  const acts = [];

  function today() {
    const now = new Date();
    return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  }

  function store() {
    try {
      localStorage.setItem(place, JSON.stringify(state));
      kept = true;
    } catch {
      kept = false;
    }
    tell();
  }

  const keeper = {
    observer: state.observer, day: today(), onchange: () => {}, photo: null,
    key(plant) { return JSON.stringify([plant, this.day, this.observer]); },
    get(plant) {
      const value = state.scores[this.key(plant)] || null;
      return { value, state: value ? "stored" : "" };
    },
    put(plant, value) {
      const key = this.key(plant);
      acts.push({ key, plant, before: state.scores[key] || null });
      state.scores[key] = value;
      state.taken = 0;
      store();
    },
    others() { return []; },
    mayUndo() { return acts.length > 0; },
    undo() {
      const act = acts.pop();
      if (!act) return "";
      if (act.before) state.scores[act.key] = act.before; else delete state.scores[act.key];
      state.taken = 0;
      store();
      return act.plant;
    },
    moved() { state.observer = this.observer; store(); },
  };

  // A cell that a spreadsheet does not compute: a leading space, which reading the table takes off again.
  function cell(text) {
    const safe = /^[=+\-@\t\r]/.test(text) ? ` ${text}` : text;
    return /[",\n\r]|^\s|\s$/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  }

  function csv() {
    const rows = Object.entries(state.scores).map(([key, score]) => {
      const [plant, day, observer] = JSON.parse(key);
      return [plant, day, String(score.grade), score.protected, observer, score.notes].map(cell).join(",");
    });
    return `${[COLUMNS.join(","), ...rows].join("\n")}\n`;
  }

  function amount() { return Object.keys(state.scores).length; }

  function tell(text = "") {
    const scores = amount();
    const parts = scores ? [`${count(scores, "score")} in this browser only.`] : ["No score yet."];
    if (scores && state.taken === scores) parts[0] = `${count(scores, "score")}, taken out.`;
    if (!kept) parts.push("This browser keeps nothing for this file: take the table out before you close it.");
    if (text) parts.push(text);
    bar.textContent = parts.join(" ");
    bar.classList.toggle("waits", (scores > 0 && state.taken !== scores) || !kept);
    for (const id of ["take", "copy", "share", "show"]) document.getElementById(id).disabled = !scores;
  }

  function fileName() { return `scores-${today()}.csv`; }

  function taken(text) {
    state.taken = amount();
    store();
    tell(text);
  }

  document.getElementById("take").addEventListener("click", () => {
    const address = URL.createObjectURL(new Blob([csv()], { type: "text/csv;charset=utf-8" }));
    const anchor = make("a", { href: address, download: fileName() });
    document.body.append(anchor);
    anchor.click();
    anchor.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    taken(`Look for ${fileName()} among the downloads.`);
  });
  document.getElementById("copy").addEventListener("click", async () => {
    shown();
    try {
      await navigator.clipboard.writeText(csv());
      taken("Copied: paste it into a message or a file.");
    } catch {
      document.getElementById("text").select();
      tell("Copy the text below.");
    }
  });
  const share = document.getElementById("share");
  share.hidden = !navigator.share;
  share.addEventListener("click", async () => {
    const file = new File([csv()], fileName(), { type: "text/csv" });
    const whole = { files: [file], title: fileName() };
    try {
      await navigator.share(navigator.canShare && navigator.canShare(whole) ? whole : { title: fileName(), text: csv() });
      taken("Handed on.");
    } catch (error) {
      if (error.name !== "AbortError") tell("This browser could not hand it on: copy it.");
    }
  });
  document.getElementById("show").addEventListener("click", () => shown());

  function shown() {
    const text = document.getElementById("text");
    text.value = csv();
    text.hidden = false;
  }

  showCards(root, data, keeper, { scan: window.hardinessScan });
  tell();
})();
