"""How often each rule speaks on open scores: writes rules/frequency.toml, which the rulebook shows.

usage: frequency.py PROGRAM FOLDER > rules/frequency.toml

FOLDER holds a folder for each kind of music; its name is the kind's. The scores themselves are not part of this
repository. Findings are counted at the levels of the usual house style.
"""

import collections
import json
import pathlib
import subprocess
import sys

ENDINGS = {".musicxml", ".xml", ".mxl"}
BATCH = 60


def proofed(program, files):
    """The reports of the files, a batch at a time."""
    for start in range(0, len(files), BATCH):
        batch = [str(f) for f in files[start : start + BATCH]]
        command = [program, "proof", "--gate", "never", "--format", "json", *batch]
        run = subprocess.run(command, capture_output=True, text=True, check=False)
        yield json.loads(run.stdout)


def main():
    program, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    groups, counts = [], collections.defaultdict(collections.Counter)
    for group in sorted(p for p in folder.iterdir() if p.is_dir()):
        files = sorted(f for f in group.iterdir() if f.suffix.lower() in ENDINGS)
        scores = bars = 0
        for report in proofed(program, files):
            for file in report["files"]:
                if file["unreadable"] is None:
                    scores += 1
                    bars += file["bars"]
            for finding in report["findings"]:
                counts[finding["rule"]][group.name, finding["level"]] += 1
        groups.append((group.name, scores, bars))
    print("# How often each rule speaks on open scores: findings in 100 bars as errors, warnings and notes,")
    print("# by kind of music. Measured by tests/frequency.py; a rule that is not listed never spoke.")
    for name, scores, bars in groups:
        print(f'\n[[kind]]\nname = "{name}"\nscores = {scores}\nbars = {bars}')
    print("\n[rules]")
    for rule in sorted(counts):
        kinds = []
        for name, _, bars in groups:
            levels = [counts[rule][name, level] for level in ("error", "warning", "note")]
            if any(levels):
                share = ", ".join(f"{100 * n / bars:.3f}" for n in levels)
                kinds.append(f'"{name}" = [{share}]')
        print(f"{rule} = {{ {', '.join(kinds)} }}")


main()
