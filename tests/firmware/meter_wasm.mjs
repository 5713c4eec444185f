// Makes an interpreter count what it does: every WebAssembly instruction it executes, and every
// bytecode it dispatches. meter(bytes) gives the module back with two more exported globals,
// "metered_steps" and "metered_codes", both of 32 bits that wrap.
//
// A run of instructions without a branch into or out of it is charged once, at its beginning;
// what only marks structure (block, loop, end, nop) costs nothing. Bytecodes are counted where
// the interpreter branches over its table of opcodes, the one br_table with the most targets.

const COUNTED = { steps: "metered_steps", codes: "metered_codes" };
const STRUCTURE = new Set([0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x0b, 0x19]);
// after these another run begins: loop, if, else, try, catch, end, branches, return, throws
const ENDS = new Set([
  0x00, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0b, 0x0c, 0x0d, 0x0e, 0x0f, 0x12, 0x13,
  0x18, 0x19, 0x1f,
]);

function leb(value) {
  const out = [];
  for (;;) {
    const low = value & 127;
    value >>>= 7;
    out.push(value ? low | 128 : low);
    if (!value) return out;
  }
}

function signed(value) {
  const out = [];
  for (;;) {
    const low = value & 127;
    value >>= 7;
    const last = (value === 0 && !(low & 64)) || (value === -1 && low & 64);
    out.push(last ? low : low | 128);
    if (last) return out;
  }
}

class Reader {
  constructor(bytes, at = 0) {
    this.bytes = bytes;
    this.at = at;
  }
  byte() {
    return this.bytes[this.at++];
  }
  u32() {
    let value = 0;
    for (let shift = 0; ; shift += 7) {
      const byte = this.byte();
      value |= (byte & 127) << shift;
      if (byte < 128) return value >>> 0;
    }
  }
  skip() {
    // a number of any length
    while (this.byte() >= 128);
  }
  numbers(n) {
    while (n--) this.skip();
  }
}

// The operands of one instruction passed over; of a br_table the number of its targets.
function operands(r, op) {
  if (op === 0x0e) {
    const targets = r.u32();
    r.numbers(targets + 1);
    return targets;
  }
  if (op === 0x1c) r.numbers(r.u32());
  else if (op === 0x1f) {
    r.skip();
    for (let n = r.u32(); n--; ) r.numbers(r.byte() < 2 ? 2 : 1);
  } else if (op === 0x11 || op === 0x13 || (op >= 0x28 && op <= 0x3e)) r.numbers(2);
  else if (op === 0x43) r.at += 4;
  else if (op === 0x44) r.at += 8;
  else if (op === 0xfc) {
    const which = r.u32();
    r.numbers([0, 0, 0, 0, 0, 0, 0, 0, 2, 1, 2, 1, 2, 1, 2, 1, 1, 1][which]);
  } else if (
    (op >= 0x02 && op <= 0x04) || op === 0x06 || op === 0x07 || op === 0x08 || op === 0x09 ||
    op === 0x0c || op === 0x0d || op === 0x10 || op === 0x12 || op === 0x18 ||
    (op >= 0x20 && op <= 0x26) || (op >= 0x3f && op <= 0x42) || op === 0xd0 || op === 0xd2
  ) r.skip();
  else if (!(op <= 0x1b || (op >= 0x45 && op <= 0xc4) || op === 0xd1)) {
    throw new Error(`no such instruction: 0x${op.toString(16)} at ${r.at}`);
  }
  return 0;
}

function add(globalIndex, n) {
  const index = leb(globalIndex);
  return [0x23, ...index, 0x41, ...signed(n), 0x6a, 0x24, ...index];
}

// Where the code of each function begins and ends, and its largest br_table.
function bodies(bytes, start) {
  const r = new Reader(bytes, start);
  const found = [];
  for (let n = r.u32(); n--; ) {
    const size = r.u32();
    const begin = r.at;
    for (let locals = r.u32(); locals--; ) r.numbers(2);
    const code = r.at;
    let most = 0;
    while (r.at < begin + size) most = Math.max(most, operands(r, r.byte()));
    found.push({ begin, code, end: begin + size, most });
  }
  return found;
}

