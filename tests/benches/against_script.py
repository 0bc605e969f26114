"""What somebody with a scripting habit would write instead, timed in the same run as the program.

usage: against_script.py PROGRAM SCORE.musicxml

Reads the score with music21 (10.5.1), brings it to sounding pitch, slices the score into
sonorities and looks for notes outside an instrument's written range (by rules/instruments.toml); then
lets `PROGRAM proof SCORE` do all it does, with one thread. Prints both times and their ratio.
"""

import os
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import music21


def ranges():
    place = Path(__file__).resolve().parents[2] / "rules" / "instruments.toml"
    with place.open("rb") as file:
        instruments = tomllib.load(file)["instrument"]
    found = {}
    for instrument in instruments:
        if "professional" in instrument:
            limits = [music21.pitch.Pitch(p.replace("b", "-")).midi for p in instrument["professional"]]
            for name in instrument["names"]:
                if len(name) > 3:
                    found[name.lower()] = limits
    return found


def script(path):
    known = ranges()
    score = music21.converter.parse(path, forceSource=True)
    outside = 0
    for part in score.parts:
        limits = next((known[n] for n in known if n in (part.partName or "").lower()), None)
        for note in part.recurse().notes:
            for pitch in note.pitches:
                outside += bool(limits) and not limits[0] <= pitch.midi <= limits[1]
    sounding = score.toSoundingPitch()
    slices = sum(1 for _ in sounding.chordify().recurse().getElementsByClass("Chord"))
    return slices, outside


def main():
    program, path = sys.argv[1:]
    begin = time.perf_counter()
    slices, outside = script(path)
    by_script = time.perf_counter() - begin
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run(
            [program, "proof", path, "--gate", "never"],
            check=True,
            stdout=subprocess.DEVNULL,
            env={**os.environ, "RAYON_NUM_THREADS": "1"},
        )
        times.append(time.perf_counter() - begin)
    size = os.path.getsize(path) / 1e6
    print(f"{size:.1f} MB, {slices} slices, {outside} notes outside a range by the script")
    print(f"script {by_script:.2f} s, program {min(times):.3f} s: {by_script / min(times):.0f} times")


if __name__ == "__main__":
    main()
