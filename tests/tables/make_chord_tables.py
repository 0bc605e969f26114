"""Makes chord_members.tsv: the pitch classes that music21 gives each chord kind on twelve roots.

Run with music21 10.5.1 installed, from any folder; writes beside itself.
"""

import pathlib

import music21
from music21 import harmony

ROOTS = ["C", "D-", "D", "E-", "E", "F", "F#", "G", "A-", "A", "B-", "B"]

lines = [
    f"# music21 {music21.__version__}, harmony.ChordSymbol(root=..., kind=...)",
    "# kind\troot\tpitch classes, semitones above C, ascending",
]
for kind in harmony.CHORD_TYPES:
    for root in ROOTS:
        chord = harmony.ChordSymbol(root=root, kind=kind)
        classes = sorted({p.pitchClass for p in chord.pitches})
        lines.append(
            f"{kind}\t{root.replace('-', 'b')}\t{' '.join(str(c) for c in classes)}"
        )
out = pathlib.Path(__file__).with_name("chord_members.tsv")
out.write_text("\n".join(lines) + "\n", encoding="utf-8")