function metered(bytes, body, steps, codes, table) {
  const out = [...bytes.subarray(body.begin, body.code)];
  const r = new Reader(bytes, body.code);
  while (r.at < body.end) {
    const begin = r.at;
    let cost = 0;
    let last = begin;
    let op = 0;
    let targets = 0;
    do {
      last = r.at;
      op = r.byte();
      targets = operands(r, op);
      if (!STRUCTURE.has(op)) cost++;
    } while (!ENDS.has(op) && r.at < body.end);
    // what opens a run is charged inside: nothing may stand before a catch, an else, an end
    if (cost) out.push(...add(steps, cost));
    for (let i = begin; i < last; i++) out.push(bytes[i]);
    if (targets && targets === table) out.push(...add(codes, 1));
    for (let i = last; i < r.at; i++) out.push(bytes[i]);
  }
  return out;
}

export function meter(input) {
  const bytes = new Uint8Array(input);
  const sections = [];
  const r = new Reader(bytes, 8);
  while (r.at < bytes.length) {
    const id = r.byte();
    const size = r.u32();
    sections.push({ id, begin: r.at, end: r.at + size });
    r.at += size;
  }
  const of = (id) => sections.find((s) => s.id === id);
  let globals = new Reader(bytes, of(6).begin).u32();
  const imports = new Reader(bytes, of(2).begin);
  for (let n = imports.u32(); n--; ) {
    for (let names = 2; names--; ) imports.at = ((size) => imports.at + size)(imports.u32());
    const kind = imports.byte();
    if (kind === 0) imports.skip();
    else if (kind === 1 || kind === 2) {
      if (kind === 1) imports.skip();
      imports.numbers(imports.u32() & 1 ? 2 : 1);
    } else if (kind === 3) {
      imports.at += 2;
      globals++;
    } else imports.numbers(2);
  }
  const all = bodies(bytes, of(10).begin);
  const table = Math.max(...all.map((b) => b.most));

  const rebuilt = { 6: [], 7: [], 10: [] };
  const grown = (section, added) => {
    const old = new Reader(bytes, section.begin);
    const count = old.u32() + added.length;
    return [...leb(count), ...bytes.subarray(old.at, section.end), ...added.flat()];
  };
  rebuilt[6] = grown(of(6), [[0x7f, 1, 0x41, 0, 0x0b], [0x7f, 1, 0x41, 0, 0x0b]]);
  const name = (text) => [text.length, ...Buffer.from(text)];
  rebuilt[7] = grown(of(7), [
    [...name(COUNTED.steps), 3, ...leb(globals)], [...name(COUNTED.codes), 3, ...leb(globals + 1)],
  ]);
  rebuilt[10] = leb(all.length);
  for (const body of all) {
    const code = metered(bytes, body, globals, globals + 1, table);
    rebuilt[10].push(...leb(code.length));
    for (const byte of code) rebuilt[10].push(byte);
  }
  const out = [...bytes.subarray(0, 8)];
  for (const section of sections) {
    const body = rebuilt[section.id] || bytes.subarray(section.begin, section.end);
    out.push(section.id, ...leb(body.length));
    for (const byte of body) out.push(byte);
  }
  return new Uint8Array(out);
}

// Every module that is made from now on is metered. A call of the interpreter's own clock
// (`utime.ticks_ms`) becomes a mark: it notes both counters and allocates nothing.
// told(what, ids) prints what was noted since the last call; without a name it is thrown away.
export function meterAll() {
  let exported = null;
  let marks = [];
  const make = WebAssembly.instantiate;
  WebAssembly.instantiate = async (source, imports) => {
    imports.env.mp_js_ticks_ms = () => {
      if (exported) marks.push([exported[COUNTED.steps].value, exported[COUNTED.codes].value]);
      return 0;
    };
    const made = await make(meter(source), imports);
    exported = made.instance.exports;
    return made;
  };
  return {
    told(what, ids) {
      if (!what) {
        marks = [];
        return;
      }
      const [first] = marks;
      const since = marks.map((m) => m.map((n, i) => (n - first[i]) >>> 0));
      console.log(JSON.stringify([what, ids, since]));
      marks = [];
    },
  };
}
