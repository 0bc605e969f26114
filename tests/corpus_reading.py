"""Reads the MusicXML files of music21's corpus by music21 alone: every note at sounding pitch.

    python tests/corpus_reading.py EVERY

Prints one JSON object a line for each file, in the order of their names: `file`, `name` (the first
figures of a digest of the path inside the corpus), and `parts`, in score order, each with `notes`: one text `bar offset duration pitch
onset` a note, sorted. The bar is its 0-based position in the part; offset (from the bar line),
duration and onset (from the start of the score) are exact fractions of quarter notes, written `3/2`;
the pitch is the sounding one, spelled, such as `Bb4`. A grace note lasts 0. The staves of one part are
one part here, as they are in the file. Where music21 cannot read a file, `error` stands in place of
`parts`.

EVERY is 1 for all files, 10 for every tenth. With `list` in its place nothing is read, and `file` and
`name` are all that is printed, of all files.

Needs music21 (Python package, version 10.5.1 was used). Its corpus is read where it is installed and never
copied. Exit code: 0, or 2 when music21 is not installed.
"""

import concurrent.futures
import hashlib
import json
import multiprocessing
import sys
from fractions import Fraction
from pathlib import Path

ENDINGS = {".mxl", ".xml", ".musicxml"}


def corpus_files():
    """The folder of the corpus, and its MusicXML files in order."""
    from music21 import common

    root = Path(common.getCorpusFilePath())
    return root, sorted(p for p in root.rglob("*") if p.suffix in ENDINGS and p.is_file())


def exact(length):
    return str(Fraction(length))


def spelled(pitch):
    return f"{pitch.name.replace('-', 'b')}{pitch.octave}"


def players(score):
    """The parts, with the staves of one part together."""
    from music21 import stream

    grouped = {}
    for index, part in enumerate(score.parts):
        key = index
        if isinstance(part, stream.PartStaff):
            key = str(part.id).rpartition("-Staff")[0] or index
        grouped.setdefault(key, []).append(part)
    return list(grouped.values())


def notes(part):
    from music21 import harmony, stream

    for index, bar in enumerate(part.getElementsByClass(stream.Measure)):
        start = Fraction(bar.offset)
        for element in bar.flatten().notes:
            if isinstance(element, harmony.Harmony):
                continue
            offset = Fraction(element.offset)
            length = Fraction(0) if element.duration.isGrace else element.quarterLength
            for pitch in element.pitches:
                place = f"{index} {offset} {exact(length)}"
                yield f"{place} {spelled(pitch)} {start + offset}"


def named(path):
    place = path.relative_to(corpus_files()[0]).as_posix()
    name = hashlib.sha256(place.encode()).hexdigest()[:12]
    return {"file": str(path), "name": name}


def read(path):
    from music21 import converter

    answer = named(path)
    try:
        score = converter.parse(path, forceSource=True)
        score.toSoundingPitch(inPlace=True)
        answer["parts"] = [
            {"notes": sorted(note for staff in staves for note in notes(staff))}
            for staves in players(score)
        ]
    except Exception as error:  # whatever music21 cannot read is told, not hidden
        answer["error"] = f"{type(error).__name__}: {error}"
    return answer


def main(every):
    try:
        _, files = corpus_files()
    except ImportError:
        print("music21 is not installed: pip install music21", file=sys.stderr)
        return 2
    if every == "list":
        for path in files:
            print(json.dumps(named(path)))
        return 0
    # music21 keeps what it has parsed in files: forked workers would fight over one importer.
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(mp_context=context) as pool:
        for answer in pool.map(read, files[:: int(every)]):
            print(json.dumps(answer), flush=True)
    return 0


if __name__ == "__main__":
    import warnings

    warnings.simplefilter("ignore")
    sys.exit(main(sys.argv[1]))
