"""Whether a table of swings reads the same as Parquet and as CSV, by a reader that is not ours.

Checks the types of the columns, then every cell of the one file against the other's. Both have to be written from the same swings.
Needs pyarrow (PyPI): python3 parquet_columns.py SWINGS.parquet SWINGS.csv
"""

import csv
import datetime
import sys

import pyarrow as pa
import pyarrow.parquet as pq

TEXT = ["swing_id", "athlete_id", "nickname", "side", "bat", "drill", "ball_source", "lesson_id", "round_id", "occasion"]
TYPES = dict.fromkeys(TEXT + ["recording_id", "contact", "engine_version"], pa.string())
TYPES |= {"contact_utc": pa.timestamp("us", "UTC"), "revision": pa.int32(), "excluded": pa.bool_()}
MAY_BE_ABSENT = {"nickname", "side", "bat", "drill", "ball_source", "round_id", "contact_utc"}


def text(value):
    """A cell of Parquet as CSV has it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    return " ".join(value) if isinstance(value, list) else str(value)


table = pq.read_table(sys.argv[1])
with open(sys.argv[2], newline="", encoding="utf-8") as file:
    names, *rows = csv.reader(file)

assert table.column_names == names, (table.column_names, names)
for field in table.schema:
    if field.name == "flags":
        assert pa.types.is_list(field.type) and field.type.value_type == pa.string() and not field.nullable, field
    else:
        expected = TYPES.get(field.name, pa.float64())
        assert field.type == expected, (field, expected)
        assert field.nullable == (field.name in MAY_BE_ABSENT or expected == pa.float64()), field
assert sum(name + "_sigma" in names for name in names) == 14, names
assert table.num_rows == len(rows), (table.num_rows, len(rows))
for place, name in enumerate(names):
    for number, (value, row) in enumerate(zip(table[name].to_pylist(), rows)):
        found = row[place]
        same = float(found) == value if isinstance(value, float) and found else found == text(value)
        assert same, f"row {number}, {name}: {value!r} in Parquet, {found!r} in CSV"
print(f"{table.num_rows} rows of {len(names)} columns: the same")
