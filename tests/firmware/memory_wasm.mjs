// Heap that the firmware takes on the 32-bit build, and the instructions that importing it does:
// node memory_wasm.mjs BUILD FIRMWARE FAKES. This build collects only between two calls from
// outside, so each stage is one.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { meter } from "./meter_wasm.mjs";

const [build, firmware, fakes] = process.argv.slice(2);
let counters = null;
const make = WebAssembly.instantiate;
WebAssembly.instantiate = async (source, imports) => {
  const made = await make(meter(source), imports);
  counters = made.instance.exports;
  return made;
};
const { loadMicroPython } = await import(pathToFileURL(build));
let said = "";
const mp = await loadMicroPython({
  heapsize: 192 * 1024,
  stdout: (line) => { said = line; },
  linebuffer: true,
});

function copy(from, to) {
  mp.FS.mkdir(to);
  for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
    const source = path.join(from, entry.name);
    if (entry.isDirectory() && entry.name !== "__pycache__") copy(source, `${to}/${entry.name}`);
    else if (/\.m?py$/.test(entry.name)) {
      mp.FS.writeFile(`${to}/${entry.name}`, fs.readFileSync(source));
    }
  }
}

copy(firmware, "/firmware");
copy(fakes, "/fakes");

function used(code) {
  mp.runPython(code);
  mp.runPython("import gc\ngc.collect()");
  mp.runPython("gc.collect()\nprint(gc.mem_alloc())");
  return Number(said);
}

const begun = used(
  "import os, sys\nsys.path[:0] = ['/fakes', '/firmware']\n" +
    "os.urandom = lambda n: bytes(n)\nimport bench, gc",
);
const before = counters.metered_steps.value;
mp.runPython("import steadyturn_fw.main");
const steps = (counters.metered_steps.value - before) >>> 0;
const imported = used("import steadyturn_fw.main");
const running = used(
  "os.mkdir('board')\nb = bench.Bench('board')\nb.set(6500, 500)\nb.run(1000)",
);
console.log(JSON.stringify({ imported: imported - begun, running: running - begun, steps }));
process.exit(0);
