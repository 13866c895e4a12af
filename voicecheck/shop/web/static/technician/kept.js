/**
 * What this phone keeps until the shop has it: an IndexedDB with takes, their parts, photos, and the wish that a
 * walk-around be drafted. Bytes are kept as ArrayBuffers (blobs in IndexedDB were lost by some phones), apart from
 * their descriptions, so that looking at what there is loads no recording into memory.
 *
 * take:  {key, walkaround, title, person, personName, kind, name, origin: "recorder"|"file", began, seconds,
 *         parts, bytes, closed, cut, size, server, complete}
 *        `parts` counts what was kept, `closed` says that no more will come, `cut` that it ended by itself,
 *        `size` is that of a chosen file, `server` the shop's id, `complete` that the shop has put it together.
 * part:  {take, number, size, seconds, sent}
 * photo: {key, walkaround, title, person, personName, kind, take, at}
 * bytes: {of, number, bytes}  of a take's part, or of a photo (number 0)
 * wish:  {walkaround, title, person, personName}  "that is all": to be drafted when everything is there
 *
 * Where there is no IndexedDB (some private windows), everything is kept in memory and `lasting` is false.
 */

const NAME = "voicecheck-technician";
const STORES = {
  takes: "key", parts: ["take", "number"], photos: "key", wishes: "walkaround", bytes: ["of", "number"],
};
const ALL = Number.MAX_SAFE_INTEGER;

export async function openKept() {
  try {
    return new Kept(await openDatabase());
  } catch {
    return new Kept(new InMemory());
  }
}

export class Kept {
  constructor(base) {
    this.base = base;
    this.lasting = base.lasting;
  }

  takes() { return this.base.all("takes"); }
  take(key) { return this.base.get("takes", key); }
  addTake(take) { return this.base.put("takes", take); }
  photos() { return this.base.all("photos"); }
  wishes() { return this.base.all("wishes"); }
  addWish(wish) { return this.base.put("wishes", wish); }
  dropWish(walkaround) { return this.base.remove("wishes", walkaround); }
  partsOf(take) { return this.base.range("parts", [take, 0], [take, ALL]); }

  /** The bytes of a part (or photo, number 0); `null` once they are let go. */
  async bytesOf(of, number = 0) {
    const found = await this.base.get("bytes", [of, number]);
    return found ? found.bytes : null;
  }

  addPhoto(photo, bytes) {
    return this.base.write({ photos: [photo], bytes: [{ of: photo.key, number: 0, bytes }] });
  }

  async dropPhoto(key) {
    await this.base.remove("photos", key);
    await this.base.remove("bytes", [key, 0]);
  }

  /** Changes fields of a take; in one transaction, so that two tabs do not undo each other's change. */
  changeTake(key, fields) {
    return this.base.change("takes", key, (take) => ({ ...take, ...fields }));
  }

  /** Keeps the next part of a take, part and count together or not at all. Returns its number. */
  async addPart(take, bytes, seconds) {
    let number = 0;
    await this.base.changeWith("takes", take.key, (kept) => {
      number = kept.parts;
      const part = { take: take.key, number, size: bytes.byteLength, seconds, sent: false };
      const grown = { ...kept, parts: number + 1, seconds: kept.seconds + seconds, bytes: kept.bytes + part.size };
      return { takes: [grown], parts: [part], bytes: [{ of: take.key, number, bytes }] };
    });
    return number;
  }

  /**
   * Marks a part as arrived. Its bytes are let go, but those of part 0 stay until the whole take is put together:
   * without the beginning nothing of a recording can be played.
   */
  async partSent(take, number) {
    await this.base.change("parts", [take, number], (part) => ({ ...part, sent: true }));
    if (number) await this.base.remove("bytes", [take, number]);
  }

  partUnsent(take, number) {
    return this.base.change("parts", [take, number], (part) => ({ ...part, sent: false }));
  }

  /** The shop has put the take together: only its description stays, until `forget`. */
  async takeComplete(key) {
    await this.changeTake(key, { complete: true, closed: true });
    await this.dropParts(key);
  }

  async forget(key) {
    await this.dropParts(key);
    await this.base.remove("takes", key);
  }

