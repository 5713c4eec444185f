// Runs a script on the 32-bit build of MicroPython: node run_wasm.mjs BUILD SCRIPT FOLDER...
// All .py files of the folders are put where the interpreter finds them. With METER set the
// interpreter counts what it executes: see meter_wasm.mjs and on_board/count_steps.py.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { meterAll } from "./meter_wasm.mjs";

const [build, script, ...folders] = process.argv.slice(2);
if (process.env.METER) Object.assign(globalThis, meterAll());
const { loadMicroPython } = await import(pathToFileURL(build));
const mp = await loadMicroPython({
  heapsize: 192 * 1024, // what a Pico has left
  stdout: (line) => console.log(line),
  linebuffer: true,
});

function copy(from, to) {
  for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
    const source = path.join(from, entry.name);
    if (entry.isDirectory() && entry.name !== "__pycache__") {
      mp.FS.mkdir(`${to}/${entry.name}`);
      copy(source, `${to}/${entry.name}`);
    } else if (entry.name.endsWith(".py")) {
      mp.FS.writeFile(`${to}/${entry.name}`, fs.readFileSync(source));
    }
  }
}

mp.FS.mkdir("/source");
const places = folders.map((folder, i) => {
  mp.FS.mkdir(`/source/${i}`);
  copy(folder, `/source/${i}`);
  return `'/source/${i}'`;
});
try {
  mp.runPython(
    `import os, sys\nsys.path[:0] = [${places.join(", ")}]\n` +
      "os.urandom = lambda n: bytes(n)\n" + // this build has no source of chance
      fs.readFileSync(script, "utf8"),
  );
} catch (error) {
  console.log(error.message);
  process.exit(1);
}
process.exit(0);
