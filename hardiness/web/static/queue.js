// What was tapped and is not yet confirmed by the server: kept in the browser (IndexedDB), so that a lost connection, a
// closed page or an empty battery loses nothing. Entries keep the order in which they came.
"use strict";
(function () {
  const NAME = "hardiness", STORE = "taps";

  function opened() {
    return new Promise((resolve, reject) => {
      const asked = window.indexedDB.open(NAME, 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
      asked.onblocked = () => reject(new Error("blocked"));
    });
  }

  function done(request) {
    return new Promise((resolve, reject) => {
      request.transaction.oncomplete = () => resolve(request.result);
      request.transaction.onabort = () => reject(request.transaction.error);
      request.transaction.onerror = () => reject(request.transaction.error);
    });
  }

  // randomUUID is only there on https; random bytes are there on http too.
  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  class Queue {
    constructor() {
      this.entries = [];
      this.kept = true; // whether the browser keeps the entries when the page is closed
      this.newest = 0;
      this.version = 0; // rises with every change
      this.writes = Promise.resolve();
    }

    async open() {
      try {
        this.database = await opened();
        this.entries = await done(this.database.transaction(STORE).objectStore(STORE).getAll());
        this.entries.sort((one, other) => one.number - other.number);
        this.newest = this.entries.reduce((most, entry) => Math.max(most, entry.number), 0);
      } catch {
        this.kept = false;
      }
    }

    // Writes go one after the other, in the order of the taps.
    write(act) {
      if (!this.database) return this.writes;
      this.writes = this.writes
        .then(() => done(act(this.database.transaction(STORE, "readwrite").objectStore(STORE))))
        .catch(() => { this.kept = false; });
      return this.writes;
    }

    add(entry) {
      this.version += 1;
      this.newest = Math.max(this.newest + 1, Date.now());
      const whole = { id: newId(), number: this.newest, state: "waiting", tries: 0, sentences: [], ...entry };
      this.entries.push(whole);
      this.write((store) => store.put(whole));
      return whole;
    }

    change(entry, values) {
      this.version += 1;
      Object.assign(entry, values);
      return this.write((store) => store.put(entry));
    }

    remove(entry) {
      this.version += 1;
      this.entries = this.entries.filter((one) => one.id !== entry.id);
      return this.write((store) => store.delete(entry.id));
    }

    find(id) { return this.entries.find((entry) => entry.id === id); }
  }

  window.hardinessQueue = { Queue, newId };
})();
