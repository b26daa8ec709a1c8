#!/usr/bin/env python3
"""Works out the seals of the two files beside it, from the description in README.md alone.

python3 seals.py          compares readings.seals.csv, fields.seals.csv and vectors.json
python3 seals.py write    writes them anew
"""
import csv
import hashlib
import io
import json
import os
import sys

HERE = os.path.dirname(os.path.abspath(__file__))

# The columns that are sealed. Those whose name ends in a unit are numbers.
COLUMNS = {
    "readings": ["time", "session", "purpose", "jig", "boot", "seq", "pickup", "batch", "string", "string_set",
                 "core_mm", "gauge_mm", "wrap", "pole_height_mm", "string_height_mm", "mode", "take", "rms_mv",
                 "peak_mv", "freq_hz", "window_ms", "quiet_mv", "excite", "status", "note"],
    "fields": ["time", "session", "jig", "boot", "seq", "batch", "magnet", "pickup", "string", "position", "take",
               "field_mt", "probe_gap_mm", "status", "note"],
}
UNITS = ("_mm", "_mv", "_hz", "_ms", "_mt")

# The seals of each file: a number of rows from before there were seals, and the
# remarks of seals that were not written together with their rows.
BEFORE = {"readings": 1, "fields": 0}
REMARKS = {"readings": {4: "after a crash"}, "fields": {2: "accepted"}}


def digest(text):
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def value(name, cell):
    """What a cell says."""
    bare = cell.lstrip("'")
    if cell != bare and bare[:1] in tuple("=+-@\t\r\n"):
        cell = cell[1:]
    cell = cell.replace("\r\n", "\n").strip()
    if name.endswith(UNITS) and "." in cell and not cell.strip("-0123456789."):
        cell = cell.rstrip("0")
        if cell.endswith("."):
            cell = cell[:-1]
    return cell


def sealed_text(columns, row):
    """What a seal covers; row has a text for each column of the file."""
    text = ""
    for name in sorted(columns):
        v = value(name, row.get(name, ""))
        if v and not (name == "status" and v == "ok"):
            text += "%s=%d:%s\n" % (name, len(v.encode("utf-8")), v)
    return text


def chain(before, row, dig, remark):
    return digest("%s\n%d\n%s\n%s\n" % (before, row, dig, remark))


def work_out(kind):
    with open(os.path.join(HERE, kind + ".csv"), newline="", encoding="utf-8") as f:
        rows = list(csv.DictReader(f))
    vectors, last = [], ""
    seals = io.StringIO()
    lines = csv.writer(seals, lineterminator="\r\n")
    lines.writerow(["row", "digest", "chain", "remark"])
    if BEFORE[kind]:
        last = chain("", BEFORE[kind], "", "never sealed")
        lines.writerow([BEFORE[kind], "", last, "never sealed"])
    for number, row in enumerate(rows, 1):
        text = sealed_text(COLUMNS[kind], row)
        vector = {"file": kind + ".csv", "row": number, "text": text, "digest": digest(text)}
        if number > BEFORE[kind]:
            remark = REMARKS[kind].get(number, "")
            last = chain(last, number, vector["digest"], remark)
            vector["remark"], vector["chain"] = remark, last
            lines.writerow([number, vector["digest"], last, remark])
        vectors.append(vector)
    return vectors, seals.getvalue()


def main():
    files, vectors = {}, []
    for kind in COLUMNS:
        more, files[kind + ".seals.csv"] = work_out(kind)
        vectors += more
    files["vectors.json"] = json.dumps(vectors, indent=1, ensure_ascii=False) + "\n"
    status = 0
    for name, text in files.items():
        path = os.path.join(HERE, name)
        if sys.argv[1:] == ["write"]:
            with open(path, "w", newline="", encoding="utf-8") as f:
                f.write(text)
            continue
        with open(path, newline="", encoding="utf-8") as f:
            same = f.read() == text
        print(name, "as worked out" if same else "DIFFERS")
        status |= not same
    sys.exit(status)


main()
