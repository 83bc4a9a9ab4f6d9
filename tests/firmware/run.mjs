// Runs a script under a real MicroPython: node run.mjs MICROPYTHON.mjs HEAP_BYTES SCRIPT.py FILE...
// The files lie under /wagon and /vectors.json as the script finds them; what it prints comes out as it is.
import { readFileSync } from "node:fs";
import { basename } from "node:path";
import { pathToFileURL } from "node:url";

const [, , library, heap, script, ...files] = process.argv;
const { loadMicroPython } = await import(pathToFileURL(library).href);
const machine = await loadMicroPython({
  heapsize: Number(heap),
  linebuffer: true,
  stdout: (line) => process.stdout.write(line + "\n"),
});
machine.FS.mkdir("/wagon");
for (const file of files) {
  const place = file.endsWith(".py") ? "/wagon/" + basename(file) : "/" + basename(file);
  machine.FS.writeFile(place, readFileSync(file));
}
machine.runPython(readFileSync(script, "utf-8"));
