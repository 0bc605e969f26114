"""Reads a MusicXML file with music21 and writes it again: what a score library keeps of it.

usage: outside_waiver.py IN OUT
"""

import sys

try:
    import music21
except ImportError as error:
    print(f"no music21: {error}", file=sys.stderr)
    sys.exit(2)

source, target = sys.argv[1:]
music21.environment.UserSettings()["warnings"] = 0
score = music21.converter.parse(source, forceSource=True)
score.write("musicxml", target, makeNotation=False)
