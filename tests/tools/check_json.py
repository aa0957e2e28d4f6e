"""Validates JSON against schemas: check_json.py FOLDER SCHEMA FILE [SCHEMA FILE ...]; prints what does not fit.

SCHEMA is a file of FOLDER; what FOLDER/common.json defines may be referred to as #/$defs/NAME.
"""
import json
import sys

from jsonschema import Draft202012Validator


def main(folder, pairs):
    with open(f"{folder}/common.json", encoding="utf-8") as file:
        common = json.load(file)["$defs"]
    for name, path in zip(pairs[::2], pairs[1::2]):
        with open(f"{folder}/{name}", encoding="utf-8") as file:
            schema = {**json.load(file), "$defs": common}
        Draft202012Validator.check_schema(schema)
        with open(path, encoding="utf-8") as file:
            value = json.load(file)
        for error in Draft202012Validator(schema).iter_errors(value):
            place = "/".join(str(part) for part in error.absolute_path)
            print(f"{name}: {place}: {error.message[:300]}")


main(sys.argv[1], sys.argv[2:])
