"""Slices four-voice chorales of music21's corpus into simultaneities, by music21 alone.

    python tests/outside_slicing.py COUNT

Prints one JSON object a line for each score: `file`, and `sonorities`, each with its place, and from
the top the part, the sounding pitch and whether it is struck there (else held). Simultaneities of a
single voice are left out, as the program's analysis leaves them out.

A place is `bar` (1-based position in the file), `beat` (1-based, in units of the meter's lower
figure) and `from_bar_line`, which differs where a bar is written as two short ones with a repeat
sign or a double bar between them: `beat` goes on counting in the second, as music21 and players do;
`from_bar_line` starts at 1 there. In a pickup that opens the piece both count towards the bar line.

Needs music21 (Python package, version 10.5.1 was used). Its corpus is read where it is installed and never
copied. Exit code: 0, or 2 when music21 is not installed or its corpus has too few such scores.
"""

import concurrent.futures
import json
import multiprocessing
import sys
from fractions import Fraction

VOICES = ["Soprano", "Alto", "Tenor", "Bass"]


def candidates():
    """The MusicXML files of the corpus's chorales, in the order of their collection."""
    from music21 import corpus

    found = []
    for name in corpus.chorales.Iterator(returnType="filename"):
        path = corpus.getWork(name)
        if isinstance(path, list):
            path = path[0]
        if path.suffix == ".mxl" and path not in found:
            found.append(path)
    return found


def four_voices(path):
    """The score when it has exactly the four voices of a choir, else None."""
    from music21 import converter

    score = converter.parse(path)
    names = [part.partName for part in score.parts]
    return score if names == VOICES else None


def spelled(pitch):
    name = pitch.name.replace("-", "b")
    return f"{name}{pitch.octave}"


def places(score):
    """For every bar of the top part: onset in the score, what a pickup lacks, quarters a beat."""
    from music21 import meter, stream

    found = []
    quarters = Fraction(1)
    for bar in score.parts[0].getElementsByClass(stream.Measure):
        signature = bar.getElementsByClass(meter.TimeSignature).first()
        if signature is not None:
            quarters = Fraction(4, signature.denominator)
        found.append((Fraction(bar.offset), Fraction(bar.paddingLeft), quarters))
    return found


def place(bars, onset):
    """The place of an onset in quarters."""
    index = max(i for i, (start, _, _) in enumerate(bars) if start <= onset)
    start, lacking, quarters = bars[index]
    beat = (onset - start + lacking) / quarters + 1
    from_bar_line = beat if index == 0 else beat - lacking / quarters
    return {
        "bar": index + 1,
        "beat": round(float(beat), 6),
        "from_bar_line": round(float(from_bar_line), 6),
    }


def simultaneities(score):
    """Every verticality at which a voice is struck: its place, then from the top each voice's
    part, pitch, whether it is struck here, and its onset in quarters."""
    whole = score.stripTies()
    index = {id(part): i for i, part in enumerate(whole.parts)}
    bars = places(score)
    for vertical in whole.asTimespans(classList=None).iterateVerticalities():
        struck = [(span, True) for span in vertical.startTimespans]
        held = [(span, False) for span in vertical.overlapTimespans]
        voices = []
        for span, starts in struck + held:
            element = span.element
            if not element.classSet.intersection({"Note", "Chord"}) or element.duration.isGrace:
                continue
            part = index[id(span.part)]
            for pitch in element.pitches:
                voices.append((-pitch.midi, part, pitch, starts, Fraction(span.offset)))
        if not any(voice[3] for voice in voices):
            continue
        voices.sort(key=lambda v: v[:2])
        yield place(bars, Fraction(vertical.offset)), [voice[1:] for voice in voices]


def sliced(path):
    score = four_voices(path)
    if score is None:
        return None
    sonorities = [
        {
            **at,
            "voices": [
                {"part": VOICES[part], "sounding": spelled(pitch), "attacked": starts}
                for part, pitch, starts, _ in voices
            ],
        }
        for at, voices in simultaneities(score)
        if len(voices) > 1
    ]
    return {"file": str(path), "sonorities": sonorities}


def each(work, count):
    """Prints what `work` makes of the first `count` four-voice scores."""
    try:
        paths = candidates()
    except ImportError:
        print("music21 is not installed: pip install music21", file=sys.stderr)
        return 2
    # music21 keeps what it has parsed in files: forked workers would fight over one importer.
    context = multiprocessing.get_context("spawn")
    done = 0
    with concurrent.futures.ProcessPoolExecutor(mp_context=context) as pool:
        pending = [pool.submit(work, path) for path in paths[: count * 2]]
        for answer in pending:
            if done == count:
                answer.cancel()
                continue
            made = answer.result()
            if made is not None:
                print(json.dumps(made), flush=True)
                done += 1
    if done < count:
        print(f"the corpus has {done} such scores, not {count}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(each(sliced, int(sys.argv[1])))