  async dropParts(key) {
    await this.base.removeRange("parts", [key, 0], [key, ALL]);
    await this.base.removeRange("bytes", [key, 0], [key, ALL]);
  }
}

function openDatabase() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(STORES)) request.result.createObjectStore(store, { keyPath });
    };
    request.onsuccess = () => resolve(new InIndexedDb(request.result));
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });
}

/** Resolves when the transaction is on disk, with what `work` returned (a request's result, or a value). */
function inTransaction(database, stores, mode, work) {
  return new Promise((resolve, reject) => {
    const options = mode === "readwrite" ? { durability: "strict" } : {};
    const transaction = database.transaction(stores, mode, options);
    let result;
    transaction.oncomplete = () => resolve(result instanceof IDBRequest ? result.result : result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error || new Error("aborted"));
    result = work(transaction);
  });
}

class InIndexedDb {
  constructor(database) {
    this.database = database;
    this.lasting = true;
    database.onversionchange = () => database.close();
  }

  get(store, key) { return inTransaction(this.database, store, "readonly", (t) => t.objectStore(store).get(key)); }
  all(store) { return inTransaction(this.database, store, "readonly", (t) => t.objectStore(store).getAll()); }
  put(store, value) { return this.write({ [store]: [value] }); }
  write(values) {
    return inTransaction(this.database, Object.keys(values), "readwrite", (t) => putAll(t, values));
  }
  remove(store, key) {
    return inTransaction(this.database, store, "readwrite", (t) => { t.objectStore(store).delete(key); });
  }
  range(store, first, last) {
    const keys = IDBKeyRange.bound(first, last);
    return inTransaction(this.database, store, "readonly", (t) => t.objectStore(store).getAll(keys));
  }
  removeRange(store, first, last) {
    const keys = IDBKeyRange.bound(first, last);
    return inTransaction(this.database, store, "readwrite", (t) => { t.objectStore(store).delete(keys); });
  }
  change(store, key, how) {
    return inTransaction(this.database, store, "readwrite", (t) => {
      const request = t.objectStore(store).get(key);
      request.onsuccess = () => { if (request.result) t.objectStore(store).put(how(request.result)); };
    });
  }
  /** `how` gives, from the value under `key`, all values to be put, by store. */
  changeWith(store, key, how) {
    return inTransaction(this.database, Object.keys(STORES), "readwrite", (t) => {
      const request = t.objectStore(store).get(key);
      request.onsuccess = () => {
        if (!request.result) { t.abort(); return; }
        try { putAll(t, how(request.result)); } catch (error) { console.error(error); t.abort(); }
      };
    });
  }
}

function putAll(transaction, values) {
  for (const [store, list] of Object.entries(values)) {
    for (const value of list) transaction.objectStore(store).put(value);
  }
}

class InMemory {
  constructor() {
    this.lasting = false;
    this.stores = Object.fromEntries(Object.keys(STORES).map((name) => [name, new Map()]));
  }

  keyOf(store, value) {
    const path = STORES[store];
    return JSON.stringify(Array.isArray(path) ? path.map((name) => value[name]) : value[path]);
  }
  async get(store, key) { return this.stores[store].get(JSON.stringify(key)); }
  async all(store) { return [...this.stores[store].values()]; }
  async put(store, value) { this.stores[store].set(this.keyOf(store, value), value); }
  async write(values) {
    for (const [store, list] of Object.entries(values)) for (const value of list) await this.put(store, value);
  }
  async remove(store, key) { this.stores[store].delete(JSON.stringify(key)); }
  async range(store, [of]) {
    const own = (value) => (value.take ?? value.of) === of;
    return (await this.all(store)).filter(own).sort((a, b) => a.number - b.number);
  }
  async removeRange(store, [of]) {
    for (const value of await this.range(store, [of])) this.stores[store].delete(this.keyOf(store, value));
  }
  async change(store, key, how) {
    const value = await this.get(store, key);
    if (value) await this.put(store, how(value));
  }
  async changeWith(store, key, how) {
    const value = await this.get(store, key);
    if (!value) throw new Error("gone");
    await this.write(how(value));
  }
}
