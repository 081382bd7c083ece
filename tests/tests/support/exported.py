"""Reads exports by other hands: tables by the csv module, JSON by a validator of JSON Schema.

exported.py tables DIR            prints every table as JSON: {"days.csv": [[cell, ...], ...], ...}
exported.py validate SCHEMA FILE  says of each line of FILE whether it is valid: one JSON list
"""

import csv
import json
import pathlib
import sys

from jsonschema import Draft202012Validator


def tables(folder):
    found = {}
    for path in sorted(pathlib.Path(folder).glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            found[path.name] = list(csv.reader(file, strict=True))
    return found


def validate(schema, path):
    schema = json.loads(pathlib.Path(schema).read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    with open(path, encoding="utf-8") as file:
        return [validator.is_valid(json.loads(line)) for line in file]


if sys.argv[1] == "tables":
    json.dump(tables(sys.argv[2]), sys.stdout)
else:
    json.dump(validate(sys.argv[2], sys.argv[3]), sys.stdout)
