// The scoring page: what the server holds, what waits to be sent, and the sending itself.
"use strict";
(async function () {
  const { showCards, make, count, dayText } = window.hardinessCards;
  const root = document.getElementById("cards");
  const bar = document.getElementById("queue");
  const list = document.getElementById("unsent");
  const box = document.getElementById("unsent-box");
  const WAIT_MS = 20000, FIRST_RETRY_MS = 1500, LAST_RETRY_MS = 20000, LONGEST_PHOTO = 1600, MOST_SHOWN = 12;

  const queue = new window.hardinessQueue.Queue();
  await queue.open();
  let data = null;
  let view = null;
  const base = new Map(); // scores that the server is known to hold, by key
  const acts = []; // what undo takes back, the latest last
  let trouble = ""; // why nothing is sent at the moment
  let sending = false;
  let answered = 0; // entries that the server has answered
  let retryMs = FIRST_RETRY_MS;
  let timer = 0;

  function remembered(name) {
    try { return localStorage.getItem(`hardiness ${name}`); } catch { return null; }
  }
  function remember(name, value) {
    try { localStorage.setItem(`hardiness ${name}`, value); } catch { /* it is asked for again next time */ }
  }

  const keyOf = (tap) => JSON.stringify([tap.plant, tap.scored_on, tap.observer]);
  const valuesOf = (one) => (one ? { grade: one.grade, protected: one.protected, notes: one.notes } : null);
  const mine = (entry) => entry.tap.trial === data.trial;

  // By key: the last entry that waits, and the last that came back; made anew when the queue has changed.
  let made = { version: -1, map: new Map() };
  function queued() {
    if (made.version === queue.version) return made.map;
    const map = new Map();
    for (const entry of queue.entries) {
      if (!mine(entry) || entry.kind === "photo") continue;
      const key = keyOf(entry.tap);
      const known = map.get(key) || {};
      known[entry.state === "waiting" ? "waiting" : "halted"] = entry;
      map.set(key, known);
    }
    made = { version: queue.version, map };
    return map;
  }

  // ---- what the cards ask of their keeper

  const keeper = {
    observer: "", day: "", onchange: () => {},
    key(plant) { return JSON.stringify([plant, this.day, this.observer]); },
    get(plant) {
      const key = this.key(plant);
      const { waiting, halted } = queued().get(key) || {};
      const value = waiting ? (waiting.kind === "undo" ? waiting.before : valuesOf(waiting.tap)) : base.get(key) || null;
      if (halted) return { value, state: halted.state, sentences: halted.sentences, mine: halted.tap, theirs: halted.now };
      return { value, state: waiting ? "waiting" : value ? "stored" : "" };
    },
    // What other people gave the plant on that day.
    others(plant) {
      const others = [];
      for (const [other, values] of base) {
        const [what, day, observer] = JSON.parse(other);
        if (what === plant && day === this.day && observer !== this.observer) others.push({ observer, grade: values.grade });
      }
      return others;
    },
    put(plant, value) {
      const before = this.get(plant).value;
      for (const entry of queue.entries) {
        if (entry.state !== "waiting" && entry.kind === "score" && mine(entry) && keyOf(entry.tap) === this.key(plant)) queue.remove(entry);
      }
      push({ ...value, trial: data.trial, plant, scored_on: this.day, observer: this.observer }, before, before);
    },
    mayUndo() { return acts.length > 0; },
    undo() {
      const act = acts.pop();
      if (!act) return "";
      const entry = queue.find(act.id);
      if (entry && (entry.tries === 0 || entry.state !== "waiting")) queue.remove(entry); // it never left, or came back
      else queue.add({ kind: "undo", of: act.id, tap: act.tap, before: act.before });
      tell();
      send();
      return act.tap.plant;
    },
    choose(plant, keepMine) {
      const entry = queue.entries.find((one) => one.state === "conflict" && mine(one) && keyOf(one.tap) === this.key(plant));
      if (!entry) return;
      queue.remove(entry);
      if (keepMine) push(entry.tap, entry.now, entry.now);
      tell();
    },
    drop(plant) {
      for (const entry of queue.entries) {
        if (entry.state !== "waiting" && mine(entry) && keyOf(entry.tap) === this.key(plant)) queue.remove(entry);
      }
      tell();
    },
    async photo(plant, file) {
      const tap = { trial: data.trial, plant, scored_on: this.day, observer: this.observer };
      queue.add({ kind: "photo", tap, blob: await smaller(file) });
      tell();
      send();
    },
    moved() {
      remember("observer", this.observer);
      fetchHeld();
    },
  };

  function push(values, seen, before) {
    noted = "";
    const { grade, notes, trial, plant, scored_on, observer } = values;
    const tap = { trial, plant, scored_on, observer, grade, protected: values.protected, notes };
    const entry = queue.add({ kind: "score", tap, seen: valuesOf(seen) });
    acts.push({ id: entry.id, tap: { ...tap, id: entry.id }, before });
    tell();
    send();
  }

  // A photo of a phone's camera, made small before it waits: the server draws it anew in any case.
  async function smaller(file) {
    try {
      const picture = await createImageBitmap(file);
      const share = Math.min(1, LONGEST_PHOTO / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * share);
      canvas.height = Math.round(picture.height * share);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      return (await new Promise((made) => canvas.toBlob(made, "image/jpeg", 0.85))) || file;
    } catch {
      return file; // the server says what is wrong with it
    }
  }

  // ---- sending

  function next() {
    const halted = new Set(queue.entries.filter((entry) => entry.state !== "waiting").map((entry) => keyOf(entry.tap)));
    return queue.entries.find((entry) => entry.state === "waiting" && mine(entry)
      && !(entry.kind === "photo" && halted.has(keyOf(entry.tap))));
  }

  async function ask(path, given = {}) {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), WAIT_MS);
    try {
      return await fetch(path, { credentials: "same-origin", redirect: "manual", cache: "no-store", signal: stop.signal, ...given });
    } finally {
      clearTimeout(late);
    }
  }

  function post(entry) {
    const headers = { "X-Token": data.token };
    if (entry.kind === "photo") {
      const form = new FormData();
      for (const name of ["trial", "plant", "scored_on", "observer"]) form.append(name, entry.tap[name]);
      form.append("file", entry.blob, "photo.jpg");
      return ask("/score/photos", { method: "POST", headers, body: form });
    }
    headers["Content-Type"] = "application/json";
    const body = entry.kind === "undo" ? entry.tap : { ...entry.tap, id: entry.id, seen: entry.seen };
    return ask(entry.kind === "undo" ? "/score/undo" : "/score/taps", { method: "POST", headers, body: JSON.stringify(body) });
  }

  // Send what waits, one after the other; true where all of it has been answered.
  async function send() {
    if (sending || !data) return;
    sending = true;
    clearTimeout(timer);
    let renewed = false;
    try {
      for (let entry = next(); entry; entry = next()) {
        await queue.change(entry, { tries: entry.tries + 1 });
        let answer;
        try {
          answer = await post(entry);
        } catch {
          throw new Error("no connection");
        }
        if (answer.type === "opaqueredirect" || answer.status === 401) throw new Error("signed out");
        if (answer.status === 403) {
          if (renewed || !(await renew())) throw new Error("not allowed");
          renewed = true;
          continue;
        }
        if (answer.status >= 500 || answer.status === 429) throw new Error("the server is busy or in trouble");
        let outcome;
        try {
          outcome = await answer.json();
        } catch {
          outcome = { state: "refused", now: null, sentences: [`The server did not take it (answer ${answer.status}).`] };
        }
        await settle(entry, outcome);
        trouble = "";
        retryMs = FIRST_RETRY_MS;
        tell();
      }
      trouble = "";
    } catch (error) {
      trouble = error.message;
      timer = setTimeout(send, retryMs);
      retryMs = Math.min(retryMs * 2, LAST_RETRY_MS);
    } finally {
      sending = false;
      tell();
    }
  }

  async function renew() {
    const answer = await ask("/score/cards.json?held_only=true");
    if (answer.type === "opaqueredirect") throw new Error("signed out");
    if (!answer.ok) return false;
    const told = await answer.json();
    const fresh = told.token !== data.token;
    data.token = told.token;
    return fresh;
  }

  async function settle(entry, outcome) {
    answered += 1;
    const key = keyOf(entry.tap);
    const later = queue.entries.filter((one) => one.number > entry.number && one.kind !== "photo" && keyOf(one.tap) === key);
    const taken = outcome.state === "stored" || outcome.state === "undone";
    if (entry.kind !== "photo" && outcome.now !== undefined && (taken || outcome.state === "conflict" || entry.kind === "undo")) {
      if (outcome.now) base.set(key, outcome.now); else base.delete(key);
    }
    if (taken) {
      await queue.remove(entry);
      // What comes next was tapped on top of this one, as the records write it.
      const [following] = later;
      if (entry.kind !== "photo" && following && following.kind === "score") {
        await queue.change(following, { seen: entry.kind === "undo" ? outcome.now : outcome.score });
      }
      return;
    }
    if (entry.kind === "undo") {
      note(outcome.sentences.join(" "));
      await queue.remove(entry);
      return;
    }
    const undone = later.find((one) => one.kind === "undo" && one.of === entry.id);
    const following = later.find((one) => one.kind === "score" && one.state === "waiting");
    if (entry.kind === "score" && undone) { // taken back before it was known to be refused
      await queue.remove(undone);
      await queue.remove(entry);
    } else if (entry.kind === "score" && following) { // tapped over since: that one is judged, on the same ground
      await queue.change(following, { seen: entry.seen });
      await queue.remove(entry);
    } else {
      await queue.change(entry, { state: outcome.state, sentences: outcome.sentences, now: outcome.now || null });
    }
  }

  // ---- what is told

  let noted = "";
  function note(text) { noted = text; }

  function tell() {
    const own = data ? queue.entries.filter(mine) : [];
    const waiting = own.filter((entry) => entry.state === "waiting").length;
    const halted = own.filter((entry) => entry.state !== "waiting").length;
    const foreign = queue.entries.length - own.length;
    const parts = [];
    if (waiting) parts.push(`${waiting} ${waiting === 1 ? "waits" : "wait"} to be sent${trouble ? `: ${trouble}` : ""}.`);
    if (halted) parts.push(`${halted} ${halted === 1 ? "wants" : "want"} a look.`);
    if (data && foreign) parts.push(`${foreign} for another trial.`);
    if (!parts.length) parts.push(trouble === "signed out" ? "Signed out." : "All sent.");
    if (noted) parts.push(noted);
    if (!queue.kept) parts.push("This browser keeps nothing: do not close the page while something waits.");
    bar.textContent = parts.join(" ");
    bar.classList.toggle("waits", waiting + halted + foreign > 0 || !queue.kept);
    document.getElementById("sign-in-again").hidden = trouble !== "signed out" && trouble !== "not allowed";
    box.hidden = !queue.entries.length;
    document.getElementById("which").hidden = box.hidden;
    const calm = (entry) => entry.state === "waiting" && data && mine(entry);
    const sorted = [...queue.entries.filter((entry) => !calm(entry)), ...queue.entries.filter(calm)];
    list.replaceChildren(...sorted.slice(0, MOST_SHOWN).map(line));
    if (sorted.length > MOST_SHOWN) list.append(make("li", {}, `and ${sorted.length - MOST_SHOWN} more.`));
    keeper.onchange();
  }

  function line(entry) {
    const { plant, scored_on, observer } = entry.tap;
    const what = entry.kind === "photo" ? "photo" : entry.kind === "undo" ? "taking back" : data ? `${entry.tap.grade} ${data.grades[entry.tap.grade] || ""}` : "score";
    const text = `${plant}, ${dayText(scored_on)}${observer ? `, ${observer}` : ""}: ${what}. `;
    const state = data && !mine(entry) ? "For another trial; it waits until that one is served here." : entry.state === "waiting" ? "Waits." : entry.sentences.join(" ");
    const item = make("li", {}, make("span", {}, text + state));
    const acts = make("div", { class: "acts" });
    if (data && mine(entry) && view) acts.append(make("button", { type: "button", class: "plain", onclick: () => open(entry) }, "Show the card"));
    if (entry.state !== "waiting" || (data && !mine(entry))) acts.append(make("button", { type: "button", class: "plain", onclick: () => { queue.remove(entry); tell(); } }, "Drop it"));
    item.append(acts);
    return item;
  }

  function open(entry) {
    const moved = keeper.day !== entry.tap.scored_on || keeper.observer !== entry.tap.observer;
    keeper.day = entry.tap.scored_on;
    keeper.observer = entry.tap.observer;
    document.getElementById("day").value = keeper.day;
    document.getElementById("observer").value = keeper.observer;
    if (moved) fetchHeld();
    view.goTo(entry.tap.plant);
    root.scrollIntoView();
  }

  function hold(day, scores) {
    for (const key of [...base.keys()]) if (JSON.parse(key)[1] === day) base.delete(key);
    for (const one of scores) base.set(JSON.stringify([one.plant, day, one.observer]), valuesOf(one));
  }

  async function fetchHeld() {
    try {
      const before = answered;
      const answer = await ask(`/score/cards.json?held_only=true&on=${keeper.day}`);
      const told = answer.ok ? await answer.json() : null;
      // What was answered meanwhile may be newer than this: ask anew.
      if (told && answered !== before) { fetchHeld(); return; }
      if (told) hold(told.day, told.held);
    } catch {
      trouble = "no connection"; // what that day holds is seen once there is one
    }
    tell();
  }

  async function load() {
    for (;;) {
      let told;
      try {
        const answer = await ask("/score/cards.json");
        if (answer.type === "opaqueredirect") { root.textContent = "You are signed out."; trouble = "signed out"; tell(); return; }
        told = await answer.json();
      } catch {
        root.textContent = "The server does not answer. This page goes on by itself once it does.";
        await new Promise((wake) => setTimeout(wake, 2000));
        continue;
      }
      if (told.state === "blocked") { root.replaceChildren(...told.sentences.map((text) => make("p", {}, text))); return; }
      if (told.state === "ready") {
        data = told;
        hold(told.day, told.held);
        break;
      }
      root.textContent = "Finding which plants stand where, and what each was last.";
      await new Promise((wake) => setTimeout(wake, 500));
    }
    keeper.observer = remembered("observer") ?? data.who;
    keeper.day = data.today;
    document.getElementById("plants-said").textContent = `${count(data.stops.length, "plant")} on the walk. ${data.said.join(" ")}`;
    if (!data.stops.length) {
      root.replaceChildren(make("p", {}, "There is no plant to score: register plants first."));
    } else {
      view = showCards(root, data, keeper, { scan: window.hardinessScan, limit: data.today });
    }
    tell();
    send();
  }

  window.addEventListener("online", () => { retryMs = FIRST_RETRY_MS; send(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { retryMs = FIRST_RETRY_MS; send(); } });
  document.getElementById("send-now").addEventListener("click", () => { noted = ""; retryMs = FIRST_RETRY_MS; send(); });
  tell();
  await load();
})();
