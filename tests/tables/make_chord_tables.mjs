// Makes chord_symbols_tonal.tsv: the pitch classes that tonal gives each chord symbol it knows.
//
// Install tonal 6.4.2 in a folder outside this tree and run, from there,
//     node PATH/TO/make_chord_tables.mjs
// It writes beside itself.

import { createRequire } from "node:module";
import { readFileSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const require = createRequire(join(process.cwd(), "package.json"));
const { Chord, ChordType, Note } = require("tonal");
const { version } = JSON.parse(
  readFileSync(join(process.cwd(), "node_modules", "tonal", "package.json"), "utf8"),
);

const lines = [
  `# tonal ${version}, Chord.get(symbol) for every alias of its chord dictionary`,
  "# symbol\tpitch classes, semitones above C, ascending",
];
for (const root of ["C", "Eb", "F#"]) {
  for (const type of ChordType.all()) {
    for (const alias of type.aliases) {
      const chord = Chord.get(root + alias);
      if (chord.empty || chord.tonic !== root) continue;
      const classes = [...new Set(chord.notes.map((n) => Note.chroma(n)))];
      classes.sort((a, b) => a - b);
      lines.push(`${root}${alias}\t${classes.join(" ")}`);
    }
  }
}
const here = dirname(fileURLToPath(import.meta.url));
writeFileSync(join(here, "chord_symbols_tonal.tsv"), lines.join("\n") + "\n");
