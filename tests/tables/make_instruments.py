"""Writes instruments_music21.tsv beside this file: what the reference library music21 10.5.1 has
for each instrument class.

    pip install music21==10.5.1
    python tests/tables/make_instruments.py

Columns: the class; the semitones it adds to written pitch to get sounding pitch (0 where the
library has none); the lowest note as the library gives it (`-` where it has none; flats are `b`).
"""

from pathlib import Path

import music21

CLASSES = [
    "SopranoSaxophone",
    "AltoSaxophone",
    "TenorSaxophone",
    "BaritoneSaxophone",
    "Piccolo",
    "Flute",
    "Clarinet",
    "BassClarinet",
    "Oboe",
    "EnglishHorn",
    "Bassoon",
    "Trumpet",
    "Horn",
    "Trombone",
    "BassTrombone",
    "Tuba",
    "Guitar",
    "Contrabass",
    "ElectricBass",
    "Piano",
    "Vibraphone",
    "Soprano",
    "Alto",
    "Tenor",
    "Baritone",
    "Bass",
]


def row(name):
    instrument = getattr(music21.instrument, name)()
    semitones = instrument.transposition.semitones if instrument.transposition else 0
    lowest = instrument.lowestNote
    low = lowest.nameWithOctave.replace("-", "b") if lowest else "-"
    return f"{name}\t{semitones}\t{low}"


def main():
    if music21.__version__ != "10.5.1":
        raise SystemExit(f"found music21 {music21.__version__}, expected 10.5.1")
    lines = ["class\ttransposition\tlowest", *map(row, CLASSES)]
    target = Path(__file__).with_name("instruments_music21.tsv")
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
