// A state of the chip and of the parts around it, to come back to as often as one likes: everything that can be reached from them is written
// down, and later put back in place, so that whoever holds a reference finds the old state. What only a function's own variables hold is
// not seen: the parts keep their state in their objects.

/** Of buffers as large as flash only this part ever changes: the store. */
const LARGE = 1 << 20;
export const STORE = [2 * 1024 * 1024 - 32 * 1024, 2 * 1024 * 1024];

export class Snapshot {
  /** `constants` are left out. */
  constructor(roots, constants) {
    Object.assign(this, { objects: [], lists: [], collections: [], buffers: [] });
    const seen = new Set(constants);
    const todo = [...roots];
    while (todo.length > 0) {
      const found = todo.pop();
      if (found === null || typeof found !== 'object' || seen.has(found)) continue;
      seen.add(found);
      if (ArrayBuffer.isView(found)) todo.push(found.buffer);
      else if (found instanceof ArrayBuffer) this.buffer(found);
      else if (Array.isArray(found)) this.lists.push([found, found.slice()]), todo.push(...found);
      else if (found instanceof Map || found instanceof Set) {
        this.collections.push([found, [...found]]);
        todo.push(...found.values(), ...found.keys());
      } else {
        const keys = Object.keys(found);
        const values = keys.map((key) => found[key]);
        this.objects.push([found, keys, values]);
        todo.push(...values);
      }
    }
  }

  buffer(buffer) {
    const [from, to] = buffer.byteLength < LARGE ? [0, buffer.byteLength] : STORE;
    const now = new Uint8Array(buffer, from, to - from);
    this.buffers.push([now, now.slice()]);
  }

  restore() {
    for (const [buffer, bytes] of this.buffers) buffer.set(bytes);
    for (const [list, items] of this.lists) {
      list.length = items.length;
      for (let i = 0; i < items.length; i++) if (list[i] !== items[i]) list[i] = items[i];
    }
    for (const [collection, items] of this.collections) {
      collection.clear();
      for (const item of items) collection instanceof Map ? collection.set(...item) : collection.add(item);
    }
    for (const [object, keys, values] of this.objects) {
      for (let i = 0; i < keys.length; i++) if (object[keys[i]] !== values[i]) object[keys[i]] = values[i];
    }
  }
}

/** Thrown between two instructions, once as many were run as were asked for. */
export class Reached extends Error {}

/** Counts instructions down; with an exception's number, those of its handler only. */
export class Countdown {
  constructor(count, exception) {
    Object.assign(this, { left: count, exception });
  }

  look(core) {
    if (this.exception !== undefined && core.IPSR !== this.exception) return;
    if (this.left-- === 0) throw new Reached();
  }
}
