"""Holds scenario files against the schema of `twotrip list schema`, with a validator that is not ours.

    schema.py SCHEMA.json FILE.toml ...    a line for each file: `good FILE` or `bad FILE: why`
"""

import json
import sys
import tomllib

import jsonschema

with open(sys.argv[1], "rb") as file:
    schema = json.load(file)
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
for path in sys.argv[2:]:
    with open(path, "rb") as file:
        document = tomllib.load(file)
    problem = jsonschema.exceptions.best_match(validator.iter_errors(document))
    print(f"good {path}" if problem is None else f"bad {path}: {problem.message}")
