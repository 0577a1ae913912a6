"""What is hard to write: quotes, line ends, nothing, long decimals, many rows."""

from __future__ import annotations

import csv
import io
import tracemalloc
from decimal import Decimal

import duckdb

from brachium.export.written import FORMATS, as_csv
from brachium.flat.views import Column
from brachium.formats import lossless

COLUMNS = (
    Column("text", "string"),
    Column("value", "decimal"),
    Column("list", "code", collection=True),
    Column("truth", "boolean"),
    Column("count", "integer"),
)
VALUES = lossless.parse(b"[12.50, 0.000000000001, 999999999999]")
ROWS = [
    ('a "quoted", text', VALUES[0], ["x", "y"], True, 1),
    ("two\r\nlines\nand more", VALUES[1], [], False, 0),
    ("=1+1", VALUES[2], None, None, None),
    ("\u00e9\u4e2d NULL", None, ["NULL"], None, -5),
]


def written(form):
    return b"".join(FORMATS[form].write(COLUMNS, ROWS))


def test_sof_02_csv_comes_back_as_it_went():
    rows = list(csv.reader(io.StringIO(written("csv").decode(), newline="")))
    assert rows[0] == [column.name for column in COLUMNS]
    assert [row[0] for row in rows[1:]] == [row[0] for row in ROWS]
    assert [row[1] for row in rows[1:]] == ["12.50", "0.000000000001", "999999999999", ""]
    assert [row[2] for row in rows[1:]] == ["x y", "", "", "NULL"]
    assert [row[3:] for row in rows[1:]] == [["true", "1"], ["false", "0"], ["", ""], ["", "-5"]]


def test_parquet_has_types_and_exact_decimals(tmp_path):
    path = tmp_path / "t.parquet"
    path.write_bytes(written("parquet"))
    table = duckdb.read_parquet(str(path))
    kinds = [str(one) for one in table.types]
    assert kinds == ["VARCHAR", "DECIMAL(24,12)", "VARCHAR", "BOOLEAN", "BIGINT"]
    rows = table.fetchall()
    assert [row[0] for row in rows] == [row[0] for row in ROWS]
    assert [row[1] for row in rows] == [
        Decimal("12.5"),
        Decimal("0.000000000001"),
        Decimal(999999999999),
        None,
    ]
    assert [row[2:] for row in rows] == [
        ("x y", True, 1),
        (None, False, 0),
        (None, None, None),
        ("NULL", None, -5),
    ]


def test_a_table_without_rows_still_has_its_columns(tmp_path):
    for name, form in FORMATS.items():
        text = b"".join(form.write(COLUMNS, []))
        if name == "csv":
            assert text == b"text,value,list,truth,count\r\n"
        if name == "parquet":
            path = tmp_path / "t.parquet"
            path.write_bytes(text)
            assert duckdb.read_parquet(str(path)).columns == [one.name for one in COLUMNS]
            assert duckdb.read_parquet(str(path)).fetchall() == []


def test_memory_does_not_grow_with_the_rows():
    def most(count):
        tracemalloc.start()
        size = sum(map(len, as_csv(COLUMNS, (ROWS[n % 4] for n in range(count)))))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return size, peak

    small, large = most(2_000), most(40_000)
    assert large[0] > 19 * small[0]
    assert large[1] < 1.2 * small[1]
