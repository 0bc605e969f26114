"""Counts voice crossings and notes out of range in four-voice chorales, by music21 alone.

    python tests/outside_choir.py COUNT

Prints one JSON object a line for each score: `file`, and the same count under two readings of what
goes on being one crossing:

  as_heard   simultaneities in a row in which the same voices are out of order
  as_struck  the same, but a simultaneity in which none of these voices is struck (another voice
             moves under them) ends it, and when they are struck again it is counted again

Each holds `crossings`, with the place where it begins (as `outside_slicing.py` says), the rule that
speaks of it and the parts that have another's note; and `ranges`, one entry for each part, bar and
side, with the place of the first note, its level and the notes. Ranges are the table of
`rules/instruments.toml`, compared by nothing but pitch. A note that a crossing is about is not told
again as out of range.

Needs Python 3.11 and music21 (Python package, version 10.5.1 was used); its corpus is read where it is
installed. Exit code: 0, or 2 when something of that is missing.
"""

import os
import sys
from fractions import Fraction

from outside_slicing import VOICES, each, four_voices, place, places, simultaneities, spelled

TABLE = os.path.join(os.path.dirname(__file__), "..", "rules", "instruments.toml")


def ranges():
    """(professional, possible) of each voice from the top, as semitones."""
    import tomllib

    from music21 import pitch

    with open(TABLE, "rb") as file:
        instruments = {i["key"]: i for i in tomllib.load(file)["instrument"]}
    found = []
    for name in VOICES:
        entry = instruments[f"{name.lower()}-voice"]
        found.append(
            tuple(
                tuple(pitch.Pitch(p.replace("b", "-")).midi for p in entry[key])
                for key in ("professional", "possible")
            )
        )
    return found


def crossings(sonorities, struck):
    """Crossings, and the notes they are about as (part, onset in quarters)."""
    found = []
    about = set()
    crossed_before = None
    for at, voices in sonorities:
        by_part = sorted(voices, key=lambda v: v[0])
        pairs = [
            (above, below)
            for i, above in enumerate(by_part)
            for below in by_part[i + 1 :]
            if above[1].midi < below[1].midi and (not struck or above[2] or below[2])
        ]
        seats = {v[0] for pair in pairs for v in pair}
        if pairs and seats != crossed_before:
            involved = [v for v in by_part if v[0] in seats]
            straight = sorted((v[1].midi for v in involved), reverse=True)
            wrong = [v for v, want in zip(involved, straight) if v[1].midi != want]
            lead = any(above[0] == 0 for above, _ in pairs)
            found.append(
                {
                    **at,
                    "rule": "lead-not-on-top" if lead else "voice-crossing",
                    "parts": [VOICES[v[0]] for v in wrong],
                }
            )
            about.update((v[0], v[3]) for v in wrong)
        crossed_before = seats or None
    return found, about


def out_of_range(score, about):
    bars = places(score)
    found = {}
    for part, (voice, (usual, possible)) in enumerate(zip(score.stripTies().parts, ranges())):
        for note in voice.flatten().notes:
            onset = Fraction(note.offset)
            if note.duration.isGrace or (part, onset) in about:
                continue
            for pitch in note.pitches:
                low, high = usual
                if low <= pitch.midi <= high:
                    continue
                at = place(bars, onset)
                entry = found.setdefault(
                    (part, at["bar"], pitch.midi > high),
                    {**at, "part": VOICES[part], "level": "note", "found": []},
                )
                entry["found"].append(spelled(pitch))
                if not possible[0] <= pitch.midi <= possible[1]:
                    entry["level"] = "error"
    return list(found.values())


def counted(path):
    score = four_voices(path)
    if score is None:
        return None
    sonorities = list(simultaneities(score))
    counts = {}
    for reading, struck in (("as_heard", False), ("as_struck", True)):
        crossed, about = crossings(sonorities, struck)
        counts[reading] = {"crossings": crossed, "ranges": out_of_range(score, about)}
    return {"file": str(path), **counts}


if __name__ == "__main__":
    sys.exit(each(counted, int(sys.argv[1])))
